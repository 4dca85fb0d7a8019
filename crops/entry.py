"""The figures of a crop and of a soil, and their allowed ranges."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from controller.errors import CropFileError
from crops.firstyears import FirstYears

SURFACE_LAYER_M = 0.10  # depth that dries by evaporation, 0.10-0.15 m: FAO-56 (1998), chapter 7

# The figures that a gardener may set, each with its allowed range (our choice, wide enough for any
# plant or soil, narrow enough to catch a slipped decimal point or a wrong unit).
CROP_FIGURES: Mapping[str, tuple[float, float]] = {
    **dict.fromkeys(("kc_ini", "kc_mid", "kc_end", "kcb_ini", "kcb_mid", "kcb_end"), (0.0, 2.0)),
    **dict.fromkeys(("days_initial", "days_development", "days_mid", "days_late"), (0, 400)),
    "height_m": (0.01, 12.0),
    "root_min_m": (0.05, 5.0),
    "root_max_m": (0.05, 5.0),
    "depletion_fraction": (0.1, 0.8),  # the limits of table 22, note 2
    "in_row_spacing_m": (0.005, 10.0),
    "spread_m": (0.02, 10.0),
    "gdd_base_c": (-5.0, 30.0),
    "gdd_upper_c": (10.0, 50.0),
    **dict.fromkeys(("kc_mid_supported", "kcb_mid_supported"), (0.0, 2.0)),
    "height_supported_m": (0.01, 12.0),
    "salinity_threshold_ds_m": (0.0, 30.0),
    "salinity_slope_pct": (0.0, 100.0),
}
CROP_MAY_LACK = frozenset(
    {
        *("gdd_base_c", "salinity_threshold_ds_m", "salinity_slope_pct"),
        *("kc_mid_supported", "kcb_mid_supported", "height_supported_m"),
    }
)
# Temperature above which heat brings no more growth: Oregon State University Extension EM 9305
# (86 °F for sweet corn); our choice for every other crop.
USUAL_GDD_UPPER_C = 30.0
USUAL_CURVE_NUMBER = 75.0  # our choice: the upper end of flat mulched beds, 60-75 (from memory)
EMERGENCE_SOIL_C = (5.0, 10.0, 15.0, 20.0, 25.0)  # soil temperatures of `emergence_days`
LONGEST_EMERGENCE_DAYS = 90.0
COLDEST_EMERGENCE_C = -5.0  # our choice: no vegetable comes up in frozen ground
SOIL_FIGURES: Mapping[str, tuple[float, float]] = {
    "field_capacity": (0.02, 0.70),
    "wilting_point": (0.005, 0.50),
    "rew_mm": (0.5, 20.0),
    "intake_mm_h": (0.1, 500.0),
    "wetted_width_m": (0.05, 2.0),
    "curve_number": (30.0, 98.0),
}
DRY_DOWNS = ("", "stop", "taper")
STAGES = ("days_initial", "days_development", "days_mid", "days_late")
RANGES = (
    "field_capacity_range",
    "wilting_point_range",
    "available_range",
    "rew_range_mm",
    "tew_range_mm",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Autumn:
    """Stages of a crop that is planted in autumn and stands through winter.

    `warmth` has the lengths of its stages in degree days over `base_c`, so that winter stops them.
    Full cover begins at the earliest on the first day of `cover_from_h` hours, yellowing 30 days
    after the first day of `yellow_from_h`.
    """

    warmth: tuple[float, float, float, float]
    base_c: float
    cover_from_h: float
    yellow_from_h: float


def autumn_of(where: str, written: Mapping[str, Any] | None) -> Autumn | None:
    """The autumn figures of a row; CropFileError if one is wrong."""
    if written is None:
        return None
    warmth = tuple(map(float, written.get("warmth", ())))
    base_c, hours = (
        written.get("base_c"),
        (written.get("cover_from_h"), written.get("yellow_from_h")),
    )
    fits = len(warmth) == 4 and all(1.0 <= each <= 5000.0 for each in warmth)
    if not fits or base_c is None or any(h is None or not 8.0 <= h <= 20.0 for h in hours):
        raise CropFileError(
            f"{where}, autumn: found {dict(written)}; needs warmth (four sums of 1 to 5000 degree "
            "days), base_c, cover_from_h and yellow_from_h (8 to 20 h)"
        )
    return Autumn(
        warmth=warmth,  # type: ignore[arg-type]
        base_c=float(base_c),
        cover_from_h=float(hours[0]),  # type: ignore[arg-type]
        yellow_from_h=float(hours[1]),  # type: ignore[arg-type]
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One crop's figures; the head of crops.toml says what each is.

    `root_min_m` is the smaller depth of the printed range, for planning water; `root_max_m` the
    larger. `emergence_days` are for soil of `EMERGENCE_SOIL_C`, 0 where none came up or nobody
    tried; empty: not known. Below the coldest the rate falls to nothing at `emergence_base_c`;
    under `emergence_least_c` seed may rot; a garden row takes `emergence_slower` times the days.
    The `*_supported` figures are None where supports change nothing. `dry_down` is one of
    `DRY_DOWNS`. Picked for weeks, the first picking comes after the share `first_picking` of mid;
    None: picked once, at the end. `first_years` are a perennial's. `from_memory` names the figures
    that no table prints, `changed` those a gardener set.
    """

    name: str
    label: str
    family: str
    kc_ini: float
    kc_mid: float
    kc_end: float
    kcb_ini: float
    kcb_mid: float
    kcb_end: float
    stage_days: tuple[int, int, int, int]
    height_m: float
    root_min_m: float
    root_max_m: float
    depletion_fraction: float
    in_row_spacing_m: float
    spread_m: float
    gdd_base_c: float | None = None
    gdd_upper_c: float = USUAL_GDD_UPPER_C
    kc_mid_supported: float | None = None
    kcb_mid_supported: float | None = None
    height_supported_m: float | None = None
    emergence_days: tuple[float, ...] = ()
    emergence_base_c: float | None = None
    emergence_least_c: float | None = None
    emergence_slower: float = 1.0
    dry_down: str = ""
    autumn: Autumn | None = None
    first_picking: float | None = None
    salinity_threshold_ds_m: float | None = None
    salinity_slope_pct: float | None = None
    perennial: bool = False
    first_years: FirstYears | None = None
    also: tuple[str, ...] = ()
    source: str = ""
    from_memory: frozenset[str] = frozenset()
    changed: frozenset[str] = frozenset()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Soil:
    """One soil's figures; the head of soils.toml explains them, `note` how each was chosen."""

    name: str
    label: str
    field_capacity: float
    wilting_point: float
    rew_mm: float
    intake_mm_h: float
    wetted_width_m: float
    curve_number: float = USUAL_CURVE_NUMBER
    like: str = ""
    also: tuple[str, ...] = ()
    source: str = ""
    from_memory: frozenset[str] = frozenset()
    changed: frozenset[str] = frozenset()
    note: str = ""
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict, hash=False)

    @property
    def tew_mm(self) -> float:
        """Total evaporable water of the top 0.10 m: FAO-56 (1998), eq. 73. [mm]"""
        return 1000.0 * (self.field_capacity - 0.5 * self.wilting_point) * SURFACE_LAYER_M


