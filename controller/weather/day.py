"""One day of weather from one source; a figure that it does not give is None, never a guess."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherDay:
    """One local civil day at one place.

    `rain_mm` is None if it is unknown, which is not the same as 0. `wind_m_s` is the day's mean at
    `wind_height_m` above the ground.

    `measured`: from an instrument. `modelled`: a past day of a weather model. Neither: a forecast.
    `given_utc` is when the source gave a figure that may still change; None if it is final, or if
    the time is unknown.
    """

    day: date
    tmin_c: float | None = None
    tmax_c: float | None = None
    rh_mean_pct: float | None = None
    rh_min_pct: float | None = None
    rh_max_pct: float | None = None
    dewpoint_c: float | None = None
    vapour_pressure_kpa: float | None = None
    wind_m_s: float | None = None
    wind_height_m: float = 2.0
    solar_mj_m2: float | None = None
    sunshine_h: float | None = None
    rain_mm: float | None = None
    rain_chance_pct: float | None = None
    source: str = ""
    measured: bool = True
    modelled: bool = False
    given_utc: datetime | None = None

    @property
    def is_forecast(self) -> bool:
        """Whether it is a forecast: neither measured nor a model's past day."""
        return not (self.measured or self.modelled)

    @property
    def settles(self) -> bool:
        """Whether it is a model's past day that may still change."""
        return self.modelled and self.given_utc is not None

    def with_(self, **changes: Any) -> WeatherDay:
        """The same day with some fields changed."""
        return replace(self, **changes)

    def value(self, name: str) -> float | None:
        """The figure of a field; KeyError for a name that is not in `VALUES`."""
        if name not in VALUES:
            raise KeyError(name)
        found: float | None = getattr(self, name)
        return found

    def known(self) -> dict[str, float]:
        """The known figures, by field name."""
        return {name: v for name in VALUES if (v := self.value(name)) is not None}


# The fields with a figure of the weather, in the order of printing.
VALUES: tuple[str, ...] = tuple(
    f.name
    for f in fields(WeatherDay)
    if f.name not in {"day", "wind_height_m", "source", "measured", "modelled", "given_utc"}
)
