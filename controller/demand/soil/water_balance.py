"""One zone, one day: the soil-water balance, which makes and loses no water.

Depths are over the whole ground the rows serve. The order of a day's events is part of the result
and is this:

1. the account changes hands (a planting begins or ends) and roots grow;
2. water enters, early in the day: the rain that a film lets through, and the watering that the
   driest quarter gets;
3. stress follows from what is then missing;
4. the crop uses water, or bare soil loses it;
5. what is left above field capacity drains (FAO-56, eq. 85 and 88).

What the line gives beyond its driest quarter goes below the roots elsewhere, or fills the line: it
is booked as passed on that day, and no plant gets it.

Under a planting the account is the root zone (eq. 82-86). Before the first planting and between
plantings it is the layer that dries by evaporation, the top 0.10 m, which loses Kr * 1.15 * ETo
(FAO-56, eq. 74, and annex 7 for 1.15); what that layer cannot hold goes below it. When the account
changes, at most the new one's capacity is taken over as missing and the rest is handed over; soil
that roots reach joins at field capacity. So deep dryness left by an earlier crop is forgotten: soak
the bed before the next one.

An account without a yesterday starts full under a planting (eq. 87 after a soaking: FAO-56,
chapter 8, takes the initial depletion as near 0 after heavy rain or irrigation) and, on bare soil,
with the readily evaporable water gone (our choice: neither just rained on nor dried out). So a
planting finds the top as dry as the weather before it left it. The soil below the top is then at
field capacity: our choice, for accounts begin in winter, whose rain fills it, and nothing draws
from it until there are roots. Where no rain enters all winter, as under a tunnel, that is too wet:
soak such a bed before planting.

Under a planting the ground that the line wets and the rest are two stores
(`daily_balance.dual_day`). The day's loss is computed with dual coefficients, plants and open
ground apart; or, if the garden file says so, with the single crop coefficient. In both cases depths
are over the whole ground, and what a surface layer loses comes out of the root zone.

The share p that may be used before stress (Table 22) follows the mean transpiration of a week, not
the day's whole loss: the paper allows a constant share for a period, and evaporation from wet soil
needs no roots. So rain never makes a bed due.

Each day is a function of yesterday's `LedgerDay`, today's inputs and the figures of the ground
alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from controller.demand.plants.canopy import canopy_on
from controller.demand.plants.stages import crop_on
from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil.daily_balance import (
    KC_MAX_SELDOM,
    LEAST_ABOVE_KCB,
    SELDOM_DAYS,
    DayDemand,
    Stores,
    bucket_day,
    dual_day,
    kc_max,
    kc_max_base,
)
from controller.demand.soil.ground import Part, PlantingFacts
from controller.demand.soil.mulch import evaporation_factor, kc_under_mulch, transpiration_factor
from controller.demand.soil.soil_water import (
    depletion_fraction_adjusted,
    rain_unused_mm,
    raw_mm,
    runoff_mm,
    taw_mm,
)
from controller.errors import OutOfRange, require_range
from controller.garden.model import Coefficients
from crops.entry import SURFACE_LAYER_M

BARE_SOIL_KC = 1.15  # evaporation from wet bare soil over ETo: FAO-56 (1998), annex 7
BARE = "bare"
DRAW_DAYS = 7  # over which the mean of what plants draw is taken; our choice


def advance(
    previous: LedgerDay | None,
    *,
    part: Part,
    today: DayInput,
    watered_mm: float,
    stored_mm: float | None = None,
    water_from: str = "",
) -> LedgerDay:
    """The water balance of a part for one day, from that of the day before.

    Parameters
    ----------
    previous : LedgerDay or None
        The day before; None: the account opens today.
    part : Part
        The ground and its plantings.
    today : DayInput
        The day's weather.
    watered_mm : float
        Watering that passed the valve, over the part's whole ground, 0 to 5000. [mm]
    stored_mm : float, optional
        What the driest quarter got of it, 0 to `watered_mm`; None: all. [mm]
    water_from : str
        Where the watering is known from: a constant of `controller.demand.records`.

    Returns
    -------
    LedgerDay
        The day's water, which closes to nothing. [mm]

    Raises
    ------
    OutOfRange
        If `today` is not the day after `previous`, or a figure is outside its range.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapters 7 and 8; the head of this module says what differs.

    Examples
    --------
    Bare loam that lacks 9 mm gets 10 mm of rain and loses 1.15 x 4.0 mm:

    >>> from datetime import date
    >>> from controller.demand.soil.mulch import mulch_of
    >>> from crops.catalogue import load
    >>> loam, bare = load().soil("loam"), mulch_of("none", 0.0)
    >>> part = Part(zone="a", name="", ground_m2=9.0, soil=loam, plantings=(), mulch=bare)
    >>> today = DayInput(day=date(2031, 4, 1), eto_mm=4.0, method="given", rain_mm=10.0)
    >>> evening = advance(None, part=part, today=today, watered_mm=0.0)
    >>> round(evening.used_mm, 2), round(evening.depletion_mm, 2)
    (4.6, 3.6)
    """
    if previous is not None and today.day.toordinal() - previous.day.toordinal() != 1:
        gap = (today.day - previous.day).days
        raise OutOfRange("days since the ledger's last day", gap, 1, 1)
    stored = watered_mm if stored_mm is None else stored_mm
    water = _day_water(part, today, watered_mm, stored, water_from)
    facts = part.planting_on(today.day)
    if facts is None:
        return _bare_day(previous, part, today, water)
    return _planted_day(previous, part, facts, today, water)


def corrected_by_reading(row: LedgerDay, *, moisture: float, field_capacity: float) -> LedgerDay:
    """The evening of a day, with the moisture of the wetted ground as a person has measured it.

    Parameters
    ----------
    row : LedgerDay
        The day as computed; bare ground is left unchanged.
    moisture, field_capacity : float
        Water in the depth of the roots, as shares of volume, 0 to 1.

    Returns
    -------
    LedgerDay
        The change is booked as `handed_over_mm`, so the balance closes. The ground that the line
        does not wet, where nobody measured, is left unchanged.

    Raises
    ------
    OutOfRange
        If a share is outside its range, or not a number.

    Source
    ------
    FAO-56 (1998), eq. 87: the depletion is 1000 (field capacity - moisture) times the depth.
    """
    require_range("moisture", moisture, 0.0, 1.0)
    require_range("field_capacity", field_capacity, 0.0, 1.0)
    if row.crop is None:
        return row
    missing = 1000.0 * (field_capacity - moisture) * row.root_depth_m
    missing = min(max(missing, 0.0), row.taw_mm)
    more_mm = row.wetted_fraction * (missing - row.wet_depletion_mm)
    return replace(
        row,
        wet_depletion_mm=missing,
        surface_depletion_mm=min(row.surface_depletion_mm, missing),
        rest_depletion_mm=missing if row.wetted_fraction >= 1.0 else row.rest_depletion_mm,
        depletion_mm=row.depletion_mm + more_mm,
        handed_over_mm=row.handed_over_mm + more_mm,
    )


@dataclass(slots=True)
class _DayWater:
    """Water of a day: rain, the part of it that does not enter, watering, the part credited."""

    rain_mm: float
    unused_mm: float
    runoff_mm: float
    watered_mm: float
    stored_mm: float
    water_from: str

    @property
    def entering_mm(self) -> float:
        return self.rain_mm - self.unused_mm - self.runoff_mm


def _day_water(
    part: Part, today: DayInput, watered_mm: float, stored_mm: float, water_from: str
) -> _DayWater:
    require_range("eto_mm", today.eto_mm, 0.0, 50.0)
    require_range("watered_mm", watered_mm, 0.0, 5000.0)
    require_range("stored_mm", stored_mm, 0.0, watered_mm)
    rain = today.rain_mm
    given = (watered_mm, stored_mm, water_from if watered_mm > 0.0 else "")
    if not rain:
        return _DayWater(0.0, 0.0, 0.0, *given)
    unused = rain_unused_mm(rain_mm=rain, eto_mm_day=today.eto_mm)
    runoff = 0.0
    if part.curve_number is not None:
        runoff = runoff_mm(rain_mm=rain, curve_number=part.curve_number)
    runoff = min(runoff, rain - unused)
    # Rain that a film sheds runs to the path and is lost to this ground.
    runoff += (1.0 - part.mulch.rain_share) * (rain - unused - runoff)
    return _DayWater(rain, unused, runoff, *given)


def _bare_day(
    previous: LedgerDay | None, part: Part, today: DayInput, water: _DayWater
) -> LedgerDay:
    """The top layer between plantings: Kr * 1.15 * ETo, less under a mulch."""
    tew, rew = part.soil.tew_mm, part.soil.rew_mm
    start = rew if previous is None else previous.depletion_mm
    opening = min(start, tew)
    kc = BARE_SOIL_KC * evaporation_factor(part.mulch)
    etc = kc * today.eto_mm * part.exposure
    found = bucket_day(
        depletion_mm=opening,
        taw_mm=tew,
        raw_mm=rew,
        entering_mm=water.entering_mm + water.stored_mm,
        demand_mm=etc,
    )
    return _ledger_day(
        part,
        today,
        water,
        account=BARE,
        crop=None,
        stage=BARE,
        day_of_planting=0,
        kc=kc,
        etc_mm=etc,
        stress=found.stress,
        used_mm=found.used_mm,
        drained_mm=found.drained_mm,
        handed_over_mm=opening - start,
        start_depletion_mm=start,
        depletion_mm=found.depletion_mm,
        root_depth_m=SURFACE_LAYER_M,
        taw_mm=tew,
        raw_mm=rew,
        ke=found.stress * kc,
        evaporated_mm=found.used_mm,
        surface_depletion_mm=found.depletion_mm,
        wet_depletion_mm=found.depletion_mm,
        rest_depletion_mm=found.depletion_mm,
        rest_surface_depletion_mm=found.depletion_mm,
        wet_kc=found.stress * kc,
        wet_drained_mm=found.drained_mm,
    )


def _planted_day(
    previous: LedgerDay | None,
    part: Part,
    facts: PlantingFacts,
    today: DayInput,
    water: _DayWater,
) -> LedgerDay:
    """The root zone under a planting, with the coefficients of the garden file."""
    at = facts.course.on(today.day)
    wind, humidity = today.wind_2m_m_s, today.rh_min_pct
    crop = crop_on(
        facts.crop,
        at,
        supported=facts.planting.supported,
        wind_2m_m_s=wind,
        rh_min_pct=humidity,
    )
    depth_m = crop.root_depth_m
    if part.rooting_limit_m is not None:
        depth_m = min(depth_m, part.rooting_limit_m)
    soil = part.soil
    taw = taw_mm(
        field_capacity=soil.field_capacity, wilting_point=soil.wilting_point, root_depth_m=depth_m
    )
    base, dry_days = KC_MAX_SELDOM, SELDOM_DAYS
    if previous is not None:
        base, dry_days = previous.kc_max_base, previous.dry_days
    base, dry_days = kc_max_base(
        before=base,
        dry_days=dry_days,
        rained=water.entering_mm > 0.0,
        watered=water.watered_mm > 0.0,
    )
    seldom = kc_max(kcb=crop.kcb, wind_2m_m_s=wind, rh_min_pct=humidity, height_m=crop.height_m)
    # The same with the base of the day in eq. 72.
    most = max(seldom - KC_MAX_SELDOM + base, crop.kcb + LEAST_ABOVE_KCB)
    canopy = canopy_on(
        kcb_table=crop.kcb,
        kcb_mid_table=crop.kcb_mid,
        kc_max=seldom,  # shade does not depend on how often the ground is wetted
        height_m=crop.height_m,
        cover_full=facts.cover_full,
        full_height_m=crop.full_height_m,
        young=crop.young,
    )
    demand = today.eto_mm * part.exposure
    dual = part.coefficients is Coefficients.DUAL
    if dual:
        kcb = canopy.kcb * transpiration_factor(part.mulch)
    else:
        # Plants that stand apart lack in the single coefficient what they lack in the basal one.
        kcb = most = kc_under_mulch(
            kc=max(crop.kc - (crop.kcb - canopy.kcb), 0.0), kcb=canopy.kcb, mulch=part.mulch
        )
    before = () if previous is None or previous.account != facts.name else previous.draws_mm
    draws = (*before[1 - DRAW_DAYS :], kcb * demand)
    raw = raw_mm(
        taw_mm=taw,
        depletion_fraction=depletion_fraction_adjusted(
            crop.depletion_fraction, etc_mm_day=sum(draws) / len(draws)
        ),
    )
    wet = part.line_fraction
    start, held = 0.0, Stores(0.0, 0.0, 0.0, 0.0)
    if previous is not None:
        start = previous.depletion_mm
        held = Stores(
            previous.wet_depletion_mm,
            previous.rest_depletion_mm,
            previous.surface_depletion_mm,
            previous.rest_surface_depletion_mm,
        )
    # A change of account, or of the roots' limit, hands over what is above the new capacity:
    opening = Stores(
        min(held.wet_mm, taw), min(held.rest_mm, taw), held.wet_surface_mm, held.rest_surface_mm
    )
    found = dual_day(
        opening,
        DayDemand(
            demand, kcb, most, canopy.cover, evaporation_factor(part.mulch), taw, raw,
            soil.tew_mm, soil.rew_mm, wet, crop.rooted, part.under_canopy,
        ),
        rain_mm=water.entering_mm,
        stored_mm=water.stored_mm,
    )  # fmt: skip
    state = found.state
    ke = found.evaporated_mm / demand if dual and demand > 0.0 else 0.0
    return _ledger_day(
        part,
        today,
        water,
        account=facts.name,
        crop=facts.planting.crop,
        stage=crop.stage,
        day_of_planting=crop.day_of_planting,
        kc=kcb + ke,
        etc_mm=found.etc_mm,
        stress=found.stress,
        used_mm=found.transpired_mm + found.evaporated_mm,
        drained_mm=found.drained_mm,
        handed_over_mm=_over_whole_ground(opening, wet) - start,
        start_depletion_mm=start,
        depletion_mm=_over_whole_ground(state, wet),
        root_depth_m=depth_m,
        taw_mm=taw,
        raw_mm=raw,
        phase=at.phase,
        kcb=kcb if dual else 0.0,
        ke=ke,
        transpired_mm=found.transpired_mm if dual else 0.0,
        evaporated_mm=found.evaporated_mm if dual else 0.0,
        surface_depletion_mm=state.wet_surface_mm,
        rest_surface_depletion_mm=state.rest_surface_mm,
        wet_depletion_mm=state.wet_mm,
        rest_depletion_mm=state.rest_mm,
        wet_kc=found.wet_kc,
        wet_drained_mm=found.wet_drained_mm,
        wetted_fraction=wet,
        exposed_fraction=found.exposed if dual else 1.0,
        kc_max_base=base,
        dry_days=dry_days,
        draws_mm=draws,
        cover=canopy.cover,
        plants=facts.plants,
        salt_stress=facts.salt_stress,
    )


def _over_whole_ground(stores: Stores, wet: float) -> float:
    """Depletion of both stores over the whole ground."""
    return float(stores.rest_mm + wet * (stores.wet_mm - stores.rest_mm))


def _ledger_day(part: Part, today: DayInput, water: _DayWater, **own: Any) -> LedgerDay:
    """The `LedgerDay`: fields that every day takes from ground, weather and water, and its own."""
    return LedgerDay(
        zone=part.zone,
        part=part.name,
        day=today.day,
        eto_mm=today.eto_mm,
        method=today.method,
        rung=today.rung,
        measured=today.measured,
        snow_mm=today.snow_mm,
        rain_mm=water.rain_mm,
        rain_known=today.rain_mm is not None,
        rain_unused_mm=water.unused_mm,
        runoff_mm=water.runoff_mm,
        watered_mm=water.watered_mm,
        passed_mm=water.watered_mm - water.stored_mm,
        water_from=water.water_from,
        coefficients=part.coefficients.value,
        exposure=part.exposure,
        ground_m2=part.ground_m2,
        depletion_fraction=own["raw_mm"] / own["taw_mm"],
        **own,
    )
