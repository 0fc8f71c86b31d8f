"""Tables over hours: finishes, bits, gates."""
