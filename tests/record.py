"""What a user sees, written down: so a change of the code's shape can prove it changed nothing.

`tests/record.py FOLDER` runs some 400 commands in invented gardens on fixed days, and a daemon
through some simulated weeks, and writes one file for each: exit code, what it printed, what it said
beside that; for the daemon its answers day by day and its logbook. `tests/record.py --compare A B`
says which files of two such folders differ. No folder is kept in the repository: record before a
change and after it, on one machine and one Python.
"""

from __future__ import annotations

import argparse
import difflib
import io
import json
import os
import shlex
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import chdir, redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path
from unittest import mock

import time_machine
from support.daemon import MORNING, World
from support.garden_files import TEN_LINES
from support.gardens import a_garden, a_zone
from support.metered import MeteredWorld, a_thirsty_garden, plugged

from controller.cli import main as rowgate

HERE = Path(__file__).resolve().parent
EXAMPLE = HERE.parent / "config" / "example-garden.toml"
WEATHER = HERE.parent / "config" / "example-weather.csv"
NOON = datetime(2031, 6, 26, 10, 0, tzinfo=UTC)

SITE = """\
[site]
name = "Invented"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
"""
TAP = """\
[supply]
static_pressure = "48 psi"
flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }
"""
LEEKS = 'planting = [{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }]\n'
RELAY_5 = "valve = { relay = 5 }\n"
FILE = '[weather]\nfile = "weather.csv"\n'


def _example(*swaps: tuple[str, str]) -> str:
    text = EXAMPLE.read_text(encoding="utf-8").replace("example-weather.csv", "weather.csv")
    for old, new in swaps:
        assert old in text, old
        text = text.replace(old, new)
    return text


def _zone(name: str, more: str = "", row: str = "", planting: str = LEEKS) -> str:
    row = row or '{ length = "11 ft", every = "6 in", bore = "1/16 in" }'
    return f'[[zone]]\nname = "{name}"\n{more}row = [{row}]\n{planting}'


def _one(crop: str, begins: str, until: str) -> str:
    return _planting(f'{{ crop = "{crop}", {begins}, until = {until} }}')


def _planting(text: str) -> str:
    return f"planting = [{text}]\n"


