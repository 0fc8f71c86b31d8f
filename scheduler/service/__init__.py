"""The service: what is due, runs that are done once, messages that leave once, alarms."""
