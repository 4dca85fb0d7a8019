"""The depth that each part of a zone needs on a day, made into one dose for the zone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from controller.demand.plants.stages import SETTLING_LEAST_MM, Settling
from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil.daily_balance import (
    evaporation_coefficient,
    exposed_fraction,
    kc_max_base,
)
from controller.demand.soil.ground import Part, PlantingFacts
from controller.demand.soil.mulch import evaporation_factor
from controller.demand.soil.packed_days import carried
from controller.demand.soil.salinity import leaching_owed_mm
from controller.garden.model import UnlikeRows, Watering, Zone
from controller.messages import Message, Quantity, Value
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.dose import full_roots_m, lowered_mm, need_of, refill_share

# Seedbeds get 2 to 5 mm, lightly and often (extension services' practice, no source): the dose is
# due as soon as the surface layer has lost the lesser depth.
SEEDBED_LEAST_MM = 2.0
# On a day of at least this reference ET a seedbed is watered at each of the day's windows. Our
# choice.
SEEDBED_TWICE_FROM_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartNeed:
    """The depth that a part needs, over its whole ground, and why.

    `strip_missing_mm` is the depletion of the ground that the line wets. A dose is due when it
    reaches `allowed_mm`. No dose is larger than what that ground can hold. `reasons` are why it is
    due, then what changes it.
    """

    part: Part
    net_mm: float
    urgency: float  # depletion over readily available water
    reasons: tuple[Message, ...] = ()
    strip_missing_mm: float = 0.0
    allowed_mm: float = 0.0
    spread: bool = False  # in all windows of the day
    due: bool = True
    dries: bool = False  # the crop dries down: any water is too much
    own_rule: bool = False  # a seedbed, or plants just set out
    needed_share: float = 0.0  # of the dose: without it the crop runs short before the next chance

    @property
    def missing_mm(self) -> float:
        """Depletion of the wetted ground, over all of the part's ground. [mm]"""
        return self.strip_missing_mm * self.part.line_fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What a part's need depends on, besides its account."""

    day: date
    days: Mapping[date, DayInput]
    coming_mm: float  # expected rain from this day on, before the garden's trust
    fallen_mm: float  # in the garden's gauge already, on this day
    wait_days: int  # until the next chance to water after this day
    rain_doubt_days: int
    refill_at: float | None  # the gardener's own share; None: by the crop's stage
    windows: int = 1  # number of them that begin on the day


