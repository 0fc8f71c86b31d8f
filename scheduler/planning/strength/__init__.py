"""Fresh and finished work: strength, frost, gates."""
