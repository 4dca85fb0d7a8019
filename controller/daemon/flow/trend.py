"""Compares an open set with its own past weeks, and with the other sets of the same days.

The logbook has, stretch by stretch, what the meter saw of each open set over what was computed for
it. A set's first days are its base. On each day with water, its departure from the base is compared
with that of the sets it shares no zone with. What all of them do is the tap's (a hot evening, the
neighbours, the pressure of the season) and is taken off. What is left has a median over the latest
days; where that lies far from the base's, the set has changed.

No step of this knows why. Without a set to compare with, a weaker tap looks like clogged holes, and
the finding says so.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from math import exp, log, sqrt
from statistics import median

from controller.daemon.flow.rules import ComputedFlow
from controller.errors import LogbookError
from controller.logbook.records import FlowStretch

# All our choice, tried in tests/season/test_flow_seasons.py; the figures are in docs/watching.md.
BASE_LEAST = 7  # days with water before anything is judged
BASE_DAYS = 14  # and so many make the base, once they are there
WINDOWS = (3, 7, 14)  # latest days with water whose median is held against the base
FIND_CHANGE_AT = 4.5  # standard errors
LEAST_CHANGE = 0.035  # of the flow; a smaller change is never reported
LEAST_ALONE = 0.10  # the same where nothing is compared, or of all sets: it may be the tap
TAP_LOSES = 2.0  # times its usual loss: what a hot evening or a filter may do to a tap
STEADY = 1.0 / 3.0  # of the change: what the other of two may move by itself, and is as it was
LEAST_SCATTER = 0.005  # of a set's days: no tap is steadier
SAME_COMPUTED = 0.01  # a computed flow that moves by more is another garden, and begins anew
PAST_ERROR = 0.10  # standard error of a flow that is known from its own past alone
_MAD = 1.4826  # standard deviation over median absolute deviation, normal distribution
_MEDIAN = 1.5708  # variance of a median over that of a mean, many draws, normal distribution: pi/2
_LOG = logging.getLogger("rowgate.flowdesk")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A set, or every set (`zones` empty), whose flow has changed.

    `share` is the change of its flow, `from_share` the least change that is reported. `others` are
    the zones it was compared with; with none, the tap may be the cause. `either`: the others may
    have changed instead, the other way round. `maybe_tap`: a tap that loses more on the way would
    do the same to these sets.
    """

    zones: frozenset[str]
    share: float
    days: int
    from_share: float
    others: frozenset[str]
    either: bool = False
    maybe_tap: bool = False

    @property
    def is_reported(self) -> bool:
        """Whether it is large enough to be reported."""
        return abs(log(1.0 + self.share)) >= log(1.0 + self.from_share)


Days = Mapping[date, float]
TapLossOf = Callable[[frozenset[str]], float]
"""Which share of its still head the tap loses while a set is open. [-]"""


def _unknown_tap(_: frozenset[str]) -> float:
    """A tap of which nothing is known: all sets alike."""
    return 0.0


def by_set(stretches: Iterable[FlowStretch]) -> dict[frozenset[str], dict[date, float]]:
    """Logarithm of metered over computed flow, of each set and day, since the set is as it is now.

    A set begins anew where its computed flow has moved by more than `SAME_COMPUTED`: drilled or
    throttled anew, or a new field test was fitted.
    """
    rows: dict[frozenset[str], list[FlowStretch]] = {}
    for one in stretches:
        if one.computed_l_s > 0.0 and one.seconds > 0.0 and one.litres > 0.0:
            rows.setdefault(one.zones, []).append(one)
    found = {}
    for zones, those in rows.items():
        now = those[-1].computed_l_s
        first = len(those)
        while first and abs(those[first - 1].computed_l_s / now - 1.0) <= SAME_COMPUTED:
            first -= 1
        litres: dict[date, float] = {}
        due: dict[date, float] = {}
        for one in those[first:]:
            litres[one.day] = litres.get(one.day, 0.0) + one.litres
            due[one.day] = due.get(one.day, 0.0) + one.computed_l_s * one.seconds
        found[zones] = {day: log(litres[day] / due[day]) for day in sorted(litres)}
    return found


def reference_flow(computed: ComputedFlow, days: Days) -> ComputedFlow:
    """The flow a set is judged by: the computed one, or where that is too unsure its own past."""
    base = _base(days)
    if computed.is_known or base is None:
        return computed
    return ComputedFlow(flow_l_s=computed.flow_l_s * exp(base), error=PAST_ERROR)


def day_share(
    sets: Mapping[frozenset[str], Days], zones: frozenset[str], day: date
) -> float | None:
    """What the sets without these zones did on that day, over what they usually do.

    None if none with a base ran.
    """
    others = [moved[day] for z, moved in _moved(sets).items() if not z & zones and day in moved]
    return exp(median(others)) if others else None


def can_compare(sets: Mapping[frozenset[str], Days], zones: frozenset[str]) -> bool:
    """Whether any set without these zones has a base."""
    return any(not other & zones for other in _moved(sets))