def need_of_part(
    part: Part, account: Sequence[LedgerDay], outlook: Outlook, watering: Watering, *, leach: float
) -> PartNeed | None:
    """What this part needs; `due` is False if it can wait; None if nothing stands there.

    `leach` is the leaching fraction: the share of the water that must pass below the roots, because
    it is salty.
    """
    facts = part.planting_on(outlook.day)
    if facts is None or not account:
        return None
    evening = account[-1]
    at = facts.course.on(outlook.day)
    if at.stopped:
        return PartNeed(
            part=part,
            net_mm=0.0,
            urgency=0.0,
            reasons=(Message("need.dries_down"),),
            due=False,
            dries=True,
        )
    share = outlook.refill_at if outlook.refill_at is not None else at.refill_at
    if at.phase == "seedbed":
        if share is None:
            share = _share_of(part, facts, "initial")
        kc = kc_once_wet(part, evening)
        return _seedbed(part, evening, outlook, share=share, kc_wet=kc)
    if evening.crop is None:
        return None  # set out today into a bed of its own account: watered in by hand
    missing = max(0.0, evening.wet_depletion_mm - outlook.fallen_mm)
    expected = _expected_etc_mm(evening, outlook, kc=evening.wet_kc)
    urgency = missing / evening.raw_mm if evening.raw_mm > 0.0 else 1.0
    if share is None:
        share = _share_of(part, facts, evening.stage)
    allowed = share * evening.raw_mm

    def need_of_strip(on_strip_mm: float, *reasons: Message, due: bool) -> PartNeed:
        return PartNeed(
            part=part,
            net_mm=on_strip_mm * part.line_fraction,
            urgency=urgency,
            reasons=reasons,
            strip_missing_mm=missing,
            allowed_mm=allowed,
            due=due,
        )

    if at.settling is not None and _settling_due(
        at.settling, facts, part, account, missing, expected, outlook.wait_days
    ):
        days = at.settling.days_left
        reason = Message("need.settles_in_days" if days > 1 else "need.settles_in", {"days": days})
        return replace(need_of_strip(missing, reason, due=True), own_rule=True)
    need = need_of(
        missing_mm=missing,
        raw_mm=evening.raw_mm,
        refill_at=share,
        expected_etc_mm=expected,
        rain_doubt_days=outlook.rain_doubt_days,
    )
    if need is None:
        return need_of_strip(missing, due=False)
    # Ground just watered loses more than it did on the last evening, and a day of higher ETc leaves
    # less room to lower the dose.
    once_wet = _expected_etc_mm(evening, outlook, kc=kc_once_wet(part, evening))
    net = lowered_mm(
        need.net_mm,
        to_come_mm=outlook.coming_mm,
        trust=watering.forecast_trust,
        raw_mm=evening.raw_mm,
        expected_etc_mm=once_wet,
    )
    reasons = [need.reason]
    if net < need.net_mm:
        less_mm = (need.net_mm - net) * part.line_fraction
        reasons.append(Message("need.less_for_rain", {"depth": Quantity(less_mm, "depth")}))
    if leach > 0.0:
        owed = _leaching_owed_mm(part, account, leach)
        # The crop's use of the day comes first out of what is given beyond the depletion; only the
        # rest drains. At most that use is added, with the steady leaching share of dose and use.
        today_mm = once_wet / outlook.wait_days
        extra = min(owed, today_mm + (net + today_mm) * leach / (1.0 - leach))
        if extra > 0.0:
            net += extra
            extra_depth = Quantity(extra * part.line_fraction, "depth")
            reasons.append(Message("need.washes_out_salt", {"depth": extra_depth}))
    found = need_of_strip(net, *reasons, due=net > 0.0)
    if missing + expected <= evening.raw_mm:
        return found
    return replace(found, needed_share=min(1.0, (missing + once_wet - evening.raw_mm) / missing))


def _leaching_owed_mm(part: Part, account: Sequence[LedgerDay], share: float) -> float:
    """Drainage that the wetted ground still owes since this planting's account began. [mm]"""
    standing = account[-1].account

    def step(
        owed_mm: float, of: str, watered_mm: float, passed_mm: float, drained_mm: float
    ) -> float:
        if of != standing:
            return owed_mm
        return leaching_owed_mm(
            owed_mm=owed_mm,
            entered_mm=max(watered_mm - passed_mm, 0.0) / part.line_fraction,
            drained_mm=drained_mm,
            share=share,
        )

    fields = ("account", "watered_mm", "passed_mm", "wet_drained_mm")
    return carried(account, (standing, share, part.line_fraction), fields, step, 0.0)


def _settling_due(
    settling: Settling,
    facts: PlantingFacts,
    part: Part,
    account: Sequence[LedgerDay],
    missing_mm: float,
    expected_mm: float,
    wait_days: int,
) -> bool:
    """Whether plants just set out are due: by the depletion, or by the days since the last water.

    They were watered in on the day they were set out. Days on which nobody may water count as dry,
    up to the day before the next chance.
    """
    if missing_mm < SETTLING_LEAST_MM:
        return False
    trigger_mm = settling.trigger_mm(part.soil)
    if missing_mm + expected_mm * (wait_days - 1) / wait_days >= trigger_mm:
        return True
    dry_days = 1
    for past in reversed(account):
        rain_mm = past.rain_mm - past.rain_unused_mm - past.runoff_mm
        if past.watered_mm > 0.0 or rain_mm >= trigger_mm or past.day <= facts.planting.start:
            break
        dry_days += 1
    return dry_days + wait_days - 1 >= settling.at_most_days_between


