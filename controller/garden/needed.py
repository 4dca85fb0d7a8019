"""What a garden file must tell: the words that ask for it, and what stands in meanwhile."""

from __future__ import annotations

from datetime import date

from controller.garden.form import Needed

_ROW = {"length": "11 ft", "every": "6 in", "bore": "1/16 in"}
_PLANTING = {"crop": "-", "sown": date(2031, 4, 1), "until": date(2031, 4, 2)}
_SPAN = {"from": "05:00", "to": "08:00"}
_SITE = {"latitude": 0.0, "longitude": 0.0, "elevation": "0 m", "timezone": "UTC"}
_TEST = {"flow": "5 gal/min", "pressure": "30 psi"}
NEEDED: Needed = {
    ("", "site"): ("a [site] with latitude, longitude, elevation and timezone is needed", _SITE),
    ("site", "latitude"): ("a latitude in degrees is needed, north positive, as in 47.6", 0.0),
    ("site", "longitude"): ("a longitude in degrees is needed, east positive, as in 8.1", 0.0),
    ("site", "elevation"): ('a height above the sea is needed, as in "410 m"', "0 m"),
    ("site", "timezone"): ('a time zone is needed, as in "Europe/Zurich"', "UTC"),
    ("", "supply"): (
        "a [supply] with static_pressure and flow_test is needed",
        {"static_pressure": "60 psi", "flow_test": _TEST},
    ),
    ("supply", "static_pressure"): (
        'the pressure at the tap with nothing running is needed, as in "48 psi"',
        "290 psi",
    ),
    ("supply", "flow_test"): (
        'what the tap gives is needed, as in { flow = "7.5 gal/min", pressure = "31 psi" } or '
        '{ fill = "5 gal", seconds = 40 } from the open tap',
        _TEST,
    ),
    ("main", "run"): ("", [{"name": "-", "from": "tap", "length": "10 ft", "size": "1 in"}]),
    ("run", "name"): ('a run of the main needs a name, as in "left arm"', "-"),
    ("run", "from"): (
        'where a run begins is needed, as in from = "tap", or the name of the run it leaves',
        "tap",
    ),
    ("run", "length"): ('a run of the main needs its length, as in "40 ft"', "10 ft"),
    ("run", "size"): (
        'the size of every run is needed, for its friction hangs on it most, as in "3/4 in"',
        "1 in",
    ),
    ("", "zone"): ("at least one [[zone]] is needed", [{"name": "-", "row": [_ROW]}]),
    ("zone", "name"): ('a zone needs a name, as in "leeks"', "-"),
    ("zone", "row"): (
        'a zone needs its rows, as in row = [{ length = "11 ft", every = "6 in", '
        'bore = "1/16 in" }]',
        [_ROW],
    ),
    ("row", "length"): ('a row needs its length, as in "11 ft"', "11 ft"),
    ("row", "every"): ('a row needs the spacing of its holes, as in every = "6 in"', "6 in"),
    ("row", "bore"): ('a row needs the bore of its holes, as in "1.5 mm" or "1/16 in"', "1/16 in"),
    ("drain", "bore"): ('drain holes need a bore, as in "1/16 in"', "1/16 in"),
    ("drain", "every"): ('drain holes need a spacing, as in "4 ft"', "4 ft"),
    ("zone", "planting"): ("", [_PLANTING]),
    ("planting", "crop"): ('a planting needs its crop, as in "leek"', "-"),
    ("planting", "until"): ("a planting needs its last day, as in until = 2031-10-10", date.max),
    ("", "bed"): ("", [{"name": "-"}]),
    ("bed", "name"): ('a bed needs a name, as in "terrace 1"', "-"),
    ("watering", "window"): ("", [_SPAN]),
    ("window", "from"): ('a window needs its start, as in from = "05:30"', "05:00"),
    ("window", "to"): ('a window needs its end, as in to = "08:00"', "08:00"),
    ("watering", "hold"): ("", [{"from": date.min, "to": date(9999, 1, 1)}]),
    ("hold", "from"): ("a hold needs its start, as in from = 2031-07-08", date.min),
    ("hold", "to"): ("a hold needs its end, as in to = 2031-07-10", date(9999, 1, 1)),
    ("master", "relay"): ("a master needs its relay, as in relay = 5", 5),
    ("meter", "pin"): ("a meter needs the pin its pulses come in on, as in pin = 22", 22),
    ("", "sensor"): ("", [{"kind": "rain switch", "pin": 23}]),
    ("sensor", "kind"): (
        'a sensor needs its kind: "rain switch", "rain gauge" or "freeze switch"',
        "rain switch",
    ),
    ("sensor", "pin"): ("a sensor needs its pin, as in pin = 23", 23),
    ("", "crop"): ("", [{"name": "-"}]),
    ("crop", "name"): ("a crop of your own needs a name", "-"),
    ("", "soil"): ("", [{"name": "-"}]),
    ("soil", "name"): ("a soil of your own needs a name", "-"),
}