GARDENS: dict[str, str] = {
    "example": _example(),
    "ten-lines": TEN_LINES,
    "ten-lines-weather": TEN_LINES + FILE,
    "metric": _example(
        ('timezone = "America/New_York"', 'timezone = "America/New_York"\nunits = "metric"')
    ),
    "single-mean": _example(
        ('satisfy = "driest quarter"', 'satisfy = "mean"\ncoefficients = "single"\nrefill_at = 0.5')
    ),
    "confirmed": _example(('hand_water = "as printed"', 'hand_water = "as confirmed"')),
    "one-at-a-time": _example(("most_open = 2", "most_open = 1")),
    "weak-tap": _example(
        ('static_pressure = "48 psi"', 'static_pressure = "12 psi"'),
        (
            'flow = "7.5 gal/min", pressure = "31 psi"',
            'flow = "1.5 gal/min", pressure = "6 psi"',
        ),
    ),
    "forked": SITE
    + TAP
    + '[[main.run]]\nname = "trunk"\nfrom = "tap"\nlength = "30 ft"\nsize = "1 in"\n'
    '[[main.run]]\nname = "left"\nfrom = "trunk"\nlength = "40 ft"\nsize = "3/4 in"\n'
    'fittings = ["elbow", "elbow"]\n'
    '[[main.run]]\nname = "frame"\nfrom = "trunk"\nalong = "12 ft"\nlength = "8 ft"\n'
    'size = "1/2 in"\n'
    + FILE
    + _zone("a", 'run = "left"\nvalve = { relay = 5 }\n')
    + _zone("b", 'run = "left"\nalong = "25 ft"\nvalve = { relay = 6 }\n')
    + _zone("c", 'run = "frame"\nvalve = { relay = 7 }\nrise = "1 ft"\n'),
    "pump": SITE + '[supply]\nkind = "pump"\nswitch_on = "30 psi"\nswitch_off = "50 psi"\n'
    'tank = "20 gal"\nflow_test = { flow = "10 gal/min", pressure = "40 psi" }\n'
    + FILE
    + _zone("a", "valve = { relay = 5 }\n")
    + _zone("b", "valve = { relay = 6 }\n", '{ length = "40 ft", every = "3 in", bore = "2 mm" }'),
    "regulator": SITE + '[supply]\nkind = "regulator"\nset_pressure = "10 psi"\n'
    'flow_test_before = { flow = "8 gal/min", pressure = "25 psi" }\nstatic_pressure = "50 psi"\n'
    + FILE
    + _zone("a", 'valve = { relay = 5, kind = "diaphragm" }\n')
    + _zone("b", 'valve = { hand = true }\nopening = "unknown"\n'),
    "plants": SITE
    + TAP
    + FILE
    + '[[bed]]\nname = "tunnel"\nlength = "20 ft"\nwidth = "4 ft"\nsoil = "clay"\n'
    'cover = { kind = "high tunnel", from = 2031-03-01, until = 2031-10-31 }\n'
    '[[bed]]\nname = "film"\nlength = "20 ft"\nwidth = "4 ft"\nsoil = "sand"\n'
    'mulch = "plastic"\n'
    + _zone("garlic", planting=_one("garlic", "sown = 2030-10-10", "2031-07-15"))
    + _zone(
        "tunnel tomatoes",
        'bed = "tunnel"\nvalve = { relay = 5 }\n',
        '{ length = "19 ft", every = "23 in", group = 2, bore = "1/16 in" }',
        _planting(
            '{ crop = "tomato", supports = true, transplanted = 2031-05-10, until = 2031-09-30 }'
        ),
    )
    + _zone(
        "melons",
        'bed = "film"\nvalve = { relay = 6, shortest_pulse = "45 s" }\n',
        '{ length = "19 ft", every = "3 in", bore = "1/16 in", walls = "both", face = "side" }',
        _planting('{ crop = "watermelon", transplanted = 2031-05-20, until = 2031-09-10 }'),
    )
    + _zone(
        "new asparagus",
        "valve = { hand = true }\n",
        "",
        _planting('{ crop = "asparagus", transplanted = 2031-04-10, until = 2031-11-10 }'),
    )
    + _zone("late lettuce", planting=_one("lettuce", "sown = 2031-06-20", "2031-08-20")),
    "south": SITE.replace("latitude = 47.1", "latitude = -34.6")
    .replace("longitude = 8.2", "longitude = -58.4")
    .replace("Europe/Zurich", "America/Argentina/Buenos_Aires")
    + TAP
    + _zone("beans", RELAY_5, planting=_one("broad_bean", "sown = 2031-05-01", "2031-10-20")),
    "meter": SITE
    + TAP
    + FILE
    + '[board]\npins = "mock"\nrelays = "active low"\n'
    '[meter]\npin = 22\npulses_per = "450 per L"\n[meter.when]\nburst = "hold zone"\n'
    + "".join(_zone(f"zone {n}", f"valve = {{ relay = {n} }}\n") for n in (4, 5, 6))
    + _zone("by hand", "valve = { hand = true }\n"),
}  # fmt: skip

