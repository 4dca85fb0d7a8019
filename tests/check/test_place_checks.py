"""What `check` asks where a garden's place, clock and dates do not fit each other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.findings import where_of, words_of
from support.gardens import a_garden, a_zone
from support.tables import CROP_NAMES

from controller.check.cautions import findings
from controller.check.place_checks import cities, of_place
from controller.garden.model import Garden, Planting, Site
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.jobs import Grounds
from crops.catalogue import load

CROPS = load().crop
# Well-known places: latitude, longitude, zone; public geography. Those that lie far from the middle
# of their zone, or in one that keeps another's time, with the rest.
PLACES = {
    "Zürich": (47.4, 8.5, "Europe/Zurich"),
    "New York": (40.7, -74.0, "America/New_York"),
    "Delhi": (28.6, 77.2, "Asia/Kolkata"),
    "Kathmandu": (27.7, 85.3, "Asia/Kathmandu"),
    "Shanghai": (31.2, 121.5, "Asia/Shanghai"),
    "Ürümqi": (43.8, 87.6, "Asia/Shanghai"),
    "Kashgar": (39.5, 76.0, "Asia/Shanghai"),
    "Lhasa": (29.7, 91.1, "Asia/Shanghai"),
    "Vigo in Galicia": (42.2, -8.7, "Europe/Madrid"),
    "Brest": (48.4, -4.5, "Europe/Paris"),
    "Kirkenes": (69.7, 30.0, "Europe/Oslo"),
    "Auckland": (-36.8, 174.8, "Pacific/Auckland"),
    "Buenos Aires": (-34.6, -58.4, "America/Argentina/Buenos_Aires"),
    "Mendoza": (-32.9, -68.8, "America/Argentina/Mendoza"),
    "Punta Arenas": (-53.2, -70.9, "America/Punta_Arenas"),
    "Perth": (-31.9, 115.9, "Australia/Perth"),
    "Broken Hill": (-31.9, 141.5, "Australia/Broken_Hill"),
    "Cape Town": (-33.9, 18.4, "Africa/Johannesburg"),
    "Nairobi": (-1.3, 36.8, "Africa/Nairobi"),
    "Quito": (-0.2, -78.5, "America/Guayaquil"),
    "Manaus": (-3.1, -60.0, "America/Manaus"),
    "Dakhla": (23.7, -15.9, "Africa/El_Aaiun"),
    "Reykjavik": (64.1, -21.9, "Atlantic/Reykjavik"),
    "Nome": (64.5, -165.4, "America/Nome"),
    "Unalaska": (53.9, -166.5, "America/Anchorage"),
    "Dawson": (64.1, -139.4, "America/Dawson"),
    "Kiritimati": (1.9, -157.4, "Pacific/Kiritimati"),
    "Apia": (-13.8, -171.8, "Pacific/Apia"),
    "Suva": (-18.1, 178.4, "Pacific/Fiji"),
    "Vladivostok": (43.1, 131.9, "Asia/Vladivostok"),
    "Denver, by an old name": (39.7, -105.0, "US/Mountain"),
    "Tokyo, by an old name": (35.7, 139.7, "Japan"),
}


def site(latitude: float, longitude: float, timezone: str) -> Site:
    plain = a_garden().site
    return replace(plain, latitude_deg=latitude, longitude_deg=longitude, timezone=timezone)


def words(place: Site, *plantings: Planting) -> list[str]:
    zone = a_zone("bed of it", plantings=plantings)
    return [words_of(found) for found in of_place(a_garden(zone, site=place), CROPS)]


def planting(crop: str, first: tuple[int, int], until: tuple[int, int]) -> Planting:
    """From month and day to month and day, into the next year if need be."""
    start, end = date(2031, *first), date(2031, *until)
    return Planting(crop=crop, start=start, until=end if end > start else end.replace(year=2032))


@pytest.mark.parametrize("name", PLACES)
def test_no_known_place_is_doubted(name: str) -> None:
    assert words(site(*PLACES[name])) == []


def test_no_city_of_the_time_zone_table_is_doubted() -> None:
    # Open data: zone.tab of the IANA time zone database, 400 cities with their coordinates.
    assert len(cities()) > 400
    doubted = {
        city.zone: found
        for city in cities().values()
        if (found := words(site(city.latitude_deg, city.longitude_deg, city.zone)))
    }
    assert doubted == {}


def test_the_table_is_read_as_printed() -> None:
    # PRINTED in zone.tab: Europe/Zurich +4723+00832, America/New_York +404251-0740023.
    zurich, new_york = cities()["Europe/Zurich"], cities()["America/New_York"]
    assert (round(zurich.latitude_deg, 3), round(zurich.longitude_deg, 3)) == (47.383, 8.533)
    assert (round(new_york.latitude_deg, 3), round(new_york.longitude_deg, 3)) == (40.714, -74.006)


def test_a_longitude_without_its_minus_is_asked_after_at_every_city_far_from_greenwich() -> None:
    missed = [
        city.zone
        for city in cities().values()
        if 35.0 < abs(city.longitude_deg) < 145.0
        and not any(
            f"{city.longitude_deg:g} would fit" in found and "does not fit" in found
            for found in words(site(city.latitude_deg, -city.longitude_deg, city.zone))
        )
    ]
    assert missed == []


def test_the_words_name_the_slip() -> None:
    assert words(site(40.7, 74.0, "America/New_York")) == [
        "longitude 74 does not fit America/New_York: its clock is 8.9 h off the sun there. A "
        "longitude without its minus? West is negative, -74 would fit"
    ]
    (found,) = words(site(28.6, -77.2, "Asia/Kolkata"))
    assert "A longitude with a minus too many?" in found
    assert "77.2 would fit" in found


def test_a_zone_of_another_part_of_the_world_is_asked_after() -> None:
    (found,) = words(site(47.4, 8.5, "America/Denver"))
    assert "longitude 8.5 does not fit America/Denver: its clock is 6.6 h off the sun" in found
    assert found.endswith("one of the two may be another place's")


def test_a_latitude_without_its_minus_is_told_by_the_zones_own_city() -> None:
    assert words(site(36.8, 174.8, "Pacific/Auckland")) == [
        "latitude 36.8 lies north of the equator, Pacific/Auckland does not. A latitude without "
        "its minus? South is negative; as it is, summer and winter are taken for each other"
    ]
    (found,) = words(site(-47.4, 8.5, "Europe/Zurich"))
    assert "A latitude with a minus too many?" in found


def test_the_same_at_every_city_far_from_the_equator() -> None:
    for city in cities().values():
        if abs(city.latitude_deg) > 15.0:
            (found,) = words(site(-city.latitude_deg, city.longitude_deg, city.zone))
            assert "South is negative" in found, city


@pytest.mark.parametrize("zone", ["EST", "MST", "HST", "UTC", "GMT", "Etc/GMT+5", "Etc/UTC"])
def test_one_offset_is_no_zone(zone: str) -> None:
    denver = site(39.7, -105.0, zone)
    found = words(denver)[0]
    assert found.startswith(f'timezone "{zone}" has the same time all year')
    assert found.endswith("the nearest is America/Denver")


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "crop", "first", "until"),
    [
        # Ordinary plantings of either hemisphere: common practice, no source.
        (47.4, 8.5, "Europe/Zurich", "tomato", (5, 15), (10, 10)),
        (59.3, 18.1, "Europe/Stockholm", "cucumber", (6, 1), (9, 10)),
        (47.4, 8.5, "Europe/Zurich", "bush bean", (7, 20), (10, 10)),
        (47.4, 8.5, "Europe/Zurich", "winter wheat", (10, 1), (7, 25)),
        (47.4, 8.5, "Europe/Zurich", "corn salad", (9, 1), (3, 15)),
        (47.4, 8.5, "Europe/Zurich", "garlic", (10, 10), (7, 10)),
        (47.4, 8.5, "Europe/Zurich", "flower strip for insects", (9, 10), (7, 10)),
        (47.4, 8.5, "Europe/Zurich", "table grape", (1, 1), (12, 31)),
        (-36.8, 174.8, "Pacific/Auckland", "tomato", (10, 25), (3, 31)),
        (-37.8, 145.0, "Australia/Melbourne", "zucchini", (11, 1), (3, 1)),
        (-33.9, 18.4, "Africa/Johannesburg", "pepper", (9, 15), (3, 15)),
        # Winter crops of warm places, in the field.
        (26.1, -81.7, "America/New_York", "tomato", (10, 1), (2, 15)),
        (25.5, -80.5, "America/New_York", "bush bean", (11, 15), (2, 1)),
        (30.0, 31.2, "Africa/Cairo", "tomato", (9, 15), (2, 15)),
        (28.6, 77.2, "Asia/Kolkata", "tomato", (10, 1), (2, 28)),
        (-1.3, 36.8, "Africa/Nairobi", "sweet corn", (3, 15), (6, 15)),
        (36.8, -2.5, "Europe/Madrid", "pepper", (8, 1), (3, 1)),
    ],
)
def test_ordinary_plantings_are_not_doubted(
    latitude: float,
    longitude: float,
    zone: str,
    crop: str,
    first: tuple[int, int],
    until: tuple[int, int],
) -> None:
    assert words(site(latitude, longitude, zone), planting(crop, first, until)) == []


@pytest.mark.parametrize("crop", ["tomato", "pepper", "zucchini", "bush bean", "corn", "eggplant"])
@pytest.mark.parametrize("latitude", [-34.0, -36.8, -42.0])
def test_the_norths_dates_in_the_south_are_asked_after(crop: str, latitude: float) -> None:
    (found,) = words(site(latitude, 172.0, "Pacific/Auckland"), planting(crop, (5, 15), (9, 20)))
    assert "that is the cold half of the year" in found
    assert found.endswith(
        "A latitude with a minus too many, or dates of the other hemisphere? South is negative"
    )


def test_a_whole_garden_of_them_is_one_question() -> None:
    # A place whose zone has no city in the table: only the season tells.
    found = words(
        site(47.0, -105.0, "US/Mountain"),
        planting("tomato", (11, 1), (3, 10)),
        planting("bean", (11, 20), (2, 20)),
        planting("kale", (9, 1), (2, 1)),
    )
    assert len(found) == 1
    assert found[0].startswith(
        "Tomato, unstaked in bed of it from 2031-11-01 to 2032-03-10, and 1 more planting like it"
    )
    assert "A latitude without its minus" in found[0]


def test_check_says_it_as_a_caution_of_the_site() -> None:
    garden: Garden = a_garden(site=site(40.7, 74.0, "America/New_York"))
    found = [
        f for f in findings(garden, Grounds(garden, load()), Lines(garden)) if where_of(f) == "site"
    ]
    assert [f.weight for f in found] == ["caution"]


@given(
    st.floats(-89.0, 89.0),
    st.floats(-180.0, 180.0),
    st.sampled_from(["Europe/Zurich", "EST", "Asia/Shanghai", "US/Alaska", "Antarctica/Troll"]),
    st.sampled_from(CROP_NAMES),
)
def test_any_place_gets_an_answer(lat: float, lon: float, zone: str, crop: str) -> None:
    for found in words(site(lat, lon, zone), planting(crop, (3, 1), (11, 1))):
        assert found == found.strip()
