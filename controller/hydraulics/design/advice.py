"""Design advice for a garden, ranked by what it saves; the main and what all rows share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from controller.errors import InputError
from controller.garden.from_file.hardware import DIAPHRAGM_HEAD_M
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Device, Pipe, SupplyKind, ValveKind
from controller.hydraulics.design.advice_zone import (
    Advice,
    of_holes,
    of_length,
    of_level,
    of_speed,
    of_throttle,
    ranked,
)
from controller.hydraulics.design.limits import TakesIn
from controller.hydraulics.design.open_together import before_valve_m, most_together, share_together
from controller.hydraulics.design.what_if import ZoneCase, zone_case
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED, Corrections
from controller.hydraulics.physics.pipe import PIPES
from controller.hydraulics.physics.water_hammer import (
    end_force_n,
    rated_head_m,
    surge_head_m,
    there_and_back_s,
    velocity_m_s,
    wave_speed_m_s,
)
from controller.messages import Message, Quantity
from controller.units import M_PER_FT, M_PER_IN, c_from_f, head_m_from_psi

# Water main guideline of 5 ft/s, for friction and surge (utilities' practice; from memory).
FASTEST_MAIN_M_S = 5.0 * M_PER_FT
# A wave that returns sooner, as in a main of no length, is not reported.
_WORTH_SAYING_S = 0.005
# A main that takes this part of the static pressure is reported. Our choice.
MAIN_TAKES = 0.10
# A bigger main is advised only where the zone gains this much by it. Our choice.
WORTH_A_PIPE = 0.03
# Time in which a valve stops most of its flow: a quarter turn by hand, a solenoid valve's
# diaphragm (both from memory; makers seldom say). [s]
HAND_CLOSES_S, RELAY_CLOSES_S = 0.2, 1.0
# Pipe that lies in the sun, for the rating. [°C]
SUNNY_PIPE_C = c_from_f(100.0)
# Head that diaphragm valves need to shut, where the garden file says nothing (from memory).
DIAPHRAGM_LEAST_M = head_m_from_psi(5.0)
# Below this static head no end is pushed off: a barrel on a stand. Our choice.
GENTLE_HEAD_M = 3.0
# Grit to keep out of a hole: a tenth of its bore (common practice, no source). Openings of usual
# screens by mesh, ASTM E11 sieves (from memory). [mm]
GRIT_SHARE = 0.1
SCREENS_MM = ((50, 0.297), (80, 0.177), (100, 0.149), (120, 0.125), (140, 0.105), (200, 0.074))
# What usually feeds a house's tap: type L copper tube, bore and wall (ASTM B88), its
# modulus, and the most speed for cold water, 8 ft/s (handbooks; all from memory). The length that
# a surge is said for, in feet or metres, is our choice.
HOUSE_PIPES = (
    ("1/2 in", 0.545 * M_PER_IN, 0.040 * M_PER_IN),
    ("3/4 in", 0.785 * M_PER_IN, 0.045 * M_PER_IN),
)
COPPER_MODULUS_PA = 117e9
FASTEST_HOUSE_M_S = 8.0 * M_PER_FT
HOUSE_RUN_US_M, HOUSE_RUN_M = 30.0 * M_PER_FT, 10.0


def of_garden(cases: list[ZoneCase], lines: Lines, corrections: Corrections) -> Iterator[Advice]:
    """All advice that is not about one row; `cases` are the zones that give water."""
    garden = lines.garden
    if cases:
        yield from _of_main(cases, lines, corrections)
        yield from _of_surge(cases, lines)
        yield from _of_house_pipe(cases, lines)
        yield from _of_closing(cases, lines)
    yield from _of_ends(garden, lines)
    yield from _of_filter(garden)
    yield Advice(
        subject="backflow",
        kind="harm",
        where=Message("place.tap"),
        message=Message("advice.backflow"),
        based_on=Message("basis.backflow"),
    )


def _of_main(cases: list[ZoneCase], lines: Lines, corrections: Corrections) -> Iterator[Advice]:
    """Loss in each run of the main at the zone that draws most through it, and the next size."""
    main = lines.main
    if not lines.garden.runs:
        yield from _of_run("", max(cases, key=lambda one: one.full.flow_m3_s), lines, corrections)
        return
    ways = {case.zone.name: main.way_to(main.place(case.zone)) for case in cases}
    for run in {one.run: None for way in ways.values() for one in way}:
        fed = [case for case in cases if any(one.run == run for one in ways[case.zone.name])]
        yield from _of_run(run, max(fed, key=lambda one: one.full.flow_m3_s), lines, corrections)


def _of_run(run: str, case: ZoneCase, lines: Lines, corrections: Corrections) -> Iterator[Advice]:
    """One run at the zone that draws most; "" is a main that does not fork."""
    main = lines.main
    name, flow = case.zone.name, case.full.flow_m3_s
    place = main.place(case.zone)
    way = main.way_to(place)
    pipe = next((one.pipe for one in way if one.run == run), lines.garden.main)
    speed = velocity_m_s(flow_m3_s=flow, bore_m=pipe.bore_m)
    lost_m = {
        one: main.loss_m(to=place, flow_m3_s=flow, viscosity_m2_s=lines.viscosity_m2_s, run=one)
        for one in {run: None, **{one.run: None for one in way}}
    }
    static_m = lines.most_standing_m
    takes_most = run == max(lost_m, key=lambda one: lost_m[one])
    if speed <= FASTEST_MAIN_M_S and not (
        takes_most and sum(lost_m.values()) > MAIN_TAKES * static_m
    ):
        return
    share = lost_m[run] / static_m
    bigger = next((p for p in PIPES.values() if p.bore_m > 1.05 * pipe.bore_m), None)
    through = Message("main.run" if run else "main.pipe", {"run": run, "pipe": pipe.label})
    gain, wider = 0.0, None
    if bigger is not None:
        lines_then = Lines(_with_pipe(case.garden, run, bigger), corrections=corrections)
        then = lines_then.open_set(frozenset((name,))).zones[name].flow_m3_s
        gain = then / case.flow.flow_m3_s - 1.0
        in_vain = gain < WORTH_A_PIPE
        faster = velocity_m_s(flow_m3_s=then, bore_m=bigger.bore_m)
        wider = Message(
            ("main.bigger_but_other" if run else "main.bigger_but_tap")
            if in_vain
            else "main.bigger",
            {
                "pipe": bigger.label,
                "gain": Quantity(gain, "percent"),
                "speed": Quantity(faster, "speed"),
            },
        )
    yield Advice(
        subject="main",
        kind="time",
        where=Message("place.run" if run else "place.main", {"run": run}),
        message=Message(
            "advice.main",
            {
                "zone": name,
                "speed": Quantity(speed, "speed"),
                "pipe": through,
                "share": Quantity(share, "percent"),
                "bigger": wider or "",
            },
        ),
        based_on=Message("basis.main"),
        zones=(name,),
        figures={"velocity_m_s": speed, "main_share": share, "gain": gain},
    )


def _with_pipe(garden: Garden, run: str, pipe: Pipe) -> Garden:
    """The garden with one run of its main, or all of it, of another size."""
    if not run:
        return replace(garden, main=pipe)
    runs = tuple(replace(one, pipe=pipe) if one.name == run else one for one in garden.runs)
    return replace(garden, runs=runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Surge:
    """A zone's closing valve: the pressure rise in the pipe that it strains most."""

    zone: str
    pipe: Pipe
    rated_m: float | None
    at_once_m: float
    usual_m: float
    wave_m_s: float
    back_s: float


