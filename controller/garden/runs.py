"""A main that forks: its runs in order from the tap, and where zones hang on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.faults import instead
from controller.garden.filling import Filling
from controller.garden.fittings import ENTRANCE_K, FITTINGS_K, Begins, begin_k
from controller.garden.lines import Path
from controller.garden.model import Pipe, Run
from controller.garden.written import WrittenRun, WrittenZone

TAP = "tap"


_CLOSE_M = 1e-9


def runs_of(filling: Filling) -> tuple[Run, ...]:
    """The runs, each after the one it leaves; what cannot be placed is noted and left out."""
    return _Runs(filling).built()


def place_of(
    filling: Filling, zone: WrittenZone, at: Path, runs: Sequence[Run]
) -> tuple[str, float]:
    """The run a zone hangs on, "" for a main of one pipe, and how far along it. [m]"""
    us = filling.us
    if not filling.written.main.run:
        for key, value in (("run", zone.run), ("along", zone.along_m)):
            if value is not None:
                filling.faults.add(
                    (*at, key),
                    "found it without any [[main.run]]; where the main does not fork, main_run "
                    "tells how far along it the zone hangs",
                )
        level = show.show_length(0.0, us)
        return "", filling.default(at, "main_run", zone.main_run_m, 0.0, level, "at the tap")
    if zone.main_run_m is not None:
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
    """Where a run leaves another: how far along, and whether nothing else leaves from its end."""

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
        size = self.filling.written.main.size
        if self.written and size is not None:
            self.faults.add(
                ("main", "size"),
                f"found {q.spell(size)} beside [[main.run]]; each run has a size of its own: take "
                "this one out",
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
                break  # these are faulty, and have been named
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
        """A run that hangs, over others, on itself; each loop is named once, with all its runs."""
        said: set[str] = set()
        for number, run in enumerate(self.written):
            way = [run.name]
            start = run.start
            while not _is_tap(start) and start in self.numbers and start not in way:
                way.append(start)
                start = self.written[self.numbers[start]].start
            if start != run.name or run.name in said:
                continue
            said.update(way)
            names = " from ".join(f'"{name}"' for name in (*way, run.name))
            self.faults.add(
                ("main", "run", number, "from"),
                f"found a loop: {names}; the main branches like a tree from the tap, so that water "
                "comes to each place one way only",
            )

    def _run(self, run: WrittenRun, number: int, parent: Run | None) -> Run:
        at: Path = ("main", "run", number)
        pipe = self.filling.pipe((*at, "size"), run.size, "")
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
            self.filling.tell(at, "along", length, f'the end of the run "{parent.name}"')
        here = [one for one in self.written if one.start == parent.name and from_m(one) == here_m]
        return _Begin(parent, here_m, here_m == parent.length_m and len(here) == 1)

    def _loss_k(self, run: WrittenRun, at: Path, begin: _Begin, pipe: Pipe) -> float:
        """The loss on the way into the run, and of its fittings."""
        if begin.parent is None:
            loss_k, why = ENTRANCE_K, "the entrance from the tap"
        else:
            begins = run.begins
            if begins is None:
                begins = Begins.STRAIGHT if begin.goes_on else Begins.SIDE
                self.filling.tell(
                    at,
                    "begins",
                    begins,
                    "nothing else leaves there" if begin.goes_on else "others go on from there",
                )
            loss_k, why = begin_k(begins, begin.parent.pipe, pipe), f"{begins}; our choice"
        added = run.fittings or ()
        loss_k += sum(FITTINGS_K[one] for one in added)
        if added:
            counted = [f"{added.count(one)} x {one}" for one in dict.fromkeys(added)]
            why += f", with {show.listed(counted)}"
        self.filling.tell(at, "loss_k", f"{loss_k:.3g}", why)
        return loss_k


def _is_tap(name: str) -> bool:
    return name.casefold() == TAP
