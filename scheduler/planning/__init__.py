"""Windows, plan, difference, odds, close-in date and answer: pure functions."""
