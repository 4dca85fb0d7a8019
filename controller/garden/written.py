"""The garden file's shape: which keys there are, and what each may hold.

Quantities are SI by the time they stand in these tables; a key left out is None. What one key
alone cannot tell (references, overlaps, sizes against each other) is found in `fill` and `checks`.
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Annotated, Any

from controller.garden import values as v
from controller.garden.form import Field, Needed, Table, by
from controller.garden.model import Face, Opening, Pipe, SupplyKind, ValveKind, Walls
from controller.garden.openings import opening as read_opening
from controller.garden.quantities import read_share

Name = Annotated[str, by(v.text("a name", "leeks"))]
Text = Annotated[str, by(v.text("this", "rain tank empty"))]
YesNo = Annotated[bool, by(v.yes_no)]
Share = Annotated[float, by(read_share)]
Day = Annotated[date, by(v.calendar_day)]
Moment = Annotated[date | datetime, by(v.moment)]
Clock = Annotated[time, by(v.time_of_day)]
Units = Annotated[bool, by(v.choice("units", {"us": True, "metric": False}))]
PipeSize = Annotated[str | Pipe, by(v.pipe)]
Days = Annotated[float, by(v.whole("a stage", 1, 400))]

Bore = Annotated[float, by(v.BORE)]
RowLength = Annotated[float, by(v.ROW_LENGTH)]
Spacing = Annotated[float, by(v.SPACING)]
Width = Annotated[float, by(v.WIDTH)]
Height = Annotated[float, by(v.HEIGHT)]
RowHeight = Annotated[float, by(v.ROW_HEIGHT)]
Run = Annotated[float, by(v.RUN)]
Pressure = Annotated[float, by(v.PRESSURE)]
Flow = Annotated[float, by(v.FLOW)]
Volume = Annotated[float, by(v.VOLUME)]
OpenTime = Annotated[float, by(v.OPEN_TIME)]


def _bare(what: str, example: str, low: float, high: float) -> Any:
    return by(v.number(what, example, low, high))


class WrittenSite(Table):
    name: Name | None = None
    latitude_deg: Annotated[float, by(v.LATITUDE)] = Field(alias="latitude")
    longitude_deg: Annotated[float, by(v.LONGITUDE)] = Field(alias="longitude")
    elevation_m: Annotated[float, by(v.ELEVATION)] = Field(alias="elevation")
    timezone: Annotated[str, by(v.timezone)]
    coastal: YesNo | None = None
    units: Units | None = None


class WrittenFlowTest(Table):
    flow_m3_s: Flow | None = Field(None, alias="flow")
    head_m: Pressure | None = Field(None, alias="pressure")
    fill_m3: Volume | None = Field(None, alias="fill")
    fill_s: Annotated[float, by(v.seconds)] | None = Field(None, alias="seconds")


class WrittenSupply(Table):
    kind: (
        Annotated[SupplyKind, by(v.choice("a supply", {kind.value: kind for kind in SupplyKind}))]
        | None
    ) = None
    static_head_m: Pressure | None = Field(None, alias="static_pressure")
    level_m: Annotated[float, by(v.LEVEL)] | None = Field(None, alias="level")
    falls_to_m: Annotated[float, by(v.LEVEL)] | None = Field(None, alias="falls_to")
    holds_m3: Volume | None = Field(None, alias="holds")
    set_head_m: Pressure | None = Field(None, alias="set_pressure")
    water_temp_c: Annotated[float, by(v.WATER_TEMPERATURE)] | None = Field(
        None, alias="water_temperature"
    )
    flow_test: WrittenFlowTest
    exponent: Annotated[float, _bare("an exponent", "2.0", 1, 2)] | None = None


class WrittenMain(Table):
    size: PipeSize | None = None


class WrittenBed(Table):
    name: Name
    length_m: Width | None = Field(None, alias="length")
    width_m: Width | None = Field(None, alias="width")
    soil: Name | None = None
    mulch: Name | None = None
    keeper: Name | None = None
    rooting_limit_m: Width | None = Field(None, alias="rooting_limit")


class WrittenValve(Table):
    relay: Annotated[int, by(v.relay)] | None = None
    hand: YesNo | None = None
    longest_open_s: OpenTime | None = Field(None, alias="longest_open")
    least_closing_head_m: Pressure | None = Field(None, alias="least_closing_pressure")


class WrittenDrain(Table):
    bore_m: Bore = Field(alias="bore")
    every_m: Spacing = Field(alias="every")


class WrittenRow(Table):
    length_m: RowLength = Field(alias="length")
    pipe: PipeSize | None = None
    bore_m: Bore = Field(alias="bore")
    every_m: Spacing = Field(alias="every")
    first_m: Spacing | None = Field(None, alias="first")
    group: Annotated[int, by(v.whole("a group", 1, 50))] | None = None
    group_gap_m: Spacing | None = Field(None, alias="group_gap")
    walls: (
        Annotated[Walls, by(v.choice("walls", {"one": Walls.ONE, "both": Walls.BOTH}))] | None
    ) = None
    face: Annotated[Face, by(v.choice("a face", {face.value: face for face in Face}))] | None = None
    drain: WrittenDrain | None = None
    width_m: Width | None = Field(None, alias="width")
    wetted_width_m: Width | None = Field(None, alias="wetted_width")
    inlet_height_m: RowHeight | None = Field(None, alias="inlet")
    middle_height_m: RowHeight | None = Field(None, alias="middle")
    far_height_m: RowHeight | None = Field(None, alias="far_end")
    plugged: YesNo | None = None
    plugged_holes: Annotated[tuple[int, ...], by(v.hole_numbers)] | None = None
    plugged_beyond_m: Run | None = Field(None, alias="plugged_beyond")
    discharge_coefficient: (
        Annotated[float, _bare("a discharge coefficient", "0.62", 0.2, 1.0)] | None
    ) = None


class WrittenPlanting(Table):
    crop: Name
    sown: Day | None = None
    transplanted: Day | None = None
    until: Day
    stages: Annotated[tuple[int, int, int, int], by(v.stage_days)] | None = None


class WrittenZone(Table):
    name: Name
    bed: Name | None = None
    soil: Name | None = None
    mulch: Name | None = None
    keeper: Name | None = None
    main_run_m: Run | None = Field(None, alias="main_run")
    rise_m: Height | None = Field(None, alias="rise")
    valve: WrittenValve | None = None
    opening: Annotated[Opening, by(read_opening)] | None = None
    row: list[WrittenRow]
    planting: list[WrittenPlanting] = Field(default_factory=list)
    take_off_k: Annotated[float, _bare("a loss coefficient", "4.0", 0, 1000)] | None = None
    daily_cap_m3: Volume | None = Field(None, alias="daily_cap")
    refill_at: Share | None = None


class WrittenWindow(Table):
    opens: Clock = Field(alias="from")
    closes: Clock = Field(alias="to")
    weekdays: Annotated[frozenset[int], by(v.weekdays)] | None = Field(None, alias="days")
    valves: (
        Annotated[
            frozenset[ValveKind],
            by(
                v.choice(
                    "valves",
                    {
                        "any": frozenset(ValveKind),
                        "relay": frozenset({ValveKind.RELAY}),
                        "hand": frozenset({ValveKind.HAND}),
                    },
                )
            ),
        ]
        | None
    ) = None


class WrittenHold(Table):
    begins: Moment = Field(alias="from")
    ends: Moment = Field(alias="to")
    zones: Annotated[tuple[str, ...], by(v.names)] | None = None
    reason: Text | None = None


class WrittenWatering(Table):
    window: list[WrittenWindow] | None = None
    hold: list[WrittenHold] = Field(default_factory=list)
    refill_at: Share | None = None
    most_open: Annotated[int, by(v.whole("the most zones open", 1, 100))] | None = None
    least_share: Share | None = None
    basin_m: Annotated[float, by(v.DEPTH)] | None = Field(None, alias="basin")
    drilling_scatter: Share | None = None
    shortest_pulse_s: OpenTime | None = Field(None, alias="shortest_pulse")


class WrittenWeather(Table):
    file: Text | None = None
    online: YesNo | None = None
    wind_height_m: Width | None = Field(None, alias="wind_height")


class WrittenBoard(Table):
    pins: Annotated[str, by(v.choice("pins", {"lgpio": "lgpio", "mock": "mock"}))] | None = None
    active_low: (
        Annotated[bool, by(v.choice("relays", {"active low": True, "active high": False}))] | None
    ) = Field(None, alias="relays")
    chip: Annotated[int, by(v.whole("a chip", 0, 20))] | None = None
    battery_clock: (
        Annotated[bool, by(v.choice("a clock", {"network": False, "battery": True}))] | None
    ) = Field(None, alias="clock")


class WrittenCrop(Table):
    name: Name
    like: Name | None = None
    kc_ini: Annotated[float, _bare("kc_ini", "0.6", 0, 2)] | None = None
    kc_mid: Annotated[float, _bare("kc_mid", "1.15", 0, 2)] | None = None
    kc_end: Annotated[float, _bare("kc_end", "0.8", 0, 2)] | None = None
    kcb_ini: Annotated[float, _bare("kcb_ini", "0.15", 0, 2)] | None = None
    kcb_mid: Annotated[float, _bare("kcb_mid", "1.1", 0, 2)] | None = None
    kcb_end: Annotated[float, _bare("kcb_end", "0.7", 0, 2)] | None = None
    height_m: Annotated[float, _bare("height_m (metres)", "0.6", 0.01, 20)] | None = None
    root_min_m: Annotated[float, _bare("root_min_m (metres)", "0.3", 0.02, 5)] | None = None
    root_max_m: Annotated[float, _bare("root_max_m (metres)", "0.6", 0.02, 5)] | None = None
    depletion_fraction: Annotated[float, _bare("depletion_fraction", "0.4", 0.05, 0.95)] | None = (
        None
    )
    days_initial: Days | None = None
    days_development: Days | None = None
    days_mid: Days | None = None
    days_late: Days | None = None


class WrittenSoil(Table):
    name: Name
    like: Name | None = None
    field_capacity: Annotated[float, _bare("field_capacity", "0.25", 0.01, 0.9)] | None = None
    wilting_point: Annotated[float, _bare("wilting_point", "0.12", 0.0, 0.8)] | None = None
    rew_mm: Annotated[float, _bare("rew_mm (millimetres)", "9", 0, 50)] | None = None
    intake_mm_h: Annotated[float, _bare("intake_mm_h (mm per hour)", "13", 0.1, 1000)] | None = None
    wetted_width_m: Annotated[float, _bare("wetted_width_m (metres)", "0.4", 0.02, 5)] | None = None


class WrittenGarden(Table):
    units: Units | None = None
    site: WrittenSite
    supply: WrittenSupply
    main: WrittenMain = WrittenMain()
    bed: list[WrittenBed] = Field(default_factory=list)
    zone: list[WrittenZone]
    watering: WrittenWatering = WrittenWatering.model_validate({})
    weather: WrittenWeather = WrittenWeather.model_validate({})
    board: WrittenBoard = WrittenBoard.model_validate({})
    crop: list[WrittenCrop] = Field(default_factory=list)
    soil: list[WrittenSoil] = Field(default_factory=list)


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
    ("", "crop"): ("", [{"name": "-"}]),
    ("crop", "name"): ("a crop of your own needs a name", "-"),
    ("", "soil"): ("", [{"name": "-"}]),
    ("soil", "name"): ("a soil of your own needs a name", "-"),
}
