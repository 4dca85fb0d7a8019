"""The day's rhythm, recovery, health, clock sense."""
