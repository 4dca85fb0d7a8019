"""A weather station's own log, drawn together into whole local days."""
