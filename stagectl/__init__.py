"""stagectl: one neutral control plane for the recorders, routers and mixers of a small studio."""
