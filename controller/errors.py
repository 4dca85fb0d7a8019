"""Every error Rowgate raises.

RowgateError                    caught by name in three places only: cli, daemon, page
├─ InputError(ValueError)       what a person wrote cannot be used; exit code 2
│  ├─ GardenFileError           carries every fault found in a garden file
│  ├─ CropFileError             a crop or soil table
│  ├─ WeatherFileError          a weather file
│  └─ QuantityError             one quantity, as in "1/16 in"
├─ OutOfRange(ValueError)       a physics input beyond its stated range
├─ NoSolution(ArithmeticError)  a root find did not close; carries bracket and residual
├─ NoWeather(LookupError)       no source has the day
├─ ValveRefused(RuntimeError)   the state table, a deadline, a cap or a doubtful clock said no
├─ ValveFault(RuntimeError)     a line did not do as told
├─ LogbookError(RuntimeError)   what happened cannot be written down
└─ DaemonError(RuntimeError)    no daemon runs, or one runs already
"""

from __future__ import annotations

from collections.abc import Sequence


class RowgateError(Exception):
    """The root of every error we raise."""


class InputError(RowgateError, ValueError):
    """What a person wrote cannot be used as it stands."""


class GardenFileError(InputError):
    """A garden file with faults; `faults` holds one readable line for each."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))


class CropFileError(InputError):
    """A crop or soil table that does not read."""


class WeatherFileError(InputError):
    """A weather file that does not read."""


class QuantityError(InputError):
    """One quantity that does not read, as "1.5" where "1.5 mm" was needed."""


class OutOfRange(RowgateError, ValueError):
    """A physics input beyond its stated range, or not a number."""

    def __init__(self, name: str, value: float, low: float, high: float) -> None:
        self.name, self.value, self.low, self.high = name, value, low, high
        super().__init__(f"{name}: found {value!r}; allowed is {low:g} to {high:g}")


class NoSolution(RowgateError, ArithmeticError):
    """A root find that did not close."""

    def __init__(self, what: str, low: float, high: float, residual: float) -> None:
        self.what, self.low, self.high, self.residual = what, low, high, residual
        super().__init__(
            f"{what}: no solution between {low:g} and {high:g}, {residual:g} left over"
        )


class NoWeather(RowgateError, LookupError):
    """No source has the weather asked for."""


class ValveRefused(RowgateError, RuntimeError):
    """A valve may not be opened now; the message says why."""


class ValveFault(RowgateError, RuntimeError):
    """A line did not do as it was told."""


class LogbookError(RowgateError, RuntimeError):
    """What happened, or is to happen, cannot be written down."""


class DaemonError(RowgateError, RuntimeError):
    """No daemon answers, or one already runs."""


def require_range(name: str, value: float, low: float, high: float) -> float:
    """Give back `value` if low <= value <= high; raise `OutOfRange` otherwise, also for NaN."""
    if not low <= value <= high:
        raise OutOfRange(name, value, low, high)
    return value
