"""Timetables: when each valve opens, for how long."""
