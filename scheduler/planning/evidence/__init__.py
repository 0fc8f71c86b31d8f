"""What is known at a moment: facts, ages, readings, observed hours."""
