"""A planting through its season: stages, cover, roots, coefficients."""
