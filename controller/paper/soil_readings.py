"""Soil moisture as a person read it, against the ledger's figure for the ground the line wets.

A check: an account starts anew from a reading only where a person says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from controller.demand.records import LedgerDay
from controller.errors import InputError
from controller.logbook.records import Reading
from controller.paper.text import short_day

KIND, BY_VOLUME, BY_FEEL = "soil moisture", "% by volume", "by feel"
FEEL = ("dry", "moist", "wet")  # kept as 0, 1, 2
MOST_PCT = 70.0  # more water than any soil has room for; our choice
FAR_PCT = 5.0  # a difference worth a look, in points; probes differ by half of that; our choice
WET_LEFT = 0.9  # of the available water: wet; dry is what the crop feels; our choice
_PERCENT = 100.0
_DRIER = (
    "water that did not come (a blocked row, a valve that stayed shut), rain that missed the bed, "
    "a soil that holds less than the file's, or a probe beside the wetted ground"
)
_WETTER = (
    "water or rain that nobody wrote down, a valve that drips, a soil that holds more than the "
    "file's, or a probe right at a hole"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilCheck:
    """One reading and the ledger's figure of that evening, in the reading's own terms."""

    day: date
    zone: str
    part: str
    read: str
    computed: str
    far: bool
    drier: bool = False  # the soil, than the ledger has it

    @property
    def words(self) -> str:
        """The reading and the ledger's figure, as text."""
        where = f"{self.zone}, {self.part}" if self.part else self.zone
        sentence = (
            f"Soil read on {short_day(self.day)}, {where}: {self.read}; "
            f"the ledger has {self.computed}"
        )
        if not self.far:
            return f"{sentence}."
        causes = _DRIER if self.drier else _WETTER
        return (
            f"{sentence}; look at the soil. Likely causes: {causes}. Read it again at two or "
            "three places the line wets; if it is so, remove the cause, or take the reading as the "
            f'account\'s new start: rowgate note soil "{self.zone}" PERCENT --start.'
        )

    def row(self) -> dict[str, Any]:
        """The same as a row for programs."""
        return {
            "day": self.day.isoformat(),
            "zone": self.zone,
            "part": self.part,
            "read": self.read,
            "computed": self.computed,
            "far": self.far,
        }


def moisture_from(words: str) -> tuple[float, str]:
    """Value and unit of a reading, as "21 %", "21" or "moist".

    Raises
    ------
    InputError
        If it is neither, or more water than a soil has room for.
    """
    text = words.strip().lower()
    if text in FEEL:
        return float(FEEL.index(text)), BY_FEEL
    try:
        value = float(text.removesuffix("%").strip())
    except ValueError:
        raise InputError(
            f"found {words!r}; allowed is a percentage by volume, as in 21, or one of: "
            f"{', '.join(FEEL)}"
        ) from None
    if not 0.0 <= value <= MOST_PCT:
        raise InputError(f"found {words!r}; soil holds 0 to {MOST_PCT:.0f} percent by volume")
    return value, BY_VOLUME


def moisture_words(reading: Reading) -> str:
    """A reading as text."""
    if reading.unit == BY_FEEL:
        return FEEL[min(max(round(reading.value), 0), len(FEEL) - 1)]
    return f"{reading.value:.0f} % by volume"


def soil_checks(
    readings: Iterable[Reading],
    ledger: Iterable[LedgerDay],
    field_capacity: dict[str, float],
) -> list[SoilCheck]:
    """Every reading beside the accounts of its zone that evening.

    The ledger's moisture is that of the ground the line wets, the mean over the depth of the roots:
    field capacity less what is missing. `field_capacity` is each zone's soil's, as a share of
    volume.
    """
    rows: dict[tuple[str, date], list[LedgerDay]] = {}
    for row in ledger:
        rows.setdefault((row.zone, row.day), []).append(row)
    return [
        _check(reading, row, field_capacity[row.zone])
        for reading in readings
        if reading.zone is not None and reading.day is not None
        for row in rows.get((reading.zone, reading.day), [])
        if row.zone in field_capacity
    ]


def _check(reading: Reading, row: LedgerDay, field_capacity: float) -> SoilCheck:
    if reading.unit == BY_FEEL:
        computed = _feel(row)
        felt = moisture_words(reading)
        far, drier = computed != felt, FEEL.index(felt) < FEEL.index(computed)
    else:
        depth_mm = 1000.0 * row.root_depth_m
        missing = row.wet_depletion_mm / depth_mm if depth_mm > 0.0 else 0.0
        percent = _PERCENT * max(0.0, field_capacity - missing)
        computed = f"{percent:.0f} % in the depth of the roots"
        far, drier = abs(percent - reading.value) > FAR_PCT, reading.value < percent
    return SoilCheck(
        day=row.day,
        zone=row.zone,
        part=row.part,
        read=moisture_words(reading),
        computed=computed,
        far=far,
        drier=far and drier,
    )


def _feel(row: LedgerDay) -> str:
    """How soil that lacks so much would feel: dry from where the crop feels it."""
    if row.wet_depletion_mm > row.raw_mm:
        return "dry"
    left = 1.0 - row.wet_depletion_mm / row.taw_mm if row.taw_mm > 0.0 else 1.0
    return "wet" if left >= WET_LEFT else "moist"
