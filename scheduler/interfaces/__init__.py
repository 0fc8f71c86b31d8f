"""What the edges promise, and the records and messages that pass between them."""
