"""The task list as a spreadsheet keeps it: CSV in and out of a job file (columns: TASKLIST.md)."""
