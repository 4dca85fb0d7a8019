"""The day's rhythm, recovery, health, trust in the clock."""
