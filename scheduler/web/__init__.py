"""The pages: what the service has kept, for whoever holds a link."""
