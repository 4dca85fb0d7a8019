"""Days of weather: their sources and their checks."""