# Each is the ten lines with one thing wrong, or odd.
ODD: dict[str, tuple[str, str]] = {
    "unknown key": ("latitude", "lattitude"),
    "no unit": ('"11 ft"', "11"),
    "wrong unit": ('"11 ft"', '"11 psi"'),
    "bare bore": ('"1/16 in"', "1.5"),
    "no such unit": ('"11 ft"', '"11 cubits"'),
    "negative": ('"11 ft"', '"-11 ft"'),
    "too long": ('"11 ft"', '"9000 ft"'),
    "north of north": ("47.6", "97.6"),
    "no zone name": ('name = "leeks"\n', ""),
    "empty name": ('name = "leeks"', 'name = ""'),
    "number for name": ('name = "leeks"', "name = 7"),
    "no row": ('row = [{ length = "11 ft", every = "6 in", bore = "1/16 in" }]', "row = []"),
    "no planting": (LEEKS, ""),
    "unknown crop": ('"leek"', '"leak"'),
    "until before": ("2031-10-10", "2031-03-10"),
    "no such day": ("2031-10-10", "2031-02-30"),
    "both ways": ("transplanted = 2031-04-22", "transplanted = 2031-04-22, sown = 2031-04-01"),
    "no zone": (TEN_LINES[TEN_LINES.index("[[zone]]") :], ""),
    "two alike": ("[[zone]]", LEEKS.join(["[[zone]]\nname = 'leeks'\n", "[[zone]]"])),
    "bad toml": ("[[zone]]", "[[zone]"),
    "bad zone": ('"Europe/Zurich"', '"Europe/Nowhere"'),
    "no time zone": ('timezone = "Europe/Zurich"\n', ""),
    "no elevation": ('elevation = "410 m"\n', ""),
    "pressure as head": ('"48 psi"', '"33 m"'),
    "bar": ('"48 psi"', '"3.3 bar"'),
    "comma": ('"48 psi"', '"48,5 psi"'),
    "test above static": ('"31 psi"', '"51 psi"'),
    "no flow": ('"7.5 gal/min"', '"0 gal/min"'),
    "bucket": ('flow = "7.5 gal/min", pressure = "31 psi"', 'fill = "5 gal", seconds = 40'),
    "bucket without time": ('flow = "7.5 gal/min", pressure = "31 psi"', 'fill = "5 gal"'),
    "relay and hand": ("[[zone]]", "[[zone]]\nvalve = { relay = 5, hand = true }"),
    "relay 99": ("[[zone]]", "[[zone]]\nvalve = { relay = 99 }"),
    "valve word": ("[[zone]]", '[[zone]]\nvalve = { relay = 5, kind = "gate" }'),
    "long opening": ("[[zone]]", '[[zone]]\nvalve = { relay = 5, longest_open = "30 h" }'),
    "opening share": ("[[zone]]", '[[zone]]\nopening = "50 %"'),
    "opening word": ("[[zone]]", '[[zone]]\nopening = "half"'),
    "opening flow": ("[[zone]]", '[[zone]]\nopening = { flow = "900 L/min" }'),
    "refill": ("[[zone]]", "[[zone]]\nrefill_at = 1.5"),
    "bed unknown": ("[[zone]]", '[[zone]]\nbed = "nowhere"'),
    "soil unknown": ("[[zone]]", '[[bed]]\nname = "b"\nsoil = "lome"\n[[zone]]\nbed = "b"'),
    "cover unknown": ("[[zone]]", '[[bed]]\nname = "b"\ncover = "glas"\n[[zone]]\nbed = "b"'),
    "row wider": ('every = "6 in"', 'every = "6 in", width = "90 ft"'),
    "bore as pipe": ('bore = "1/16 in"', 'bore = "2 in"'),
    "every under bore": ('every = "6 in"', 'every = "1 mm"'),
    "group": ('every = "6 in"', 'every = "6 in", group = 40'),
    "face": ('every = "6 in"', 'every = "6 in", face = "north"'),
    "plugged": ('every = "6 in"', 'every = "6 in", plugged = [1, 400]'),
    "drain": ('every = "6 in"', 'every = "6 in", drain = { bore = "1/16 in" }'),
    "window": ("[[zone]]", '[watering]\nwindow = [{ from = "25:00", to = "26:00" }]\n[[zone]]'),
    "window short": (
        "[[zone]]",
        '[watering]\nwindow = [{ from = "05:00", to = "05:01" }]\n[[zone]]',
    ),
    "hold": (
        "[[zone]]",
        '[watering]\nhold = [{ from = "2031-07-09", to = "2031-07-01" }]\n[[zone]]',
    ),
    "most open": ("[[zone]]", "[watering]\nmost_open = 0\n[[zone]]"),
    "satisfy": ("[[zone]]", '[watering]\nsatisfy = "all"\n[[zone]]'),
    "weather missing": ("[[zone]]", '[weather]\nfile = "nowhere.csv"\n[[zone]]'),
    "service unknown": ("[[zone]]", '[weather]\nservices = ["somewhere"]\n[[zone]]'),
    "board": ("[[zone]]", '[board]\npins = "usb"\n[[zone]]'),
    "meter": ("[[zone]]", '[meter]\npin = 22\npulses_per = "many"\n[[zone]]'),
    "units": ("[site]", '[site]\nunits = "imperial"'),
    "deep": ("[site]", "[site]\nx" + ".x" * 40 + " = 1"),
    "run unknown": ("[[zone]]", '[[zone]]\nrun = "left"'),
    "utf-16": ("[site]", "[site] # \ufeff"),
}  # fmt: skip

