"""What the parts of a zone need on a day, and one dose for all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
from controller.garden.show import show_depth
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.dose import full_roots_m, lowered_mm, need_of, refill_share

# Seedbeds are watered lightly and often, 2 to 5 mm (extension services' practice, no source): as
# soon as the least of it has gone from the layer that dries.
SEEDBED_LEAST_MM = 2.0
# On a day of at least this reference ET a seedbed is watered at each of the day's windows. Our
# choice.
SEEDBED_TWICE_FROM_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """The depth a part is to get, over its whole ground, and why.

    `strip_missing_mm` is missing from the ground that the line wets, and `allowed_mm` may be before
    a dose is due; no dose is for more than that ground can hold.
    """

    part: Part
    evening: LedgerDay
    net_mm: float
    urgency: float  # what is missing over what may be
    words: str
    strip_missing_mm: float = 0.0
    allowed_mm: float = 0.0
    spread: bool = False  # over all of the day's windows
    due: bool = True
    dries: bool = False  # it is to dry down: all it gets is too much

    @property
    def missing_mm(self) -> float:
        """What is missing from the wetted ground, over all of the part's ground."""
        return self.strip_missing_mm * self.part.line_fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What a day's wants depend on besides the account."""

    day: date
    days: Mapping[date, DayInput]
    coming_mm: float  # rain to be counted on from this day on, before any trust
    fallen_mm: float  # caught by the garden's gauge this day already
    wait_days: int  # until the next chance to water after this day
    rain_doubt_days: int
    refill_at: float | None  # the gardener's own share; None: by the crop's stage
    us_units: bool = False
    windows: int = 1  # that begin on the day


def want_of(
    part: Part, account: Sequence[LedgerDay], outlook: Outlook, watering: Watering, *, leach: float
) -> Want | None:
    """What this part wants; `due` is False where it could wait; None where nothing stands there.

    `leach` is the share of what enters that must pass below the roots, where the water is salty.
    """
    facts = part.planting_on(outlook.day)
    if facts is None or not account:
        return None
    evening = account[-1]
    at = facts.course.on(outlook.day)
    if at.stopped:
        return Want(
            part=part,
            evening=evening,
            net_mm=0.0,
            urgency=0.0,
            words="it dries down",
            due=False,
            dries=True,
        )
    share = outlook.refill_at if outlook.refill_at is not None else at.refill_at
    if at.phase == "seedbed":
        if share is None:
            share = _share_of(part, facts, "initial")
        kc = _kc_once_wet(part, evening)
        return _seedbed(part, evening, outlook, share=share, kc_once_wet=kc)
    if evening.crop is None:
        return None  # set out today into a bed of its own account: watered in by hand
    missing = max(0.0, evening.wet_depletion_mm - outlook.fallen_mm)
    expected = _expected_etc_mm(evening, outlook, kc=evening.wet_kc)
    urgency = missing / evening.raw_mm if evening.raw_mm > 0.0 else 1.0
    if share is None:
        share = _share_of(part, facts, evening.stage)
    allowed = share * evening.raw_mm

    def want(on_strip_mm: float, words: str, *, due: bool) -> Want:
        return Want(
            part=part,
            evening=evening,
            net_mm=on_strip_mm * part.line_fraction,
            urgency=urgency,
            words=words,
            strip_missing_mm=missing,
            allowed_mm=allowed,
            due=due,
        )

    if at.settling is not None and _settling_due(
        at.settling, facts, part, account, missing, expected, outlook.wait_days
    ):
        words = "it is settling in"
        if at.settling.days_left > 1:
            words += f", {at.settling.days_left} days yet"
        return want(missing, words, due=True)
    need = need_of(
        missing_mm=missing,
        raw_mm=evening.raw_mm,
        refill_at=share,
        expected_etc_mm=expected,
        rain_doubt_days=outlook.rain_doubt_days,
    )
    if need is None:
        return want(missing, "", due=False)
    # Ground just watered loses more than it did last evening, and a thirstier day has less to give.
    once_wet = _expected_etc_mm(evening, outlook, kc=_kc_once_wet(part, evening))
    net = lowered_mm(
        need.net_mm,
        to_come_mm=outlook.coming_mm,
        trust=watering.forecast_trust,
        raw_mm=evening.raw_mm,
        expected_etc_mm=once_wet,
    )
    words = need.words
    if net < need.net_mm:
        less = show_depth((need.net_mm - net) * part.line_fraction, outlook.us_units)
        words += f"; less {less} for rain that is likely"
    if leach > 0.0:
        owed = _leaching_owed_mm(part, account, leach)
        # The day's own use drinks first of what is given beyond the depletion: only what is left
        # then drains. At most that and, of both, what a steady share would be.
        today_mm = once_wet / outlook.wait_days
        extra = min(owed, today_mm + (net + today_mm) * leach / (1.0 - leach))
        if extra > 0.0:
            net += extra
            salt = show_depth(extra * part.line_fraction, outlook.us_units)
            words = f"{words}; with {salt} to wash out salt"
    return want(net, words, due=net > 0.0)


