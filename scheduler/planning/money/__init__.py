"""Rents, heat, the cost of delay and of protection."""
