"""How do I add a box? All that the author of a driver imports."""
