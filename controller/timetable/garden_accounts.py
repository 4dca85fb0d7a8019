"""The accounts of a garden, carried day by day through past days and planned days.

A past day is credited with the recorded water, or else, by its zone's rule, with what its own
timetable had. So an account never depends on when, or how often, a plan is made.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.demand.records import ASSUMED, PLANNED, RECORDED
from controller.demand.soil.zone_days import ZoneDays
from controller.garden.model import Watering, Zone
from controller.timetable.need.accounts import ZoneAccount
from controller.timetable.need.jobs import JobMaker
from controller.timetable.need.rounds import hand_needs
from controller.timetable.packing.by_hand import HandLimits
from controller.timetable.packing.fit_day import (
    NOTHING_ON_DAY,
    GivenOnDay,
    Packed,
    given_on_day,
    pack,
)
from controller.timetable.packing.job import Job, NetworkFlows
from controller.timetable.records import Dose, WaterIn

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DayPlanned:
    """One planned day."""

    packed: Packed
    doses: list[Dose]


@dataclass(frozen=True, slots=True)
class GardenAccounts:
    """The accounts of all zones, carried day by day."""

    job_maker: JobMaker  # of open ground
    job_makers: Mapping[str, JobMaker]  # of each zone, under its covers
    accounts: Mapping[str, ZoneAccount]
    flows: NetworkFlows

    def through_days_gone(self) -> None:
        """Carry the accounts from their start to the evening before the plan.

        Assumed water is what the timetable of its own day had, and that timetable knew no later
        note. So if notes came late, the past days are carried again from each day on which one was
        written: with that note, and with what had been assumed until then.
        """
        first = self.job_maker.first
        starts = [account.begins for account in self.accounts.values() if account.begins]
        if not self.job_maker.days or not starts:
            return
        begins = max(min(self.job_maker.days), min(starts))
        late = {
            key: min(noted, first)
            for key, noted in self.job_maker.given.noted_on.items()
            if noted > key[1] + _DAY and begins <= key[1] < first
        }
        done: dict[tuple[str, date], GivenOnDay] = {}
        moments = sorted(set(late.values()))
        for since, until in zip((date.min, *moments), (*moments, first), strict=True):
            for account in self.accounts.values():
                account.begin_anew()
            carried = self._without({key for key, noted in late.items() if noted > since})
            day = begins
            while day < until:
                carried._day_gone(day, done, since=since)
                if not moments:
                    done.clear()  # it is not needed again
                day += _DAY

    def _without(self, notes: Collection[tuple[str, date]]) -> GardenAccounts:
        """The same accounts without the notes on these zones and days."""
        if not notes:
            return self

        written = self.job_maker.given.litres.items()
        litres = ZoneDays(((k, n) for k, n in written if k not in notes), kind=float)

        def unknowing(job_maker: JobMaker) -> JobMaker:
            return replace(job_maker, given=replace(job_maker.given, litres=litres))

        job_makers = {name: unknowing(found) for name, found in self.job_makers.items()}
        return GardenAccounts(unknowing(self.job_maker), job_makers, self.accounts, self.flows)

    def _day_gone(
        self, day: date, done: dict[tuple[str, date], GivenOnDay], *, since: date
    ) -> None:
        """Credit one past day; for days before `since`, `done` has the assumed water.

        A day that is still to come has no record: it goes as planned.
        """
        garden, given = self.job_maker.garden, self.job_maker.given
        if day >= self.job_maker.today:
            self.plan(day)
            return
        assumed = {
            zone.name
            for zone in garden.zones
            if (zone.name, day) not in given.litres
            and given.record.assumed_as_planned(zone, garden, day)
        }
        if day >= since:
            planned = self._as_planned(day, assumed)
            for name in assumed:
                if name in planned:
                    done[name, day] = planned[name]
                else:  # most zones, on most days: they are not stored
                    done.pop((name, day), None)
        for zone in garden.zones:
            if (zone.name, day) in given.litres:
                self._credit_written(zone, day, NOTHING_ON_DAY)
            elif zone.name in assumed:
                found = done.get((zone.name, day), NOTHING_ON_DAY)
                self._credit_assumed(zone, day, found.litres, found.stored_litres)
            else:
                printed = given.record.printed(zone, garden, day)
                self._credit_assumed(zone, day, printed, None)

    def _as_planned(self, day: date, assumed: Collection[str]) -> Mapping[str, GivenOnDay]:
        """What the day's own timetable had, if any zone's water is assumed.

        Zones with recorded water were in that timetable too, and shared the supply.
        """
        if not assumed:
            return {}
        in_round = hand_needs(day, self.job_makers, self.accounts)
        jobs = [
            job
            for zone in self.job_maker.garden.zones
            if (
                job := self.job_makers[zone.name].job(
                    zone, self.accounts[zone.name], day, needs=in_round.get(zone.name)
                )
            )
        ]
        if not any(job.zone in assumed for job in jobs):
            return {}
        watering = self.job_maker.garden.watering
        return self.job_maker.grounds.days_gone.given(
            day,
            jobs,
            self.flows,
            network=self.job_maker.lines,
            most_open=watering.most_open,
            least_share=watering.least_share,
            by_hand=hand_limits(watering),
        )

    def plan(self, day: date) -> DayPlanned:
        """Plan one day, then credit it."""
        found = self._doses(day)
        watering = self.job_maker.garden.watering
        packed = pack(
            [job for job, _ in found],
            self.flows,
            most_open=watering.most_open,
            least_share=watering.least_share,
            by_hand=hand_limits(watering),
        )
        given = given_on_day(packed)
        for zone in self.job_maker.garden.zones:
            self._credit_written(zone, day, given.get(zone.name, NOTHING_ON_DAY))
        return DayPlanned(packed, [dose for _, dose in found])

    def to_water_in(self, first: date) -> tuple[WaterIn, ...]:
        """Plants set out from `first` on that must be watered in by hand.

        Seeds are not: their line keeps the seedbed moist from the first day on.
        """
        return tuple(
            found
            for zone in self.job_maker.garden.zones
            for found in self.accounts[zone.name].to_water_in(
                first, self.job_makers[zone.name].fallen_mm
            )
        )

    def _doses(self, day: date) -> list[tuple[Job, Dose]]:
        in_round = hand_needs(day, self.job_makers, self.accounts)
        found = (
            self.job_makers[zone.name].dose(
                zone, self.accounts[zone.name], day, needs=in_round.get(zone.name)
            )
            for zone in self.job_maker.garden.zones
        )
        return [job for job in found if job is not None]

    def _credit_assumed(
        self, zone: Zone, day: date, litres: float, stored_litres: float | None
    ) -> None:
        """Credit assumed water, as planned or printed."""
        self.accounts[zone.name].credit(
            self.job_makers[zone.name].days[day],
            litres,
            stored_litres=stored_litres,
            water_from=ASSUMED,
        )
        self._as_read(zone, day)

    def _credit_written(self, zone: Zone, day: date, planned: GivenOnDay) -> None:
        """Credit the recorded water of a day, with what is planned besides."""
        account, given = self.accounts[zone.name], self.job_maker.given
        litres, stored = planned.litres, planned.stored_litres
        written = given.litres.get((zone.name, day), 0.0)
        if written > 0.0:
            logged = given.stored_litres.get((zone.name, day))
            litres += written
            stored += account.stored_of(written) if logged is None else logged
        account.credit(
            self.job_makers[zone.name].days[day],
            litres,
            stored_litres=stored,
            water_from=PLANNED if planned.litres > 0.0 else RECORDED,
        )
        self._as_read(zone, day)

    def _as_read(self, zone: Zone, day: date) -> None:
        """Start the account anew from a soil reading, if a note of that day says so."""
        moisture = self.job_maker.given.soil_starts.get((zone.name, day))
        if moisture is not None:
            self.accounts[zone.name].as_read(moisture)


def hand_limits(watering: Watering) -> HandLimits:
    """What a keeper is asked at most on a day."""
    return HandLimits(visits=watering.hand_visits, turns=watering.hand_turns)