LOOKS: tuple[tuple[str, ...], ...] = (
    ("check",),
    ("check", "--all"),
    ("check", "--json"),
    ("check", "--advice"),
    ("flow",),
    ("flow", "--json"),
    ("flow", "--holes"),
    ("flow", "--bars"),
    ("flow", "--advice"),
    ("flow", "--what-if"),
    ("plan", "--days", "3"),
    ("plan", "--days", "10", "--from", "2031-07-18"),
    ("plan", "--days", "3", "--json"),
    ("plan", "--days", "7", "--csv"),
    ("plan", "--days", "3", "--band"),
    ("plan", "--days", "2", "--from", "2031-01-10"),
    ("balance", "--from", "2031-06-10", "--to", "2031-06-26"),
    ("balance", "--from", "2031-06-24", "--to", "2031-06-26", "--json"),
    ("balance", "--from", "2031-05-01", "--to", "2031-06-26", "--csv"),
    ("report", "--garden"),
)

HELPED = (
    *("plan", "balance", "flow", "et", "check", "new", "run", "status"),
    *("open", "close", "resume", "reset", "hold", "walk", "note", "report", "backup"),
)
NOTED = (
    *("watered", "rain", "meter", "soil", "seen", "mended", "words", "list", "withdraw"),
    *("cups", "stream", "bucket", "run", "gauge", "count"),
)

TYPED: tuple[tuple[str, ...], ...] = (
    (),
    ("--help",),
    ("--version",),
    ("plann",),
    ("plan", "nowhere.toml"),
    ("plan", "--from", "yesterday"),
    ("plan", "--from", "2031-13-01"),
    ("plan", "--days", "0"),
    ("plan", "--days", "5000"),
    ("plan", "--json", "--csv"),
    ("plan", "--weather", "nowhere.csv"),
    ("balance", "--zone", "nowhere"),
    ("balance", "--zone", "leeks", "--from", "2031-06-20"),
    ("balance", "--from", "2031-07-01", "--to", "2031-06-01"),
    ("flow", "--open", "nowhere"),
    ("flow", "--open", "leeks,carrots"),
    ("flow", "--open", "leeks,carrots", "--json"),
    ("flow", "--open", "tomatoes", "--what-if", "--json"),
    ("flow", "--picture", "picture.svg", "--open", "leeks"),
    ("status",),
    ("status", "--json"),
    ("open", "leeks", "--minutes", "5"),
    ("open", "leeks", "--minutes", "nan"),
    ("close",),
    ("close", "leeks"),
    ("resume",),
    ("resume", "leeks"),
    ("reset", "leeks"),
    ("hold", "--hours", "12"),
    ("hold", "--hours", "-1"),
    ("hold", "--lift"),
    ("run", "nowhere.toml"),
    ("walk", "nowhere.toml"),
    ("backup", "copy.db"),
    ("report",),
    ("et", "weather.csv", "--latitude", "42.4", "--elevation", "265"),
    ("et", "weather.csv", "--latitude", "42.4", "--elevation", "265", "--json"),
    ("et", "weather.csv", "--latitude", "42.4", "--elevation", "265", "--csv"),
    ("et", "weather.csv", "--latitude", "42.4", "--elevation", "265", "--coastal"),
    ("et", "weather.csv", "--latitude", "142", "--elevation", "265"),
    ("et", "weather.csv", "--latitude", "42.4", "--elevation", "265 ft"),
    ("et", "bare.csv", "--latitude", "42.4", "--elevation", "265", "--wind-height", "10"),
    ("et", "odd.csv", "--latitude", "42.4", "--elevation", "265"),
    ("et", "none.csv", "--latitude", "42.4", "--elevation", "265"),
)

