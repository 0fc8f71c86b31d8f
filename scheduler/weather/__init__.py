"""Weather sources and files: each returns the hourly table."""
