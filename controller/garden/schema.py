"""The schema of the garden file: its keys, their values, and which are required.

Quantities in these tables are in SI. A missing key has the default of its field, and `Unwritten`
says how that is reported; it is None if the default depends on other keys, which `from_file` knows.
Faults across keys (references, overlaps, sizes) are found in `from_file` and `checks`.
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Annotated

from controller.garden import covers, show
from controller.garden import values as v
from controller.garden.device_schema import (
    WrittenHealth,
    WrittenMaster,
    WrittenMeter,
    WrittenSensor,
    WrittenValve,
)
from controller.garden.device_schema import opening as read_opening
from controller.garden.model import (
    MOST_TURNS,
    MOST_VISITS,
    Coefficients,
    HandWater,
    Satisfy,
    UnlikeRows,
)
from controller.garden.plumbing import Begins, Face, Opening, Pipe, SupplyKind, ValveKind, Walls
from controller.garden.pydantic_form import (
    Field,
    Name,
    Needed,
    Table,
    Unwritten,
    WrittenCrop,
    WrittenSoil,
    YesNo,
    bare,
    by,
    word,
)
from controller.garden.quantities import read_share

Text = Annotated[str, by(v.text("this", "rain tank empty"))]
Share = Annotated[float, by(read_share)]
Day = Annotated[date, by(v.calendar_day)]
Moment = Annotated[date | datetime, by(v.moment)]
TimeOfDay = Annotated[time, by(v.time_of_day)]
Units = Annotated[bool, by(v.choice("units", {"us": True, "metric": False}))]
PipeSize = Annotated[str | Pipe, by(v.pipe)]

Bore = Annotated[float, by(v.BORE)]
RowLength = Annotated[float, by(v.ROW_LENGTH)]
Spacing = Annotated[float, by(v.SPACING)]
Width = Annotated[float, by(v.WIDTH)]
Height = Annotated[float, by(v.HEIGHT)]
RowHeight = Annotated[float, by(v.ROW_HEIGHT)]
RunLength = Annotated[float, by(v.RUN)]
Pressure = Annotated[float, by(v.PRESSURE)]
Flow = Annotated[float, by(v.FLOW)]
Volume = Annotated[float, by(v.VOLUME)]
OpenTime = Annotated[float, by(v.OPEN_TIME)]


class WrittenSite(Table):
    name: Annotated[Name, Unwritten()] = "our garden"
    latitude_deg: Annotated[
        float,
        by(v.LATITUDE),
        Needed("a latitude in degrees is needed, north positive, as in 47.6", 0.0),
    ] = Field(alias="latitude")
    longitude_deg: Annotated[
        float,
        by(v.LONGITUDE),
        Needed("a longitude in degrees is needed, east positive, as in 8.1", 0.0),
    ] = Field(alias="longitude")
    elevation_m: Annotated[
        float,
        by(v.ELEVATION),
        Needed('a height above the sea is needed, as in "410 m"', "0 m"),
    ] = Field(alias="elevation")
    timezone: Annotated[
        str, by(v.timezone), Needed('a time zone is needed, as in "Europe/Zurich"', "UTC")
    ]
    coastal: Annotated[YesNo, Unwritten("inland, where the sun is guessed")] = False
    units: Units | None = None
    clock: Annotated[bool | None, by(v.clock)] = None  # whether it has twelve hours


class WrittenFlowTest(Table):
    flow_m3_s: Flow | None = Field(None, alias="flow")
    head_m: Pressure | None = Field(None, alias="pressure")
    fill_m3: Volume | None = Field(None, alias="fill")
    fill_s: Annotated[float, by(v.seconds)] | None = Field(None, alias="seconds")
    on: Annotated[
        Day | None, Unwritten("its day; a supply changes by some 15 % in years", "unknown")
    ] = None


class WrittenSupply(Table):
    kind: Annotated[SupplyKind, word("a supply", SupplyKind), Unwritten()] = SupplyKind.MAINS
    static_head_m: Pressure | None = Field(None, alias="static_pressure")
    level_m: Annotated[float, by(v.LEVEL)] | None = Field(None, alias="level")
    falls_to_m: Annotated[float, by(v.LEVEL)] | None = Field(None, alias="falls_to")
    holds_m3: Volume | None = Field(None, alias="holds")
    set_head_m: Pressure | None = Field(None, alias="set_pressure")
    water_temp_c: Annotated[
        float,
        by(v.WATER_TEMPERATURE),
        Unwritten("our choice: mains water in a growing season", show.show_temperature),
    ] = Field(15.0, alias="water_temperature")
    salt_ds_m: Annotated[float, by(v.SALT)] | None = Field(None, alias="salt")
    flow_test: WrittenFlowTest | None = None
    flow_test_before: WrittenFlowTest | None = None
    open_loss: Annotated[
        WrittenFlowTest | None,
        Unwritten("what a wide open regulator takes is often on its data sheet", "none"),
    ] = None
    on_head_m: Pressure | None = Field(None, alias="switch_on")
    off_head_m: Pressure | None = Field(None, alias="switch_off")
    tank_m3: Volume | None = Field(None, alias="tank")
    pre_charge_head_m: Pressure | None = Field(None, alias="pre_charge")
    shut_off_head_m: Pressure | None = Field(None, alias="shut_off")
    well_yield_m3_s: Flow | None = Field(None, alias="well_yield")
    exponent: Annotated[float, bare("an exponent", "2.0", 1, 2)] | None = None


class WrittenRun(Table):
    name: Annotated[Name, Needed('a run of the main needs a name, as in "left arm"', "-")]
    start: Annotated[
        Name,
        Needed(
            'where a run begins is needed, as in from = "tap", or the name of the run it leaves',
            "tap",
        ),
    ] = Field(alias="from")
    along_m: RunLength | None = Field(None, alias="along")
    length_m: Annotated[
        float,
        by(v.MAIN_LENGTH),
        Needed('a run of the main needs its length, as in "40 ft"', "10 ft"),
    ] = Field(alias="length")
    size: Annotated[
        PipeSize,
        Needed(
            'the size of every run is needed, for its friction hangs on it most, as in "3/4 in"',
            "1 in",
        ),
    ]
    begins: Annotated[Begins, word("how a run begins", Begins)] | None = None
    fittings: Annotated[tuple[str, ...], by(v.fittings)] = ()
    loss_k: Annotated[float, bare("a loss coefficient", "1.2", 0, 1000)] | None = None


class WrittenMain(Table):
    size: Annotated[PipeSize, Unwritten()] = "1 in"
    run: list[WrittenRun] = Field(default_factory=list)


class WrittenGround(Table):
    """The keys of a bed, also allowed in a zone without one."""

    soil: Name | None = None
    mulch: Annotated[str, by(v.mulch), Unwritten()] = "none"
    mulch_cover: Annotated[Share, Unwritten("all of the ground")] = 1.0
    mulch_rain: Share | None = None
    exposure: Annotated[float, by(v.EXPOSURE)] = 1.0
    holds_rain: YesNo = False
    cover: Annotated[tuple[covers.WrittenCover, ...], by(covers.covers)] | None = None
    keeper: Name = ""


class WrittenBed(WrittenGround):
    name: Annotated[Name, Needed('a bed needs a name, as in "terrace 1"', "-")]
    length_m: Width | None = Field(None, alias="length")
    width_m: Width | None = Field(None, alias="width")
    rooting_limit_m: Width | None = Field(None, alias="rooting_limit")


class WrittenDrain(Table):
    bore_m: Annotated[Bore, Needed('drain holes need a bore, as in "1/16 in"', "1/16 in")] = Field(
        alias="bore"
    )
    every_m: Annotated[Spacing, Needed('drain holes need a spacing, as in "4 ft"', "4 ft")] = Field(
        alias="every"
    )


_LEVEL_WITH_OUTLET = Unwritten("level with the zone's outlet", show.show_length)


class WrittenRow(Table):
    length_m: Annotated[RowLength, Needed('a row needs its length, as in "11 ft"', "11 ft")] = (
        Field(alias="length")
    )
    pipe: Annotated[PipeSize, Unwritten()] = "3/4 in"
    bore_m: Annotated[
        Bore, Needed('a row needs the bore of its holes, as in "1.5 mm" or "1/16 in"', "1/16 in")
    ] = Field(alias="bore")
    every_m: Annotated[
        Spacing, Needed('a row needs the spacing of its holes, as in every = "6 in"', "6 in")
    ] = Field(alias="every")
    first_m: Spacing | None = Field(None, alias="first")
    group: Annotated[int, by(v.whole("a group", 1, 50)), Unwritten("one hole at each place")] = 1
    group_gap_m: Annotated[Spacing, Unwritten("our choice", show.show_length)] = Field(
        0.0254, alias="group_gap"
    )
    walls: Annotated[Walls, word("walls", Walls), Unwritten()] = Walls.ONE
    face: Annotated[Face, word("a face", Face), Unwritten()] = Face.DOWN
    drain: WrittenDrain | None = None
    width_m: Width | None = Field(None, alias="width")
    wetted_width_m: Width | None = Field(None, alias="wetted_width")
    inlet_height_m: Annotated[RowHeight, _LEVEL_WITH_OUTLET] = Field(0.0, alias="inlet")
    middle_height_m: Annotated[RowHeight, Unwritten("straight", show.show_length)] = Field(
        0.0, alias="middle"
    )
    far_height_m: Annotated[RowHeight, _LEVEL_WITH_OUTLET] = Field(0.0, alias="far_end")
    plugged: YesNo = False
    plugged_holes: Annotated[tuple[int, ...], by(v.hole_numbers)] = ()
    plugged_beyond_m: RunLength | None = Field(None, alias="plugged_beyond")
    discharge_coefficient: Annotated[
        Annotated[float, bare("a discharge coefficient", "0.62", 0.2, 1.0)] | None,
        Unwritten("from the wall over the bore", "computed"),
    ] = None


class WrittenPlanting(Table):
    crop: Annotated[Name, Needed('a planting needs its crop, as in "leek"', "-")]
    sown: Day | None = None
    transplanted: Day | None = None
    grows_from: Day | None = Field(None, alias="from")
    established: YesNo | None = None
    planted_year: Annotated[int, by(v.whole("a planting year", 1900, 2200))] | None = None
    until: Annotated[
        Day, Needed("a planting needs its last day, as in until = 2031-10-10", date.max)
    ]
    rows: Annotated[tuple[int, ...], by(v.row_numbers)] = ()
    apart_m: Annotated[float, by(v.APART)] | None = Field(None, alias="apart")
    lines: Annotated[int, by(v.whole("how many lines of plants", 1, 50))] = 1
    supports: YesNo = False
    emerges_days: Annotated[int, by(v.days_of("emerges_in", 1, 120, 12))] | None = Field(
        None, alias="emerges_in"
    )
    harvest_days: Annotated[int, by(v.days_of("harvest_in", 15, 400, 75))] | None = Field(
        None, alias="harvest_in"
    )
    by_warmth: (
        Annotated[bool, by(v.choice("what moves its stages", {"days": False, "warmth": True}))]
        | None
    ) = Field(None, alias="stages_by")
    stages: Annotated[tuple[int, int, int, int], by(v.stage_days)] | None = None
    stages_warmth: Annotated[tuple[float, float, float, float], by(v.stage_warmth)] | None = None


class WrittenZone(WrittenGround):
    name: Annotated[Name, Needed('a zone needs a name, as in "leeks"', "-")]
    bed: Name | None = None
    main_run_m: Annotated[RunLength, Unwritten("at the tap", show.show_length)] = Field(
        0.0, alias="main_run"
    )
    run: Name | None = None
    along_m: RunLength | None = Field(None, alias="along")
    rise_m: Annotated[Height, Unwritten("level with the tap", show.show_length)] = Field(
        0.0, alias="rise"
    )
    valve: Annotated[WrittenValve, Unwritten("no relay is named", "hand = true")] = (
        WrittenValve.model_validate({"hand": True})
    )
    opening: Annotated[Opening, by(read_opening), Unwritten(shown="full")] = Opening(angle_deg=0.0)
    row: Annotated[
        list[WrittenRow],
        Needed(
            'a zone needs its rows, as in row = [{ length = "11 ft", every = "6 in", '
            'bore = "1/16 in" }]'
        ),
    ]
    planting: list[WrittenPlanting] = Field(default_factory=list)
    take_off_k: Annotated[
        float,
        bare("a loss coefficient", "4.0", 0, 1000),
        Unwritten("our choice: tee, elbows, valve body"),
    ] = 4.0
    daily_cap_m3: Volume | None = Field(None, alias="daily_cap")
    refill_at: Share | None = None
    hand_water: Annotated[HandWater, word("hand_water", HandWater)] | None = None
    unlike_rows: Annotated[
        UnlikeRows,
        word("unlike_rows", UnlikeRows),
        Unwritten("our choice: no row goes short"),
    ] = UnlikeRows.NEEDIEST


_VALVES = {
    "any": frozenset(ValveKind),
    "relay": frozenset({ValveKind.RELAY}),
    "hand": frozenset({ValveKind.HAND}),
}


class WrittenWindow(Table):
    opens: Annotated[
        TimeOfDay, Needed('a window needs its start, as in from = "05:30"', "05:00")
    ] = Field(alias="from")
    closes: Annotated[TimeOfDay, Needed('a window needs its end, as in to = "08:00"', "08:00")] = (
        Field(alias="to")
    )
    weekdays: Annotated[frozenset[int], by(v.weekdays)] = Field(frozenset(range(7)), alias="days")
    valves: Annotated[frozenset[ValveKind], by(v.choice("valves", _VALVES))] = _VALVES["any"]


class WrittenHold(Table):
    begins: Annotated[
        Moment, Needed("a hold needs its start, as in from = 2031-07-08", date.min)
    ] = Field(alias="from")
    ends: Annotated[
        Moment, Needed("a hold needs its end, as in to = 2031-07-10", date(9999, 1, 1))
    ] = Field(alias="to")
    zones: Annotated[tuple[str, ...], by(v.names)] = ()
    reason: Text = ""


class WrittenWatering(Table):
    window: list[WrittenWindow] | None = None
    hold: list[WrittenHold] = Field(default_factory=list)
    refill_at: Annotated[
        Share | None, Unwritten("our choice", "0.5 to 0.8, by the crop's stage")
    ] = None
    satisfy: Annotated[
        Satisfy, word("satisfy", Satisfy), Unwritten("no quarter of the ground goes short")
    ] = Satisfy.DRIEST_QUARTER
    hand_water: Annotated[
        HandWater,
        word("hand_water", HandWater),
        Unwritten("counts as printed on the sheet, unless a note has something else"),
    ] = HandWater.AS_PRINTED
    hand_visits: Annotated[
        int,
        by(v.whole("visits a day", 1, MOST_VISITS)),
        Unwritten("our choice: one round a day for each keeper"),
    ] = 1
    hand_turns: Annotated[int, by(v.whole("turns a visit", 1, MOST_TURNS))] | None = None
    most_open: Annotated[
        int, by(v.whole("the most zones open", 1, 100)), Unwritten("our choice")
    ] = 3
    least_share: Annotated[Share, Unwritten("our choice: of the flow alone")] = 0.5
    basin_m: Annotated[
        float,
        by(v.DEPTH),
        Unwritten("our choice: may stand", lambda m, us: show.show_depth(1000.0 * m, us)),
    ] = Field(0.010, alias="basin")
    drilling_scatter: Annotated[Share, Unwritten("our choice: hand drill")] = 0.05
    level_error_m: Annotated[
        float,
        by(v.LEVEL_ERROR),
        Unwritten("our choice: a spirit level, about 1 mm a metre", show.show_about),
    ] = Field(0.003, alias="level_error")
    shortest_pulse_s: Annotated[OpenTime, Unwritten("our choice", "5 s")] = Field(
        5.0, alias="shortest_pulse"
    )
    coefficients: Annotated[
        Coefficients,
        word("coefficients", Coefficients),
        Unwritten("plants and bare soil computed apart: FAO-56, chapter 7"),
    ] = Coefficients.DUAL
    forecast_trust: Annotated[
        Share, Unwritten("our choice: so much of likely rain may lower a dose")
    ] = 0.5
    settling_days: Annotated[
        int,
        by(v.days_of("settling_days", 0, 60, 7)),
        Unwritten("our choice: kept moist when set out"),
    ] = 7


class WrittenWeather(Table):
    file: Annotated[Text | None, Unwritten("no station file is named", "none")] = None
    file_kind: Annotated[str, word("a kind of weather file", v.FILE_KINDS)] = "auto"
    online: Annotated[
        bool | tuple[str, ...], by(v.online), Unwritten("nothing is fetched unless you ask")
    ] = False
    contact: Annotated[str, by(v.contact)] = ""
    wind_height_m: Annotated[Width, Unwritten("the height that FAO-56 uses", "2 m")] = Field(
        2.0, alias="wind_height"
    )
    normals: Text | None = None
    climate_table: Text | None = None
    climate: Annotated[
        str, word("a climate", v.CLIMATES), Unwritten("last resort, without normals")
    ] = "sub-humid"
    frost_hold: Annotated[
        float | str,
        by(v.frost_hold),
        Unwritten("nothing is watered where a day's low is to be under it", show.show_temperature),
    ] = 0.0


class WrittenBoard(Table):
    pins: Annotated[str, word("pins", ("lgpio", "mock")), Unwritten()] = "lgpio"
    active_low: Annotated[
        bool,
        by(v.choice("relays", {"active low": True, "active high": False})),
        Unwritten("most relay boards; try yours dry", "active low"),
    ] = Field(True, alias="relays")
    resistors: YesNo = False
    chip: Annotated[int, by(v.whole("a chip", 0, 20))] | None = None
    battery_clock: Annotated[
        bool,
        by(v.choice("a clock", {"network": False, "battery": True})),
        Unwritten("nothing opens by plan until it is set", "network"),
    ] = Field(False, alias="clock")


class WrittenGarden(Table):
    units: Units | None = None
    site: Annotated[
        WrittenSite,
        Needed("a [site] with latitude, longitude, elevation and timezone is needed"),
    ]
    supply: Annotated[
        WrittenSupply, Needed("a [supply] with static_pressure and flow_test is needed")
    ]
    main: WrittenMain = WrittenMain()
    bed: list[WrittenBed] = Field(default_factory=list)
    zone: Annotated[list[WrittenZone], Needed("at least one [[zone]] is needed")]
    watering: WrittenWatering = WrittenWatering.model_validate({})
    weather: WrittenWeather = WrittenWeather.model_validate({})
    board: WrittenBoard = WrittenBoard.model_validate({})
    master: WrittenMaster | None = None
    meter: WrittenMeter | None = None
    sensor: list[WrittenSensor] = Field(default_factory=list)
    health: WrittenHealth = WrittenHealth.model_validate({})
    crop: list[WrittenCrop] = Field(default_factory=list)
    soil: list[WrittenSoil] = Field(default_factory=list)
