"""A planting on its way: stages, cover, roots, coefficients."""
