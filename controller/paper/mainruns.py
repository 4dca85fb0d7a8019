"""The runs of a main that forks: what each is, whom it feeds, and the most it carries and loses."""

from __future__ import annotations

from dataclasses import dataclass

from controller.garden.model import Run
from controller.garden.show import show_flow, show_length, show_pressure
from controller.hydraulics.advised import quoted
from controller.hydraulics.lines import Lines
from controller.hydraulics.surge import velocity_m_s
from controller.units import M_PER_FT


@dataclass(frozen=True, slots=True, kw_only=True)
class RunUse:
    """A run with the zones it feeds; speed and loss with the thirstiest of them open alone."""

    run: Run
    feeds: tuple[str, ...]
    thirstiest: str = ""
    flow_m3_s: float = 0.0
    speed_m_s: float = 0.0
    lost_m: float = 0.0


def run_uses(lines: Lines) -> list[RunUse]:
    """The runs of a garden's main in their order; none for a main of one pipe.

    Raises
    ------
    InputError, NoSolution
        As `Lines.zone_flows`.
    """
    garden, main = lines.garden, lines.main
    uses = []
    for run in garden.runs:
        fed = [
            zone
            for zone in garden.zones
            if any(one.run == run.name for one in main.way_to(main.place(zone)))
        ]
        if not fed:
            uses.append(RunUse(run=run, feeds=()))
            continue
        alone = {z.name: lines.zone_flows(frozenset((z.name,)))[z.name] for z in fed}
        zone = max(fed, key=lambda one: alone[one.name])
        flow = alone[zone.name]
        uses.append(
            RunUse(
                run=run,
                feeds=tuple(one.name for one in fed),
                thirstiest=zone.name,
                flow_m3_s=flow,
                speed_m_s=velocity_m_s(flow_m3_s=flow, bore_m=run.pipe.bore_m),
                lost_m=main.loss_m(
                    to=main.place(zone),
                    flow_m3_s=flow,
                    viscosity_m2_s=lines.viscosity_m2_s,
                    run=run.name,
                ),
            )
        )
    return uses


def run_lines(lines: Lines) -> list[str]:
    """A line a run, for a gardener."""
    us = lines.garden.us_units
    return [_line(use, us) for use in run_uses(lines)]


def _line(use: RunUse, us: bool) -> str:
    run = use.run
    begins = "the tap"
    if run.parent:
        begins = f'{show_length(run.from_m, us)} along "{run.parent}"'
    words = f'"{run.name}": {show_length(run.length_m, us)} of {run.pipe.label} from {begins}'
    if not use.feeds:
        return f"{words}; feeds no zone"
    speed = f"{use.speed_m_s / M_PER_FT:.1f} ft/s" if us else f"{use.speed_m_s:.1f} m/s"
    return (
        f"{words}; feeds {quoted(use.feeds)}. The most it carries, with "
        f'"{use.thirstiest}" open alone: '
        f"{show_flow(use.flow_m3_s, us)} at {speed}, {show_pressure(use.lost_m, us)} lost in it"
    )


def run_rows(lines: Lines) -> list[dict[str, object]]:
    """The same for programs; SI, units in the keys."""
    return [
        {
            "run": use.run.name,
            "from": use.run.parent or "tap",
            "along_m": use.run.from_m,
            "length_m": use.run.length_m,
            "size": use.run.pipe.label,
            "bore_m": use.run.pipe.bore_m,
            "loss_k": use.run.loss_k,
            "feeds": list(use.feeds),
            "thirstiest": use.thirstiest,
            "flow_m3_s": use.flow_m3_s,
            "speed_m_s": use.speed_m_s,
            "lost_m": use.lost_m,
        }
        for use in run_uses(lines)
    ]
