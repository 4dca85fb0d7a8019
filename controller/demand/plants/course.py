"""The course of a planting: its stage each day, by date, by degree days and by observations.

The position is the day of the crop's table that a day corresponds to. It starts at 1 and advances
by 1 a day or, by warmth, by the day's degree days over those of an ordinary day of the same stage.
An observation sets the position to the first day of that stage, and the curve continues from there;
earlier days keep their positions. Seed waits below ground until it is up; then the position is that
of the table after an ordinary emergence. So a late or an early emergence moves all that follows,
and no seedbed is past the initial stage. A perennial begins again each year on the day of its
start, or on the day that the gardener names; if it was set out before that day, it rests until
then. Its growing years are counted until it is full-grown. Plants just set out are kept moist for
the days that they take to root. The day on which plants were lifted is the last of the planting.

Watering can end before the planting does. For onions, garlic and potatoes it stops when somebody
has noted that the tops have fallen or dried: never by the calendar alone, and not for yellow lower
leaves, which come weeks earlier. Beans, sunflowers and squashes that dry where they stand get no
water in the last half of their late stage (FAO-56 annex 8).

A first ripe fruit moves no stage. A crop that is picked and does not have to dry stays in
mid-season beyond the table's length: until leaves turn yellow, the last fruit is picked, or the
late stage must begin to end with the planting (FAO-56, chapter 6: mid-season lasts to the start of
maturity, shown by leaves, not by a first fruit).
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from controller.demand.plants.degree_days import OPEN_GROUND, Ground, NormalSpread, NormalTemps
from controller.demand.plants.development import (
    LONGEST_SEEDBED_DAYS,
    cold_soil_warning,
    emergence_of,
    ordinary_emergence_days,
    pace_of,
)
from controller.demand.plants.observations import EVENTS, OLD_GONE, left_aside
from controller.demand.plants.stages import (
    FIRST_YEAR_REFILL_AT,
    SETTLING_DAYS_BETWEEN,
    CourseDay,
    Settling,
    stage_days_of,
    stage_on_day,
)
from controller.demand.records import DayInput, Observation
from controller.errors import OutOfRange
from controller.garden.model import Planting
from controller.messages import Message
from crops.catalogue import Crop

__all__ = ["Course", "CourseDay"]

_DAY = timedelta(days=1)
_RANK = {event: rank for rank, event in enumerate(EVENTS)}
_PUTS_AT_END_OF = {"spreading": 0, "full": 1, "ripening": 2}  # the stage before
# Signs of the late stage that come more than so many days before it, by the table, are queried. If
# the crop is one that is stopped, yellow leaves then move nothing. Quick varieties are two to three
# weeks ahead of the table (common practice, no source); leaves also turn yellow from lack of
# nutrients or from blight. Our choice.
EARLY_DAYS = 21
# From the stop to lifting, at most: onion two weeks (Utah), garlic and potato two to three (common
# practice; Nebraska and UK growers for potato: not left on its reserves for longer).
LIFT_WITHIN_DAYS = 21
# Of each day: its position and the furthest so far; then the number of days until watering stops.
_Run = tuple["array[float]", "array[float]", int]
# Callers ask for a day several times, then for the next: so many days are cached. Our choice.
_KEPT_DAYS = 8


class Course:
    """One planting from its first day to its last.

    `days` are the days of weather that are known, forecasts included. `observations` are those of
    this planting; `observations.allotted` picks them out of a zone's. `normal_temps` are the lowest
    and highest temperature usual for a date.
    """

    def __init__(
        self,
        crop: Crop,
        planting: Planting,
        days: Mapping[date, DayInput],
        *,
        observations: Sequence[Observation] = (),
        normal_temps: NormalTemps | None = None,
        settling_days: int = 7,
        ground: Ground = OPEN_GROUND,
        latitude_deg: float | None = None,
        normal_spread: NormalSpread | None = None,
    ) -> None:
        self._crop, self._planting, self._days = crop, planting, days
        self._settling_days = self._moist_days(settling_days)
        self._stage_days = stage_days_of(crop, planting)
        self._pace, remarks = pace_of(crop, planting, normal_temps, latitude_deg, normal_spread)
        self._remarks = [*remarks]
        self.ends = planting.until
        self._seen = self._accepted(observations)
        self._known_to = max(days, default=None)
        self.soil_c: Mapping[date, float] = {}  # at seed depth, until it is up
        self.emerges = self._emergence(normal_temps, ground)
        # Each year of a perennial, or the one run of everything else, is computed when asked for.
        self._runs: dict[date, _Run] = {}
        self._found: dict[date, CourseDay] = {}
        self._remark_on_ripeness()

    @property
    def remarks(self) -> tuple[Message, ...]:
        """What a person should know: what was ignored or replaced, and what to look at."""
        return tuple(self._remarks)

    def on(self, day: date) -> CourseDay:
        """Stage and position of the day; OutOfRange if the planting does not stand then."""
        found = self._found.get(day)
        if found is None:
            found = self._found[day] = self._stands_on(day)
            if len(self._found) > _KEPT_DAYS:
                del self._found[next(iter(self._found))]
        return found

    def days_to_late(self, day: date) -> float:
        """Days of the crop's table until its late stage begins; 0 or less in it."""
        return self._pace.ends[2] + 1.0 - self.on(day).position

    def _stands_on(self, day: date) -> CourseDay:
        planting = self._planting
        if not planting.start <= day <= self.ends:
            last = (self.ends - planting.start).days + 1
            raise OutOfRange("day_of_planting", (day - planting.start).days + 1, 1, last)
        first = self._first_of(day)
        positions, furthest, stops_at = self._run(first)
        number = (day - first).days
        position, year = positions[number], self._growing_year(first)
        stopped = number >= stops_at or self._dries_by_date(position)
        return CourseDay(
            stage=stage_on_day(position, stage_days=self._stage_days),
            position=position,
            day_of_planting=number + 1,
            phase=self._phase(day, stopped),
            settling=self._settling(day),
            year=year,
            refill_at=FIRST_YEAR_REFILL_AT if year == 1 else None,
            stopped=stopped,
            furthest=furthest[number],
            stage_days=None if self._stage_days == self._crop.stage_days else self._stage_days,
        )

    def _phase(self, day: date, stopped: bool) -> str:
        if self.emerges is not None and day < self.emerges:
            return "seedbed"
        if self._settling(day) is not None:
            return "settling"
        return "dry-down" if stopped else ""

    def _moist_days(self, settling_days: int) -> int:
        """Days for which plants set out are kept moist; a perennial has its own."""
        young = self._crop.first_years
        if young is None or not settling_days:
            return settling_days
        return max(young.moist_days, settling_days) if self._planting.years_before == 0 else 0

    def _settling(self, day: date) -> Settling | None:
        left = self._settling_days - (day - self._planting.start).days
        if self.emerges is not None or left <= 0:
            return None
        young = self._crop.first_years
        if young is None:
            return Settling(days_left=left)
        return Settling(
            days_left=left,
            at_most_days_between=SETTLING_DAYS_BETWEEN,
            roots_m=min(young.roots_m, self._crop.root_min_m),
        )

    def _growing_year(self, first: date) -> int | None:
        """The growing year of the run that begins on `first`; None once it is full-grown."""
        young, before = self._crop.first_years, self._planting.years_before
        if young is None or before is None:
            return None
        year = before + max(first.year - self._grows_from.year, 0) + 1
        return year if year <= young.years else None

    def _dries_by_date(self, position: float) -> bool:
        return (
            self._crop.dry_down == "taper"
            and position > self._pace.ends[3] - self._stage_days[3] / 2.0
        )

    def _run(self, first: date) -> _Run:
        """The run that begins on `first`, computed once."""
        if first in self._runs:
            return self._runs[first]
        last = self.ends
        rests = first < self._grows_from
        if self._crop.perennial:
            start = self._grows_from
            again = start if rests else _returns(start, first.year - start.year + 1)
            last = min(last, again - _DAY)
        seen: dict[date, list[str]] = {}
        for each in self._seen:
            seen.setdefault(each.day, []).append(each.event)
        pace, by_days = self._pace, self._pace.by_days
        length = (last - first).days + 1
        up = None
        if self.emerges is not None and not rests and first == self._planting.start:
            up = (self.emerges - first).days
        comes_up_at = max(min(1.0 + ordinary_emergence_days(self._crop), pace.ends[0]), 1.0)
        positions, furthest = array("d"), array("d")
        stops_at, position, most = length, 1.0, 1.0
        picking = False
        # No later observation may change this: it is the last day by the garden file.
        picked_to = self._planting.until - timedelta(days=self._stage_days[3])
        for number in range(length):
            day = first + timedelta(days=number)
            if number and not rests:
                position = (
                    position + 1.0 if by_days else pace.after(position, day, self._days.get(day))
                )
            if up is not None and number <= up:
                position = comes_up_at if number == up else min(position, comes_up_at)
            for event in seen.get(day, ()):
                position = self._moved(event, position)
                if event == "first ripe":
                    picking = not self._crop.perennial and not self._crop.dry_down
                elif event in ("ripening", "last picking", "tops fallen"):
                    picking = False
                if event == "tops fallen" and self._crop.dry_down == "stop":
                    stops_at = number
            if picking and day <= picked_to:
                position = min(position, float(pace.ends[2]))
            most = max(most, position)
            positions.append(position)
            furthest.append(most)
        self._runs[first] = (positions, furthest, stops_at)
        return self._runs[first]

    def _moved(self, event: str, position: float) -> float:
        """The position after an observation; the same if that moves nothing."""
        late = self._pace.ends[2] + 1.0
        if event == "ripening" and self._crop.dry_down == "stop" and position < late - EARLY_DAYS:
            return position
        if event in _PUTS_AT_END_OF:
            return self._pace.ends[_PUTS_AT_END_OF[event]] + 1.0
        # A perennial keeps its leaves, or grows new ones, after the last picking.
        if event == "tops fallen" or (event == "last picking" and not self._crop.perennial):
            return max(position, late)
        return position

    def _accepted(self, observations: Sequence[Observation]) -> tuple[Observation, ...]:
        """Observations that make sense, in order; a remark on each other one. Sets `ends` too."""
        kept: list[Observation] = []
        current = [self._with_current_name(each) for each in observations]
        for seen in sorted(current, key=lambda each: (each.day, _RANK.get(each.event, -1))):
            fault = self._fault_of(seen, kept)
            if fault:
                self._remarks.append(left_aside(seen, fault))
                continue
            kept.append(seen)
            if seen.event == "gone":
                self.ends = seen.day
        return tuple(kept)

    def _with_current_name(self, seen: Observation) -> Observation:
        """The observation with today's name; "lifted" of an older logbook may be a mere harvest."""
        if seen.event != OLD_GONE or self._crop.perennial:
            return seen
        return replace(seen, event="gone")

    def _fault_of(self, seen: Observation, kept: Sequence[Observation]) -> Message | None:
        if seen.event == OLD_GONE:
            return Message("seen.maybe_harvest")
        if seen.event not in EVENTS:
            return Message("seen.no_such_event")
        if not self._planting.start <= seen.day <= self.ends:
            start, last = self._planting.start.isoformat(), self.ends.isoformat()
            return Message("seen.not_standing", {"start": start, "last": last})
        if seen.event == "up" and self._planting.transplanted:
            return Message("seen.set_out")
        first = self._first_of(seen.day)
        # A first fruit may ripen before or after anything else.
        alike = seen.event == "first ripe"
        earlier = [e for e in kept if e.day >= first and (e.event == "first ripe") == alike]
        if earlier and _RANK[seen.event] <= _RANK[earlier[-1].event]:
            last_seen = earlier[-1]
            before = {"event": last_seen.event, "day": last_seen.day.isoformat()}
            return Message("seen.already", before)
        return None

    def _emergence(self, normal_temps: NormalTemps | None, ground: Ground) -> date | None:
        """The day on which plants are up; None if they were not sown."""
        planting = self._planting
        if planting.transplanted:
            return None
        found = emergence_of(self._crop, planting, self._days, normal_temps, ground)
        guess, self.soil_c = found.up, found.soil_c
        seen = self._seen[0].day if self._seen else None
        if seen is not None and (self._seen[0].event == "up" or seen < guess):
            return seen
        if warning := cold_soil_warning(self._crop, found, self._known_to):
            self._remarks.append(warning)
        if found.gave_up and self._is_known(guess):
            self._remarks.append(Message("course.not_seen_up", {"days": LONGEST_SEEDBED_DAYS}))
        return guess

    def _remark_on_ripeness(self) -> None:
        """Remark on a crop that should ripen now by its course, if nobody has noted it."""
        today = self._known_to
        if (
            self._crop.dry_down != "stop"
            or today is None
            or any(each.event in ("tops fallen", "gone") for each in self._seen)
        ):
            return
        yellow = any(each.event == "ripening" and each.day <= today for each in self._seen)
        if not self._planting.start <= today <= self.ends or self.on(today).stage != "late":
            return
        why = Message("course.yellow" if yellow else "course.ripe_by_course")
        self._remarks.append(Message("course.ripens", {"why": why}))

    def _is_known(self, day: date) -> bool:
        return self._known_to is not None and self._known_to >= day

    def _first_of(self, day: date) -> date:
        """The first day of the run that `day` is in: the start, or a perennial's anniversary."""
        first, start = self._planting.start, self._grows_from
        if not self._crop.perennial:
            return first
        for years in (day.year - start.year - 1, day.year - start.year):
            if years >= 0 and (again := _returns(start, years)) <= day:
                first = again
        return first

    @property
    def _grows_from(self) -> date:
        """The day on which the growing year begins: for all but perennials the start."""
        begins = self._planting.grows_from
        return begins if begins is not None and self._crop.perennial else self._planting.start


def in_first_year(planting: Planting, crop: Crop, day: date) -> bool:
    """Whether a perennial is in its first growing year, in which it is watered sooner.

    `years_before` of the planting says how old the plants were when they were set out. False for a
    crop that is no perennial.

    Source
    ------
    `FIRST_YEAR_REFILL_AT` in `stages`: our choice.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> stands = {"start": date(2031, 4, 1), "until": date(2040, 12, 31), "years_before": 0}
    >>> canes = Planting(crop="raspberry", **stands)
    >>> [in_first_year(canes, load().crop("raspberry"), date(y, 6, 1)) for y in (2031, 2032)]
    [True, False]
    """
    if crop.first_years is None or planting.years_before != 0:
        return False
    grows_from = planting.grows_from if crop.perennial else None
    return planting.start <= day < _returns(grows_from or planting.start, 1)


def _returns(start: date, years: int) -> date:
    """The same day of the year, `years` later (29 February: the 28th)."""
    try:
        return start.replace(year=start.year + years)
    except ValueError:
        return start.replace(year=start.year + years, day=28)