def crop_figures(crop: Crop) -> dict[str, Any]:
    """All figures of a crop by the names of `CROP_FIGURES`."""
    figures = {key: getattr(crop, key) for key in CROP_FIGURES if key not in STAGES}
    return {**figures, **dict(zip(STAGES, crop.stage_days, strict=True))}


def soil_figures(soil: Soil) -> dict[str, Any]:
    """All figures of a soil by the names of `SOIL_FIGURES`."""
    return {key: getattr(soil, key) for key in SOIL_FIGURES}


def checked_crop(
    where: str,
    name: str,
    figures: Mapping[str, Any],
    written: Mapping[str, Any],
    about: Mapping[str, Any],
) -> Crop:
    """Check the figures together and make a crop from them.

    Two figures that a gardener may leave out are filled in: plants spread until they meet in the
    row, and degree days have the usual upper limit.
    """
    figures = {
        "spread_m": figures.get("in_row_spacing_m"),
        "gdd_upper_c": USUAL_GDD_UPPER_C,
        **figures,
    }
    faults = _faults(where, written, figures, CROP_FIGURES, CROP_MAY_LACK)
    if not faults:
        faults += [
            f"{where}, {key}: found {figures[key]!r}; a stage has whole days"
            for key in STAGES
            if figures[key] != int(figures[key])
        ]
        if not sum(figures[key] for key in STAGES):
            faults.append(f"{where}: its four stages have no days at all")
        if figures["root_max_m"] < figures["root_min_m"]:
            faults.append(
                f"{where}, root_max_m: found {figures['root_max_m']:g}, which is less than "
                f"root_min_m, {figures['root_min_m']:g}; water is planned on root_min_m, "
                "so change that one too"
            )
        base_c = figures.get("gdd_base_c")
        if base_c is not None and base_c >= figures["gdd_upper_c"]:
            faults.append(
                f"{where}, gdd_upper_c: found {figures['gdd_upper_c']:g}, which must be more than "
                f"gdd_base_c, {base_c:g}"
            )
    faults += _faults_of_growing(where, about)
    if faults:
        raise CropFileError("\n".join(faults))
    plain = {
        key: None if (value := figures.get(key)) is None else float(value)
        for key in CROP_FIGURES
        if key not in STAGES
    }
    days = tuple(int(figures[key]) for key in STAGES)
    return Crop(name=name, stage_days=days, **plain, **about)  # type: ignore[arg-type]


