"""The garden model: references resolved, every default filled in and reported.

Defaults marked `our choice` have no other source.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta

from controller.garden import show, values
from controller.garden.faults import Faults, Path
from controller.garden.from_file.defaults import Filling
from controller.garden.from_file.hardware import health_of, master_of, meter_of, sensors_of
from controller.garden.from_file.supply import runs_of, supply_of
from controller.garden.from_file.zones import ZoneBuilder
from controller.garden.model import (
    Board,
    Coefficients,
    Garden,
    HandWater,
    Hold,
    Satisfy,
    Site,
    Watering,
    WeatherSource,
    Window,
    Zone,
)
from controller.garden.plumbing import Pipe, ValveKind
from controller.garden.pydantic_form import own_crop, own_soil
from controller.garden.schema import WrittenGarden

_AT: Path = ("weather",)


def weather_of(filling: Filling) -> WeatherSource:
    """The sources of weather; keys that do not fit together give a fault."""
    w = filling.written.weather
    if w.file is None:
        filling.report(_AT, "file", "none", "no station file is named")
        if w.file_kind is not None:
            filling.faults.add(
                (*_AT, "file_kind"),
                f'found "{w.file_kind}" without a file; name that too, as in file = "weather.csv"',
                needs=[(*_AT, "file")],
            )
    climate = w.climate
    if w.normals is None and w.climate_table is None:
        climate = filling.default(
            _AT, "climate", climate, "sub-humid", "sub-humid", "last resort, without normals"
        )
    return WeatherSource(
        file=w.file,
        file_kind=w.file_kind or "auto",
        services=_services(filling),
        wind_height_m=filling.default(
            _AT,
            "wind_height",
            w.wind_height_m,
            2.0,
            "2 m",
            "the height FAO-56 wants",
        ),
        normals_file=w.normals,
        climate_table=w.climate_table,
        climate=climate or "sub-humid",
        contact=w.contact or "",
        frost_hold_c=_frost_hold_c(filling),
    )


def _frost_hold_c(filling: Filling) -> float | None:
    """Temperature below which nothing is watered; None if this is switched off. [°C]"""
    held = filling.written.weather.frost_hold
    if held is None:
        shown = show.show_temperature(0.0, filling.us)
        filling.report(
            _AT, "frost_hold", shown, "nothing is watered where a day's low is to be under it"
        )
        return 0.0
    return None if isinstance(held, str) else held


def _services(filling: Filling) -> tuple[str, ...]:
    """The services by name; the meaning of `online = true` is reported."""
    w = filling.written.weather
    asked = filling.default(
        _AT, "online", w.online, False, "false", "nothing is fetched unless you ask"
    )
    if isinstance(asked, tuple):
        for name in asked:
            if name in values.WANT_CONTACT and w.contact is None:
                filling.faults.add(
                    (*_AT, "online"),
                    f'found "{name}" without a contact; it answers only those who say who they '
                    f'are, as in contact = "gardener@example.org"',
                    needs=[(*_AT, "contact")],
                )
        return asked
    if not asked:
        return ()
    if w.contact is None:
        filling.report(
            _AT, "online", "open-meteo", "true means this; with a contact, met-norway after it"
        )
        return ("open-meteo",)
    filling.report(_AT, "online", "open-meteo, met-norway", "true means these, in this order")
    return ("open-meteo", "met-norway")


# Our choice: before the heat of the day, and when people come home.
RELAY_WINDOW = Window(opens=time(5), closes=time(8), valves=frozenset({ValveKind.RELAY}))
HAND_WINDOW = Window(opens=time(18), closes=time(20), valves=frozenset({ValveKind.HAND}))


def fill(
    written: WrittenGarden, *, faults: Faults, pipes: Mapping[str, Pipe], us_units: bool
) -> Garden:
    """Build the garden; an unknown reference is a fault in `faults`."""
    return _Fill(Filling(written, faults, pipes, us_units)).garden()


class _Fill:
    """Builds the parts that belong to the whole garden."""

    def __init__(self, filling: Filling) -> None:
        self.filling = filling

    def garden(self) -> Garden:
        w = self.filling.written
        if w.units is None and w.site.units is None:
            self.filling.report(
                (), "units", "us" if self.filling.us else "metric", "most of the file is in them"
            )
        runs = runs_of(self.filling)
        at_tap = [run.pipe for run in runs if not run.parent]
        builder = ZoneBuilder(self.filling, runs)
        zones = builder.zones
        supply = supply_of(self.filling)
        return Garden(
            site=self._site(),
            supply=supply,
            main=max(at_tap, key=lambda pipe: pipe.bore_m)
            if at_tap
            else self.filling.pipe(("main", "size"), w.main.size, "1 in"),
            runs=runs,
            watering=self._watering(zones),
            weather=weather_of(self.filling),
            board=self._board(zones),
            master=master_of(self.filling, zones),
            meter=meter_of(self.filling, supply),
            sensors=sensors_of(self.filling),
            health=health_of(self.filling),
            beds=builder.beds,
            zones=zones,
            own_crops=tuple(own_crop(crop) for crop in w.crop),
            own_soils=tuple(own_soil(soil) for soil in w.soil),
            us_units=self.filling.us,
            filled=tuple(self.filling.filled),
            path=self.filling.faults.path,
        )

    def _site(self) -> Site:
        site = self.filling.written.site
        at: Path = ("site",)
        return Site(
            name=self.filling.default(at, "name", site.name, "our garden", "our garden"),
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            timezone=site.timezone,
            coastal=self.filling.default(
                at, "coastal", site.coastal, False, "false", "inland, where the sun is guessed"
            ),
        )

    def _watering(self, zones: tuple[Zone, ...]) -> Watering:
        w = self.filling.written.watering
        us = self.filling.us
        at: Path = ("watering",)
        windows = self._windows(zones)
        settling_days = w.settling_days
        if any(planting.transplanted for zone in zones for planting in zone.plantings):
            settling_days = self.filling.default(
                at, "settling_days", settling_days, 7, "7", "our choice: kept moist when set out"
            )
        if w.refill_at is None:
            self.filling.report(
                at,
                "refill_at",
                "0.5 to 0.8, by the crop's stage",
                "our choice",
            )
        hand_water = w.hand_water
        if any(zone.valve.kind is ValveKind.HAND for zone in zones):
            hand_water = self.filling.default(
                at,
                "hand_water",
                hand_water,
                HandWater.AS_PRINTED,
                "as printed",
                "taken as done as the sheet said, unless a note says otherwise",
            )
        return Watering(
            windows=windows,
            holds=tuple(
                Hold(
                    begins=_first_moment(hold.begins),
                    ends=_last_moment(hold.ends),
                    zones=frozenset(hold.zones or ()),
                    reason=hold.reason or "",
                )
                for hold in w.hold
            ),
            refill_at=w.refill_at,
            satisfy=self.filling.default(
                at,
                "satisfy",
                w.satisfy,
                Satisfy.DRIEST_QUARTER,
                "driest quarter",
                "no quarter of the ground goes short",
            ),
            hand_water=hand_water or HandWater.AS_PRINTED,
            most_open=self.filling.default(at, "most_open", w.most_open, 3, "3", "our choice"),
            least_share=self.filling.default(
                at, "least_share", w.least_share, 0.5, "0.5", "our choice: of the flow alone"
            ),
            basin_mm=1000.0
            * self.filling.default(
                at, "basin", w.basin_m, 0.010, show.show_depth(10.0, us), "our choice: may stand"
            ),
            drilling_scatter=self.filling.default(
                at, "drilling_scatter", w.drilling_scatter, 0.05, "0.05", "our choice: hand drill"
            ),
            level_error_m=self.filling.default(
                at,
                "level_error",
                w.level_error_m,
                0.003,
                show.show_about(0.003, us),
                "our choice: a spirit level, about 1 mm a metre",
            ),
            shortest_pulse_s=self.filling.default(
                at, "shortest_pulse", w.shortest_pulse_s, 5.0, "5 s", "our choice"
            ),
            coefficients=self.filling.default(
                at,
                "coefficients",
                w.coefficients,
                Coefficients.DUAL,
                "dual",
                "plants and bare soil computed apart: FAO-56, chapter 7",
            ),
            forecast_trust=self.filling.default(
                at,
                "forecast_trust",
                w.forecast_trust,
                0.5,
                "0.5",
                "our choice: so much of likely rain may lower a dose",
            ),
            settling_days=7 if settling_days is None else settling_days,
        )

    def _windows(self, zones: tuple[Zone, ...]) -> tuple[Window, ...]:
        written = self.filling.written.watering.window
        kinds = {zone.valve.kind for zone in zones}
        if written is not None:
            return tuple(
                Window(
                    opens=window.opens,
                    closes=window.closes,
                    weekdays=window.weekdays or frozenset(range(7)),
                    valves=window.valves or frozenset(ValveKind),
                )
                for window in written
            )
        windows = [w for w in (RELAY_WINDOW, HAND_WINDOW) if w.valves & kinds]
        for window in windows:
            (kind,) = window.valves
            shown = f"{window.opens:%H:%M} to {window.closes:%H:%M} for {kind} valves"
            self.filling.report(("watering",), "window", shown, "our choice")
        return tuple(windows)

    def _board(self, zones: tuple[Zone, ...]) -> Board:
        w = self.filling.written.board
        written = self.filling.written
        others = (written.master, written.meter, *written.sensor)
        if all(zone.valve.kind is ValveKind.HAND for zone in zones) and not any(others):
            return Board(
                pins=w.pins or "lgpio",
                active_low=w.active_low is not False,
                chip=w.chip,
                battery_clock=bool(w.battery_clock),
            )
        at: Path = ("board",)
        return Board(
            pins=self.filling.default(at, "pins", w.pins, "lgpio", "lgpio"),
            active_low=self.filling.default(
                at, "relays", w.active_low, True, "active low", "most relay boards; try yours dry"
            ),
            chip=w.chip,
            battery_clock=self.filling.default(
                at,
                "clock",
                w.battery_clock,
                False,
                "network",
                "nothing opens by plan until it is set",
            ),
        )


def _first_moment(written: date | datetime) -> datetime:
    """The start of a hold: a plain date begins at its midnight."""
    return written if isinstance(written, datetime) else datetime.combine(written, time())


def _last_moment(written: date | datetime) -> datetime:
    """The end of a hold: a plain date includes its whole day."""
    if isinstance(written, datetime):
        return written
    return datetime.combine(min(written, date(9999, 12, 30)) + timedelta(days=1), time())
