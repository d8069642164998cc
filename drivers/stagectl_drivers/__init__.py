"""How does each kind of box spell it on the wire, and what does it mean? One package for each kind."""