def _surge_of(case: ZoneCase, lines: Lines) -> _Surge:
    """The wave from the valve to the tap; where the pipe's size changes, part of it goes on."""
    main, flow = lines.main, case.full.flow_m3_s
    way = main.way_to(main.place(case.zone))[::-1]
    pipes = [one.pipe for one in way] or [lines.garden.main]
    waves = [wave_speed_m_s(bore_m=pipe.bore_m, wall_m=pipe.wall_m) for pipe in pipes]
    speeds = [velocity_m_s(flow_m3_s=flow, bore_m=pipe.bore_m) for pipe in pipes]
    length_m = main.length_to_m(case.zone)
    rises_m = [surge_head_m(stopped_m_s=speeds[0], wave_m_s=waves[0], length_m=length_m)]
    for i in range(1, len(pipes)):
        near, far = (pipes[k].bore_m ** 2 / waves[k] for k in (i - 1, i))
        rises_m.append(rises_m[-1] * 2.0 * near / (near + far))
    static_m = lines.most_standing_m
    try:
        rated_m: list[float | None] = [
            rated_head_m(pipe.label, pipe_temp_c=SUNNY_PIPE_C) for pipe in pipes
        ]
    except InputError:
        rated_m = [None] * len(pipes)
    worst = max(range(len(pipes)), key=lambda i: (static_m + rises_m[i]) / (rated_m[i] or 1.0))
    # When the valve closes slowly, all water on the way slows down together.
    wave_m_s, speed_m_s = waves[0], speeds[0]
    if len(set(pipes)) > 1:
        parts = [one.length_m for one in way]
        wave_m_s = length_m / sum(part / wave for part, wave in zip(parts, waves, strict=True))
        speed_m_s = sum(p * v for p, v in zip(parts, speeds, strict=True)) / length_m
    back_s = there_and_back_s(length_m=length_m, wave_m_s=wave_m_s)
    closing_s = HAND_CLOSES_S if case.zone.valve.kind is ValveKind.HAND else RELAY_CLOSES_S
    usual_m = rises_m[worst]
    if closing_s > back_s:
        slow_m = surge_head_m(
            stopped_m_s=speed_m_s, wave_m_s=wave_m_s, length_m=length_m, closing_s=closing_s
        )
        usual_m = min(usual_m, slow_m)
    return _Surge(
        zone=case.zone.name,
        pipe=pipes[worst],
        rated_m=rated_m[worst],
        at_once_m=rises_m[worst],
        usual_m=usual_m,
        wave_m_s=waves[worst],
        back_s=back_s,
    )