def checked_soil(
    where: str,
    name: str,
    figures: Mapping[str, Any],
    written: Mapping[str, Any],
    about: Mapping[str, Any],
) -> Soil:
    """Check the figures together and make a soil from them."""
    figures = {"curve_number": USUAL_CURVE_NUMBER, **figures}
    faults = _faults(where, written, figures, SOIL_FIGURES, frozenset())
    if faults:
        raise CropFileError("\n".join(faults))
    plain = {key: float(figures[key]) for key in SOIL_FIGURES}
    soil = Soil(name=name, **plain, **about)  # type: ignore[arg-type]
    if soil.wilting_point >= soil.field_capacity:
        raise CropFileError(
            f"{where}, wilting_point: found {soil.wilting_point:g}, which must be less than "
            f"field_capacity, {soil.field_capacity:g}"
        )
    if soil.rew_mm >= soil.tew_mm:
        raise CropFileError(
            f"{where}, rew_mm: found {soil.rew_mm:g}, which must be less than the "
            f"{soil.tew_mm:.1f} mm that its top {SURFACE_LAYER_M:g} m can lose in all"
        )
    return soil


def _faults_of_growing(where: str, about: Mapping[str, Any]) -> list[str]:
    """The same for what is not a single number: emergence, first picking, dry-down."""
    days, end = about.get("emergence_days", ()), about.get("dry_down", "")
    faults = []
    if days and not (
        len(days) == len(EMERGENCE_SOIL_C)
        and all(0 <= each <= LONGEST_EMERGENCE_DAYS for each in days)
        and any(days)
        and all(days[days.index(next(filter(None, days))) :])  # once they come up, always warmer
    ):
        faults.append(
            f"{where}, emergence_days: found {list(days)}; needs {len(EMERGENCE_SOIL_C)} figures "
            f"up to {LONGEST_EMERGENCE_DAYS:g}, with 0 only at the cold end"
        )
    elif days:
        base_c = about.get("emergence_base_c")
        coldest_c = next(at for at, n in zip(EMERGENCE_SOIL_C, days, strict=True) if n)
        if base_c is None or not COLDEST_EMERGENCE_C <= base_c < coldest_c:
            faults.append(
                f"{where}, emergence_base_c: found {base_c}; allowed is {COLDEST_EMERGENCE_C:g} "
                f"to less than {coldest_c:g}, where emergence_days begin"
            )
        if not 1.0 <= (slower := about.get("emergence_slower", 1.0)) <= 3.0:
            faults.append(f"{where}, emergence_slower: found {slower}; allowed is 1 to 3")
    picking = about.get("first_picking")
    if picking is not None and not 0.0 <= picking <= 1.0:
        faults.append(f"{where}, first_picking: found {picking}; allowed is 0 to 1")
    if end not in DRY_DOWNS:
        faults.append(f"{where}, dry_down: found {end!r}; allowed are stop and taper")
    return faults


def _faults(
    where: str,
    written: Mapping[str, Any],
    figures: Mapping[str, Any],
    known: Mapping[str, tuple[float, float]],
    may_lack: frozenset[str],
) -> list[str]:
    """One readable line for each figure that is unknown, missing or out of its range."""
    faults = []
    for key, value in written.items():
        if key not in known:
            close = difflib.get_close_matches(key, known, n=1, cutoff=0.4)
            hint = f"did you mean {close[0]}?" if close else "known are " + ", ".join(known)
            faults.append(f"{where}, {key}: there is no such figure; {hint}")
            continue
        low, high = known[key]
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isfinite(value) or not low <= value <= high:
            faults.append(f"{where}, {key}: found {value!r}; allowed is {low:g} to {high:g}")
    # a missing Kcb is no fault if its Kc is missing too: it follows from Kc
    missing = [
        key
        for key in known
        if figures.get(key) is None
        and key not in may_lack
        and not (key.startswith("kcb") and figures.get(key.replace("kcb", "kc")) is None)
    ]
    if missing:
        faults.append(
            f'{where}: missing {", ".join(missing)}; or say like = "..." to start from a known one'
        )
    return faults
