"""One file a run: gather, decide, apply."""
