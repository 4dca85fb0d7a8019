"""The garden's input pins: meter, switches, tipping gauge.

While a switch is wet or cold nothing opens by plan; what is open runs on to its deadline, and a
person may open. The gauge's tips go into the logbook as millimetres of the garden's own day.

A missing or broken pin costs precision, never water: without a meter litres go by time, and a
switch that cannot be read shuts nothing.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import date
from typing import Protocol

from controller.clock import Clock
from controller.daemon.flow.litres import FlowOf
from controller.daemon.flow.monitor import FlowMonitor, Found, Pipes, fill_seconds
from controller.daemon.flow.rules import ComputedFlow, Metering
from controller.daemon.flow.trend import Past
from controller.daemon.garden_reload import Accepted
from controller.daemon.openings import Ended, Openings
from controller.errors import LogbookError, OutOfRange, RowgateError
from controller.garden.model import FlowFinding, Garden, Meter, Sensor, SensorKind
from controller.garden.plumbing import ValveKind
from controller.hydraulics.network.garden_lines import Lines
from controller.units import l_from_m3
from controller.valves.pins import InputDriver, PulseCounter

REPORT_EVERY_S = 900.0  # a switch that flaps is reported at most so often; our choice
WRITE_TIPS_EVERY_S = 300.0  # at most this much rain is lost with the power; our choice
WRITE_HOURS_EVERY_S = 3600.0  # how long the gauge was watched, when nothing tips; our choice
_WORDS = {
    SensorKind.RAIN_SWITCH: "the rain switch is wet",
    SensorKind.FREEZE_SWITCH: "the freeze switch is cold",
}
_LOG = logging.getLogger("rowgate.input_pins")

Level = Callable[[int], bool]
Report = Callable[[str, str], None]


class Switches:
    """The rain and freeze switches; one that cannot be read shuts nothing, and is reported."""

    def __init__(
        self, sensors: Iterable[Sensor], level: Level, clock: Clock, report: Report
    ) -> None:
        self._sensors = tuple(s for s in sensors if s.kind in _WORDS)
        self._level, self._clock, self._report = level, clock, report
        self._reported, self._reported_mono_s = "", float("-inf")
        self.why_shut = ""
        self.faults: tuple[str, ...] = ()

    def look(self) -> None:
        """Read each switch; `why_shut` says why nothing opens by plan, if a switch forbids it."""
        shut, faults = [], []
        for sensor in self._sensors:
            try:
                if self._level(sensor.line):
                    shut.append(_WORDS[sensor.kind])
            except RowgateError as fault:
                faults.append(f"the {sensor.kind} on line {sensor.line} cannot be read: {fault}")
        self.why_shut, self.faults = " and ".join(shut), tuple(faults)
        message = "; ".join([*([self.why_shut] if shut else []), *faults])
        now = self._clock.mono_s()
        if message != self._reported and now - self._reported_mono_s >= REPORT_EVERY_S:
            self._reported, self._reported_mono_s = message, now
            if shut:
                self._report("sensor", f"{self.why_shut}: nothing opens by plan")
            for unread in faults:
                self._report("sensor", unread)
            if not message:
                self._report("sensor", "the switches let water again")


class TippingGauge:
    """Turns tips into millimetres by local day, written as increments: few writes, little to lose.

    `write` takes a day, millimetres and hours watched. Readers do not take a day that was hardly
    watched for the day's rain. What is not written adds up day by day, so sums wait here, and not
    a queue.
    """

    def __init__(
        self,
        mm_per_tip: float,
        count: Callable[[], int],
        clock: Clock,
        write: Callable[[date, float, float], None],
        report: Report,
    ) -> None:
        self._mm_per_tip, self._count, self._clock, self._write = mm_per_tip, count, clock, write
        self._report = report
        self._counted = count()
        self._looked_mono_s = self._written_mono_s = clock.mono_s()
        self._owed: dict[date, list[float]] = {}  # mm and hours not written yet

    @property
    def unwritten_mm(self) -> float:
        """Rain the logbook has not taken yet. [mm]"""
        return sum(mm for mm, _ in self._owed.values())

    def look(self, today: date) -> None:
        """Take in the tips since the last look, and write what is due."""
        now, count = self._clock.mono_s(), self._count()
        owed = self._owed.setdefault(today, [0.0, 0.0])
        owed[0] += (count - self._counted) * self._mm_per_tip
        owed[1] += (now - self._looked_mono_s) / 3600.0
        self._counted, self._looked_mono_s = count, now
        every_s = WRITE_TIPS_EVERY_S if self.unwritten_mm > 0.0 else WRITE_HOURS_EVERY_S
        over = any(day != today for day in self._owed)
        since_s = now - self._written_mono_s
        if since_s >= every_s or (over and since_s >= WRITE_TIPS_EVERY_S / 5.0):
            self.flush()

    def flush(self) -> None:
        """Write what waits; what the logbook does not take waits for the next time."""
        self._written_mono_s = self._clock.mono_s()
        for day in sorted(self._owed):
            mm, hours = self._owed[day]
            try:
                if mm > 0.0 or hours > 0.0:
                    self._write(day, mm, hours)
            except LogbookError as fault:
                _LOG.error("the rain gauge: %s", fault)
                return
            except OutOfRange as fault:  # no cloud does that: the pin is loose
                self._report("sensor", f"the rain gauge counts what cannot be, left out: {fault}")
            del self._owed[day]


BURST_FACTOR = 2.0  # the meter must still be read right while a pipe has burst; our choice
_MOST_KNOWN = 1024  # sets whose flow and error are remembered; our choice
UNSURE = 0.7  # the relative error of a flow whose band cannot be had: only the grossest is found

Reported = Iterable[tuple[FlowFinding, str, date]]


class ErrorOf(Protocol):
    """How sure the flow at the tap is."""

    def total_error(self, together: Iterable[str]) -> float:
        """Relative standard error of what these zones, open together, take from the tap. [-]"""


class Watching:
    """Everything on input pins, set up for one garden after another; used by the engine's thread.

    `bands` gives how sure the flows of a garden are, `write_rain` keeps the gauge's increments,
    `past` keeps what the meter saw.
    """

    def __init__(
        self,
        inputs: InputDriver | None,
        openings: Openings,
        clock: Clock,
        *,
        bands: Callable[[Garden], ErrorOf],
        write_rain: Callable[[date, float, float], None],
        past: Past | None = None,
    ) -> None:
        self._inputs, self._openings, self._clock = inputs, openings, clock
        self._bands, self._write_rain = bands, write_rain
        self._past = past or Past()
        self._reported_unknown: set[str] = set()
        self._counters: dict[int, tuple[PulseCounter, tuple[bool, float]]] = {}
        self._metered_as: tuple[int, float, float] | None = None
        self._monitor: FlowMonitor | None = None
        self._switches: Switches | None = None
        self._gauges: list[TippingGauge] = []
        self.meter_fault = ""

    def fit(self, accepted: Accepted, flow_l_s: FlowOf, reported: Reported, report: Report) -> None:
        """Take up a garden's meter and sensors; report what cannot be had, and do without it."""
        garden = accepted.garden
        self.end()
        self._fit_meter(accepted, flow_l_s, reported, report)
        taken, gauges = [], []
        for sensor in garden.sensors:
            counter = self._counter(
                sensor.line, sensor.active_low, sensor.debounce_s, f"the {sensor.kind}", report
            )
            if counter is None:
                continue
            if sensor.kind is SensorKind.RAIN_GAUGE:
                gauges.append(
                    TippingGauge(
                        sensor.mm_per_tip or 0.0,
                        counter.count,
                        self._clock,
                        self._write_rain,
                        report,
                    )
                )
            else:
                taken.append(sensor)
        self._gauges = gauges
        level = self._inputs.level if self._inputs is not None else _nothing_is_active
        self._switches = Switches(taken, level, self._clock, report)
        self._switches.look()

    def look(self, garden: Garden, today: date) -> list[Found]:
        """Look at every pin; the findings of the meter."""
        if self._switches is not None:
            self._switches.look()
        for gauge in self._gauges:
            gauge.look(today)
        if self._monitor is None:
            return []
        now = self._clock.mono_s()
        # A valve that waits for the master, or is on its way shut, gives no flow to judge.
        wide_open = [
            zone
            for zone, running in self._openings.running.items()
            if running.shut_mono_s is None and running.opened_mono_s <= now
        ]
        return self._monitor.look(wide_open, today)

    def ended(self, end: Ended) -> None:
        """An opening is over: judge what the meter counted with the others of its set."""
        if self._monitor is not None and end.counted is not None:
            self._monitor.ended(end.counted)

    def end(self) -> None:
        """Write down what has not been written yet."""
        for gauge in self._gauges:
            gauge.flush()

    @property
    def why_shut(self) -> str:
        """Why a switch lets nothing open by plan; empty while none does."""
        return "" if self._switches is None else self._switches.why_shut

    @property
    def faults(self) -> tuple[str, ...]:
        """The faults of pins that cannot be read now, as text."""
        found = () if self._switches is None else self._switches.faults
        return (*found, *((self.meter_fault,) if self.meter_fault else ()))

    @property
    def unknown_flows(self) -> tuple[str, ...]:
        """The open sets met so far that the meter cannot judge, as text."""
        return () if self._monitor is None else tuple(self._monitor.unknown.values())

    @property
    def litres_by(self) -> str:
        """How litres are known now: "meter", "time" or "time, the meter is silent"."""
        metering = self._openings.metering
        if metering is None:
            return "time"
        return "time, the meter is silent" if metering.dead else "meter"

    def _fit_meter(
        self, accepted: Accepted, flow_l_s: FlowOf, reported: Reported, report: Report
    ) -> None:
        garden, meter = accepted.garden, accepted.garden.meter
        self._monitor, self.meter_fault = None, ""
        counter = None
        if meter is not None:
            counter = self._counter(
                meter.line, meter.active_low, meter.debounce_s, "the meter", report
            )
            if counter is None:
                self.meter_fault = "the meter cannot be watched; litres go by time"
        if meter is None or counter is None:
            self._openings.metering, self._openings.by_litres = None, False
            self._openings.credit = None
            self._metered_as = None
            return
        metered_as = (meter.line, meter.litres_per_pulse, meter.least_flow_l_s)
        if self._metered_as != metered_as:
            self._openings.metering = Metering(
                self._clock,
                meter.litres_per_pulse,
                counter.count,
                least_flow_l_s=meter.least_flow_l_s,
            )
            self._metered_as = metered_as
        metering = self._openings.metering
        assert metering is not None, "made just now, or before"
        self._openings.by_litres = meter.by_litres
        self._openings.zones = sum(z.valve.kind is ValveKind.RELAY for z in garden.zones)
        too_fast = too_fast_words(
            meter, max((flow_l_s(z.name, frozenset((z.name,))) for z in garden.zones), default=0.0)
        )
        if too_fast:
            report("meter", too_fast)
        known: dict[frozenset[str], ComputedFlow] = {}

        def report_unknown(message: str) -> None:
            if message not in self._reported_unknown:
                self._reported_unknown.add(message)
                report("meter", message)

        # Now, while nothing is open: in a big garden it takes a small board a while.
        bands = self._bands(garden)

        def compute(opened: frozenset[str]) -> ComputedFlow:
            if opened not in known:
                if len(known) >= _MOST_KNOWN:
                    known.clear()
                known[opened] = computed_of(opened, accepted.lines, bands)
            return known[opened]

        def fill_s(zone: str, opened: frozenset[str]) -> float:
            return fill_seconds(accepted.lines.line(zone).volume_m3, flow_l_s(zone, opened))

        self._monitor = FlowMonitor(
            garden,
            metering,
            self._clock,
            pipes=Pipes(
                compute=compute,
                fill_s=fill_s,
                tap_loss_of=lambda opened: tap_loss(accepted.lines, opened),
                line_l=lambda zone: l_from_m3(accepted.lines.line(zone).volume_m3),
                most_l_s=l_from_m3(accepted.lines.supply.flow_m3_s()),
            ),
            reported=reported,
            past=self._past,
            report=report_unknown,
        )
        self._openings.credit = self._monitor.credit

    def _counter(
        self, line: int, active_low: bool, debounce_s: float, name: str, report: Report
    ) -> PulseCounter | None:
        """The pin's counter, watched from its first use on; None where the pin cannot be had."""
        wanted = (active_low, debounce_s)
        if line in self._counters:
            counter, settings = self._counters[line]
            if settings != wanted:
                report(
                    "sensor", f"{name} on line {line} has changed; start the daemon anew for that"
                )
            return counter
        if self._inputs is None:
            report("sensor", f"{name} on line {line} cannot be watched: there are no input pins")
            return None
        counter = PulseCounter()
        try:
            self._inputs.watch(
                line, active_low=active_low, debounce_s=debounce_s, on_edge=counter.edge
            )
        except RowgateError as fault:
            report("sensor", f"{name} on line {line} cannot be watched: {fault}")
            return None
        self._counters[line] = (counter, wanted)
        return counter


