"""The job, its log, calendars and answers."""
