"""One module a command: its options, the run that it calls, what it prints."""