def _seedbed(
    part: Part, evening: LedgerDay, outlook: Outlook, *, share: float, kc_wet: float
) -> PartNeed:
    """The depletion of the surface layer or of the root zone, whichever is more.

    The top is kept moist: it is due from `SEEDBED_LEAST_MM` on. On a hot day with several windows
    the loss of the day is added; otherwise the top would be dry before the last of them.
    """
    fallen = outlook.fallen_mm
    on_strip = evening.surface_depletion_mm
    need = None
    if evening.crop is not None:
        if evening.coefficients == "single":
            # That account has no surface layer: the root zone's depletion stands for it.
            on_strip = min(evening.wet_depletion_mm, part.soil.tew_mm)
        need = need_of(
            missing_mm=evening.wet_depletion_mm - fallen,
            raw_mm=evening.raw_mm,
            refill_at=share,
            expected_etc_mm=_expected_etc_mm(evening, outlook, kc=kc_wet),
            rain_doubt_days=outlook.rain_doubt_days,
        )
    today = outlook.days.get(outlook.day) or evening
    spread = today.eto_mm >= SEEDBED_TWICE_FROM_MM
    on_strip -= fallen
    reason = Message("need.seedbed")
    if need is not None and need.net_mm > on_strip:
        on_strip = need.net_mm
        reason = Message("need.seedbed_and_below")
    if spread and outlook.windows > 1:
        on_strip += kc_wet * evening.exposure * today.eto_mm
    on_strip = max(0.0, on_strip)
    return PartNeed(
        part=part,
        net_mm=on_strip * part.line_fraction,
        urgency=2.0,  # seeds cannot wait
        strip_missing_mm=on_strip,
        allowed_mm=SEEDBED_LEAST_MM,
        reasons=(reason,),
        spread=spread,
        own_rule=True,
        needed_share=1.0,
        due=on_strip >= SEEDBED_LEAST_MM or need is not None,
    )


def _share_of(part: Part, facts: PlantingFacts, stage: str) -> float:
    """The share of readily available water that may be gone in that stage, by the crop."""
    crop = facts.crop
    return refill_share(crop, stage, root_depth_m=full_roots_m(crop, part.rooting_limit_m))


def kc_once_wet(part: Part, evening: LedgerDay) -> float:
    """Kc of the wetted ground on the last evening, as if the line had just wetted it.

    Parameters
    ----------
    part : Part
        The part of the zone, with its mulch and its line.
    evening : LedgerDay
        The last row of its ledger.

    Returns
    -------
    float
        At least `wet_kc` of that evening. [-]

    Source
    ------
    FAO-56, eq. 71 to 77, with the surface at field capacity.

    Examples
    --------
    With the one Kc of chapter 6, wet and dry ground have the same:

    >>> from types import SimpleNamespace as Example  # of a ledger's row, what counts here
    >>> kc_once_wet(None, Example(coefficients="single", wet_kc=1.05))
    1.05
    """
    if evening.coefficients == "single":
        return evening.wet_kc
    base, _ = kc_max_base(
        before=evening.kc_max_base, dry_days=evening.dry_days, rained=False, watered=True
    )
    ke = evaporation_factor(part.mulch) * evaporation_coefficient(
        kr=1.0,
        kcb=evening.kcb,
        kc_max=max(base, evening.kcb + 0.05),
        exposed=exposed_fraction(
            cover=evening.cover, wetted=part.line_fraction, under_canopy=part.under_canopy
        ),
    )
    return max(evening.wet_kc, (evening.kcb + float(ke)) / part.line_fraction)


