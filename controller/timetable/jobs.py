"""From a zone's account to its job for the day: whether it is due, how much, and when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Zone
from controller.hydraulics.doubts import opening_doubt
from controller.hydraulics.evenness import with_drilling_scatter
from controller.hydraulics.lines import Lines
from controller.timetable.dose import Need, even_litres, need_of, soaking_of
from controller.timetable.job import Job
from controller.timetable.records import Dose, Pulse, Why
from controller.timetable.windows import Stretch, allowed, days_to_next_window, hold_in_force
from controller.units import l_from_m3
from crops.catalogue import Catalogue, Crop, Soil

_DAY = timedelta(days=1)
# Under this evenness dividing by it would flood the rest of the row; such a row needs mending, and
# `check` says so. Our choice.
LEAST_EVENNESS = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What the logbook says has been given, and which slots of a day are spent.

    `litres` is by zone and local day; `slots` the highest slot that has gone past planning;
    `soaking_until_utc` when a zone's last pulse will have soaked away.
    """

    litres: Mapping[tuple[str, date], float]
    slots: Mapping[tuple[str, date], int]
    soaking_until_utc: Mapping[str, datetime]


NOTHING_GIVEN = Given(litres={}, slots={}, soaking_until_utc={})


class Grounds:
    """The crops and soils of a garden, looked up once."""

    def __init__(self, garden: Garden, catalogue: Catalogue) -> None:
        self.garden, self._catalogue = garden, catalogue
        self._crops: dict[str, Crop] = {}
        self._soils: dict[str, Soil] = {}

    def crop(self, name: str) -> Crop:
        """A crop as this garden has it."""
        if name not in self._crops:
            self._crops[name] = self._catalogue.crop(name, self.garden.own_crops)
        return self._crops[name]

    def soil(self, name: str) -> Soil:
        """A soil as this garden has it."""
        if name not in self._soils:
            self._soils[name] = self._catalogue.soil(name, self.garden.own_soils)
        return self._soils[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoning:
    """All that a span of days is reckoned from."""

    garden: Garden
    grounds: Grounds
    lines: Lines
    days: Mapping[date, DayInput]
    first: date
    given: Given
    not_before_utc: datetime | None

    def job(self, zone: Zone, account: Sequence[LedgerDay], day: date) -> tuple[Job, Dose] | None:
        """The zone's job on this day, on last evening's account; None if it needs nothing."""
        if not account or zone.ground_m2 <= 0.0:
            return None
        if not any(p.start <= day <= p.until for p in zone.plantings):
            return None
        watering, evening = self.garden.watering, account[-1]
        refill_at = watering.refill_at if zone.refill_at is None else zone.refill_at
        need = need_of(
            evening,
            refill_at=refill_at,
            expected_etc_mm=self._expected_etc_mm(
                evening, day, days_to_next_window(watering, zone.valve.kind, day)
            ),
            rain_doubt_days=self._rain_doubt_days(account),
        )
        if need is None:
            return None
        alone = self.lines.open_set(frozenset((zone.name,))).zones[zone.name]
        evenness = max(
            with_drilling_scatter(alone.evenness, watering.drilling_scatter), LEAST_EVENNESS
        )
        already = self.given.litres.get((zone.name, day), 0.0)
        wanted = (
            even_litres(net_mm=need.net_mm, ground_m2=zone.ground_m2, evenness=evenness) - already
        )
        if wanted <= 0.0:
            return None
        if self._guess(zone) is not None:
            need = replace(need, words=f"{need.words}; its opening is unknown, its flow a guess")
        job = self._job(zone, day, evening, wanted, already)
        return job, _dose(job, need, zone, account, evenness, already, refill_at)

    def _job(self, zone: Zone, day: date, evening: LedgerDay, wanted: float, already: float) -> Job:
        watering, zone_info = self.garden.watering, self.garden.site.zone_info
        hold = hold_in_force(watering, zone.name, day, zone_info)
        return Job(
            zone=zone.name,
            day=day,
            valve=zone.valve.kind,
            relay_line=zone.valve.relay_line,
            even_litres=wanted,
            line_litres=l_from_m3(self.lines.line(zone.name).drains_m3),
            urgency=evening.depletion_mm / evening.raw_mm if evening.raw_mm > 0 else 1.0,
            stretches=_later(
                allowed(watering, zone.name, zone.valve.kind, day, zone_info),
                self.not_before_utc,
                self.given.soaking_until_utc.get(zone.name),
            ),
            soaking=soaking_of(zone, self.grounds.soil(zone.bed.soil), watering.basin_mm),
            longest_open_s=zone.valve.longest_open_s,
            cap_litres=max(0.0, l_from_m3(zone.daily_cap_m3) - already),
            first_slot=self.given.slots.get((zone.name, day), 0) + 1,
            hold_reason=None if hold is None else hold.reason,
        )

    def guesses(self, doses: Iterable[Dose]) -> list[str]:
        """What to know about those zones that are timed at a guessed flow, once for each."""
        dosed = {dose.zone for dose in doses}
        zones = [zone for zone in self.garden.zones if zone.name in dosed]
        found = ((zone.name, self._guess(zone)) for zone in zones)
        return [f'zone "{name}": {guess}' for name, guess in found if guess is not None]

    def _guess(self, zone: Zone) -> str | None:
        if not zone.opening.unknown:
            return None
        alone = self.lines.open_set(frozenset((zone.name,))).zones[zone.name]
        loss_k = self.lines.valve_loss_k(zone.name)
        return opening_doubt(zone, alone, loss_k, us_units=self.garden.us_units)

    def _expected_etc_mm(self, evening: LedgerDay, day: date, wait: int) -> float:
        """What the crop will use from `day` until the next chance, at last evening's Kc."""
        total = 0.0
        for ahead in range(wait):
            coming = self.days.get(day + ahead * _DAY)
            total += evening.kc * (coming.eto_mm if coming is not None else evening.eto_mm)
        return total

    def _rain_doubt_days(self, account: Sequence[LedgerDay]) -> int:
        """Days in a row, up to the eve of the plan, on which rain is unknown.

        Days of the plan itself are no doubt: nobody knows yet what they bring.
        """
        doubt = 0
        for past in reversed(account):
            if past.rain_known or past.day >= self.first:
                break
            doubt += 1
        return doubt


def finished(dose: Dose, pulses: Iterable[Pulse]) -> Dose:
    """The dose with the pulses it came to, and the line filled for each."""
    count = sum(p.zone == dose.zone for p in pulses)
    return replace(dose, pulses=count, litres=dose.litres + count * dose.line_litres)


def _dose(
    job: Job,
    need: Need,
    zone: Zone,
    account: Sequence[LedgerDay],
    evenness: float,
    already: float,
    refill_at: float,
) -> Dose:
    evening = account[-1]
    since: list[LedgerDay] = []
    for past in reversed(account):
        if past.watered_mm > 0.0 or past.account != evening.account:
            break
        since.append(past)
    return Dose(
        zone=job.zone,
        day=job.day,
        net_mm=need.net_mm,
        ground_m2=zone.ground_m2,
        evenness=evenness,
        line_litres=job.line_litres,
        pulses=0,
        litres=job.even_litres,
        already_litres=already,
        why=Why(
            account=evening.account,
            stage=evening.stage,
            eto_mm=evening.eto_mm,
            method=evening.method,
            kc=evening.kc,
            depletion_mm=evening.depletion_mm,
            allowed_mm=refill_at * evening.raw_mm,
            raw_mm=evening.raw_mm,
            rain_mm=sum(d.rain_mm - d.rain_unused_mm - d.runoff_mm for d in since),
            rain_unknown_days=sum(not d.rain_known for d in since),
            stand_in_days=sum(not d.measured for d in since),
            words=need.words,
        ),
    )


def _later(stretches: list[Stretch], *not_before: datetime | None) -> list[Stretch]:
    """What is left of the stretches after the latest of the moments given."""
    for moment in not_before:
        if moment is not None:
            stretches = [
                Stretch(max(s.begins_utc, moment), s.ends_utc)
                for s in stretches
                if s.ends_utc > moment
            ]
    return stretches
