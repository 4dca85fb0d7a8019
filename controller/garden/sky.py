"""Where the model's weather comes from: files, services and what stands in for them."""

from __future__ import annotations

from controller.garden import show, sources
from controller.garden.filling import Filling
from controller.garden.lines import Path
from controller.garden.model import WeatherSource

_AT: Path = ("weather",)


def weather_of(filling: Filling) -> WeatherSource:
    """The sources of the weather; what does not go together is noted."""
    w = filling.written.weather
    if w.file is None:
        filling.tell(_AT, "file", "none", "no station file is named")
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
    """Under which low of the night nothing is watered; None where that is switched off."""
    held = filling.written.weather.frost_hold
    if held is None:
        shown = show.show_temperature(0.0, filling.us)
        filling.tell(
            _AT, "frost_hold", shown, "nothing is watered where a day's low is to be under it"
        )
        return 0.0
    return None if isinstance(held, str) else held


def _services(filling: Filling) -> tuple[str, ...]:
    """The services by name; `online = true` is told as what it stands for."""
    w = filling.written.weather
    asked = filling.default(
        _AT, "online", w.online, False, "false", "nothing is fetched unless you ask"
    )
    if isinstance(asked, tuple):
        for name in asked:
            if name in sources.WANT_CONTACT and w.contact is None:
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
        filling.tell(
            _AT, "online", "open-meteo", "true means this; with a contact, met-norway after it"
        )
        return ("open-meteo",)
    filling.tell(_AT, "online", "open-meteo, met-norway", "true means these, in this order")
    return ("open-meteo", "met-norway")
