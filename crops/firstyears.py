"""The first years of a perennial, from setting out to full growth.

The tables describe established plants. A perennial just set out has the roots with which it was
lifted and shades next to nothing; it takes some years to reach the figures of the tables. Its own
figures are in crops.toml as `first_years`, or those of its kind (tree, bush, cane ...) under
`[first_years.KIND]` in the same file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.errors import CropFileError

# Allowed range of each figure: our choice, wide enough for any plant.
_ALLOWED: Mapping[str, tuple[float, float]] = {
    "roots_m": (0.05, 1.0),
    "years": (1, 15),
    "cover_full": (0.01, 1.0),
    "moist_days": (0, 90),
}
# Kind of a perennial whose row names none, by its least height: our choice.
_KIND_BY_HEIGHT = ((2.5, "tree"), (1.0, "bush"), (0.0, "herb"))


class YoungStand(NamedTuple):
    """Cover of the plants at mid-season of one of the first years."""

    cover: float  # share of the ground, at usual spacing
    share: float  # the same over the cover of full-grown plants


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstYears:
    """From setting out to full growth.

    Roots are `roots_m` deep when the plants are set out and full after `years` growing years.
    `cover` is the share of the ground that they shade at mid-season of their first years, one
    figure a year; `cover_full` is that of established plants; both at usual spacing. Plants are
    kept moist for `moist_days` after setting out. `kind` is empty if the figures are the crop's
    own.
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

        From the last year with a figure, cover grows linearly until the year after `years`, in
        which the plants are established. Our choice.
        """
        last = len(self.cover)
        if year <= last:
            cover = self.cover[max(year, 1) - 1]
        else:
            way = min((year - last) / (self.years + 1 - last), 1.0)
            cover = self.cover[-1] + way * (self.cover_full - self.cover[-1])
        return YoungStand(cover, cover / self.cover_full)

    def roots_by(self, years_grown: float, *, full_m: float) -> float:
        """Depth of the roots after a number of growing years, which need not be whole. [m]

        It grows linearly from `roots_m` to `full_m`: our choice, within 0.2 m of gardeners' custom.
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
    """First years of a crop: its own, those of the kind it names, or those of its height's kind.

    None for a crop that is no perennial, or if no kinds are known.
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
            f"of {', '.join(_ALLOWED)} and cover"
        )
    return kinds[written]


def _read(where: str, row: Mapping[str, Any], *, kind: str) -> FirstYears:
    faults = [f"{where}, {key}: there is no such figure" for key in _unknown(row)]
    for key, (low, high) in _ALLOWED.items():
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
    return [key for key in row if key not in (*_ALLOWED, "cover", "label", "note")]


def _within(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
