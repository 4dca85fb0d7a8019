"""Checks that latitude, longitude, time zone and the plantings' dates fit each other.

A wrong place reads as well as the right one: a missing minus sign swaps summer and winter. Each
caution names the likely mistake. None is a fault, because people draw the borders of time zones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from importlib.resources import files
from math import asin, cos, radians, sin, sqrt
from zoneinfo import ZoneInfo

from controller.check.finding import Finding, caution
from controller.demand.climate.usual_et import season_tmean_c
from controller.garden.model import Garden, Planting, Site
from controller.messages import Message, Quantity
from crops.catalogue import Crop

# A time zone's clock may differ so much from solar time, and its places may be so far from its
# city; our choice. Of the cities of the zone table only Dawson, Whitehorse, Nome and one in
# Antarctica exceed the first.
MOST_OFF_H, MOST_FROM_CITY_H = 2.0, 1.0
# Time zones that are wider: China has one time from 73 to 135 east; western Alaska.
_WIDE_DEG = {
    **dict.fromkeys(("Asia/Shanghai", "Asia/Chongqing", "Asia/Harbin", "PRC"), (73.0, 135.0)),
    **dict.fromkeys(("America/Anchorage", "US/Alaska"), (-173.0, -129.0)),
}
# A site and its time zone's city, both so far from the equator and on different sides, cannot be
# neighbours. Our choice: no time zone covers both.
BOTH_FROM_EQUATOR_DEG = 15.0
_FIXED = frozenset(
    {"EST", "MST", "HST", "UTC", "UCT", "GMT", "GMT0", "GMT+0", "GMT-0", "Greenwich"}
    | {"Universal", "Zulu"}
)
# A warm-season crop does not grow below its base temperature (at least 10 °C), and hardly up to so
# much above it; half a year later it would be so much warmer. Our choice: with the season's rough
# temperatures, winter crops at 27 to 30 degrees of latitude give no caution.
WARM_BASE_C, HARDLY_C, WARMER_C = 10.0, 4.0, 6.0
_HALF_A_YEAR = timedelta(days=182)
_YEAR = 2031  # any: offsets are looked up in it


@dataclass(frozen=True, slots=True, kw_only=True)
class City:
    """The city that names a time zone."""

    zone: str
    country: str  # ISO 3166, two letters
    latitude_deg: float
    longitude_deg: float


def of_place(garden: Garden, crop: Callable[[str], Crop]) -> list[Finding]:
    """Cautions on the garden's place, its time zone and its plantings' dates."""
    messages = of_site(garden.site)
    if _latitude_message(garden.site) is None:
        season = _season_message(garden, crop)
        messages += [] if season is None else [season]
    return [caution(Message("place.site"), message) for message in messages]


def of_site(site: Site) -> list[Message]:
    """Messages on a place whose time zone, longitude and latitude do not fit each other."""
    messages = (_zone_message(site), _longitude_message(site), _latitude_message(site))
    return [message for message in messages if message is not None]


@lru_cache(maxsize=1)
def cities() -> dict[str, City]:
    """The time zones with a place, by name; empty if this system's zone data have no table.

    Source: zone.tab of the IANA time zone database, from the package tzdata.
    """
    try:
        text = (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    except (ImportError, OSError):
        return {}
    found = {}
    for line in text.splitlines():
        parts = line.split("\t")
        if line.startswith("#") or len(parts) < 3:
            continue
        at = max(parts[1].rfind("+"), parts[1].rfind("-"))  # where the longitude begins
        found[parts[2]] = City(
            zone=parts[2],
            country=parts[0],
            latitude_deg=_degrees(parts[1][:at], 2),
            longitude_deg=_degrees(parts[1][at:], 3),
        )
    return found


def _degrees(text: str, digits: int) -> float:
    """Degrees of "+4723" or "-0740023": degrees, minutes, perhaps seconds."""
    whole, minutes, seconds = (
        text[1 : 1 + digits],
        text[1 + digits : 3 + digits],
        text[3 + digits :],
    )
    value = int(whole) + int(minutes) / 60.0 + int(seconds or 0) / 3600.0
    return -value if text[0] == "-" else value


def _zone_message(site: Site) -> Message | None:
    """Message on a time zone that is a fixed offset without a place."""
    if site.timezone not in _FIXED and not site.timezone.startswith("Etc/"):
        return None
    near = _nearest_city(site)
    return Message(
        "check.fixed_offset" if near is None else "check.fixed_offset_near",
        {"timezone": site.timezone, "near": "" if near is None else near.zone},
    )


def _longitude_message(site: Site) -> Message | None:
    """Message on a longitude that does not fit the time zone."""
    off_h = _hours_off(site, site.longitude_deg)
    if off_h <= MOST_OFF_H or _known_to_fit(site, site.longitude_deg):
        return None
    turned = -site.longitude_deg
    turned_fits = _hours_off(site, turned) <= MOST_OFF_H or _known_to_fit(site, turned)
    return Message(
        "check.longitude_turned" if turned_fits else "check.longitude",
        {
            "longitude": site.longitude_deg,
            "timezone": site.timezone,
            "off_h": off_h,
            "slip": _slip(site.longitude_deg),
            "turned": turned,
        },
    )


def _latitude_message(site: Site) -> Message | None:
    """Message on a latitude on the other side of the equator than the time zone's city."""
    city = cities().get(site.timezone)
    if (
        city is None
        or city.latitude_deg * site.latitude_deg >= 0.0
        or min(abs(city.latitude_deg), abs(site.latitude_deg)) < BOTH_FROM_EQUATOR_DEG
    ):
        return None
    return Message(
        "check.latitude_north" if site.latitude_deg > 0.0 else "check.latitude_south",
        {
            "latitude": site.latitude_deg,
            "timezone": site.timezone,
            "slip": _slip(site.latitude_deg),
        },
    )


