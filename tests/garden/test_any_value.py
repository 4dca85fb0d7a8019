"""A value of any kind at any key: the garden reads, or each fault has its line."""

from __future__ import annotations

import re

import pytest
from support.garden_files import FORKED, TEN_LINES, in_zone, read, with_planting, with_row

from controller.errors import GardenFileError
from controller.garden import device_schema as d
from controller.garden import schema as w
from controller.garden.pydantic_form import Table, WrittenCrop, WrittenSoil, key_of

PAIR = "a_key = 0"
SUPPLY = TEN_LINES.splitlines()[0] + "\n"
METER = f'{TEN_LINES}[meter]\npin = 22\nper_pulse = "0.5 L"\n'
# By table: a garden file in which it has one more key. Invented.
PLACES: dict[type[Table], str] = {
    w.WrittenSite: TEN_LINES.replace("[site]\n", f"[site]\n{PAIR}\n"),
    w.WrittenSupply: TEN_LINES.replace(SUPPLY, f"[supply]\n{PAIR}\n"),
    w.WrittenFlowTest: TEN_LINES.replace("flow_test = {", f"flow_test = {{ {PAIR},"),
    w.WrittenMain: f"{TEN_LINES}[main]\n{PAIR}\n",
    w.WrittenRun: FORKED.replace('name = "cold frame"\n', f'name = "cold frame"\n{PAIR}\n'),
    w.WrittenBed: in_zone('bed = "b"') + f'[[bed]]\nname = "b"\n{PAIR}\n',
    w.WrittenZone: in_zone(PAIR),
    d.WrittenValve: in_zone(f"valve = {{ relay = 17, {PAIR} }}"),
    w.WrittenRow: with_row(f'{{ length = "11 ft", every = "6 in", bore = "2 mm", {PAIR} }}'),
    w.WrittenDrain: with_row(
        f'{{ length = "11 ft", every = "6 in", bore = "2 mm", drain = {{ {PAIR} }} }}'
    ),
    w.WrittenPlanting: with_planting(
        'crop = "leek", transplanted = 2031-04-22, until = 2031-08-10',
        f'crop = "leek", transplanted = 2031-08-22, until = 2031-10-10, {PAIR}',
    ),
    w.WrittenWatering: f"{TEN_LINES}[watering]\n{PAIR}\n",
    w.WrittenWindow: f'{TEN_LINES}[[watering.window]]\nfrom = "05:00"\nto = "08:00"\n{PAIR}\n',
    w.WrittenHold: f"{TEN_LINES}[[watering.hold]]\nfrom = 2031-07-01\nto = 2031-07-02\n{PAIR}\n",
    w.WrittenWeather: f"{TEN_LINES}[weather]\n{PAIR}\n",
    w.WrittenBoard: f"{TEN_LINES}[board]\n{PAIR}\n",
    d.WrittenMaster: f"{TEN_LINES}[master]\nrelay = 9\n{PAIR}\n",
    d.WrittenMeter: f"{METER}{PAIR}\n",
    d.WrittenWhen: f"{METER}[meter.when]\n{PAIR}\n",
    d.WrittenSensor: f'{TEN_LINES}[[sensor]]\nkind = "rain gauge"\npin = 23\n{PAIR}\n',
    d.WrittenHealth: f"{TEN_LINES}[health]\n{PAIR}\n",
    WrittenCrop: f'{TEN_LINES}[[crop]]\nname = "mine"\nlike = "leek"\n{PAIR}\n',
    WrittenSoil: f'{TEN_LINES}[[soil]]\nname = "mine"\nlike = "loam"\n{PAIR}\n',
    w.WrittenGarden: f"{PAIR}\n{TEN_LINES}",
}
VALUES = ("true", "-3", '"x"', '"1 in"', '"30 psi"', "2031-07-01", "[7]", '{ name = "b" }')


@pytest.mark.parametrize("table", PLACES, ids=lambda table: table.__name__)
def test_it_reads_or_its_faults_have_their_lines(table: type[Table]) -> None:
    """Where a key stands there already, twice is a fault, too."""
    for name in table.model_fields:
        key, _ = key_of(table, name)
        for value in VALUES:
            text = PLACES[table].replace(PAIR, f"{key} = {value}")
            assert text != PLACES[table]
            try:
                read(text)
            except GardenFileError as error:
                for fault in error.faults:
                    assert re.match(r"garden\.toml, line [1-9]", fault), (key, value)
