"""How do many pictures find their ways through tie-lines together? Solved as one, shown before it is done."""
