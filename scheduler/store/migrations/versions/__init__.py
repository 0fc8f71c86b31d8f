"""One file for each schema; a released one is never edited."""
