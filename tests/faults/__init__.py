"""What goes wrong at the edges, for tests of any room. No test lives here."""