def _leaching_owed_mm(part: Part, account: Sequence[LedgerDay], share: float) -> float:
    """What the wetted ground owes since this planting's account began, day by day."""
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
    """Whether plants just set out are watered: by what is missing, or by the days since the last.

    It was watered in on the day it was set out. Days on which nobody may water count as passed, all
    but the one on which the next chance is.
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
    part: Part, evening: LedgerDay, outlook: Outlook, *, share: float, kc_once_wet: float
) -> Want:
    """What its top or its roots miss on the wetted ground, whichever is more.

    The top is kept moist: what its surface layer lacks, from `SEEDBED_LEAST_MM` on. On a hot day of
    several windows the day's own loss is given too, or the top would be dry by the last of them.
    """
    fallen = outlook.fallen_mm
    on_strip = evening.surface_depletion_mm
    need = None
    if evening.crop is not None:
        if evening.coefficients == "single":
            # That account knows no surface: what is missing below it.
            on_strip = min(evening.wet_depletion_mm, part.soil.tew_mm)
        need = need_of(
            missing_mm=evening.wet_depletion_mm - fallen,
            raw_mm=evening.raw_mm,
            refill_at=share,
            expected_etc_mm=_expected_etc_mm(evening, outlook, kc=kc_once_wet),
            rain_doubt_days=outlook.rain_doubt_days,
        )
    today = outlook.days.get(outlook.day) or evening
    spread = today.eto_mm >= SEEDBED_TWICE_FROM_MM
    on_strip -= fallen
    words = "the top is kept moist until seedlings show"
    if need is not None and need.net_mm > on_strip:
        on_strip = need.net_mm
        words += ", and the ground below it"
    if spread and outlook.windows > 1:
        on_strip += kc_once_wet * evening.exposure * today.eto_mm
    on_strip = max(0.0, on_strip)
    return Want(
        part=part,
        evening=evening,
        net_mm=on_strip * part.line_fraction,
        urgency=2.0,  # seeds cannot wait
        strip_missing_mm=on_strip,
        allowed_mm=SEEDBED_LEAST_MM,
        words=words,
        spread=spread,
        due=on_strip >= SEEDBED_LEAST_MM or need is not None,
    )


def _share_of(part: Part, facts: PlantingFacts, stage: str) -> float:
    """The crop's own share of readily available water that may go in that stage."""
    crop = facts.crop
    return refill_share(crop, stage, root_depth_m=full_roots_m(crop, part.rooting_limit_m))


def _kc_once_wet(part: Part, evening: LedgerDay) -> float:
    """Last evening's Kc of the wetted ground, had the line just wetted it."""
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
    """What the wetted ground will lose from the day until the next chance."""
    total = 0.0
    for ahead in range(outlook.wait_days):
        coming = outlook.days.get(date.fromordinal(outlook.day.toordinal() + ahead))
        total += kc * evening.exposure * (coming or evening).eto_mm
    return total


# Under this part of the flow due to a ground, dividing by it would flood the rest. Our choice.
LEAST_SHARE = 0.4
_WORTH_SAYING_MM = 0.5  # more or less than it lacks, before a row is named


def depth_of(zone: Zone, account: ZoneAccount, wants: Mapping[int, Want]) -> tuple[float, Want]:
    """The depth over the zone's whole ground that its parts' wants come to, and whose they are.

    `wants` are by the parts' numbers; at least one is due. For the neediest, as much as brings each
    due part its own; for the mean, what all the parts miss together.
    """
    if len(account.parts) == 1:
        (want,) = wants.values()
        return want.net_mm, want
    litres = {number: want.net_mm * want.part.ground_m2 for number, want in wants.items()}
    due = {
        n: litres[n] / max(account.shares[n], LEAST_SHARE * want.part.ground_m2 / zone.ground_m2)
        for n, want in wants.items()
        if want.due
    }
    neediest = max(due, key=lambda n: due[n])
    if zone.unlike_rows is UnlikeRows.NEEDIEST:
        return due[neediest] / zone.ground_m2, wants[neediest]
    return sum(litres.values()) / zone.ground_m2, wants[neediest]


def loss_words(
    zone: Zone,
    account: ZoneAccount,
    wants: Mapping[int, Want],
    spread_mm: float,
    chosen: Want,
    *,
    us_units: bool,
) -> str:
    """For a zone of unlike rows: whose need it is, what the others get beyond theirs, or lack."""
    if len(account.parts) == 1:
        return ""
    mean = zone.unlike_rows is UnlikeRows.MEAN
    words = "; for the mean of its rows" if mean else f"; for {chosen.part.name}"
    for number, (part, share) in enumerate(zip(account.parts, account.shares, strict=True)):
        if part.ground_m2 <= 0.0:
            continue
        gets = spread_mm * zone.ground_m2 * share / part.ground_m2  # its driest quarter
        want = wants.get(number)
        verb = "get" if len(part.rows) > 1 else "gets"
        it = "they lack" if len(part.rows) > 1 else "it lacks"
        if want is None or want.dries:
            if gets >= _WORTH_SAYING_MM:
                why = "where nothing stands" if want is None else "drying down"
                words += f"; {part.name}, {why}, {verb} {show_depth(gets, us_units)}"
        elif want.due and want.net_mm - gets >= _WORTH_SAYING_MM:
            lacks = show_depth(want.net_mm - gets, us_units)
            words += f"; {part.name} {verb} {lacks} less than {it}"
        elif part is not chosen.part and gets - want.missing_mm >= _WORTH_SAYING_MM:
            beyond = show_depth(gets - want.missing_mm, us_units)
            words += f"; {part.name} {verb} {beyond} more than {it}"
    return words
