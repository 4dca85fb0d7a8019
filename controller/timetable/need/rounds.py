"""Rounds of a keeper: doses of hand valves gathered into visits.

A keeper goes round on a day on which a zone of theirs must be watered. Then all their zones that
are due get their water, and those that would run short before the next round are brought forward:
never by more than the ground lacks. On other days a zone that is due waits, as long as its
depletion stays below the readily available water on the outlook. A seedbed, plants just set out,
and a zone whose `refill_at` the gardener wrote are watered on the day they are due.

Nothing but the accounts and the outlook decides: so the accounts have what a wait, or a dose
brought forward, costs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import islice

from controller.demand.soil.packed_days import LedgerRows
from controller.garden.model import Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.design.limits import WORTH_THROTTLING, longest_run_s, throttle_to
from controller.messages import Message, Quantity, Value
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.dose import even_litres, soaking_of
from controller.timetable.need.jobs import JobMaker
from controller.timetable.need.need import PartNeed, kc_once_wet
from controller.timetable.packing.by_hand import MINUTE_S, VISIT_PAUSE_S
from controller.timetable.records import Dose
from controller.units import m3_from_l

# No outlook reaches further; our choice: a forecast of more than a week says little.
LOOK_AHEAD_DAYS = 7
# A dose is brought forward only if it is worth turning the valve for; our choice.
_WORTH_S = MINUTE_S
_DAY = timedelta(days=1)

Needs = Mapping[int, PartNeed]
_WAITS: Needs = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asks:
    """What a zone asks for on a day. Days count from it, on which hand valves may be turned."""

    zone: Zone
    needs: Needs
    due: bool
    must_by: int  # the last day on which it may be watered
    then_by: int  # the same after a dose today


def hand_needs(
    day: date, job_makers: Mapping[str, JobMaker], accounts: Mapping[str, ZoneAccount]
) -> dict[str, Needs]:
    """The needs of each hand zone on this day, as its keeper's round has them.

    The maps have an entry for each zone. A zone that waits for the next round has no need; one
    that is brought forward is due.
    """
    found: dict[str, Needs] = {}
    keepers: dict[str, list[_Asks]] = {}
    for name, account in accounts.items():
        zone = account.zone
        if zone.valve.kind is not ValveKind.HAND:
            continue
        job_maker = job_makers[name]
        needs = found[name] = job_maker.needs(zone, account, day)
        if needs and job_maker.may_water(zone, day):
            asks = _asks(zone, account, job_maker, day, needs)
            keepers.setdefault(zone.bed.keeper, []).append(asks)
    for zones in keepers.values():
        due = [asks for asks in zones if asks.due]
        if not any(asks.must_by <= 0 for asks in due):
            found.update((asks.zone.name, _WAITS) for asks in due)
            continue
        next_round = min(asks.then_by for asks in due)
        for asks in zones:
            if not asks.due and asks.must_by < next_round:
                name = asks.zone.name
                forward = _forward(asks, accounts[name], job_makers[name], day)
                if forward is not None:
                    found[name] = forward
    return found


def _asks(zone: Zone, account: ZoneAccount, job_maker: JobMaker, day: date, needs: Needs) -> _Asks:
    chances = _chances(job_maker, zone, day)
    must_by = then_by = LOOK_AHEAD_DAYS
    for number, need in needs.items():
        if need.dries:
            continue
        if need.own_rule:
            then_by = min(then_by, chances[1])
            if need.due:
                must_by = 0
            continue
        evening = account.ledgers[number][-1]
        use_mm = _use_mm(job_maker, account.ledgers[number], day, chances, kc=evening.wet_kc)
        wet_kc = kc_once_wet(need.part, evening)
        first_mm = _use_mm(job_maker, account.ledgers[number], day, chances, kc=wet_kc)[0]
        wait = _last_chance(need.strip_missing_mm, evening.raw_mm, use_mm, chances)
        must_by = min(must_by, wait)
        left_mm = need.strip_missing_mm * _left_share(account, job_maker, need)
        after = _last_chance(left_mm, evening.raw_mm, [first_mm, *use_mm[1:]], chances)
        then_by = min(then_by, max(chances[1], after))
    due = any(need.due for need in needs.values())
    if due and job_maker.own_refill_at(zone) is not None:
        must_by = 0
    return _Asks(zone=zone, needs=needs, due=due, must_by=must_by, then_by=then_by)


def _left_share(account: ZoneAccount, job_maker: JobMaker, need: PartNeed) -> float:
    """The share of a dose that one day's rounds leave, where the soil soaks longer than they wait.

    Source
    ------
    One basin for each round; our choice, for it leaves out what soaks away while others are opened.
    """
    soil = job_maker.grounds.soil(account.zone.bed.soil)
    watering = job_maker.garden.watering
    soaking = soaking_of(account.wet_m2, soil, watering.basin_mm)
    if soaking.seconds_to_soak(soaking.basin_mm) <= VISIT_PAUSE_S or need.net_mm <= 0.0:
        return 0.0
    at_once_l = watering.hand_visits * max(
        soaking.litres_at_once(account.alone_l_s), MINUTE_S * account.alone_l_s
    )
    litres = even_litres(
        net_mm=need.net_mm, ground_m2=need.part.ground_m2, evenness=account.divisor
    )
    return max(0.0, 1.0 - at_once_l / litres)


def _chances(job_maker: JobMaker, zone: Zone, day: date) -> list[int]:
    """The days with a window for this valve, counted from `day`, which is one; two at least."""
    watering = job_maker.garden.watering
    weekdays = {d for w in watering.windows if zone.valve.kind in w.valves for d in w.weekdays}
    ahead = range(1, LOOK_AHEAD_DAYS + 1)
    return [0, *(n for n in ahead if (day + n * _DAY).weekday() in weekdays)]


def _use_mm(
    job_maker: JobMaker, ledger: LedgerRows, day: date, chances: list[int], *, kc: float
) -> list[float]:
    """Expected water use of the wetted ground, day by day from `day` on. [mm]

    Up to the next chance it is that of the outlook, and then that of the last week: so a forecast
    that changes changes no round that is over.
    """
    evening = ledger[-1]
    week = [eto for eto, _ in islice(ledger.columns_back("eto_mm", "account"), LOOK_AHEAD_DAYS)]
    usual_mm = sum(week) / len(week)
    coming = [
        (job_maker.days.get(day + n * _DAY) or evening).eto_mm
        for n in range(min(chances[1], LOOK_AHEAD_DAYS))
    ]
    coming += [usual_mm] * (LOOK_AHEAD_DAYS - len(coming))
    return [kc * evening.exposure * eto_mm for eto_mm in coming]


def _last_chance(missing_mm: float, raw_mm: float, use_mm: list[float], chances: list[int]) -> int:
    """The last of these days on whose morning the depletion has not passed what is readily had.

    Source
    ------
    FAO-56, chapter 8: irrigate before the depletion passes RAW. The look ahead is our choice.

    Examples
    --------
    >>> _last_chance(4.0, 10.0, [3.0] * 7, [0, 1, 2, 3])  # mornings: 4, 7, 10, 13 mm
    2
    """
    found = 0
    for chance in chances[1:]:
        if missing_mm + sum(use_mm[:chance]) > raw_mm:
            break
        found = chance
    return found


def _forward(
    asks: _Asks, account: ZoneAccount, job_maker: JobMaker, day: date
) -> dict[int, PartNeed] | None:
    """Its needs with a dose today; None if the ground has no room for a dose worth giving."""
    needs: dict[int, PartNeed] = {}
    litres = 0.0
    for number, need in asks.needs.items():
        part = need.part
        if need.dries or need.own_rule:
            needs[number] = need
            continue
        room_mm = job_maker.forward_mm(asks.zone, part, account.ledgers[number], day)
        net_mm = room_mm * part.line_fraction
        needs[number] = replace(
            need, net_mm=net_mm, due=net_mm > 0.0, reasons=(Message("need.brought_forward"),)
        )
        litres += even_litres(net_mm=net_mm, ground_m2=part.ground_m2, evenness=account.divisor)
    return needs if litres >= _WORTH_S * account.alone_l_s else None


def throttle_messages(
    job_maker: JobMaker, accounts: Mapping[str, ZoneAccount], doses: Iterable[Dose]
) -> list[Message]:
    """How far to throttle the hand zones whose dose, or what the soil takes at once, is seconds.

    One message for each zone, for the largest of its doses.
    """
    largest: dict[str, float] = {}
    for dose in doses:
        litres = even_litres(net_mm=dose.net_mm, ground_m2=dose.ground_m2, evenness=dose.evenness)
        largest[dose.zone] = max(litres, largest.get(dose.zone, 0.0))
    found = []
    for name, account in accounts.items():
        zone, alone_l_s = account.zone, account.alone_l_s
        if zone.valve.kind is not ValveKind.HAND or name not in largest or alone_l_s <= 0.0:
            continue
        soil = job_maker.grounds.soil(zone.bed.soil)
        soaking = soaking_of(account.wet_m2, soil, job_maker.garden.watering.basin_mm)
        passes_s = (largest[name] + account.line_litres) / alone_l_s
        at_once_s = account.line_litres / alone_l_s + soaking.seconds_to_full(alone_l_s, 0.0)
        seconds = passes_s if passes_s < MINUTE_S else at_once_s
        if seconds >= MINUTE_S:
            continue
        target = throttle_to(
            zone,
            wanted_m3=m3_from_l(largest[name]),
            drains_m3=m3_from_l(account.line_litres),
            takes_in=soaking,
            longest_s=longest_run_s(job_maker.garden, zone),
        )
        if m3_from_l(alone_l_s) < WORTH_THROTTLING * target.flow_m3_s:
            continue
        dose_m3 = m3_from_l(largest[name] + account.line_litres)
        values: dict[str, Value] = {
            "zone": name,
            "takes": Quantity(round(seconds), "duration"),
            "flow": Quantity(target.flow_m3_s, "rough flow"),
            "then": Quantity(round(dose_m3 / target.flow_m3_s), "duration"),
        }
        if passes_s < MINUTE_S:
            found.append(Message("plan.throttle_for_time", values))
        else:
            found.append(Message("plan.throttle_for_soil", values))
    return found
