"""Field tests, and what they say of a garden's holes, valves and supply."""
