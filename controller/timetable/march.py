"""The accounts of a garden carried day by day: through days gone, and through days planned.

A day gone is credited with what is written of it, or else by its zone's rule with what its own
timetable had: so an account never depends on when, or how often, it was asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from controller.demand.records import ASSUMED, PLANNED, RECORDED
from controller.garden.model import Zone
from controller.timetable.accounts import ZoneAccount
from controller.timetable.job import Job
from controller.timetable.jobs import Reckoning
from controller.timetable.packing import (
    NOTHING_ON_DAY,
    GivenOnDay,
    Packed,
    given_on_day,
    pack,
)
from controller.timetable.records import Dose
from controller.timetable.sets import NetworkFlows

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DayPlanned:
    """One day as it was planned."""

    packed: Packed
    doses: list[Dose]


@dataclass(frozen=True, slots=True)
class March:
    """The accounts of all zones, carried day by day."""

    reckoning: Reckoning  # of open ground
    reckonings: Mapping[str, Reckoning]  # of each zone, under what covers it
    accounts: Mapping[str, ZoneAccount]
    flows: NetworkFlows

    def through_days_gone(self) -> None:
        """From the start of the account to the eve of the plan."""
        days, given = self.reckoning.days, self.reckoning.given
        garden = self.reckoning.garden
        starts = [zone.plantings[0].start for zone in garden.zones if zone.plantings]
        if not days or not starts:
            return
        day = max(min(days), min(starts))
        while day < self.reckoning.first:
            assumed = {
                zone.name
                for zone in garden.zones
                if (zone.name, day) not in given.litres
                and given.record.assumed_as_planned(zone, garden, day)
            }
            planned = self._as_planned(day, assumed)
            for zone in garden.zones:
                if (zone.name, day) in given.litres:
                    self._credit_written(zone, day, NOTHING_ON_DAY)
                elif zone.name in assumed:
                    found = planned.get(zone.name, NOTHING_ON_DAY)
                    self._credit_assumed(zone, day, found.litres, found.stored_litres)
                else:
                    printed = given.record.printed(zone, garden, day)
                    self._credit_assumed(zone, day, printed, None)
            day += _DAY

    def _as_planned(self, day: date, assumed: Collection[str]) -> Mapping[str, GivenOnDay]:
        """What the day's own timetable had, if any of it is taken as done.

        Zones whose water is on record stood on that timetable too, and shared the supply.
        """
        if not assumed:
            return {}
        jobs = [job for job, _ in self._jobs(day)]
        if not any(job.zone in assumed for job in jobs):
            return {}
        watering = self.reckoning.garden.watering
        return self.reckoning.grounds.days_gone.given(
            day,
            jobs,
            self.flows,
            network=self.reckoning.lines,
            most_open=watering.most_open,
            least_share=watering.least_share,
        )

    def plan(self, day: date) -> DayPlanned:
        """Plan one day, and credit it."""
        found = self._jobs(day)
        watering = self.reckoning.garden.watering
        packed = pack(
            [job for job, _ in found],
            self.flows,
            most_open=watering.most_open,
            least_share=watering.least_share,
        )
        given = given_on_day(packed)
        for zone in self.reckoning.garden.zones:
            self._credit_written(zone, day, given.get(zone.name, NOTHING_ON_DAY))
        return DayPlanned(packed, [dose for _, dose in found])

    def _jobs(self, day: date) -> list[tuple[Job, Dose]]:
        found = (
            self.reckonings[zone.name].job(zone, self.accounts[zone.name], day)
            for zone in self.reckoning.garden.zones
        )
        return [job for job in found if job is not None]

    def _credit_assumed(
        self, zone: Zone, day: date, litres: float, stored_litres: float | None
    ) -> None:
        """Credit what nobody wrote down, as it was planned or printed."""
        self.accounts[zone.name].credit(
            self.reckonings[zone.name].days[day],
            litres,
            stored_litres=stored_litres,
            water_from=ASSUMED,
        )
        self._as_read(zone, day)

    def _credit_written(self, zone: Zone, day: date, planned: GivenOnDay) -> None:
        """Credit what is written of a day, and what is planned beside it."""
        account, given = self.accounts[zone.name], self.reckoning.given
        litres, stored = planned.litres, planned.stored_litres
        written = given.litres.get((zone.name, day), 0.0)
        if written > 0.0:
            logged = given.stored_litres.get((zone.name, day))
            litres += written
            stored += account.stored_of(written) if logged is None else logged
        account.credit(
            self.reckonings[zone.name].days[day],
            litres,
            stored_litres=stored,
            water_from=PLANNED if planned.litres > 0.0 else RECORDED,
        )
        self._as_read(zone, day)

    def _as_read(self, zone: Zone, day: date) -> None:
        """Take what a person read of the soil as the account's new start, where one says so."""
        moisture = self.reckoning.given.soil_starts.get((zone.name, day))
        if moisture is not None:
            self.accounts[zone.name].as_read(moisture)
