"""Every step from the first schema of the store to the newest, kept for good."""
