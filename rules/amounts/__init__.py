"""How much of each thing a piece of building work takes: exact counts, with their sources."""
