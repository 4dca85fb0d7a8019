"""Random drilled networks, and EPANET 2.2 (through wntr) to solve them: an outside opinion.

Used by the hydraulics tests only. EPANET's own constants are met where it rounds: gravity
32.2 ft/s2, viscosity 1.1e-5 ft2/s, minor losses 0.02517 K Q2/d4 in feet.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from pathlib import Path
from random import Random

from controller.hydraulics.network.supply_curve import SupplyCurve
from support.hydraulics_trees import Outlet, Span

GRAVITY_M_S2 = 32.2 * 0.3048
VISCOSITY_M2_S = 1.1e-5 * 0.3048**2
# 0.02517 stands in EPANET for 8/(pi2 g), 0.0251733 in ft.
MINOR_LOSS_MEND = 8.0 / (3.141592653589793**2 * 32.2) / 0.02517
SUPPLY_BORE_M = 0.05


@dataclass(frozen=True, kw_only=True)
class Net:
    """One network: everything `solve_tree` is asked, in its own words."""

    supply: SupplyCurve
    spans: tuple[Span, ...]
    outlets: tuple[Outlet, ...]


def random_net(seed: int, most_holes: int = 120) -> Net:
    """A house or barrel with one to six drilled rows: throttled, tilted, sagging, plugged."""
    rng = Random(seed)
    barrel = rng.random() < 0.2
    static_m = rng.uniform(0.6, 2.5) if barrel else rng.uniform(15.0, 45.0)
    supply = SupplyCurve(
        static_head_m=static_m,
        test_head_m=static_m * rng.uniform(0.1, 0.7),
        test_flow_m3_s=rng.uniform(2e-4, 9e-4),
    )
    main_bore_m = rng.choice([0.02614, 0.03454])
    spans: list[Span] = []
    outlets: list[Outlet] = []
    station = "tap"
    for number in range(rng.randint(1, 6)):
        if number == 0 or rng.random() < 0.5:
            spans.append(
                Span(
                    upstream=station,
                    downstream=f"S{number}",
                    length_m=rng.uniform(1.0, 12.0),
                    bore_m=main_bore_m,
                    loss_k=rng.choice([0.0, 0.4, 0.9]),
                )
            )
            station = f"S{number}"
        _add_row(rng, spans, outlets, station, number, most_holes, barrel)
    return Net(supply=supply, spans=tuple(spans), outlets=tuple(outlets))


def _add_row(
    rng: Random,
    spans: list[Span],
    outlets: list[Outlet],
    station: str,
    number: int,
    most_holes: int,
    barrel: bool,
) -> None:
    """A valve and a drilled lateral below a station."""
    bore_m = rng.choice([0.01529, 0.02042, 0.02614])
    loss_k = rng.uniform(2.0, 6.0) if barrel or rng.random() < 0.5 else 10 ** rng.uniform(1.0, 5.5)
    count = rng.randint(4, most_holes)
    every_m = rng.choice([0.0762, 0.1524, 0.3048])
    hole_m = rng.choice([0.00119, 0.0015875, 0.00198, 0.003175])
    coefficient = rng.uniform(0.6, 0.82)
    rise_m, tilt_m = rng.uniform(-0.3, 0.3), rng.choice([0.0, rng.uniform(-0.08, 0.08)])
    middle_m = rng.choice([0.0, rng.uniform(-0.05, 0.05)])
    tail = rng.random() < 0.2
    spans.append(
        Span(
            upstream=station,
            downstream=f"R{number}",
            length_m=0.0,
            bore_m=bore_m,
            loss_k=loss_k,
        )
    )
    before, at_m = f"R{number}", 0.0
    for i in range(count):
        name, x_m, share = f"R{number}H{i}", every_m * (i + 0.5), (i + 0.5) / count
        spans.append(Span(upstream=before, downstream=name, length_m=x_m - at_m, bore_m=bore_m))
        before, at_m = name, x_m
        if rng.random() < 0.05 or (tail and share > 0.8):
            continue  # plugged
        outlets.append(
            Outlet(
                node=name,
                z_m=rise_m + tilt_m * share + 4.0 * middle_m * share * (1.0 - share),
                bore_m=hole_m,
                discharge_coefficient=coefficient,
            )
        )


class Engine:
    """EPANET's library with one network loaded; it stays open until `close`."""

    def __init__(self, net: Net, folder: Path) -> None:
        from wntr.epanet.toolkit import ENepanet

        self.net = net
        inp = folder / "net.inp"
        inp.write_text(_inp(net), encoding="ascii")
        self._lib = ENepanet(version=2.2)
        self._lib.ENopen(str(inp), str(folder / "net.rpt"), str(folder / "net.bin"))
        self._lib.ENopenH()
        self._node = {outlet.node: self._lib.ENgetnodeindex(outlet.node) for outlet in net.outlets}
        self._tap = self._lib.ENgetnodeindex("tap")
        self._coefficient = {
            outlet.node: _emitter_l_s(outlet, GRAVITY_M_S2) for outlet in net.outlets
        }

    def close(self) -> None:
        self._lib.ENcloseH()
        self._lib.ENclose()

    def run(self) -> None:
        """One solve with the emitters as they are set, from flows begun anew.

        After `solve` the dry holes are known to it, and this is the last of its rounds again.
        """
        self._lib.ENinitH(10)
        self._lib.ENrunH()

    def forget(self) -> None:
        """All emitters as at first, those that will suck among them."""
        for name, index in self._node.items():
            self._lib.ENsetnodevalue(index, 3, self._coefficient[name])

    def flows(self) -> list[float]:
        """Flow of each outlet as the last solve left it, none inwards. [m3/s]"""
        found = []
        for outlet in self.net.outlets:
            index = self._node[outlet.node]
            coefficient = self._lib.ENgetnodevalue(index, 3)
            found.append(coefficient * max(0.0, self._lib.ENgetnodevalue(index, 11)) ** 0.5 / 1000)
        return found

    def solve(self) -> tuple[float, list[float]]:
        """Head at the tap and flow of each outlet, with no emitter flowing inwards.

        EPANET 2.2 lets an emitter draw water in; such ones are taken out until none is left, then
        those that stand under pressure again are put back.
        """
        emitter, pressure = 3, 11
        dry: set[str] = set()
        for name in self._node:
            self._lib.ENsetnodevalue(self._node[name], emitter, self._coefficient[name])
        for _ in range(200):
            self.run()
            heads = {n: self._lib.ENgetnodevalue(i, pressure) for n, i in self._node.items()}
            drop = {n for n, head_m in heads.items() if head_m < 0.0} - dry
            wake = {n for n in dry if heads[n] > 1e-6} if not drop else set()
            if not drop and not wake:
                break
            for name in drop:
                self._lib.ENsetnodevalue(self._node[name], emitter, 0.0)
            for name in wake:
                self._lib.ENsetnodevalue(self._node[name], emitter, self._coefficient[name])
            dry = (dry | drop) - wake
        else:
            raise AssertionError("the dry holes of EPANET do not settle")
        flows = [
            0.0
            if outlet.node in dry
            else self._coefficient[outlet.node] * max(0.0, heads[outlet.node]) ** 0.5 / 1000.0
            for outlet in self.net.outlets
        ]
        return self._lib.ENgetnodevalue(self._tap, 10), flows


