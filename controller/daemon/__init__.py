"""The running daemon: daily rhythm, openings, recovery, health."""
