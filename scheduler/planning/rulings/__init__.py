"""The rows of the book read for one task at one moment."""
