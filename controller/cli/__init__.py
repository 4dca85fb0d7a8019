"""The command `rowgate`: a thin line over the rooms.

Exit codes: 0 done, 1 the answer is no (faults found, refused), 2 the input is wrong.
"""

from controller.cli.parser import main

__all__ = ["main"]
