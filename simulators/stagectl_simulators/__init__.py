"""How does each kind of box behave? Written from its published manner alone, sharing no code with its driver."""
