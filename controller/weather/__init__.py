"""A day of weather, its checks, and where days come from."""
