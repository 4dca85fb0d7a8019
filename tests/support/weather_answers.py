"""Answers of the other services in their documented shapes; all their weather is invented.

MET Norway: data model and JSON form of Locationforecast 2.0 (api.met.no). NASA POWER: daily point
interface (power.larc.nasa.gov/docs). US National Weather Service: gridpoints of its interface
(weather.gov/documentation/services-web-api).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

HOUR = timedelta(hours=1)
ByHour = Callable[[int], float]  # a figure from the hours since the answer begins
GEO_JSON = "application/geo+json"


def _stamp(at_utc: datetime) -> str:
    return at_utc.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


MET_UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_min": "celsius",
    "cloud_area_fraction": "%",
    "dew_point_temperature": "celsius",
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
    "relative_humidity": "%",
    "wind_speed": "m/s",
}


def met_norway(
    begins_utc: datetime,
    *,
    hourly: int = 60,
    six_hourly: int = 28,
    air_c: ByHour = lambda h: 15.0,
    dew_c: ByHour = lambda h: 8.0,
    rh_pct: ByHour = lambda h: 60.0,
    wind_m_s: ByHour = lambda h: 2.0,
    rain_mm_h: ByHour = lambda h: 0.0,
    chance_pct: ByHour = lambda h: 10.0,
) -> dict[str, Any]:
    """Steps of one hour, then of six; the highest and lowest of six hours follow from the hours."""
    at_hours = [*range(hourly), *range(hourly, hourly + 6 * six_hourly + 1, 6)]
    series = []
    for n, h in enumerate(at_hours):
        data: dict[str, Any] = {
            "instant": {
                "details": {
                    "air_temperature": air_c(h),
                    "dew_point_temperature": dew_c(h),
                    "relative_humidity": rh_pct(h),
                    "wind_speed": wind_m_s(h),
                }
            }
        }
        if n < hourly:
            data["next_1_hours"] = {
                "summary": {"symbol_code": "cloudy"},
                "details": {
                    "precipitation_amount": rain_mm_h(h),
                    "probability_of_precipitation": chance_pct(h),
                },
            }
        if n < len(at_hours) - 1:  # the last step looks no further ahead
            data["next_6_hours"] = {
                "summary": {"symbol_code": "cloudy"},
                "details": {
                    "precipitation_amount": sum(rain_mm_h(h + i) for i in range(6)),
                    "probability_of_precipitation": chance_pct(h),
                    "air_temperature_max": max(air_c(h + i) for i in range(7)),
                    "air_temperature_min": min(air_c(h + i) for i in range(7)),
                },
            }
        series.append({"time": _stamp(begins_utc + h * HOUR), "data": data})
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-4.2, 40.5123, 640]},
        "properties": {
            "meta": {"updated_at": _stamp(begins_utc), "units": dict(MET_UNITS)},
            "timeseries": series,
        },
    }


POWER_UNITS = {
    "T2M_MAX": "C",
    "T2M_MIN": "C",
    "RH2M": "%",
    "T2MDEW": "C",
    "WS2M": "m/s",
    "ALLSKY_SFC_SW_DWN": "MJ/m^2/day",
    "PRECTOTCORR": "mm/day",
}
POWER_USUAL = {
    "T2M_MAX": 24.8,
    "T2M_MIN": 11.1,
    "RH2M": 57.2,
    "T2MDEW": 9.2,
    "WS2M": 1.6,
    "ALLSKY_SFC_SW_DWN": 23.9,
    "PRECTOTCORR": 0.4,
}


def nasa_power(
    first: date, count: int, *, sun_late: int = 0, all_late: int = 0, fill: float = -999.0
) -> dict[str, Any]:
    """Every day alike; the last `all_late` without figures, `sun_late` before them without sun."""
    names = [f"{first + timedelta(days=n):%Y%m%d}" for n in range(count)]
    parameter: dict[str, dict[str, float]] = {}
    for name, usual in POWER_USUAL.items():
        late = all_late + (sun_late if name == "ALLSKY_SFC_SW_DWN" else 0)
        parameter[name] = {d: usual if n < count - late else fill for n, d in enumerate(names)}
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-4.2, 40.512, 702.31]},
        "properties": {"parameter": parameter},
        "header": {
            "title": "Invented daily point data",
            "api": {"version": "v0.0.0", "name": "POWER Daily API"},
            "sources": ["POWER", "MERRA2"],
            "fill_value": fill,
            "time_standard": "LST",
            "start": names[0],
            "end": names[-1],
        },
        "messages": [],
        "parameters": {n: {"units": u, "longname": n} for n, u in POWER_UNITS.items()},
        "times": {"data": 0.71, "process": 0.03},
    }


def nws_point(square: str = "XXX/10,20") -> dict[str, Any]:
    """Which square of the grid a place lies in."""
    return {
        "id": "https://api.weather.gov/points/40.5123,-100.2",
        "type": "Feature",
        "properties": {
            "gridId": "XXX",
            "forecast": f"https://api.weather.gov/gridpoints/{square}/forecast",
            "forecastGridData": f"https://api.weather.gov/gridpoints/{square}",
            "timeZone": "America/Chicago",
        },
    }


def stretch(begins_utc: datetime, lasts: str, value: float | None) -> dict[str, Any]:
    """One entry of a layer, as 2030-06-10T06:00:00+00:00/PT6H."""
    return {"validTime": f"{begins_utc:%Y-%m-%dT%H:%M:%S}+00:00/{lasts}", "value": value}


def layer(uom: str, values: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """A layer with its unit."""
    return {"uom": uom, "values": list(values)}


def nws_grid(begins_utc: datetime, days: int = 7, rain_days: int = 3) -> dict[str, Any]:
    """From an hour on; by day 25 °C, by night 15 °C, each twelve hours; 1.2 mm in six hours."""
    twelve = [begins_utc + n * 12 * HOUR for n in range(2 * days)]
    six = [begins_utc + n * 6 * HOUR for n in range(4 * rain_days)]
    long = [begins_utc + n * 30 * HOUR for n in range(days * 24 // 30 + 1)]
    return {
        "type": "Feature",
        "properties": {
            "@type": "wx:Gridpoint",
            "updateTime": f"{begins_utc:%Y-%m-%dT%H:%M:%S}+00:00",
            "validTimes": f"{begins_utc:%Y-%m-%dT%H:%M:%S}+00:00/P{days}D",
            "elevation": {"unitCode": "wmoUnit:m", "value": 762.0},
            "temperature": layer(
                "wmoUnit:degC",
                [stretch(t, "PT12H", 25 if n % 2 else 15) for n, t in enumerate(twelve)],
            ),
            "dewpoint": layer("wmoUnit:degC", [stretch(t, "P1DT6H", 10) for t in long]),
            "maxTemperature": layer(
                "wmoUnit:degC", [stretch(t, "PT13H", 28) for t in twelve[1::2]]
            ),
            "minTemperature": layer("wmoUnit:degC", [stretch(t, "PT14H", 12) for t in twelve[::2]]),
            "relativeHumidity": layer(
                "wmoUnit:percent",
                [stretch(t, "PT12H", 40 if n % 2 else 80) for n, t in enumerate(twelve)],
            ),
            "skyCover": layer("wmoUnit:percent", [stretch(begins_utc, f"P{days}D", 24)]),
            "windSpeed": layer(
                "wmoUnit:km_h-1",
                [stretch(t, "PT12H", 9.0 + n % 2 * 9) for n, t in enumerate(twelve)],
            ),
            "probabilityOfPrecipitation": layer(
                "wmoUnit:percent", [stretch(t, "PT12H", 5 + n) for n, t in enumerate(twelve)]
            ),
            "quantitativePrecipitation": layer(
                "wmoUnit:mm", [stretch(t, "PT6H", 1.2) for t in six]
            ),
        },
    }