def _of_surge(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """Pressure rise in the main by the valve that closes hardest."""
    surge = max((_surge_of(case, lines) for case in cases), key=lambda one: one.at_once_m)
    at_once_m, rated_m, static_m = surge.at_once_m, surge.rated_m, lines.most_standing_m
    over = rated_m is not None and static_m + at_once_m > rated_m
    rating = Message("surge.no_rating")
    if rated_m is not None:
        rating = Message(
            "surge.over" if over else "surge.holds",
            {
                "pipe": surge.pipe.label,
                "rated": Quantity(rated_m, "pressure"),
                "warm": Quantity(SUNNY_PIPE_C, "pipe temperature"),
            },
        )
    slower = Message("surge.slower", {"back_s": surge.back_s})
    yield Advice(
        subject="surge",
        kind="harm" if over or rated_m is None else "to know",
        where=Message("place.main"),
        message=Message(
            "advice.surge",
            {
                "zone": surge.zone,
                "at_once": Quantity(at_once_m, "pressure"),
                "standing": Quantity(static_m, "pressure"),
                "usual": Quantity(surge.usual_m, "pressure"),
                "slower": slower if surge.back_s >= _WORTH_SAYING_S else "",
                "rating": rating,
            },
        ),
        based_on=Message("basis.surge"),
        zones=(surge.zone,),
        figures={
            "wave_m_s": surge.wave_m_s,
            "at_once_m": at_once_m,
            "usual_m": surge.usual_m,
            "static_m": static_m,
            **({} if rated_m is None else {"rated_m": rated_m}),
        },
    )


def _of_ends(garden: Garden, lines: Lines) -> Iterator[Advice]:
    """The push on dry-fitted ends, by the biggest pipe of the rows."""
    pipes = [row.pipe for zone in garden.zones for row in zone.rows if not row.plugged]
    static_m = lines.most_standing_m
    if not pipes or static_m <= GENTLE_HEAD_M:
        return
    pipe = max(pipes, key=lambda one: one.bore_m)
    least_n = end_force_n(head_m=static_m, diameter_m=pipe.bore_m)
    most_n = end_force_n(head_m=static_m, diameter_m=pipe.outside_m)
    yield Advice(
        subject="ends",
        kind="harm",
        where=Message("place.row_ends"),
        message=Message(
            "advice.ends",
            {
                "standing": Quantity(static_m, "pressure"),
                "least": Quantity(least_n, "force"),
                "pipe": pipe.label,
                "most": Quantity(most_n, "force"),
            },
        ),
        based_on=Message("basis.ends"),
        figures={"least_n": least_n, "most_n": most_n},
    )


def _of_house_pipe(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """Speed and surge in the house's own pipe, whose size is not known, at the largest flow."""
    garden = lines.garden
    if garden.supply.kind is SupplyKind.BARREL:
        return
    case = max(cases, key=lambda one: one.full.flow_m3_s)
    hand = case.zone.valve.kind is ValveKind.HAND
    closing_s = HAND_CLOSES_S if hand else RELAY_CLOSES_S
    run_m = HOUSE_RUN_US_M if garden.us_units else HOUSE_RUN_M
    speeds: list[float] = []
    at_once: list[float] = []
    usual: list[float] = []
    for _, bore_m, wall_m in HOUSE_PIPES:
        speed = velocity_m_s(flow_m3_s=case.full.flow_m3_s, bore_m=bore_m)
        wave = wave_speed_m_s(bore_m=bore_m, wall_m=wall_m, modulus_pa=COPPER_MODULUS_PA)
        speeds.append(speed)
        for found, seconds in ((at_once, 0.0), (usual, closing_s)):
            found.append(
                surge_head_m(stopped_m_s=speed, wave_m_s=wave, length_m=run_m, closing_s=seconds)
            )
    if max(speeds) <= FASTEST_HOUSE_M_S:
        return
    sizes = tuple(
        Message("house.speed", {"speed": Quantity(speed, "speed"), "size": label})
        for (label, _, _), speed in zip(HOUSE_PIPES, speeds, strict=True)
    )
    yield Advice(
        subject="house pipe",
        kind="harm" if min(speeds) > FASTEST_HOUSE_M_S else "to know",
        where=Message("place.house_pipe"),
        message=Message(
            "advice.house_pipe",
            {
                "zone": case.zone.name,
                "flow": Quantity(case.full.flow_m3_s, "rough flow"),
                "speeds": sizes,
                "most": Quantity(FASTEST_HOUSE_M_S, "speed"),
                "at_once": tuple(Quantity(rise_m, "pressure") for rise_m in at_once),
                "usual": tuple(Quantity(rise_m, "pressure") for rise_m in usual),
                "run": Quantity(run_m, "length"),
            },
        ),
        based_on=Message("basis.house_pipe"),
        zones=(case.zone.name,),
        figures={
            "half_inch_m_s": speeds[0],
            "three_quarter_inch_m_s": speeds[1],
            "half_inch_at_once_m": at_once[0],
            "three_quarter_inch_at_once_m": at_once[1],
        },
    )


def _of_closing(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """Relay valves that may lack the pressure to close."""
    for case in cases:
        valve, name = case.zone.valve, case.zone.name
        if valve.kind is not ValveKind.RELAY or valve.device not in (None, Device.DIAPHRAGM):
            continue
        wants_m = valve.least_closing_head_m or DIAPHRAGM_HEAD_M
        has_m = before_valve_m(lines, frozenset((name,)), name)
        if has_m >= wants_m:
            continue
        own = valve.least_closing_head_m > 0.0 and not valve.assumed
        sure = own or has_m < DIAPHRAGM_LEAST_M
        yield Advice(
            subject="closing",
            kind="harm" if sure else "to know",
            where=Message("place.zone", {"zone": name}),
            message=Message(
                "advice.closing" if own else "advice.closing_diaphragm",
                {"has": Quantity(has_m, "pressure"), "wants": Quantity(wants_m, "pressure")},
            ),
            based_on=Message("basis.closing"),
            zones=(name,),
            figures={"before_valve_m": has_m, "wants_m": wants_m},
        )


def _of_filter(garden: Garden) -> Iterator[Advice]:
    """The screen that keeps grit out of the smallest hole."""
    bores = [row.drilling.bore_m for zone in garden.zones for row in zone.rows if not row.plugged]
    if not bores:
        return
    least_m = min(bores)
    finest = SCREENS_MM[-1]
    mesh, opening_mm = next(
        (screen for screen in SCREENS_MM if screen[1] <= 1000.0 * GRIT_SHARE * least_m), finest
    )
    yield Advice(
        subject="filter",
        kind="to know",
        where=Message("place.tap"),
        message=Message(
            "advice.filter",
            {"mesh": mesh, "opening_mm": opening_mm, "bore": Quantity(least_m, "bore")},
        ),
        based_on=Message("basis.filter"),
        figures={"mesh": float(mesh), "opening_mm": opening_mm},
    )


def _of_together(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """How many zones can run at once, and the shares that the largest leave each other."""
    watering, names = lines.garden.watering, tuple(case.zone.name for case in cases)
    if len(names) < 2:
        return
    best = most_together(lines, names)
    thirsty = sorted(cases, key=lambda case: -case.flow.flow_m3_s)[: max(2, watering.most_open)]
    worst = share_together(lines, tuple(case.zone.name for case in thirsty))
    many, alike = len(best.zones) > 1, set(worst.zones) == set(best.zones)
    together = Message(
        "together.some" if many else "together.none",
        {"zones": best.zones, "share": Quantity(best.least_share, "percent")},
    )
    yield Advice(
        subject="together",
        kind="to know",
        where=Message("place.together"),
        message=Message(
            "advice.together" if alike else "advice.together_and_largest",
            {
                "together": together,
                "zones": worst.zones,
                "share": Quantity(worst.least_share, "percent"),
                "head": Quantity(worst.tap_head_m, "pressure"),
            },
        ),
        based_on=Message("basis.together", {"share": Quantity(watering.least_share, "percent")}),
        zones=((*best.zones, *worst.zones) if many else worst.zones),
        figures={
            "most_together": float(len(best.zones)),
            "least_share": best.least_share,
            "thirstiest_share": worst.least_share,
        },
    )


def advise(
    garden: Garden,
    lines: Lines,
    crop_spacing: Callable[[str], float],
    *,
    soaking: Callable[[Zone], TakesIn] | None = None,
    corrections: Corrections = NOTHING_MEASURED,
) -> tuple[Advice, ...]:
    """What to build or set otherwise in this garden; what prevents harm comes first.

    Then by water saved, by time, and what is good to know; each piece names its own source. There
    is none for a zone whose flow is not known or that gives no water.

    Parameters
    ----------
    garden : Garden
        The garden.
    lines : Lines
        Its lines.
    crop_spacing : callable
        Distance between a crop's plants in the row, by the crop's name. [m]
    soaking : callable or None
        How a zone's ground takes water in; None leaves the soil out.
    corrections : Corrections
        Results of field tests; the same as in `lines`.

    Raises
    ------
    NoSolution
        If the flows do not settle.
    """
    cases: list[ZoneCase] = []
    for zone in garden.zones:
        try:
            case = zone_case(garden, lines, zone.name, corrections)
        except InputError:
            continue
        if case.flow.flow_m3_s > 0.0:
            cases.append(case)
    return ranked(
        [
            *of_garden(cases, lines, corrections),
            *_of_together(cases, lines),
            *of_length(cases),
            *of_level(cases),
            *of_speed(cases),
            *of_throttle(cases, soaking),
            *of_holes(cases, crop_spacing),
        ]
    )
