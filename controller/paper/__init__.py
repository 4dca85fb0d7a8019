"""Printed timetable and reports."""