def _emitter_l_s(outlet: Outlet, gravity_m_s2: float) -> float:
    """Flow of a hole in L/s at one metre of head."""
    area_m2 = 3.141592653589793 / 4.0 * outlet.bore_m**2
    return 1000.0 * outlet.discharge_coefficient * area_m2 * sqrt(2.0 * gravity_m_s2)


def _inp(net: Net) -> str:
    """The network as an EPANET input file, in litres a second and metres."""
    z_m = {outlet.node: outlet.z_m for outlet in net.outlets}
    supply_k = net.supply.k * 2.0 * GRAVITY_M_S2 * (3.141592653589793 / 4.0 * SUPPLY_BORE_M**2) ** 2
    nodes = ["tap", *[span.downstream for span in net.spans]]
    lines = ["[JUNCTIONS]"]
    lines += [f"{name} {z_m.get(name, 0.0)!r} 0" for name in nodes]
    lines += ["[RESERVOIRS]", f"town {net.supply.static_head_m!r}", "[PIPES]"]
    lines += [
        f"P{i} {s.upstream} {s.downstream} {s.length_m!r} {s.bore_m * 1000!r} "
        f"{s.roughness_m * 1000!r} {s.loss_k * MINOR_LOSS_MEND!r} OPEN"
        for i, s in enumerate(net.spans)
        if s.length_m > 0.0
    ]
    lines += [
        "[VALVES]",
        f"supply town tap {SUPPLY_BORE_M * 1000!r} TCV {supply_k * MINOR_LOSS_MEND!r} 0",
    ]
    lines += [
        f"V{i} {s.upstream} {s.downstream} {s.bore_m * 1000!r} TCV {s.loss_k * MINOR_LOSS_MEND!r} 0"
        for i, s in enumerate(net.spans)
        if s.length_m == 0.0
    ]
    lines += ["[EMITTERS]"]
    lines += [f"{o.node} {_emitter_l_s(o, GRAVITY_M_S2)!r}" for o in net.outlets]
    lines += [
        "[OPTIONS]",
        "UNITS LPS",
        "HEADLOSS D-W",
        "VISCOSITY 1.0",
        "EMITTER EXPONENT 0.5",
        "TRIALS 500",
        "ACCURACY 0.00001",
        "FLOWCHANGE 0.0000001",
        "[TIMES]",
        "DURATION 0",
        "[END]",
    ]
    return "\n".join(lines) + "\n"
