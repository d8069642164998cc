"""How do clips get off the recorders, whole and proved? Copies that never overwrite, and never delete a source."""
