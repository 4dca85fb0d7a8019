"""Demand days from days of weather, with stand-ins for missing ones."""
