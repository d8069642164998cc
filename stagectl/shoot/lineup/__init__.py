"""Is everything there and right before the first take? Conditions over points, each with a remedy."""
