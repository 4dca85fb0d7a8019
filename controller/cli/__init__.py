"""The command `rowgate`: a thin line over the rooms.

Exit codes: 0 done, 1 the answer is no (faults found, refused, no daemon), 2 the input is wrong, 130
ended by Ctrl-C.
"""

from controller.cli.entry import main

__all__ = ["main"]
