"""A whole season of deaths, run and judged; its figures."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pytest import approx

from controller.daemon.openings import BEAT_S
from controller.hydraulics.network.garden_lines import Lines
from controller.logbook.records import PulseState
from process.audit import Audit, audit
from process.deaths import MANUAL_S, WAYS, Season, Toll
from process.manager import Manager
from process.season import BEGINS, a_plot, garden_of, its_weather, seeded
from process.twin import undisturbed_l

RATE = 10.0
FILL_L = 1.0  # what one more beginning costs at most: the line is filled anew


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a season of deaths came to."""

    toll: Toll
    found: Audit
    days: float
    calm_l: float
    credited_l: float
    recorded_l: float

    def lines(self) -> list[str]:
        """The figures, in words."""
        late_ms = sorted(1000.0 * x for x in self.found.late_s)
        offs_ms = sorted(1000.0 * d.off_after_s for d in self.toll.deaths if d.off_after_s)
        states = Counter(str(p.row.state) for p in self.found.pulses)
        ways = ", ".join(f"{way} {n}" for way, n in self.toll.by_way().most_common())
        on = sum(d.line_was_on for d in self.toll.deaths)
        return [
            f"{len(self.toll.deaths)} deaths ({ways}), {on} of them with water running, "
            f"{sum(not d.ready for d in self.toll.deaths)} before the daemon was ready",
            f"{self.days:.1f} days, {len(self.found.pulses)} pulses: {dict(states)}",
            f"late, undisturbed: {of(late_ms)} ms",
            f"SIGKILL to all off, by the stop step: {of(offs_ms)} ms",
            f"litres: recorded {self.recorded_l:.0f}, credited {self.credited_l:.0f}, "
            f"of a calm season {self.calm_l:.0f}",
        ]


def of(values: Sequence[float]) -> str:
    """Half, most, all."""
    if not values:
        return "none"
    ranked = sorted(values)
    p99 = ranked[min(len(ranked) - 1, math.ceil(0.99 * len(ranked)) - 1)]
    return f"p50 {ranked[len(ranked) // 2]:.2f}, p99 {p99:.2f}, max {ranked[-1]:.2f}"


def season_of_deaths(folder: Path, *, mode: str, seed: int, deaths: int) -> Verdict:
    """Run it and judge it; raises where a promise is broken."""
    plot, weather = a_plot(), its_weather()
    manager = Manager(
        folder, garden=plot, weather=weather, wall_s=BEGINS.timestamp(), rate=RATE, mode=mode
    )
    try:
        season = Season(manager, seeded(seed))
        season.kill_times(deaths)
        ended = datetime.fromtimestamp(manager.page.now().wall_s, UTC)
        toll = season.toll
        # Every line off in time, every acknowledged pulse there to the end, none twice, and each
        # counted to the heartbeat: all this is asserted within.
        found = audit(manager, toll.deaths, RATE, Lines(garden_of(plot)))
    finally:
        manager.close()
    assert set(toll.by_way()) <= {*WAYS, "by itself"}
    assert len(found.pulses) >= deaths, "too little water ran to show anything"
    assert "Traceback" not in manager.log_text() and "mistake" not in manager.log_text()
    opened = [p for p in found.pulses if p.row.state is not PulseState.REFUSED]
    assert toll.manual_opened <= len(opened)
    calm = folder / "calm"
    calm.mkdir()
    calm_l = undisturbed_l(calm, garden=plot, weather=weather, until=ended)
    days = (ended - BEGINS).total_seconds() / 86400.0
    flows = Lines(garden_of(plot))
    for zone in garden_of(plot).zones:
        line = zone.valve.relay_line
        assert line is not None
        alone = flows.open_set(frozenset((zone.name,))).zones[zone.name]
        flow_l_s = 1000.0 * alone.flow_m3_s
        cuts = [p for p in found.pulses if p.span.line == line and p.death is not None]
        # What was credited is what really ran, but for a heartbeat of each death and what ran on
        # after it until somebody came.
        unsure_l = sum(
            flow_l_s * (BEAT_S + abs(p.on_s * RATE - (p.row.open_s or 0.0))) for p in cuts
        )
        credited, really = found.credited_l.get(line, 0.0), found.recorded_l.get(line, 0.0)
        assert credited == approx(really, abs=unsure_l + 0.03 * really + 0.1)
        # And the season's dose was given once: as much as where nobody died, but for lines filled
        # anew, what a person opened, and the day that is not over.
        day_l = calm_l[line] / max(1.0, days)
        manual_l = toll.manual_opened * MANUAL_S * flow_l_s
        allowed = FILL_L * len(cuts) + day_l + 0.05 * calm_l[line]
        assert credited <= calm_l[line] + allowed + manual_l, (zone.name, credited, calm_l[line])
        assert credited >= calm_l[line] - allowed - day_l, (zone.name, credited, calm_l[line])
    return Verdict(
        toll=toll,
        found=found,
        days=days,
        calm_l=math.fsum(calm_l.values()),
        credited_l=math.fsum(found.credited_l.values()),
        recorded_l=math.fsum(found.recorded_l.values()),
    )