NOTES: tuple[str, ...] = (
    "note words 'the gate squeaks' --who Odile",
    "note words '=1+1' --zone {a}",
    "note rain '10 mm'",
    "note rain '4 mm' --on 2031-06-24 --who Bram",
    "note rain '0.2 in' --on 2031-06-24",
    "note rain '6 mm' --on 2031-06-24 --replace",
    "note rain '900 mm'",
    "note rain '-1 mm'",
    "note rain '10'",
    "note rain '3 mm' --on 2032-01-01",
    "note rain '3 mm' --on tomorrow",
    "note watered {a} --minutes 4",
    "note watered {a} --minutes 4 --on 2031-06-23 --force",
    "note watered {a} --amount '12 gal' --on 2031-06-22",
    "note watered {a} --amount '12000 gal'",
    "note watered {a}",
    "note watered nowhere --minutes 3",
    "note meter '81234 L' --on 2031-06-20",
    "note meter '81534 L'",
    "note meter '3 gal'",
    "note soil {a} 21",
    "note soil {a} moist --on 2031-06-24",
    "note soil {a} 300",
    "note soil {a} dry --start --on 2031-06-20",
    "note list --zone {a}",
    "note seen {a} up --on 2031-05-10",
    "note seen {a} 'full cover' --on 2031-06-20",
    "note seen {a} 'tops falling'",
    "note seen {a} dancing",
    "note list --standing",
    "note withdraw 1 --who Bram --why 'it was the other gate'",
    "note withdraw 999",
    "note rain '5 mm' --corrects 4",
    "note mended {a}",
    "note cups {a} --holes 1,2,3 --volumes '90 mL,88 mL,86 mL' --time '30 s'",
    "note cups {a} --holes 1,2 --volumes '90 mL' --time '30 s'",
    "note stream {b} --holes 1,2 --heights '3 in,2.5 in'",
    "note bucket {b} --amount '8 L' --time '60 s'",
    "note bucket --amount '5 gal' --time '41 s'",
    "note run --before '100 L' --after '104 L' --time '120 s' --open {a}",
    "note run --before '100 L' --after '90 L' --time '120 s' --open {a}",
    "note gauge '31 psi' --open {a}",
    "note count {a} --running 20",
    "note count {a} --running 4000",
    "flow {g}",
    "flow {g} --json",
    "check {g}",
    "plan {g} --days 3",
    "plan {g} --days 3 --band",
    "note list --json",
    "plan {g} --days 3 --json",
    "balance {g} --from 2031-06-15 --to 2031-06-26 --zone {a}",
    "balance {g} --from 2031-06-15 --to 2031-06-26 --json",
    "report --garden {g}",
    "report --garden {g} --by month --band",
    "report --garden {g} --by keeper --json",
    "report --garden {g} --by bed --csv",
    "report --garden {g} --from 2031-06-01 --to 2031-06-23",
    "backup copy.db --garden {g}",
    "backup copy.db --garden {g}",
)
NOTED_IN = {
    "example": ("beans", "squash"),
    "ten-lines": ("leeks", "leeks"),
    "regulator": ("b", "b"),
    "meter": ("by hand", "zone 4"),
}

