"""Networks, bounds, first schedules, the constraint model and its checker."""