def changes(
    sets: Mapping[frozenset[str], Days], tap_loss_of: TapLossOf = _unknown_tap
) -> list[Change]:
    """The sets that have changed, the surest first; none where the days do not show any.

    The rule, for each set with `BASE_LEAST` + 3 days at least: base = its first days, up to
    `BASE_DAYS`; window = its latest 3, 7 or 14 days after those. It has changed where the medians
    of window and base lie further apart than `LEAST_CHANGE` and than `FIND_CHANGE_AT` standard
    errors. The scatter is that of the base, or from day to day where that is more (median absolute
    deviations), and no less than that of the middle set. Compared sets: days are taken as
    independent. A set with nothing to compare: they are not, many days are worth one, no window of
    3 days counts and no change below `LEAST_ALONE`, for it may be the tap's. The same holds for all
    sets together, over 14 days.

    A tap that is weaker by its loss (the street, a filter ahead of all zones) takes most from the
    sets with the largest flow: what up to `TAP_LOSES` times the loss would do by `tap_loss_of` is
    reported only once most of 14 days have it.

    A set that was found is no longer compared with, and the others are judged anew.
    """
    found: list[Change] = []
    left = dict(sets)
    while True:
        found_in = _changes_by_set(left, tap_loss_of)
        large = [one for one in found_in.values() if one.is_reported]
        if not large:
            break
        own = {one.zones: _own_change(left[one.zones], one.days) for one in large}
        # Where only two are compared both depart alike; the one that is further from itself leads.
        worst = max(large, key=lambda c: (abs(c.share) + abs(own[c.zones]), sorted(c.zones)))
        seen_right = frozenset[str]().union(
            *(
                one.zones
                for one in found_in.values()
                if not one.is_reported and one.from_share <= abs(worst.share)
            )
        )
        suspects = worst.zones - seen_right or worst.zones
        others = [z for z in left if not z & worst.zones and z in found_in]
        either = len(others) == 1 and not _is_steady(left[others[0]], worst)
        found.append(replace(worst, zones=suspects, either=either))
        gone = suspects | worst.others if either else suspects
        left = {zones: days for zones, days in left.items() if not zones & gone}
    if not found:
        common = _common_change(sets)
        found += [] if common is None else [common]
    return found


def _changes_by_set(
    sets: Mapping[frozenset[str], Days], tap_loss_of: TapLossOf
) -> dict[frozenset[str], Change]:
    """Each set that can be judged: its change over the window that shows it best."""
    moved = _moved(sets)
    departures: dict[frozenset[str], tuple[list[float], frozenset[str]]] = {}
    for zones, days in moved.items():
        apart = [other for other in moved if not other & zones]
        values = [
            share - median(tap)
            for day, share in days.items()
            if (tap := [moved[other][day] for other in apart if day in moved[other]])
        ]
        if len(values) >= BASE_LEAST + min(WINDOWS):
            departures[zones] = values, frozenset[str]().union(*apart)
        elif not apart:
            departures[zones] = list(days.values()), frozenset()
    scatters = {zones: _scatter(values) for zones, (values, _) in departures.items()}
    found = {}
    for zones, (values, others) in departures.items():
        alike = [scatters[z] for z, (_, o) in departures.items() if bool(o) is bool(others)]
        scatter = max(scatters[zones], median(alike))
        windows = WINDOWS if others else WINDOWS[1:]
        change = _best_window(values, scatter, windows, zones, others)
        if change is not None and change.is_reported and others:
            apart = [other for other in moved if not other & zones]
            if _tap_would(change, sets[zones], apart, tap_loss_of):
                change = _best_window(values, scatter, WINDOWS[2:], zones, others)
                change = None if change is None else replace(change, maybe_tap=True)
        if change is not None:
            found[zones] = change
    return found


def _tap_would(
    change: Change, days: Days, others: Sequence[frozenset[str]], tap_loss_of: TapLossOf
) -> bool:
    """Whether a tap that loses more would move this set against the others in the same way.

    All losses go with the square of the flow, so q goes with the root of head over loss: dln q = -w
    dln k / 2, with w the share of the head that the tap loses. Our own, first order.
    """
    apart = tap_loss_of(change.zones) - median(tap_loss_of(other) for other in others)
    if apart == 0.0:
        return False
    loses_more = -2.0 * log(1.0 + change.share) / apart
    # A tap that loses more makes no set give more than it did.
    rose_itself = change.share > 0.0 and _own_change(days, change.days) > min(
        LEAST_CHANGE, 0.5 * change.share
    )
    return 0.0 < loses_more <= log(TAP_LOSES) and not rose_itself


def _best_window(
    values: Sequence[float],
    scatter: float,
    windows: Sequence[int],
    zones: frozenset[str],
    others: frozenset[str],
) -> Change | None:
    """The change over the window where it is largest against the least reported change."""
    tried, independent = [], bool(others)
    for count in windows:
        first = min(BASE_DAYS, len(values) - count)
        if first < BASE_LEAST:
            continue
        moved = median(values[-count:]) - median(values[:first])
        in_window = _MEDIAN / count if independent else 1.0
        limit = max(
            log(1.0 + (LEAST_CHANGE if independent else LEAST_ALONE)),
            FIND_CHANGE_AT * scatter * sqrt(in_window + _MEDIAN / first),
        )
        tried.append((moved, count, limit))
    if not tried:
        return None
    moved, count, limit = max(tried, key=lambda one: abs(one[0]) / one[2])
    return Change(
        zones=zones,
        share=exp(moved) - 1.0,
        days=count,
        from_share=exp(limit) - 1.0,
        others=others,
    )


