"""The job of a zone for a day, from its accounts: whether it is due, how much and when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import islice

from controller.demand.plants.course import in_first_year
from controller.demand.plants.stages import FIRST_YEAR_REFILL_AT
from controller.demand.records import DayInput, LedgerDay, Observation
from controller.demand.soil.ground import Part, PlantingFacts
from controller.demand.soil.packed_days import LedgerRows
from controller.demand.soil.salinity import leaching_share_of
from controller.garden.model import Garden, UnlikeRows, Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.design.row_warnings import opening_warning
from controller.hydraulics.network.garden_lines import Lines
from controller.messages import Message
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.dose import (
    DOUBTFUL_DAYS,
    even_litres,
    full_roots_m,
    refill_share,
    soaking_of,
    to_come_mm,
)
from controller.timetable.need.need import (
    Outlook,
    PartNeed,
    depth_of,
    mixed_crops_reasons,
    need_of_part,
)
from controller.timetable.need.pulse_length import shortest_pulse_s
from controller.timetable.packing.fit_day import DaysGone
from controller.timetable.packing.job import Job
from controller.timetable.records import Dose, Pulse, Why
from controller.timetable.unwritten import NO_RECORD, Record
from controller.timetable.windows import (
    Stretch,
    allowed,
    days_to_next_window,
    hold_in_force,
    windows_on,
)
from controller.units import l_from_m3
from controller.weather.source_priority import is_of_a_model, is_stand_in
from crops.catalogue import Catalogue, Crop, Soil


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the logbook reports: water given, observations, and the used slots of each day.

    `litres` is by zone and local day; `stored_litres` is the part of them that was credited to the
    driest quarter. `slots` has the highest slot that is no longer planned. `soaking_until_utc` is
    the time at which a zone's last pulse has soaked away. `fallen_mm` is the rain in the garden's
    own gauge, also today's. `noted_on` is the day on which the last note of a zone's day was
    written. `soil_starts` is soil moisture that a person read, as a share of volume; the account
    starts anew from it on that evening. `record` says for which days the logbook has records.
    """

    litres: Mapping[tuple[str, date], float]
    slots: Mapping[tuple[str, date], int]
    soaking_until_utc: Mapping[str, datetime]
    observations: Sequence[Observation] = ()
    fallen_mm: Mapping[date, float] = field(default_factory=dict)
    stored_litres: Mapping[tuple[str, date], float] = field(default_factory=dict)
    noted_on: Mapping[tuple[str, date], date] = field(default_factory=dict)
    record: Record = NO_RECORD
    soil_starts: Mapping[tuple[str, date], float] = field(default_factory=dict)


NOTHING_GIVEN = Given(litres={}, slots={}, soaking_until_utc={})


