"""What can be known and asked of each kind of box? One module for each kind."""