LEEK_ZONE = "leeks|17|18 ft|leek|2031-04-22||2031-10-10|11 ft||6 in|no|"
# What is typed at `new`, a line for each answer.
NEW: dict[str, str] = {
    "plain": f"Invented|us|47.6|8,1||Europe/Zurich|48 psi|5 gal|40|{LEEK_ZONE}",
    "metric, slips": "Invented|metric|north|47.6|8,1|430|430 m|Europe/Nowhere|Europe/Zurich|48"
    "|3.3 bar|20 L|0|40|leeks|99|hand|5 m|leak|leek|2031-04-22||2031-10-10|3 m||15 cm|no|",
    "pump": f"Pump|us|47.6|8.1||Europe/Zurich|30 psi|25 psi|50 psi|||30|52 psi|40 psi|{LEEK_ZONE}",
    "ended": "Invented|us",
}


def record(folder: Path, jobs: int) -> None:
    """Write the record into a folder that is not there yet."""
    folder.mkdir(parents=True)
    work = [("looks", name) for name in GARDENS] + [("notes", name) for name in NOTED_IN]
    work += [("typed", ""), ("odd", ""), ("new", ""), ("season", "tap"), ("season", "meter")]
    with ProcessPoolExecutor(jobs, max_tasks_per_child=1) as pool:
        for done in pool.map(_record_one, *zip(*((str(folder), *w) for w in work), strict=True)):
            print(done, file=sys.stderr)


def _record_one(folder: str, kind: str, name: str) -> str:
    into = Path(folder) / f"{kind}-{name}".rstrip("-").replace(" ", "-")
    into.mkdir()
    os.environ.pop("ROWGATE_STATE", None)
    os.environ.pop("ROWGATE_GARDEN", None)
    os.environ["COLUMNS"], os.environ["TZ"] = "80", "UTC"
    with tempfile.TemporaryDirectory() as place, chdir(place):
        shutil.copy(WEATHER, "weather.csv")
        Path("run").mkdir()
        kinds = {"looks": _looks, "notes": _notes, "typed": _typed, "odd": _odd, "new": _new}
        for n, (title, shown) in enumerate((kinds | {"season": _season})[kind](name)):
            title = "".join(c if c.isalnum() or c in "-.," else "_" for c in title)[:80]
            text = shown.replace(place, "<place>")
            (into / f"{n:03} {title}.txt").write_text(text, encoding="utf-8")
    return into.name