class Grounds:
    """The crops and soils of a garden, looked up once, with its past days, packed once."""

    def __init__(self, garden: Garden, catalogue: Catalogue) -> None:
        self.garden, self._catalogue = garden, catalogue
        self._crops: dict[str, Crop] = {}
        self._soils: dict[str, Soil] = {}
        self.days_gone = DaysGone()

    def crop(self, name: str) -> Crop:
        """A crop, with the garden's own changes."""
        if name not in self._crops:
            self._crops[name] = self._catalogue.crop(name, self.garden.own_crops)
        return self._crops[name]

    def soil(self, name: str) -> Soil:
        """A soil, with the garden's own changes."""
        if name not in self._soils:
            self._soils[name] = self._catalogue.soil(name, self.garden.own_soils)
        return self._soils[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Due:
    """A zone that is due: its job, with what the job follows from."""

    job: Job
    needs: Mapping[int, PartNeed]
    chosen: PartNeed
    spread_mm: float
    evenness: float
    already_litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JobMaker:
    """Makes the jobs of a span of days, from everything they depend on.

    `first` is the first day planned; `today` separates the past from the forecast. On the days in
    `frost` a frost holds all zones. `coming_mm` is the expected rain, before the garden's trust;
    `days` credit only the trusted share of it.
    """

    garden: Garden
    grounds: Grounds
    lines: Lines
    days: Mapping[date, DayInput]
    first: date
    today: date
    given: Given
    not_before_utc: datetime | None
    frost: Collection[date] = ()
    coming_mm: Mapping[date, float] = field(default_factory=dict)

    def job(
        self,
        zone: Zone,
        account: ZoneAccount,
        day: date,
        *,
        needs: Mapping[int, PartNeed] | None = None,
    ) -> Job | None:
        """The zone's job on this day, from its account of the evening before; None if not due.

        `needs` are those of its parts, if they are known.
        """
        due = self._due(zone, account, day, needs)
        return None if due is None else due.job

    def dose(
        self,
        zone: Zone,
        account: ZoneAccount,
        day: date,
        *,
        needs: Mapping[int, PartNeed] | None = None,
    ) -> tuple[Job, Dose] | None:
        """The same, with its dose and the reason for it."""
        due = self._due(zone, account, day, needs)
        if due is None:
            return None
        chosen = due.chosen
        reasons = (
            *chosen.reasons,
            *mixed_crops_reasons(zone, account, due.needs, due.spread_mm, chosen),
        )
        if self._guess(zone) is not None:
            reasons = (*reasons, Message("need.opening_unknown"))
        ledger = account.ledgers[account.parts.index(chosen.part)]
        return due.job, _dose(zone, ledger, due, reasons)

    def _due(
        self,
        zone: Zone,
        account: ZoneAccount,
        day: date,
        needs: Mapping[int, PartNeed] | None,
    ) -> _Due | None:
        if needs is None:
            needs = self.needs(zone, account, day)
        if not any(need.due for need in needs.values()):
            return None
        spread_mm, chosen = depth_of(zone, account, needs)
        if spread_mm <= 0.0:
            return None
        evenness = account.divisor
        if zone.unlike_rows is UnlikeRows.NEEDIEST:
            evenness = account.divisors[account.parts.index(chosen.part)]
        already = self.given.litres.get((zone.name, day), 0.0)
        stored = self.given.stored_litres.get((zone.name, day), account.stored_of(already))
        due_litres = even_litres(net_mm=spread_mm, ground_m2=zone.ground_m2, evenness=evenness)
        due_litres -= stored / account.divisor
        if due_litres <= 0.0:
            return None
        return _Due(
            job=self._job(zone, account, day, chosen, due_litres, already),
            needs=needs,
            chosen=chosen,
            spread_mm=spread_mm,
            evenness=evenness,
            already_litres=already,
        )

    def needs(self, zone: Zone, account: ZoneAccount, day: date) -> dict[int, PartNeed]:
        """The need of each part with a planting, by the part's number; none without an account."""
        needs: dict[int, PartNeed] = {}
        if not account.stands_on(day) or zone.ground_m2 <= 0.0:
            return needs
        for number, (part, ledger) in enumerate(zip(account.parts, account.ledgers, strict=True)):
            outlook = self._outlook(zone, part, ledger, day)
            leach = self._leach(part.planting_on(day))
            need = need_of_part(part, ledger, outlook, self.garden.watering, leach=leach)
            if need is not None:
                needs[number] = need
        return needs

    def _outlook(self, zone: Zone, part: Part, ledger: LedgerRows, day: date) -> Outlook:
        watering, kind = self.garden.watering, zone.valve.kind
        return Outlook(
            day=day,
            days=self.days,
            coming_mm=part.mulch.rain_share * to_come_mm(self.coming_mm, day),
            fallen_mm=part.mulch.rain_share * self.fallen_mm(day),
            wait_days=days_to_next_window(watering, kind, day),
            rain_doubt_days=_rain_doubt_days(ledger),
            refill_at=self.own_refill_at(zone),
            windows=windows_on(watering, kind, day),
        )

    def own_refill_at(self, zone: Zone) -> float | None:
        """`refill_at` as the gardener wrote it for the zone or the garden; None: not written."""
        return _own_refill_at(zone, self.garden)

    def forward_mm(self, zone: Zone, part: Part, ledger: LedgerRows, day: date) -> float:
        """Room of the wetted ground for a dose before it is due: what it lacks, less the rain.

        0 while the rain of the last days is unknown. [mm]
        """
        outlook, evening = self._outlook(zone, part, ledger, day), ledger[-1]
        if outlook.rain_doubt_days or evening.crop is None:
            return 0.0
        expected = self.garden.watering.forecast_trust * outlook.coming_mm
        return max(0.0, evening.wet_depletion_mm - outlook.fallen_mm - expected)

    def may_water(self, zone: Zone, day: date) -> bool:
        """Whether the zone has a window on this day, and neither frost nor a hold takes it."""
        watering, zone_info = self.garden.watering, self.garden.site.zone_info
        return day not in self.frost and bool(
            allowed(watering, zone.name, zone.valve.kind, day, zone_info)
        )

    def fallen_mm(self, day: date) -> float:
        """Rain in the gauge today, before this plan was made; 0 on other days. [mm]"""
        return self.given.fallen_mm.get(day, 0.0) if day == self.today else 0.0

    def _leach(self, facts: PlantingFacts | None) -> float:
        salt = self.garden.supply.salt_ds_m
        return 0.0 if facts is None else leaching_share_of(facts.crop, salt)

    def _job(
        self,
        zone: Zone,
        account: ZoneAccount,
        day: date,
        need: PartNeed,
        due_litres: float,
        already: float,
    ) -> Job:
        watering, zone_info = self.garden.watering, self.garden.site.zone_info
        hold = hold_in_force(watering, zone.name, day, zone_info)
        stretches = allowed(watering, zone.name, zone.valve.kind, day, zone_info)
        if day >= self.first:
            soaking_until_utc = self.given.soaking_until_utc.get(zone.name)
            stretches = _later(stretches, self.not_before_utc, soaking_until_utc)
        held: Message | None = None
        if day in self.frost:
            held = Message("left.held", {"reason": Message("left.frost")})
        elif hold is not None:
            held = Message("left.held", {"reason": hold.reason or Message("left.no_reason")})
        return Job(
            zone=zone.name,
            day=day,
            valve=zone.valve.kind,
            relay_line=zone.valve.relay_line,
            even_litres=due_litres,
            line_litres=account.line_litres,
            uniformity=account.divisor,
            urgency=need.urgency,
            stretches=() if day in self.frost else tuple(stretches),
            soaking=soaking_of(account.wet_m2, self.grounds.soil(zone.bed.soil), watering.basin_mm),
            longest_open_s=zone.valve.longest_open_s,
            shortest_pulse_s=shortest_pulse_s(zone.valve, watering),
            opens_in_s=zone.valve.opens_in_s,
            closes_in_s=zone.valve.closes_in_s,
            cap_litres=max(0.0, l_from_m3(zone.daily_cap_m3) - already),
            first_slot=self.given.slots.get((zone.name, day), 0) + 1,
            held=held,
            spread=need.spread,
            keeper=zone.bed.keeper if zone.valve.kind is ValveKind.HAND else "",
            own_rule=need.own_rule,
            needed_litres=need.needed_share * due_litres,
        )

    def guesses(self, doses: Iterable[Dose]) -> list[Message]:
        """One message for each zone in these doses whose flow is a guess."""
        dosed = {dose.zone for dose in doses}
        zones = [zone for zone in self.garden.zones if zone.name in dosed]
        found = ((zone.name, self._guess(zone)) for zone in zones)
        return [
            Message("plan.flow_is_a_guess", {"zone": name, "doubt": guess})
            for name, guess in found
            if guess is not None
        ]

    def _guess(self, zone: Zone) -> Message | None:
        if not zone.opening.unknown:
            return None
        alone = self.lines.open_set(frozenset((zone.name,))).zones[zone.name]
        loss_k = self.lines.valve_loss_k(zone.name)
        return opening_warning(zone, alone, loss_k)


def allowed_mm(row: LedgerDay, garden: Garden, grounds: Grounds) -> float | None:
    """Depletion of a zone's wetted ground at which a dose is due; None on bare soil.

    Parameters
    ----------
    row : LedgerDay
        The evening: its zone, crop, stage and readily available water.
    garden : Garden
        Its own `refill_at` comes first, for the zone or for all.
    grounds : Grounds
        The garden's crops.

    Returns
    -------
    float or None
        0 or more, at most the readily available water. [mm]

    Source
    ------
    `need.dose.refill_share` times RAW (FAO-56, eq. 83); in the first year of a perennial
    `FIRST_YEAR_REFILL_AT` stands for the share.

    Examples
    --------
    >>> from types import SimpleNamespace as Example  # of a garden, what counts here
    >>> garden = Example(zone=lambda name: Example(refill_at=0.5, plantings=()))
    >>> evening = Example(zone="leeks", crop="leek", day=None, raw_mm=20.0)
    >>> allowed_mm(evening, garden, Example(crop=lambda name: None))
    10.0
    """
    if row.crop is None:
        return None
    zone = garden.zone(row.zone)
    share = _own_refill_at(zone, garden)
    crop = grounds.crop(row.crop)
    stands = (p for p in zone.plantings if p.crop == row.crop and p.start <= row.day <= p.until)
    if share is None and any(in_first_year(planting, crop, row.day) for planting in stands):
        share = FIRST_YEAR_REFILL_AT
    if share is None:
        roots_m = full_roots_m(crop, zone.bed.rooting_limit_m)
        share = refill_share(crop, row.stage, root_depth_m=roots_m)
    return share * row.raw_mm


def _own_refill_at(zone: Zone, garden: Garden) -> float | None:
    """`refill_at` of the zone, else of the garden; None: by the crop's stage."""
    return garden.watering.refill_at if zone.refill_at is None else zone.refill_at


def finished(doses: Iterable[Dose], pulses: Iterable[Pulse]) -> list[Dose]:
    """The doses of a day with their number of pulses, and with the litres to fill the line."""
    counts = Counter(pulse.zone for pulse in pulses)
    return [
        replace(
            dose,
            pulses=counts[dose.zone],
            litres=dose.litres + counts[dose.zone] * dose.line_litres,
        )
        for dose in doses
    ]


def _dose(zone: Zone, account: LedgerRows, due: _Due, reasons: tuple[Message, ...]) -> Dose:
    evening, job, need = account[-1], due.job, due.chosen
    rain_mm, rain_unknown_days, stand_in_days = 0.0, 0, 0
    for watered_mm, of_account, *rained_mm, known, measured, rung in account.columns_back(
        "watered_mm",
        "account",
        "rain_mm",
        "rain_unused_mm",
        "runoff_mm",
        "rain_known",
        "measured",
        "rung",
    ):
        if watered_mm > 0.0 or of_account != evening.account:
            break
        fell_mm, unused_mm, ran_off_mm = rained_mm
        rain_mm += fell_mm - unused_mm - ran_off_mm
        rain_unknown_days += not known
        stand_in_days += not (measured or is_of_a_model(rung))
    return Dose(
        zone=job.zone,
        day=job.day,
        net_mm=due.spread_mm,
        ground_m2=zone.ground_m2,
        evenness=due.evenness,
        line_litres=job.line_litres,
        pulses=0,
        litres=job.even_litres,
        already_litres=due.already_litres,
        why=Why(
            account=evening.account,
            stage=evening.stage,
            eto_mm=evening.eto_mm,
            method=evening.method,
            kc=evening.kc,
            depletion_mm=need.strip_missing_mm,
            allowed_mm=need.allowed_mm,
            raw_mm=evening.raw_mm,
            rain_mm=rain_mm,
            rain_unknown_days=rain_unknown_days,
            stand_in_days=stand_in_days,
            stands_in=is_stand_in(evening.rung),
            reasons=reasons,
        ),
    )


def _rain_doubt_days(account: Sequence[LedgerDay]) -> int:
    """Number of last days in a row whose rain is unknown, after a day on which it was known.

    More than `DOUBTFUL_DAYS` give 0: then the record has ended, and no zone waits for it.
    """
    for unknown, past in enumerate(islice(reversed(account), DOUBTFUL_DAYS + 1)):
        if past.rain_known:
            return unknown
    return 0


def _later(stretches: list[Stretch], *not_before: datetime | None) -> list[Stretch]:
    """The stretches after the latest of these moments."""
    for moment in not_before:
        if moment is not None:
            stretches = [
                Stretch(max(s.begins_utc, moment), s.ends_utc)
                for s in stretches
                if s.ends_utc > moment
            ]
    return stretches
