"""The plan of one job: problem, lines, odds, latest starts."""
