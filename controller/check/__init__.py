"""Checks of a garden whose file has no faults."""
