"""The day's doses fitted into windows that the supply can feed."""
