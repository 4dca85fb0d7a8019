"""What was measured on the board, kept from run to run beside the image."""

from __future__ import annotations

import json
import os
from collections import defaultdict
from pathlib import Path
from statistics import median


class Figures:
    """Named seconds; each is appended to a file, and told at the end of the run."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._mine: dict[str, list[float]] = defaultdict(list)

    def add(self, name: str, value_s: float) -> None:
        """Write one down, with how busy this machine is: runnable tasks over the last minute."""
        self._mine[name].append(value_s)
        told = {"name": name, "value_s": round(value_s, 3), "load": round(os.getloadavg()[0], 1)}
        with self._path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(told) + "\n")

    def lines(self) -> list[str]:
        """A line for each name: how many, their middle, the longest."""
        return [
            f"{name}: n {len(values)}, p50 {median(values):.2f} s, max {max(values):.2f} s"
            for name, values in sorted(self._mine.items())
        ]
