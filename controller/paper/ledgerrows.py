"""The soil-water ledger as rows, for programs."""

from __future__ import annotations

from collections.abc import Iterable

from controller.demand.records import LedgerDay
from controller.garden.model import Coefficients
from controller.units import litres_from_mm

DUAL = Coefficients.DUAL.value
_METHOD = {
    Coefficients.SINGLE.value: "single crop coefficient",
    DUAL: "dual crop coefficients",
}


def ledger_rows(days: Iterable[LedgerDay]) -> list[dict[str, object]]:
    """One row a zone, part and day, for --json and --csv; SI.

    What the single coefficient does not tell apart, and rain that nobody knows, is None.
    """
    return [_row(day) for day in days]


def plant_litres(day: LedgerDay) -> tuple[float, float]:
    """What one plant drew that day, and what it and its ground lost together. [L]

    With the single coefficient the two are not told apart, and both are the latter.
    """
    ground_m2 = day.ground_m2 / day.plants
    together = litres_from_mm(day.used_mm, ground_m2)
    if day.coefficients != DUAL:
        return together, together
    return litres_from_mm(day.transpired_mm, ground_m2), together


def _row(d: LedgerDay) -> dict[str, object]:
    apart = d.coefficients == DUAL
    drew: tuple[float, float] | None = None
    if d.plants > 0.0 and d.ground_m2 > 0.0:
        drew = plant_litres(d)
    return {
        "zone": d.zone,
        "part": d.part,
        "date": d.day.isoformat(),
        "account": d.account,
        "crop": d.crop,
        "stage": d.stage,
        "phase": d.phase,
        "day_of_planting": d.day_of_planting,
        "coefficients": d.coefficients,
        "method": _METHOD.get(d.coefficients, d.coefficients),
        "eto_mm": round(d.eto_mm, 4),
        "eto_method": d.method,
        "rung": d.rung,
        "measured": d.measured,
        "kc": round(d.kc, 4),
        "kcb": round(d.kcb, 4) if apart else None,
        "ke": round(d.ke, 4) if apart else None,
        "exposure": round(d.exposure, 4),
        "etc_mm": round(d.etc_mm, 4),
        "stress": round(d.stress, 4),
        "salt_stress": round(d.salt_stress, 4),
        "used_mm": round(d.used_mm, 4),
        "transpired_mm": round(d.transpired_mm, 4) if apart else None,
        "evaporated_mm": round(d.evaporated_mm, 4) if apart else None,
        "rain_mm": round(d.rain_mm, 4) if d.rain_known else None,
        "rain_unused_mm": round(d.rain_unused_mm, 4),
        "runoff_mm": round(d.runoff_mm, 4),
        "snow_mm": round(d.snow_mm, 4),
        "watered_mm": round(d.watered_mm, 4),
        "water_from": d.water_from,
        "passed_mm": round(d.passed_mm, 4),
        "drained_mm": round(d.drained_mm, 4),
        "handed_over_mm": round(d.handed_over_mm, 4),
        "start_depletion_mm": round(d.start_depletion_mm, 4),
        "depletion_mm": round(d.depletion_mm, 4),
        "wetted_fraction": round(d.wetted_fraction, 4),
        "wet_depletion_mm": round(d.wet_depletion_mm, 4),
        "rest_depletion_mm": round(d.rest_depletion_mm, 4),
        "wet_drained_mm": round(d.wet_drained_mm, 4),
        "wet_kc": round(d.wet_kc, 4),
        "surface_depletion_mm": round(d.surface_depletion_mm, 4) if apart else None,
        "rest_surface_depletion_mm": round(d.rest_surface_depletion_mm, 4) if apart else None,
        "kc_max_base": round(d.kc_max_base, 4) if apart else None,
        "dry_days": d.dry_days,
        "exposed_fraction": round(d.exposed_fraction, 4) if apart else None,
        "cover": round(d.cover, 4),
        "root_depth_m": round(d.root_depth_m, 4),
        "taw_mm": round(d.taw_mm, 4),
        "raw_mm": round(d.raw_mm, 4),
        "depletion_fraction": round(d.depletion_fraction, 4),
        "plants": round(d.plants, 1),
        "ground_m2": round(d.ground_m2, 4),
        "plant_litres": None if drew is None else round(drew[0], 4),
        "plant_and_ground_litres": None if drew is None else round(drew[1], 4),
    }
