"""What would buy days, tried and priced."""
