"""The first years of a perennial: what it is on the way from setting out to full growth.

The tables describe established plants. A perennial just set out has the roots it was dug up with
and shades next to nothing; it takes some years to become what the tables say. Its own figures stand
in crops.toml as `first_years`; else those of its kind do (tree, bush, cane ...), under
`[first_years.KIND]` in the same file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.errors import CropFileError

# What is believed of each figure: our choice, wide enough for any plant.
_BELIEVED: Mapping[str, tuple[float, float]] = {
    "roots_m": (0.05, 1.0),
    "years": (1, 15),
    "cover_full": (0.01, 1.0),
    "moist_days": (0, 90),
}
# The kind of a perennial whose row names none, by its height: our choice.
_KIND_BY_HEIGHT = ((2.5, "tree"), (1.0, "bush"), (0.0, "herb"))


class YoungStand(NamedTuple):
    """How far the plants of one of the first years have come, at its mid-season."""

    cover: float  # of the ground, where they stand as far apart as is usual
    share: float  # of the ground that full-grown plants of the same bed shade


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstYears:
    """From setting out to full growth.

    Roots are `roots_m` deep when set out and full after `years` growing years. `cover` is the share
    of the ground that the plants shade at mid-season of their first years, one figure a year,
    `cover_full` that of established ones, all at usual spacing. For `moist_days` after setting out
    they are kept moist. `kind` is empty where the figures are the crop's own.
    """

    roots_m: float
    years: int
    cover: tuple[float, ...]
    cover_full: float
    moist_days: int
    kind: str = ""
    label: str = ""
    note: str = ""

    def stand_in(self, year: int) -> YoungStand:
        """The stand at mid-season of a growing year, the first is 1.

        From the last year that has a figure, cover grows evenly until the year after `years`, which
        is the first of the established plants. Our choice.
        """
        last = len(self.cover)
        if year <= last:
            cover = self.cover[max(year, 1) - 1]
        else:
            way = min((year - last) / (self.years + 1 - last), 1.0)
            cover = self.cover[-1] + way * (self.cover_full - self.cover[-1])
        return YoungStand(cover, cover / self.cover_full)

    def roots_by(self, years_grown: float, *, full_m: float) -> float:
        """Depth of the roots after so many growing years, the one under way by its share. [m]

        They grow evenly from `roots_m` to `full_m`: our choice, within 0.2 m of gardeners' custom.
        """
        first_m = min(self.roots_m, full_m)
        return first_m + (full_m - first_m) * min(max(years_grown, 0.0) / self.years, 1.0)


def kinds_of(rows: Mapping[str, Any]) -> dict[str, FirstYears]:
    """The tables `[first_years.KIND]` of crops.toml."""
    return {kind: _read(f"first_years.{kind}", row, kind=kind) for kind, row in rows.items()}


def first_years_of(
    where: str,
    written: Any,
    kinds: Mapping[str, FirstYears],
    *,
    perennial: bool,
    height_m: float,
) -> FirstYears | None:
    """A crop's first years: its own, those of the kind it names, or of the kind of its height.

    None for a crop that is no perennial, and where no kinds are known at all.
    """
    if not perennial:
        if written is not None:
            raise CropFileError(f"{where}, first_years: only a perennial has them")
        return None
    if isinstance(written, Mapping):
        return _read(f"{where}, first_years", written, kind="")
    if written is None:
        kind = next(kind for least_m, kind in _KIND_BY_HEIGHT if height_m >= least_m)
        return kinds.get(kind)
    if written not in kinds:
        raise CropFileError(
            f"{where}, first_years: found {written!r}; allowed are {', '.join(kinds)}, or a table "
            f"of {', '.join(_BELIEVED)} and cover"
        )
    return kinds[written]


def _read(where: str, row: Mapping[str, Any], *, kind: str) -> FirstYears:
    faults = [f"{where}, {key}: there is no such figure" for key in _unknown(row)]
    for key, (low, high) in _BELIEVED.items():
        if not _within(row.get(key), low, high):
            faults.append(f"{where}, {key}: found {row.get(key)!r}; allowed is {low:g} to {high:g}")
    cover = row.get("cover")
    if not isinstance(cover, list) or not cover or not all(_within(c, 0.001, 1.0) for c in cover):
        faults.append(f"{where}, cover: found {cover!r}; needs a share of the ground for each year")
    elif not faults and (len(cover) > row["years"] or not _grows([*cover, row["cover_full"]])):
        faults.append(
            f"{where}, cover: found {cover!r}; needs at most a figure for each of the "
            f"{row['years']} years, growing up to cover_full"
        )
    if faults:
        raise CropFileError("\n".join(faults))
    return FirstYears(
        roots_m=float(row["roots_m"]),
        years=int(row["years"]),
        cover=tuple(float(share) for share in row["cover"]),
        cover_full=float(row["cover_full"]),
        moist_days=int(row["moist_days"]),
        kind=kind,
        label=row.get("label", kind),
        note=row.get("note", ""),
    )


def _grows(cover: Sequence[float]) -> bool:
    return list(cover) == sorted(cover)


def _unknown(row: Mapping[str, Any]) -> list[str]:
    return [key for key in row if key not in (*_BELIEVED, "cover", "label", "note")]


def _within(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
