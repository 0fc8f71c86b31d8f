"""Trade knowledge: pure functions over arrays, and the rule book as data."""
