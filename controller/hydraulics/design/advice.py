"""Design advice for a garden, ranked by what it saves; the main and what all rows share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from controller.errors import InputError
from controller.garden.from_file.hardware import DIAPHRAGM_HEAD_M
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Device, Pipe, SupplyKind, ValveKind
from controller.garden.show import show_bore, show_length
from controller.hydraulics.design.advice_base import (
    Advice,
    ZoneCase,
    advice_rows,
    advice_text,
    ranked,
    show_head,
    show_rate,
    show_speed,
    zone_case,
)
from controller.hydraulics.design.advice_zone import (
    of_holes,
    of_length,
    of_level,
    of_speed,
    of_throttle,
)
from controller.hydraulics.design.limits import TakesIn
from controller.hydraulics.design.open_together import before_valve_m, of_together
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
N_PER_LBF = 4.4482216152605


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
        where="tap",
        words="drilled pipe in the ground can draw soil water back into the house: put a backflow "
        "preventer before the main; which kind, how high and how often tested is for your local "
        "code, not for us; measure the flow test behind it, for it takes pressure",
        based_on="common practice, no source; defer to local code",
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
    through = f'the run "{run}" of the main, {pipe.label}' if run else f"the {pipe.label} main"
    words = (
        f'zone "{name}" alone draws {show_speed(speed, lines.garden.us_units)} through {through}, '
        f"which takes {100 * share:.0f} % of the standing pressure"
    )
    gain = 0.0
    if bigger is not None:
        wider = Lines(_with_pipe(case.garden, run, bigger), corrections=corrections)
        then = wider.open_set(frozenset((name,))).zones[name].flow_m3_s
        gain = then / case.flow.flow_m3_s - 1.0
        faster = velocity_m_s(flow_m3_s=then, bore_m=bigger.bore_m)
        limit = "the tap or another run" if run else "the tap and not the main"
        worth = "" if gain >= WORTH_A_PIPE else f", so that {limit} is the limit"
        words += (
            f"; {bigger.label} pipe would give it {100 * gain:.0f} % more, at "
            f"{show_speed(faster, lines.garden.us_units)}{worth}"
        )
    words += "; throttling the zone costs nothing"
    yield Advice(
        subject="main",
        kind="time",
        where=f'main, run "{run}"' if run else "main",
        words=words,
        based_on="5 ft/s in mains (utilities' practice, from memory); the network solved with the "
        "next size",
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
    us = lines.garden.us_units
    surge = max((_surge_of(case, lines) for case in cases), key=lambda one: one.at_once_m)
    at_once_m, usual_m, rated_m = surge.at_once_m, surge.usual_m, surge.rated_m
    static_m = lines.most_standing_m
    words = (
        f'shut at once, zone "{surge.zone}" adds a surge of {show_head(at_once_m, us)} to the '
        f"{show_head(static_m, us)} standing; shut as its kind of valve does, "
        f"{show_head(usual_m, us)}"
    )
    if surge.back_s >= _WORTH_SAYING_S:
        words += f"; anything slower than {surge.back_s:.2f} s helps"
    over = rated_m is not None and static_m + at_once_m > rated_m
    if rated_m is None:
        words += "; hold the sum against the pressure printed on your pipe"
    else:
        sunny = "100 °F (38 °C)" if us else "38 °C (100 °F)"
        words += (
            f". {surge.pipe.label} Schedule 40, glued, bears {show_head(rated_m, us)} at {sunny}: "
            + ("the sum is over it: close slowly, or throttle" if over else "it holds")
        )
    yield Advice(
        subject="surge",
        kind="harm" if over or rated_m is None else "to know",
        where="main",
        words=words,
        based_on="Joukowsky and Michaud; wave speed by Korteweg from PVC's modulus, wall and bore; "
        "ASTM D1785 ratings, times 0.62 in the sun; closing times from memory",
        figures={
            "wave_m_s": surge.wave_m_s,
            "at_once_m": at_once_m,
            "usual_m": usual_m,
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
        where="row ends",
        words=f"with its holes blocked a row takes the full {show_head(static_m, garden.us_units)},"
        f" which pushes {_push(least_n, garden.us_units)} on the end of "
        f"{pipe.label} pipe, and up to {_push(most_n, garden.us_units)} where water "
        "gets in between cap and pipe: stake dry-fitted ends and joints, never a dry fit before "
        "the valve",
        based_on="pressure times area of bore and of outside",
        figures={"least_n": least_n, "most_n": most_n},
    )


def _push(force_n: float, us: bool) -> str:
    both = f"{force_n / N_PER_LBF:.0f} lbf", f"{force_n:.0f} N"
    first, second = both if us else both[::-1]
    return f"{first} ({second})"


def _of_house_pipe(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """Speed and surge in the house's own pipe, whose size is not known, at the largest flow."""
    garden, us = lines.garden, lines.garden.us_units
    if garden.supply.kind is SupplyKind.BARREL:
        return
    case = max(cases, key=lambda one: one.full.flow_m3_s)
    hand = case.zone.valve.kind is ValveKind.HAND
    closing_s = HAND_CLOSES_S if hand else RELAY_CLOSES_S
    run_m = HOUSE_RUN_US_M if us else HOUSE_RUN_M
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
    sizes = " and ".join(
        f"{show_speed(speed, us)} in {label}"
        for (label, _, _), speed in zip(HOUSE_PIPES, speeds, strict=True)
    )
    yield Advice(
        subject="house pipe",
        kind="harm" if min(speeds) > FASTEST_HOUSE_M_S else "to know",
        where="house pipe",
        words=f'zone "{case.zone.name}" draws {show_rate(case.full.flow_m3_s, us)} through the '
        f"house's own pipe too: {sizes} copper pipe, where {show_speed(FASTEST_HOUSE_M_S, us)} is "
        "the most for cold water; shut at once it adds "
        f"{' and '.join(show_head(m, us) for m in at_once)} there, shut as its kind of valve does "
        f"{' and '.join(show_head(m, us) for m in usual)} for {show_length(run_m, us)} of "
        "pipe: look which size yours is; a throttled zone, or one that shuts slowly, spares it",
        based_on="bores of type L copper tube, ASTM B88, and 8 ft/s in it, copper tube handbooks, "
        "all from memory; Joukowsky and Michaud; the pipe's size and length are not known here",
        figures={
            "half_inch_m_s": speeds[0],
            "three_quarter_inch_m_s": speeds[1],
            "half_inch_at_once_m": at_once[0],
            "three_quarter_inch_at_once_m": at_once[1],
        },
    )


