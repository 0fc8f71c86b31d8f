"""Hours in which a task may be under way or begin."""
