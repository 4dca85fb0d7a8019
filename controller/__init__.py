"""Rowgate. Kept empty: the stop step that closes the valves must import almost nothing."""
