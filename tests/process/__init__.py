"""The daemon as a real process, killed, starved and misled; its pins are recorded by another."""