def _common_change(sets: Mapping[frozenset[str], Days]) -> Change | None:
    """All sets together: the tap, a filter ahead of them, or the meter."""
    moved = _moved(sets)
    by_day: dict[date, list[float]] = {}
    for days in moved.values():
        for day, share in days.items():
            by_day.setdefault(day, []).append(share)
    values = [median(by_day[day]) for day in sorted(by_day)]
    if not any(not a & b for a in moved for b in moved):
        return None  # nothing was compared: each was judged by itself
    if not values:
        return None
    nobody = frozenset[str]()
    change = _best_window(values, _scatter(values), WINDOWS[2:], nobody, nobody)
    return change if change is not None and change.is_reported else None


def _moved(sets: Mapping[frozenset[str], Days]) -> dict[frozenset[str], dict[date, float]]:
    """How far each set with a base has moved from it, day by day."""
    found = {}
    for zones, days in sets.items():
        base = _base(days)
        if base is not None:
            found[zones] = {day: share - base for day, share in days.items()}
    return found


def _base(days: Days) -> float | None:
    values = list(days.values())[:BASE_DAYS]
    return median(values) if len(values) >= BASE_LEAST else None


def _own_change(days: Days, count: int) -> float:
    """A set's change over its latest days by itself, with the tap's in it."""
    base, values = _base(days), list(days.values())
    return 0.0 if base is None else median(values[-count:]) - base


def _is_steady(days: Days, change: Change) -> bool:
    """Whether the other of two sets has surely not changed.

    It stands where it stood, and its own days swing far less than the change, so that the tap has
    not hidden one.
    """
    moved = _own_change(days, change.days)
    swing = FIND_CHANGE_AT * _scatter(list(days.values()))
    return max(abs(moved), STEADY * swing) <= STEADY * abs(change.share)


def _scatter(values: Sequence[float]) -> float:
    """Robust standard deviation of a set's days.

    The larger of that of its first days about their median, and that from each day to the next over
    all of them.
    """
    first = values[:BASE_DAYS]
    middle = median(first)
    about = median(abs(value - middle) for value in first)
    steps = [abs(after - before) for before, after in pairwise(values)]
    from_day_to_day = median(steps) / sqrt(2.0) if steps else 0.0
    return max(LEAST_SCATTER, _MAD * about, _MAD * from_day_to_day)


def changed_words(change: Change) -> str:
    """The text of a change for the keeper."""
    size = f"{100.0 * abs(change.share):.0f} %"
    less = change.share < 0.0
    turned = "less" if less else "more"
    over = f"over its last {change.days} days with water"
    if not change.zones:
        return (
            f"all zones give {size} {turned} than in their first weeks (over the last "
            f"{change.days} days with water): the tap, a filter ahead of all zones, or the meter"
        )
    why = (
        "holes or a filter that clog, or a valve less open"
        if less
        else "an end cap or a joint that leaks, holes worn, or a valve further open"
    )
    what = f"the flow is {size} {turned} than in its first weeks {over}"
    if not change.others:
        return (
            f"{what}: {why}; no other zone can be compared with it, and a tap that gives {turned} "
            "looks the same: read a gauge at the tap"
        )
    if change.maybe_tap:
        why += (
            "; or a tap or a filter ahead of all zones that lets less through, which takes most "
            "where most flows: read a gauge at the tap"
        )
    if change.either:
        others = ", ".join(sorted(change.others))
        return (
            f"{what}, compared with {others}: {why}; or {others} gives that much "
            f"{'more' if less else 'less'}, for the two look the same"
        )
    return f"{what}, compared with the other zones of the same days: {why}"


class Past:
    """What the meter saw before, by the logbook's `read` and `write`; without them, since the
    start.

    It is read anew each day, for a line may have been mended. While the logbook takes nothing, what
    is seen is kept here, and is not written later: a stretch that is missing costs a comparison.
    """

    def __init__(
        self,
        read: Callable[[], Iterable[FlowStretch]] | None = None,
        write: Callable[[FlowStretch], None] = lambda _: None,
    ) -> None:
        self._read, self._write = read, write
        self._stretches: list[FlowStretch] = []
        self._read_on: date | None = None

    def stretches(self, today: date) -> Sequence[FlowStretch]:
        """All stretches that count, oldest first."""
        if self._read is not None and self._read_on != today:
            try:
                self._stretches = list(self._read())
                self._read_on = today
            except LogbookError as fault:
                _LOG.warning("what the meter saw before is not known: %s", fault)
        return self._stretches

    def keep(self, seen: FlowStretch) -> None:
        """Keep one more stretch."""
        self.stretches(seen.day)
        self._stretches.append(seen)
        try:
            self._write(seen)
        except LogbookError as fault:
            _LOG.warning("what the meter saw is not written down: %s", fault)