def _of_closing(cases: list[ZoneCase], lines: Lines) -> Iterator[Advice]:
    """Relay valves that may lack the pressure to close."""
    us = lines.garden.us_units
    for case in cases:
        valve, name = case.zone.valve, case.zone.name
        if valve.kind is not ValveKind.RELAY or valve.device not in (None, Device.DIAPHRAGM):
            continue
        wants_m = valve.least_closing_head_m or DIAPHRAGM_HEAD_M
        has_m = before_valve_m(lines, frozenset((name,)), name)
        if has_m >= wants_m:
            continue
        said = "by its own figure" if valve.least_closing_head_m else "if it has a diaphragm"
        sure = valve.least_closing_head_m > 0.0 or has_m < DIAPHRAGM_LEAST_M
        yield Advice(
            subject="closing",
            kind="harm" if sure else "to know",
            where=f'zone "{name}"',
            words=f"while it runs, {show_head(has_m, us)} stand before its valve, and to shut "
            f"{said} it wants {show_head(wants_m, us)}: throttle behind the valve, or take one "
            "that shuts by a spring or motor",
            based_on="the network, tap less main; 5 to 10 psi for diaphragm valves from memory, "
            "the data sheet knows better",
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
        where="tap",
        words=f"a screen of about {mesh} mesh ({opening_mm:.2f} mm) keeps grit out of holes of "
        f"{show_bore(least_m, garden.us_units)}; with barrel, well or pond water it is due, with "
        "town water wise after work on the mains; rinse it when the flow falls",
        based_on="a tenth of the bore, common practice, no source; sieve openings of ASTM E11, "
        "from memory",
        figures={"mesh": float(mesh), "opening_mm": opening_mm},
    )


__all__ = ["Advice", "TakesIn", "advice_rows", "advice_text", "advise"]


def advise(
    garden: Garden,
    lines: Lines,
    crop_spacing: Callable[[str], float],
    *,
    soaking: Callable[[Zone], TakesIn] | None = None,
    corrections: Corrections = NOTHING_MEASURED,
) -> tuple[Advice, ...]:
    """What to build or set otherwise in this garden; what prevents harm comes first.

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

    Returns
    -------
    tuple of Advice
        Advice that prevents harm, then by water saved, then by time, then what is good to know.
        There is none for a zone whose flow is not known or that gives no water.

    Raises
    ------
    NoSolution
        If the flows do not settle.

    Source
    ------
    Each piece names its own.
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
            *of_together(cases, lines),
            *of_length(cases),
            *of_level(cases),
            *of_speed(cases),
            *of_throttle(cases, soaking),
            *of_holes(cases, crop_spacing),
        ]
    )
