"""Modules of this folder stand on the child's Python path, in front of what they stand in for."""