def _expected_etc_mm(evening: LedgerDay, outlook: Outlook, *, kc: float) -> float:
    """ETc of the wetted ground from the day until the next chance to water. [mm]"""
    total = 0.0
    for ahead in range(outlook.wait_days):
        coming = outlook.days.get(date.fromordinal(outlook.day.toordinal() + ahead))
        total += kc * evening.exposure * (coming or evening).eto_mm
    return total


# A part may get less than its share of the flow. It counts with at least this much of that share:
# a dose divided by less would flood the other parts. Our choice.
LEAST_SHARE = 0.4
_WORTH_SAYING_MM = 0.5  # a row that gets so much more or less than it lacks is named


def depth_of(
    zone: Zone, account: ZoneAccount, needs: Mapping[int, PartNeed]
) -> tuple[float, PartNeed]:
    """The depth of one dose over the zone's whole ground, and the need that decides it.

    `needs` are by the numbers of the parts; at least one is due. For the neediest: so much that
    each due part gets what it needs. For the mean: what all parts lack together. [mm]

    Source
    ------
    Our choice.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # a zone of 3 m2 and 1 m2, as far as it counts
    >>> parts = [Example(ground_m2=m2, line_fraction=1.0) for m2 in (3.0, 1.0)]
    >>> needs = {n: PartNeed(part=part, net_mm=mm, urgency=1.0)
    ...          for n, (part, mm) in enumerate(zip(parts, (6.0, 10.0)))}
    >>> account = Example(parts=parts, shares=(0.5, 0.5))
    >>> depth_of(Example(unlike_rows=UnlikeRows.MEAN, ground_m2=4.0), account, needs)[0]
    7.0
    >>> depth_of(Example(unlike_rows=UnlikeRows.NEEDIEST, ground_m2=4.0), account, needs)[0]
    9.0
    """
    if len(account.parts) == 1:
        (need,) = needs.values()
        return need.net_mm, need
    litres = {number: need.net_mm * need.part.ground_m2 for number, need in needs.items()}
    due = {
        n: litres[n] / max(account.shares[n], LEAST_SHARE * need.part.ground_m2 / zone.ground_m2)
        for n, need in needs.items()
        if need.due
    }
    neediest = max(due, key=lambda n: due[n])
    if zone.unlike_rows is UnlikeRows.NEEDIEST:
        return due[neediest] / zone.ground_m2, needs[neediest]
    return sum(litres.values()) / zone.ground_m2, needs[neediest]


def mixed_crops_reasons(
    zone: Zone,
    account: ZoneAccount,
    needs: Mapping[int, PartNeed],
    spread_mm: float,
    chosen: PartNeed,
) -> tuple[Message, ...]:
    """For mixed crops: whose need decides, and what the other rows get too much or too little."""
    if len(account.parts) == 1:
        return ()
    mean = zone.unlike_rows is UnlikeRows.MEAN
    found = [Message("need.for_mean" if mean else "need.for_part", {"part": chosen.part.name})]
    for number, (part, share) in enumerate(zip(account.parts, account.shares, strict=True)):
        if part.ground_m2 <= 0.0:
            continue
        gets = spread_mm * zone.ground_m2 * share / part.ground_m2  # its driest quarter
        need = needs.get(number)
        if need is None or need.dries:
            if gets >= _WORTH_SAYING_MM:
                found.append(
                    Message(
                        "need.bare_part_gets" if need is None else "need.drying_part_gets",
                        _row_gets(part, gets),
                    )
                )
        elif need.due and need.net_mm - gets >= _WORTH_SAYING_MM:
            found.append(Message("need.part_gets_less", _row_gets(part, need.net_mm - gets)))
        elif part is not chosen.part and gets - need.missing_mm >= _WORTH_SAYING_MM:
            found.append(Message("need.part_gets_more", _row_gets(part, gets - need.missing_mm)))
    return tuple(found)


def _row_gets(part: Part, depth_mm: float) -> dict[str, Value]:
    return {"part": part.name, "rows": len(part.rows), "depth": Quantity(depth_mm, "depth")}
