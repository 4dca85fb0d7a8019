"""Supply and main of the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.faults import Path, instead
from controller.garden.from_file.defaults import Filling
from controller.garden.plumbing import (
    ENTRANCE_K,
    FITTINGS_K,
    BeforeRegulator,
    Begins,
    Pipe,
    Pump,
    Run,
    Supply,
    SupplyKind,
    begin_k,
)
from controller.garden.schema import WrittenFlowTest, WrittenRun, WrittenSupply, WrittenZone
from controller.units import head_m_from_psi, m3_s_from_gal_min

TAP = "tap"
_CLOSE_M = 1e-9


def runs_of(filling: Filling) -> tuple[Run, ...]:
    """The runs, each after its parent; a run that cannot be placed gives a fault."""
    return _Runs(filling).built()


def place_of(
    filling: Filling, zone: WrittenZone, at: Path, runs: Sequence[Run]
) -> tuple[str, float]:
    """The run of a zone ("" for a main of one pipe), and the distance along it. [m]"""
    us = filling.us
    if not filling.written.main.run:
        for key, value in (("run", zone.run), ("along", zone.along_m)):
            if value is not None:
                filling.faults.add(
                    (*at, key),
                    "found it without any [[main.run]]; where the main does not fork, main_run "
                    "is how far along it the zone is",
                )
        return "", filling.used(at, zone).main_run_m
    if filling.faults.is_written((*at, "main_run")):
        filling.faults.add(
            (*at, "main_run"),
            f"found {show.show_length(zone.main_run_m, us)}; where the main has runs, a zone says "
            'which it hangs on and how far along, as in run = "left arm" and along = "12 ft"',
        )
    names = [run.name for run in filling.written.main.run]
    if zone.run is None and len(names) > 1:
        known = ", ".join(f'"{name}"' for name in names)
        filling.faults.add(
            at, f"found no run; a zone says which run of the main it hangs on: {known}"
        )
        return "", 0.0
    name = names[0] if zone.run is None else zone.run
    if name not in names:
        filling.faults.add(
            (*at, "run"),
            f"found {q.spell(name)}; {instead(name, names, called='runs')}",
            needs=[("main", "run", number, "name") for number in range(len(names))],
        )
    run = next((one for one in runs if one.name == name), None)
    if run is None:
        return "", 0.0
    length = show.show_length(run.length_m, us)
    along_m = filling.default(
        at, "along", zone.along_m, run.length_m, length, f'the end of the run "{name}"'
    )
    if along_m > run.length_m + _CLOSE_M:
        filling.faults.add(
            (*at, "along"),
            f"found {show.show_length(along_m, us)}; the run {q.spell(name)} is {length} long",
            needs=[("main", "run", names.index(name), "length")],
        )
    return name, min(along_m, run.length_m)


@dataclass(frozen=True, slots=True)
class _Begin:
    """Where a run leaves another: the distance, and whether it alone leaves from its end."""

    parent: Run | None
    from_m: float
    goes_on: bool


class _Runs:
    """The runs of one file."""

    def __init__(self, filling: Filling) -> None:
        self.filling, self.faults = filling, filling.faults
        self.written = filling.written.main.run
        self.numbers = {run.name: n for n, run in reversed(list(enumerate(self.written)))}

    def built(self) -> tuple[Run, ...]:
        if self.written and self.faults.is_written(("main", "size")):
            self.faults.add(
                ("main", "size"),
                f"found {q.spell(self.filling.written.main.size)} beside [[main.run]]; each run "
                "has a size of its own: take this one out",
            )
        self._check_begins()
        self._check_loops()
        runs: dict[str, Run] = {}
        waiting = list(self.written)
        while waiting:
            left = []
            for run in waiting:
                if _is_tap(run.start) or run.start in runs:
                    number = self.numbers[run.name]
                    runs.setdefault(run.name, self._run(run, number, runs.get(run.start)))
                else:
                    left.append(run)
            if len(left) == len(waiting):
                break  # these have faults already
            waiting = left
        return tuple(runs.values())

    def _check_begins(self) -> None:
        names = [("main", "run", n, "name") for n in range(len(self.written))]
        for number, run in enumerate(self.written):
            at: Path = ("main", "run", number)
            if _is_tap(run.name):
                self.faults.add((*at, "name"), f'found "{run.name}"; that is the tap\'s own name')
            if not _is_tap(run.start) and run.start not in self.numbers:
                known = [TAP, *self.numbers]
                self.faults.add(
                    (*at, "from"),
                    f"found {q.spell(run.start)}; a run begins at the tap or at another run: "
                    f"{instead(run.start, known, called='known here')}",
                    needs=names,
                )
            if _is_tap(run.start):
                for key, value in (("along", run.along_m), ("begins", run.begins)):
                    if value is not None:
                        self.faults.add(
                            (*at, key),
                            f"found it at the tap; {key} is for a run that leaves another run",
                        )

    def _check_loops(self) -> None:
        """Add a fault for each loop of runs, once, with all its runs."""
        reported: set[str] = set()
        for number, run in enumerate(self.written):
            way = [run.name]
            start = run.start
            while not _is_tap(start) and start in self.numbers and start not in way:
                way.append(start)
                start = self.written[self.numbers[start]].start
            if start != run.name or run.name in reported:
                continue
            reported.update(way)
            names = " from ".join(f'"{name}"' for name in (*way, run.name))
            self.faults.add(
                ("main", "run", number, "from"),
                f"found a loop: {names}; the main branches like a tree from the tap, so that water "
                "comes to each place one way only",
            )

    def _run(self, run: WrittenRun, number: int, parent: Run | None) -> Run:
        at: Path = ("main", "run", number)
        pipe = self.filling.pipe((*at, "size"), run.size)
        begin = self._begin(run, at, parent)
        loss_k = run.loss_k
        if loss_k is None:
            loss_k = self._loss_k(run, at, begin, pipe)
        elif run.fittings or run.begins:
            key = "fittings" if run.fittings else "begins"
            self.faults.add(
                (*at, key), "found it beside loss_k, which has all of the run's losses in it"
            )
        return Run(
            name=run.name,
            parent=parent.name if parent else "",
            from_m=begin.from_m,
            length_m=run.length_m,
            pipe=pipe,
            loss_k=loss_k,
            tees_counted=run.loss_k is not None,
        )

    def _begin(self, run: WrittenRun, at: Path, parent: Run | None) -> _Begin:
        if parent is None:
            return _Begin(None, 0.0, False)
        us = self.filling.us
        length = show.show_length(parent.length_m, us)
        if run.along_m is not None and run.along_m > parent.length_m + _CLOSE_M:
            self.faults.add(
                (*at, "along"),
                f"found {show.show_length(run.along_m, us)}; the run {q.spell(parent.name)} it "
                f"leaves is {length} long",
                needs=[("main", "run", self.numbers[parent.name], "length")],
            )

        def from_m(one: WrittenRun) -> float:
            if one.along_m is None:
                return parent.length_m
            return min(one.along_m, parent.length_m)

        here_m = from_m(run)
        if run.along_m is None:
            self.filling.report(at, "along", length, f'the end of the run "{parent.name}"')
        here = [one for one in self.written if one.start == parent.name and from_m(one) == here_m]
        return _Begin(parent, here_m, here_m == parent.length_m and len(here) == 1)

    def _loss_k(self, run: WrittenRun, at: Path, begin: _Begin, pipe: Pipe) -> float:
        """Loss coefficient of the entry into a run and of its fittings. [-]"""
        if begin.parent is None:
            loss_k, why = ENTRANCE_K, "the entrance from the tap"
        else:
            begins = run.begins
            if begins is None:
                begins = Begins.STRAIGHT if begin.goes_on else Begins.SIDE
                self.filling.report(
                    at,
                    "begins",
                    begins,
                    "nothing else leaves there" if begin.goes_on else "others go on from there",
                )
            loss_k, why = begin_k(begins, begin.parent.pipe, pipe), f"{begins}; our choice"
        added = run.fittings
        loss_k += sum(FITTINGS_K[one] for one in added)
        if added:
            counted = [f"{added.count(one)} x {one}" for one in dict.fromkeys(added)]
            why += f", with {show.listed(counted)}"
        self.filling.report(at, "loss_k", f"{loss_k:.3g}", why)
        return loss_k


def _is_tap(name: str) -> bool:
    return name.casefold() == TAP


_T = TypeVar("_T")
_AT: Path = ("supply",)
# The key of the highest pressure of the still tap, by kind of supply.
STILL = {
    SupplyKind.MAINS: "static_pressure",
    SupplyKind.BARREL: "level",
    SupplyKind.REGULATOR: "set_pressure",
    SupplyKind.PUMP: "switch_off",
}
# All keys of a kind that not every kind has.
_OWN = {
    SupplyKind.MAINS: ("static_pressure",),
    SupplyKind.BARREL: ("level", "falls_to", "holds"),
    SupplyKind.REGULATOR: ("set_pressure", "static_pressure", "flow_test_before", "open_loss"),
    SupplyKind.PUMP: ("switch_on", "switch_off", "tank", "pre_charge", "shut_off", "well_yield"),
}
_ASKS = {
    "static_pressure": 'the pressure at the tap with nothing running is needed, as in "48 psi"',
    "flow_test": 'what the tap gives is needed, as in { flow = "7.5 gal/min", pressure = '
    '"31 psi" } or { fill = "5 gal", seconds = 40 } from the open tap',
    "level": 'how high its water stands above the tap when full is needed, as in "4 ft"',
    "set_pressure": 'the pressure it is set to is needed, as in "25 psi"',
    "switch_on": 'the pressure at which the pump starts is needed, as in "30 psi"',
    "switch_off": 'the pressure at which the pump stops is needed, as in "50 psi"',
    "pump": "what the pump gives with so much running that it does not stop, and the gauge at the "
    'tank meanwhile, are needed, as in { flow = "10 gal/min", pressure = "40 psi" }',
    "tank": 'the whole volume of the pressure tank is needed (its label has it), as in "20 gal"',
}
# A regulator whose fall nobody measured: a fifth of the set pressure at 5 gal/min, between nothing
# and two fifths (10 to 25 % at the rated flow: from memory; the rest our choice).
_ASSUMED_FALL = 0.20
_ASSUMED_AT_M3_S = m3_s_from_gal_min(5.0)
# The air in the empty tank stands so far below the switch-on pressure (the trade's usual advice).
_PRE_CHARGE_BELOW_M = head_m_from_psi(2.0)
# A pump against a shut valve, over its switch-off pressure. Our choice; the test counts more.
_SHUT_OFF_OVER = 1.25


def supply_of(filling: Filling) -> Supply:
    """The supply; missing keys, and keys of another kind, give a fault."""
    supply = filling.used(_AT, filling.written.supply)
    kind = supply.kind
    for key in sorted({key for keys in _OWN.values() for key in keys} - set(_OWN[kind])):
        if filling.faults.is_written((*_AT, key)):
            others = " or a ".join(k for k in SupplyKind if key in _OWN[k])
            filling.faults.add(
                (*_AT, key), f'found it with kind = "{kind}"; {key} belongs to a {others}'
            )
    still_m: float | None
    pump = _pump(filling) if kind is SupplyKind.PUMP else None
    if pump is not None:
        still_m = 0.5 * (pump.on_head_m + pump.off_head_m)
    else:
        found_m = {
            SupplyKind.MAINS: supply.static_head_m,
            SupplyKind.BARREL: supply.level_m,
            SupplyKind.REGULATOR: supply.set_head_m,
        }[kind]
        still_m = _needed(filling, STILL[kind], found_m, 200.0)
    if kind is SupplyKind.REGULATOR and (supply.static_head_m or still_m + 1.0) <= still_m:
        before = show.show_pressure(supply.static_head_m or 0.0, filling.us)
        filling.faults.add(
            (*_AT, "set_pressure"),
            f"found {show.show_pressure(still_m, filling.us)}; a regulator only lowers, so it is "
            f"set below static_pressure before it, {before}",
            needs=[(*_AT, "static_pressure")],
        )
    assumed = kind is SupplyKind.REGULATOR and supply.flow_test is None
    if assumed:
        flow_m3_s, test_head_m = _assumed_test(filling, still_m)
    else:
        flow_m3_s, test_head_m = _flow_test(filling, kind)
    tested_on = None
    if supply.flow_test is not None:
        tested_on = filling.used((*_AT, "flow_test"), supply.flow_test).on
    falls_to_m = supply.falls_to_m
    if kind is SupplyKind.BARREL:
        falls_to_m = filling.default(
            _AT, "falls_to", falls_to_m, 0.0, show.show_length(0.0, filling.us), "down to the tap"
        )
    exponent, why = 2.0, "loss grows as flow squared"
    if kind is SupplyKind.REGULATOR:
        exponent, why = 1.0, "a regulator's pressure falls nearly straight with the flow"
    return Supply(
        static_head_m=still_m,
        test_head_m=test_head_m,
        test_flow_m3_s=flow_m3_s,
        exponent=filling.default(_AT, "exponent", supply.exponent, exponent, f"{exponent:g}", why),
        kind=kind,
        falls_to_m=falls_to_m,
        holds_m3=supply.holds_m3,
        water_temp_c=supply.water_temp_c,
        salt_ds_m=supply.salt_ds_m,
        before=_before(filling, supply) if kind is SupplyKind.REGULATOR else None,
        test_assumed=assumed,
        pump=pump,
        still_as_written=filling.faults.as_written((*_AT, "static_pressure")),
        tested_on=tested_on,
    )


def _needed(
    filling: Filling, key: str, found: _T | None, stand_in: _T, asks: str | None = None
) -> _T:
    """The written value; without one, a fault and a stand-in."""
    if found is not None:
        return found
    place = (*_AT, key)
    filling.faults.add(place, f"found nothing; {_ASKS[asks or key]}")
    filling.faults.spoil(place)
    return stand_in


def _pump(filling: Filling) -> Pump:
    """A pump and its tank, with defaults."""
    supply = filling.written.supply
    on_m = _needed(filling, "switch_on", supply.on_head_m, 1.0)
    off_m = _needed(filling, "switch_off", supply.off_head_m, 200.0)
    pre_charge_m = max(0.0, on_m - _PRE_CHARGE_BELOW_M)
    shut_off_m = _SHUT_OFF_OVER * off_m
    return Pump(
        on_head_m=on_m,
        off_head_m=off_m,
        tank_m3=_needed(filling, "tank", supply.tank_m3, 0.1),
        pre_charge_head_m=filling.default(
            _AT,
            "pre_charge",
            supply.pre_charge_head_m,
            pre_charge_m,
            show.show_pressure(pre_charge_m, filling.us),
            "2 psi (14 kPa) below switch_on",
        ),
        shut_off_head_m=filling.default(
            _AT,
            "shut_off",
            supply.shut_off_head_m,
            shut_off_m,
            show.show_pressure(shut_off_m, filling.us),
            "our choice: 1.25 times switch_off; the flow test counts more",
        ),
        well_yield_m3_s=supply.well_yield_m3_s,
    )


def _before(filling: Filling, supply: WrittenSupply) -> BeforeRegulator | None:
    """The mains before a regulator, if the gardener knows their pressure."""
    is_written = filling.faults.is_written
    for key, needed_key in (
        ("flow_test_before", "static_pressure"),
        ("open_loss", "flow_test_before"),
    ):
        if is_written((*_AT, key)) and not is_written((*_AT, needed_key)):
            filling.faults.add(
                (*_AT, key),
                f"found it without {needed_key}, measured before the regulator as well: write both",
            )
    if supply.static_head_m is None:
        return None
    if supply.flow_test_before is None:
        return BeforeRegulator(static_head_m=supply.static_head_m)
    flow_m3_s, head_m = _read_test(filling, "flow_test_before", supply.flow_test_before)
    loss = supply.open_loss
    if loss is not None and (
        loss.flow_m3_s is None or loss.head_m is None or loss.fill_m3 or loss.fill_s
    ):
        filling.faults.add(
            (*_AT, "open_loss"),
            "found not quite a loss; allowed is the pressure a wide open regulator takes at a "
            'flow, as in { flow = "8 gal/min", pressure = "3 psi" }',
        )
        loss = None
    return BeforeRegulator(
        static_head_m=supply.static_head_m,
        test_head_m=head_m,
        test_flow_m3_s=flow_m3_s,
        open_loss_m=0.0 if loss is None else loss.head_m or 0.0,
        open_flow_m3_s=1.0 if loss is None else loss.flow_m3_s or 1.0,
    )


def _assumed_test(filling: Filling, set_m: float) -> tuple[float, float]:
    """The stand-in for a missing flow test of a regulator, which is then reported."""
    head_m = (1.0 - _ASSUMED_FALL) * set_m
    us = filling.us
    filling.report(
        _AT,
        "flow_test",
        f"{show.show_pressure(head_m, us)} at {show.show_flow(_ASSUMED_AT_M3_S, us)}",
        "nobody tested it: 20 % less at this flow, from memory; 0 to 40 % is possible",
    )
    return _ASSUMED_AT_M3_S, head_m


def _flow_test(filling: Filling, kind: SupplyKind) -> tuple[float, float]:
    """Flow of the test, and the head at the tap with it."""
    asks = "pump" if kind is SupplyKind.PUMP else "flow_test"
    test = _needed(filling, "flow_test", filling.written.supply.flow_test, None, asks)
    if test is None:
        return 1.0, 0.0
    if test.flow_m3_s is None and test.head_m is None and test.fill_m3 is not None:
        keys = [(*_AT, "flow_test", key) for key in ("flow", "pressure", "fill", "seconds")]
        if kind is SupplyKind.REGULATOR:
            filling.faults.add(
                (*_AT, "flow_test"),
                "found a bucket under the open tap, with which a regulator is wide open and sets "
                "nothing; a regulator is tested with a gauge behind it and some of the rows "
                'running, as in { flow = "3 gal/min", pressure = "23 psi" }',
                needs=keys,
            )
        elif kind is SupplyKind.PUMP:
            filling.faults.add(
                (*_AT, "flow_test"),
                "found a bucket without the gauge at the tank; a pump is tested with so much "
                "running that it does not stop, the gauge read when its needle stands still, as "
                'in { fill = "5 gal", seconds = 30, pressure = "40 psi" }',
                needs=keys,
            )
    return _read_test(filling, "flow_test", test)


def _read_test(filling: Filling, key: str, test: WrittenFlowTest) -> tuple[float, float]:
    """Flow and head of a test with a gauge, or of a bucket under an open tap."""
    at: Path = (*_AT, key)
    keys = [(*at, one) for one in ("flow", "pressure", "fill", "seconds")]
    flow_m3_s, head_m = test.flow_m3_s, test.head_m
    if flow_m3_s is None and test.fill_m3 is not None and test.fill_s is not None:
        flow_m3_s = test.fill_m3 / test.fill_s
        shown = show.show_pressure(0.0, filling.us)
        head_m = filling.default(at, "pressure", head_m, 0.0, shown, "a bucket under the open tap")
        spare = test.flow_m3_s
    else:
        spare = test.fill_m3 if test.fill_m3 is not None else test.fill_s
    if flow_m3_s is None or head_m is None or spare is not None:
        filling.faults.add(
            at,
            "found not quite one test; allowed is a flow and the pressure at the tap "
            'meanwhile, as in { flow = "7.5 gal/min", pressure = "31 psi" }, or a bucket under '
            'the open tap, as in { fill = "5 gal", seconds = 40 }',
            needs=keys,
        )
        filling.faults.spoil(at)
        return 1.0, 0.0
    return flow_m3_s, head_m
