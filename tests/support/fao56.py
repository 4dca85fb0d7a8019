"""Equations of FAO-56 that its worked examples need and the project does not use, as oracles.

Allen, Pereira, Raes, Smith (1998), FAO Paper 56. They share no code with the project and check
nothing. The last function is a way to the project's own coefficients.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians, sin, sqrt, tan

from controller.demand.plants.stages import CourseDay, CropDay, crop_on
from crops.catalogue import load


def noon_sun_height_rad(*, latitude_deg: float, day_of_year: int) -> float:
    """Box 18 with the declination of eq. 24: height of the sun over the horizon at noon. [rad]"""
    declination_rad = 0.409 * sin(2.0 * pi * day_of_year / 365.0 - 1.39)
    return pi / 2.0 - abs(radians(latitude_deg) - declination_rad)


def effective_cover(*, cover: float, height_width_ratio: float, sun_height_rad: float) -> float:
    """Box 18: share of the ground that rows shade while the sun stands at that height, fc eff."""
    return min(cover * (1.0 + height_width_ratio / tan(sun_height_rad)), 1.0)


def full_cover_kcb(*, height_m: float, wind_2m_m_s: float, rh_min_pct: float) -> float:
    """Chapter 9, after eq. 98: Kcb of plants that no table has, where they cover all ground."""
    climate = 0.04 * (wind_2m_m_s - 2.0) - 0.004 * (rh_min_pct - 45.0)
    return float(min(1.0 + 0.1 * height_m, 1.20) + climate * (height_m / 3.0) ** 0.3)


def density_kcb(
    *,
    cover: float,
    effective_cover: float,
    height_m: float,
    kcb_full: float,
    kc_min: float = 0.15,
) -> float:
    """Eq. 98: Kcb of plants that stand apart, from what they shade."""
    share = min(1.0, 2.0 * cover, effective_cover ** (1.0 / (1.0 + height_m)))
    return float(kc_min + (kcb_full - kc_min) * share)


def stress_with_salt(*, salt_stress: float, water_stress: float) -> float:
    """Eq. 92: Ks of a crop that suffers from salt and from lack of water."""
    return salt_stress * water_stress


def hargreaves_mm_day(*, tmin_c: float, tmax_c: float, extraterrestrial_mj_m2: float) -> float:
    """Eq. 52: reference ET from temperatures alone, fair for means of 5 to 10 days."""
    warmth = max((tmin_c + tmax_c) / 2.0 + 17.8, 0.0)
    return 0.0023 * warmth * sqrt(tmax_c - tmin_c) * 0.408 * extraterrestrial_mj_m2


def mid_and_end(
    *, wind_2m_m_s: float, rh_min_pct: float, height_m: float, **figures: float
) -> tuple[CropDay, CropDay]:
    """The project's crop on a day of mid-season and on its last day, in a climate.

    The tomato of the tables, of that height, with these figures of its own.
    """
    crop = replace(load().crop("tomato"), height_m=height_m, **figures)  # type: ignore[arg-type]
    initial, development, _, _ = crop.stage_days
    mid, end = (
        crop_on(
            crop,
            CourseDay(stage=stage, position=number, day_of_planting=number),
            supported=False,
            wind_2m_m_s=wind_2m_m_s,
            rh_min_pct=rh_min_pct,
        )
        for stage, number in (("mid", initial + development + 1), ("late", sum(crop.stage_days)))
    )
    return mid, end
