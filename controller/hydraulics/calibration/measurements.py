"""Field tests anyone can do, as frozen values: cups, streams, buckets, meter, gauge, a count.

Each has an error, which the gardener may state; else a default stands, with its reason below.
`predicted.py` compares a test with the network.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from math import isfinite
from typing import Any, ClassVar

from controller.errors import InputError
from controller.units import HEAD_M_PER_PSI

# One standard deviation each. Ours: marks on a kitchen cup, a tape held beside moving water, marks
# on a bucket, a thumb on a stopwatch at both ends, a house meter's dial, a garden gauge's dial.
CUP_SHARE = 0.05
TAPE_M = 0.005
BUCKET_SHARE = 0.03
WATCH_S = 1.0
METER_M3 = 0.001
GAUGE_M = HEAD_M_PER_PSI
COUNT_HOLES = 0.5  # some count a hole that only drips, others do not
# Error of the meter itself at ordinary flows: AWWA C700, 98.5 to 101.5 % (from memory).
METER_SHARE = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One field test. `zones` are those open during it; `name` is the gardener's name for it."""

    kind: ClassVar[str] = ""
    zones: frozenset[str]
    name: str = ""

    @property
    def shown(self) -> str:
        """What it is called in messages."""
        among = f" with {', '.join(sorted(self.zones))} open" if self.zones else ""
        return self.name or f"{self.kind}{among}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cups(Measurement):
    """Water caught under some holes of a row for the same time. Rows and holes count from 1."""

    kind: ClassVar[str] = "cups"
    zone: str
    row: int = 1
    holes: tuple[int, ...]
    volumes_m3: tuple[float, ...]
    time_s: float
    error_share: float = CUP_SHARE  # of each cup
    time_error_s: float = WATCH_S

    def __post_init__(self) -> None:
        _among(self, self.zone)
        _as_many(self, "volumes", self.volumes_m3, self.holes)
        for volume_m3 in self.volumes_m3:
            _above_0(self, "volumes", volume_m3 * 1000.0, "L", _EMPTY)
        _above_0(self, "time", self.time_s, "s")
        _errors(self, self.error_share, self.time_error_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream(Measurement):
    """How high holes that face up throw, or how far holes that face level to the side throw.

    `drop_m` is how far below the mouths the streams land; a height needs none.
    """

    kind: ClassVar[str] = "stream"
    zone: str
    row: int = 1
    holes: tuple[int, ...]
    heights_m: tuple[float, ...] = ()
    reaches_m: tuple[float, ...] = ()
    drop_m: float | None = None
    error_m: float = TAPE_M

    def __post_init__(self) -> None:
        _among(self, self.zone)
        if bool(self.heights_m) == bool(self.reaches_m):
            raise InputError(f"{self.shown}: give heights or reaches, one of the two")
        _as_many(self, "streams", self.heights_m or self.reaches_m, self.holes)
        for size_m in self.heights_m:
            _above_0(self, "heights", size_m, "m", _EMPTY)
        for size_m in self.reaches_m:
            _above_0(self, "reaches", size_m, "m", _EMPTY)
        if self.reaches_m:
            if self.drop_m is None:
                raise InputError(
                    f"{self.shown}: drop: a reach says nothing without how far below the hole "
                    "the stream lands"
                )
            _above_0(self, "drop", self.drop_m, "m")
        _errors(self, self.error_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket(Measurement):
    """Water of a zone, of one row, or (without a zone) of the open tap, caught in a bucket."""

    kind: ClassVar[str] = "bucket"
    zone: str | None = None
    row: int | None = None
    volume_m3: float
    time_s: float
    error_share: float = BUCKET_SHARE
    time_error_s: float = WATCH_S

    def __post_init__(self) -> None:
        if self.zone is not None:
            _among(self, self.zone)
        elif self.zones or self.row is not None:
            raise InputError(
                f"{self.shown}: zone: the open tap is measured with no zone open; name the zone "
                "whose water went into the bucket"
            )
        _above_0(self, "volume", self.volume_m3 * 1000.0, "L")
        _above_0(self, "time", self.time_s, "s")
        _errors(self, self.error_share, self.time_error_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterRun(Measurement):
    """The house meter before and after a timed run, begun with the lines full of water.

    Water drawn in the house during the run counts as water of the zones: nobody may draw any.
    """

    kind: ClassVar[str] = "meter"
    before_m3: float
    after_m3: float
    time_s: float
    error_m3: float = METER_M3
    time_error_s: float = WATCH_S

    def __post_init__(self) -> None:
        if not self.zones:
            raise InputError(f"{self.shown}: zones: a meter run needs at least one zone open")
        if not (isfinite(self.before_m3) and self.before_m3 >= 0.0):
            raise InputError(
                f"{self.shown}: before: found {self.before_m3 * 1000.0:g} L; a meter shows 0 or "
                "more"
            )
        _above_0(self, "after", (self.after_m3 - self.before_m3) * 1000.0, "L", " more than before")
        _above_0(self, "time", self.time_s, "s")
        _errors(self, self.error_m3, self.time_error_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge(Measurement):
    """A pressure gauge at the tap, as head of water, with none or some zones open."""

    kind: ClassVar[str] = "gauge"
    head_m: float
    error_m: float = GAUGE_M

    def __post_init__(self) -> None:
        if not (isfinite(self.head_m) and self.head_m >= 0.0):
            raise InputError(
                f"{self.shown}: pressure: found {self.head_m:g} m of water; a gauge reads 0 or more"
            )
        _errors(self, self.error_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Count(Measurement):
    """How many holes of a zone run, counted with only this zone open."""

    kind: ClassVar[str] = "count"
    zone: str
    running: int
    error_holes: float = COUNT_HOLES

    def __post_init__(self) -> None:
        _among(self, self.zone)
        if self.zones != {self.zone}:
            raise InputError(f'{self.shown}: count the holes of "{self.zone}" with no other open')
        _above_0(self, "running", self.running, "holes")
        _errors(self, self.error_holes)


KINDS: Mapping[str, type[Measurement]] = {
    kind.kind: kind for kind in (Cups, Stream, Bucket, MeterRun, Gauge, Count)
}


def measurement_to_dict(measurement: Measurement) -> dict[str, Any]:
    """A field test as plain values that JSON can hold."""
    plain: dict[str, Any] = {"kind": measurement.kind}
    for field in fields(measurement):
        value = getattr(measurement, field.name)
        if isinstance(value, frozenset):
            value = sorted(value)
        plain[field.name] = list(value) if isinstance(value, tuple) else value
    return plain


def measurement_from_dict(plain: Mapping[str, Any]) -> Measurement:
    """The field test that `measurement_to_dict` made plain; InputError for anything else."""
    kind = KINDS.get(str(plain.get("kind")))
    if kind is None:
        raise InputError(
            f"a field test of kind {plain.get('kind')!r}; allowed are {', '.join(KINDS)}"
        )
    values: dict[str, Any] = {}
    for field in fields(kind):
        if field.name in plain:
            value = plain[field.name]
            if field.name == "zones":
                value = frozenset(value)
            values[field.name] = tuple(value) if isinstance(value, list) else value
        elif field.default is MISSING:
            raise InputError(f"a field test of kind {kind.kind} lacks {field.name!r}")
    unknown = sorted(set(plain) - set(values) - {"kind"})
    if unknown:
        raise InputError(f"a field test of kind {kind.kind} has no {unknown[0]!r}")
    return kind(**values)


_EMPTY = "; a hole that gives nothing is plugged or dry: say so in the garden file instead"


def _above_0(what: Measurement, key: str, found: float, unit: str, more: str = "") -> None:
    if not (isfinite(found) and found > 0.0):
        raise InputError(f"{what.shown}: {key}: found {found:g} {unit}; allowed is above 0{more}")


def _errors(what: Measurement, *stated: float) -> None:
    """Refuse an error below 0, and a test whose error is stated as 0."""
    if not all(isfinite(error) and error >= 0.0 for error in stated) or stated[0] == 0.0:
        raise InputError(f"{what.shown}: error: no reading is exact; state an error above 0")


def _among(what: Measurement, zone: str) -> None:
    if zone not in what.zones:
        raise InputError(f'{what.shown}: zone "{zone}" was measured, so it must have been open')


def _as_many(what: Measurement, key: str, found: tuple[float, ...], holes: tuple[int, ...]) -> None:
    if not holes or len(found) != len(holes):
        raise InputError(
            f"{what.shown}: {key}: found {len(found)} for {len(holes)} holes; one for each hole"
        )
    if len(set(holes)) != len(holes):
        raise InputError(f"{what.shown}: holes: a hole is named twice")