def _season_message(garden: Garden, crop: Callable[[str], Crop]) -> Message | None:
    """Message on warm-season crops in the winter of the place; it names the first."""
    site = garden.site
    cold = [
        (zone.name, planting, found)
        for zone in garden.zones
        for planting in zone.plantings
        if (found := _too_cold_c(site, planting, crop(planting.crop))) is not None
    ]
    if not cold:
        return None
    name, planting, mean_c = cold[0]
    rest = len(cold) - 1
    return Message(
        "check.cold_season",
        {
            "crop": crop(planting.crop).label,
            "zone": name,
            "start": planting.start,
            "until": planting.until,
            "more": Message("check.more_plantings", {"rest": rest}) if rest else "",
            "latitude": site.latitude_deg,
            "mean": Quantity(round(mean_c), "temperature"),
            "slip": _slip(site.latitude_deg),
        },
    )


def _slip(deg: float) -> Message:
    """How such a degree may have been written by mistake."""
    return Message("check.minus_missing" if deg > 0.0 else "check.minus_too_many")


def _too_cold_c(site: Site, planting: Planting, crop: Crop) -> float | None:
    """Mean temperature of a warm-season crop that stands in winter; None for others. [°C]"""
    base_c = crop.gdd_base_c
    comes_up_cold = not crop.emergence_days or crop.emergence_days[1] > 0.0  # in soil of 10 °C
    if crop.perennial or base_c is None or (base_c < WARM_BASE_C and comes_up_cold):
        return None
    if crop.family == "various":
        return None  # flowers of many kinds, some sown in autumn
    mean_c = _mean_c(site, planting, timedelta())
    least_c = max(base_c, WARM_BASE_C) + HARDLY_C
    if mean_c >= least_c or _mean_c(site, planting, _HALF_A_YEAR) < mean_c + WARMER_C:
        return None
    return mean_c


def _mean_c(site: Site, planting: Planting, later: timedelta) -> float:
    """Mean temperature of a planting's days, or half a year later, by the latitude. [°C]"""
    count = min((planting.until - planting.start).days, 364) + 1
    days = [planting.start + timedelta(days=n) for n in range(0, count, 7)]
    return sum(_season_c(site, day + later) for day in days) / len(days)


def _season_c(site: Site, day: date) -> float:
    return season_tmean_c(
        day,
        latitude_deg=site.latitude_deg,
        elevation_m=site.elevation_m,
        coastal=site.coastal,
    )


def _hours_off(site: Site, longitude_deg: float) -> float:
    """Smallest difference in a year between the zone's clock and solar time there. [h]"""
    zone = ZoneInfo(site.timezone)
    found = []
    for month in range(1, 13):
        offset = datetime(_YEAR, month, 15, tzinfo=UTC).astimezone(zone).utcoffset()
        hours = 0.0 if offset is None else offset.total_seconds() / 3600.0
        found.append(abs((hours - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0))
    return min(found)


def _known_to_fit(site: Site, longitude_deg: float) -> bool:
    """Whether the place may be in the zone after all: it is wide, or its city differs as much."""
    low, high = _WIDE_DEG.get(site.timezone, (1.0, -1.0))
    city = cities().get(site.timezone)
    near = city is not None and abs(city.longitude_deg - longitude_deg) < 15.0 * MOST_FROM_CITY_H
    return near or low <= longitude_deg <= high


def _nearest_city(site: Site) -> City | None:
    """The nearest city of the zone table."""

    def apart(city: City) -> float:
        lat_a, lat_b = radians(site.latitude_deg), radians(city.latitude_deg)
        along = radians(site.longitude_deg - city.longitude_deg) / 2.0
        half = sin((lat_a - lat_b) / 2.0) ** 2 + cos(lat_a) * cos(lat_b) * sin(along) ** 2
        return 2.0 * asin(sqrt(min(half, 1.0)))

    return min(cities().values(), key=apart, default=None)
