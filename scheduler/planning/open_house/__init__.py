"""What the weather does to a house that stands open, and the latest safe date."""