def too_fast_words(meter: Meter, flow_l_s: float) -> str:
    """Text of the fault where the meter's pulses come faster than its debounce passes; else empty.

    A contact is taken to be closed half of the time, and a burst to double the flow.
    """
    if meter.debounce_s <= 0.0:
        return ""
    most_hz = BURST_FACTOR * flow_l_s / meter.litres_per_pulse
    passes_hz = 0.5 / meter.debounce_s
    if most_hz <= passes_hz:
        return ""
    return (
        f"up to {most_hz:.0f} pulses a second may come, and a debounce of "
        f"{1000.0 * meter.debounce_s:g} ms lets {passes_hz:.0f} pass; litres would be missed: set "
        "a shorter one (meters with a magnet and a chip need none)"
    )


def computed_of(opened: frozenset[str], lines: Lines, bands: ErrorOf) -> ComputedFlow:
    """What the pipes should give with these zones open, and how sure that is."""
    try:
        error = bands.total_error(opened)
    except RowgateError as fault:
        _LOG.warning("how sure the flow of %s is cannot be computed: %s", ", ".join(opened), fault)
        error = UNSURE
    flow_m3_s = sum(lines.zone_flows(opened).values())
    try:
        low_m3_s, high_m3_s = lines.flow_range(opened)
    except RowgateError as fault:
        _LOG.warning("how the flow of %s varies cannot be computed: %s", ", ".join(opened), fault)
        low_m3_s = high_m3_s = flow_m3_s
    return ComputedFlow(
        flow_l_s=l_from_m3(flow_m3_s),
        error=error,
        low_l_s=l_from_m3(low_m3_s),
        high_l_s=l_from_m3(high_m3_s),
    )


def tap_loss(lines: Lines, opened: frozenset[str]) -> float:
    """The share of its still head that the tap loses while these zones are open. [-]

    0 where it cannot be computed: then no change is put down to the tap.
    """
    try:
        return 1.0 - lines.open_set(opened).tap_head_m / lines.supply.static_head_m
    except RowgateError:
        return 0.0


def _nothing_is_active(_: int) -> bool:
    return False
