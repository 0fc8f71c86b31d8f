"""A morning's decision for each task, and what is told with it."""