def _said(*argv: str, typed: str = "") -> tuple[str, str]:
    """A command as it is typed, and all that it gives back."""
    out, err = io.StringIO(), io.StringIO()
    code: object
    with (
        time_machine.travel(NOON, tick=False),
        mock.patch("sys.stdin", io.StringIO(typed)),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            code = rowgate(list(argv))
        except SystemExit as end:
            code = f"SystemExit {end.code}"
    files = [f"--- {p}\n{p.read_text()}" for p in sorted(Path().glob("*.svg"))]
    shown = [f"exit {code}", "--- out", out.getvalue(), "--- err", err.getvalue(), *files]
    return " ".join(argv), "\n".join(shown)


def _looks(name: str) -> Iterator[tuple[str, str]]:
    Path("garden.toml").write_text(GARDENS[name], encoding="utf-8")
    for command, *rest in LOOKS:
        # The state folder is one of its own for each: what one command keeps, no other sees.
        shutil.rmtree("state", ignore_errors=True)
        if command == "report":
            yield _said(command, *rest, "garden.toml", "--state", "state")
        else:
            yield _said(command, "garden.toml", *rest, "--state", "state")


def _notes(name: str) -> Iterator[tuple[str, str]]:
    Path("garden.toml").write_text(GARDENS[name], encoding="utf-8")
    a, b = (shlex.quote(zone) for zone in NOTED_IN[name])
    for line in NOTES:
        argv = shlex.split(line.format(a=a, b=b, g="garden.toml"))
        if argv[0] == "note":
            argv[1:1] = ["--garden", "garden.toml"]
        yield _said(*argv)
    yield "logbook", _logbook(Path("logbook.db"))


def _typed(_: str) -> Iterator[tuple[str, str]]:
    Path("garden.toml").write_text(GARDENS["example"], encoding="utf-8")
    Path("bare.csv").write_text("date,tmin_c,tmax_c\n2031-06-01,9,22\n2031-06-02,,23\n")
    Path("odd.csv").write_text(
        "date,tmin_c,tmax_c,rain_mm\n2031-06-01,29,22,x\n2031-06-01,9,22,-4\n"
    )
    for argv in TYPED:
        yield _said(*argv)
    for command in HELPED:
        yield _said(command, "--help")
    for kind in NOTED:
        yield _said("note", kind, "--help")


def _odd(_: str) -> Iterator[tuple[str, str]]:
    for name, (old, new) in ODD.items():
        assert old in TEN_LINES, name
        text = TEN_LINES.replace(old, new)
        Path("garden.toml").write_text(text, encoding="utf-16" if name == "utf-16" else "utf-8")
        yield name, _said("check", "garden.toml")[1]


def _new(_: str) -> Iterator[tuple[str, str]]:
    for name, answers in NEW.items():
        file = Path(f"{name.split(',')[0]}.toml")
        shown = _said("new", str(file), typed=answers.replace("|", "\n") + "\n")[1]
        yield name, shown + (f"--- {file}\n{file.read_text()}" if file.exists() else "no file")


def _season(name: str) -> Iterator[tuple[str, str]]:
    """Some weeks of a daemon by hand-turned time: what it answers each day, and its logbook."""
    tmp = Path()
    if name == "tap":
        garden = a_garden(a_zone("a", 17), a_zone("b", 27), a_zone("c", None), watering=MORNING)
        world = World(tmp, garden)
    else:
        garden = a_thirsty_garden(("a", 17), ("b", 27))
        world = MeteredWorld(tmp, garden, plugged(garden, "a", [1, 2, 3]))
    for day in range(20):
        world.run_for(86400.0)
        if day == 6:
            yield "hold", json.dumps(world.ask(ask="hold", hours=30, reason="guests"), indent=1)
        if day == 9:
            world.run_until_open(at_most_h=48)
            world.restart()
        if day == 12:
            world.weather_is_down = True
        if day == 15:
            world.weather_is_down = False
            yield "open", json.dumps(world.ask(ask="open", zone="a", seconds=60), indent=1)
            world.run_for(30)
            yield "close", json.dumps(world.ask(ask="close", zone="a"), indent=1)
        yield f"status {day}", json.dumps(world.ask(ask="status"), indent=1, sort_keys=True)
    world.kill()
    yield "logbook", _logbook(Path("logbook.db"))


def _logbook(path: Path) -> str:
    """Everything in it, table by table; `none` where there is no file."""
    if not path.exists():
        return "none"
    book = sqlite3.connect(path)
    lines = list(book.iterdump())
    book.close()
    return "\n".join(lines)


def compare(before: Path, after: Path, *, whole: bool) -> int:
    """Print which files differ, and their first differences; how many there are."""
    names = {p.relative_to(f) for f in (before, after) for p in f.rglob("*.txt")}
    differ = 0
    for name in sorted(names):
        texts = [
            (f / name).read_text(encoding="utf-8").splitlines() if (f / name).exists() else None
            for f in (before, after)
        ]
        was, now = texts
        if was == now:
            continue
        differ += 1
        print(f"=== {name}")
        if was is None or now is None:
            print("only in one")
            continue
        lines = list(difflib.unified_diff(was, now, lineterm="", n=0))[2:]
        print("\n".join(lines if whole else lines[:8]))
    print(f"{differ} of {len(names)} differ")
    return differ


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--compare", nargs=2, type=Path, metavar=("BEFORE", "AFTER"))
    parser.add_argument("--whole", action="store_true", help="print all of each difference")
    args = parser.parse_args()
    if args.compare:
        return min(compare(*args.compare, whole=args.whole), 1)
    if args.folder is None:
        parser.error("a folder, or --compare BEFORE AFTER")
    record(args.folder.resolve(), args.jobs)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
