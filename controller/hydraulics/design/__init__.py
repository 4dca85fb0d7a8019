"""Design advice: how long, how level, how far throttled, which zones together."""
