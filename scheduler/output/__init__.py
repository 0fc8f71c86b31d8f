"""Tables, charts and messages made from plans and answers: bytes out, no decisions."""
