"""The US National Weather Service's answers: layers in UTC become the garden's whole days."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.weather_answers import HOUR, layer, nws_grid, nws_point, stretch

from controller.errors import NoWeather
from controller.weather.online.answers import ParsedAnswer, Place, Question
from controller.weather.online.nws import point_path, read_forecast, read_square

# An invented place in the zone of Chicago, in summer five hours behind: its midnight is 5 UTC.
NOW = datetime(2031, 6, 10, 3, 0, tzinfo=UTC)


def question(
    zone: str = "America/Chicago", longitude_deg: float = -100.2, days: int = 7
) -> Question:
    place = Place(latitude_deg=40.5, longitude_deg=longitude_deg, elevation_m=760.0, timezone=zone)
    return Question(place=place, today=place.date_at(NOW), past_days=0, forecast_days=days)


def look(answer: Any, asked: Question | None = None) -> ParsedAnswer:
    body = answer if isinstance(answer, str) else json.dumps(answer)
    return read_forecast(body, asked or question(), given_utc=NOW)


def grid(**layers: dict[str, Any]) -> dict[str, Any]:
    """From midnight UTC on, with some layers put in place of the usual ones."""
    answer = nws_grid(datetime(2031, 6, 10, 0, tzinfo=UTC))
    answer["properties"].update(layers)
    return answer


def test_the_days_are_those_there_whole_and_all_are_a_forecast() -> None:
    # WORKED: at NOW it is 9 June, 22 h, in the garden; 10 June begins at 5 UTC. From 0 UTC on the
    # temperature is 15 for 12 h, then 25 for 12 h. Of the garden's day the first 7 h (to 12 UTC)
    # are 15, 12 h 25, the last 5 h 15. Wind 9 km/h (2.5 m/s) by night, 18 (5) by day: 12 h each,
    # 3.75. The highest by day is 28, its middle 18:30 UTC; the lowest by night 12, its middle
    # 7 UTC.
    reading = look(grid())
    assert [d.day.day for d in reading.days] == [10, 11, 12, 13, 14, 15]
    assert reading.days[0].known() == {
        "tmin_c": 12.0, "tmax_c": 28.0, "rh_mean_pct": pytest.approx(60.0), "rh_min_pct": 40.0,
        "rh_max_pct": 80.0, "dewpoint_c": pytest.approx(10.0), "wind_m_s": pytest.approx(3.75),
        "rain_mm": pytest.approx(4.8), "rain_chance_pct": 7.0,
    }  # fmt: skip
    assert {(d.source, d.measured, d.wind_height_m) for d in reading.days} == {
        ("nws forecast", False, 10.0)
    }
    assert reading.asked_on == date(2031, 6, 9)
    assert reading.made_utc == datetime(2031, 6, 10, 0, tzinfo=UTC)


def test_rain_beyond_its_last_stretch_is_unknown_not_nought() -> None:
    """Rain is forecast for three days, to 13 June 0 UTC, which is before the 12th is over."""
    reading = look(grid())
    # WORKED: four stretches of six hours, 1.2 mm each.
    assert [d.rain_mm for d in reading.days] == [pytest.approx(4.8)] * 2 + [None] * 4
    assert reading.remarks == (
        "its rain does not reach to 2031-06-12, 2031-06-13, 2031-06-14, 2031-06-15",
        "of the day under way, 2031-06-09, it lacks the hours before 19:00: that day is not taken "
        "from it, nor the rain it still has for it",
    )


def test_rain_past_the_gardens_midnight_is_split_by_the_hour() -> None:
    # WORKED: midnights at 5 UTC. Of 1.524 mm in 0-6 h UTC of the 10th a sixth, 0.254, falls after
    # it; 0 to 18 h; 1.524 in 18-24 h; of 1.524 in 0-6 h of the 11th five sixths, 1.270. The 10th
    # gets 3.048. The 11th the other sixth, 0.254, then 0.254 in three hours, then 3 h of 1: 1.508.
    # Between 12 and 24 h steps of 12 h with nothing, and then 0-12 h of the 12th with 2.4, of which
    # 5 / 12 are 1.0: 2.508.
    begins = datetime(2031, 6, 10, 0, tzinfo=UTC)
    told = [(0, 6, 1.524), (6, 12, 0), (18, 6, 1.524), (24, 6, 1.524), (30, 3, 0.254), (33, 3, 1.0)]
    told += [(36, 12, 0), (48, 12, 2.4)]
    rain = layer(
        "wmoUnit:mm", [stretch(begins + h * HOUR, f"PT{lasts}H", mm) for h, lasts, mm in told]
    )
    days = look(grid(quantitativePrecipitation=rain)).days
    assert days[0].rain_mm == pytest.approx(3.048)
    assert days[1].rain_mm == pytest.approx(2.508)


def test_an_empty_figure_in_the_rain_leaves_its_day_unknown() -> None:
    answer = grid()
    answer["properties"]["quantitativePrecipitation"]["values"][2]["value"] = None
    days = look(answer).days
    assert days[0].rain_mm is None
    # WORKED: four stretches of six hours, 1.2 mm each.
    assert days[1].rain_mm == pytest.approx(4.8)


def test_an_empty_figure_in_another_layer_leaves_its_day_out() -> None:
    answer = grid()
    answer["properties"]["windSpeed"]["values"][3]["value"] = None  # 11 June, 12 to 24 UTC
    reading = look(answer)
    assert [d.day.day for d in reading.days] == [10, 12, 13, 14, 15]
    assert "left out, being only part of a day: 2031-06-11" in reading.remarks


def test_without_a_highest_by_day_the_hours_tell() -> None:
    answer = grid()
    del answer["properties"]["maxTemperature"], answer["properties"]["minTemperature"]
    reading = look(answer)
    assert (reading.days[0].tmin_c, reading.days[0].tmax_c) == (15.0, 25.0)
    assert reading.remarks[:2] == (
        "the weather service gave no maxTemperature",
        "the weather service gave no minTemperature",
    )


def test_a_nights_lowest_and_a_days_highest_belong_to_the_day_of_their_middle() -> None:
    # WORKED: in Guam, ten hours ahead, 11 June begins on the 10th, 14 UTC. A highest told for 12 h
    # UTC to 1 h of the next day has its middle at 18:30 UTC, in the day just begun; a lowest told
    # for 0 to 14 h has its own at 7 UTC, in the day that ends at 14.
    begins = datetime(2031, 6, 10, 0, tzinfo=UTC)
    high = [stretch(begins + (12 + 24 * n) * HOUR, "PT13H", c) for n, c in enumerate([31, 27, 33])]
    low = [stretch(begins + 24 * n * HOUR, "PT14H", c) for n, c in enumerate([9, 13, 11, 14])]
    answer = grid(
        maxTemperature=layer("wmoUnit:degC", high), minTemperature=layer("wmoUnit:degC", low)
    )
    days = look(answer, question("Pacific/Guam", 144.8)).days[:3]
    assert [(d.day.day, d.tmin_c, d.tmax_c) for d in days] == [
        (11, 13.0, 31.0), (12, 11.0, 27.0), (13, 14.0, 33.0),
    ]  # fmt: skip


def test_the_coldest_of_the_next_night_does_not_count_for_the_day_before() -> None:
    # WORKED: midnights at 5 UTC; a lowest for 0 to 14 h UTC begins before, its middle is at 7 UTC.
    begins = datetime(2031, 6, 10, 0, tzinfo=UTC)
    low = [stretch(begins + 24 * n * HOUR, "PT14H", c) for n, c in enumerate([12, 9, 14])]
    days = look(grid(minTemperature=layer("wmoUnit:degC", low))).days[:3]
    assert [d.tmin_c for d in days] == [12.0, 9.0, 14.0]


def test_rain_told_of_twice_counts_once() -> None:
    # WORKED: 24 h of 1 mm, and from the 10th, 11 UTC on told anew as 48 mm in 24 h: 6 h of 1 from
    # midnight (5 UTC) and 18 h of 2 are 42.
    begins = datetime(2031, 6, 10, 5, tzinfo=UTC)
    told = [stretch(begins, "P1D", 24.0), stretch(begins + 6 * HOUR, "P1D", 48.0)]
    day = look(grid(quantitativePrecipitation=layer("wmoUnit:mm", told))).days[0]
    assert day.rain_mm == pytest.approx(42.0)


@pytest.mark.parametrize(
    ("lasts", "hours"),
    [("PT13H", 13), ("P1DT6H", 30), ("P2D", 48), ("PT90M", 1.5), ("PT5400S", 1.5)],
)
def test_a_stretch_lasts_as_its_duration_says(lasts: str, hours: float) -> None:
    # WORKED: 10 June has its 24 h from 5 UTC; of an even `hours` mm from 5 UTC on it gets at most
    # 24, one an hour. The rest of the day is dry.
    midnight = datetime(2031, 6, 10, 5, tzinfo=UTC)
    after = midnight + timedelta(hours=hours)
    rain = layer("wmoUnit:mm", [stretch(midnight, lasts, hours), stretch(after, "P3D", 0)])
    assert look(grid(quantitativePrecipitation=rain)).days[0].rain_mm == pytest.approx(
        min(hours, 24.0)
    )


@pytest.mark.parametrize(
    "time",
    [
        "2031-06-10T05:00:00+00:00", "2031-06-10T05:00:00+00:00/", "2031-06-10T05:00:00/PT6H",
        "2031-06-10T05:00:00+00:00/P", "2031-06-10T05:00:00+00:00/PT", "/PT6H", "", None, 7,
        "2031-06-10T05:00:00+00:00/PT0H", "2031-06-10T05:00:00+00:00/-PT6H",
        "2031-06-10T05:00:00+00:00/P1M", "2031-06-10T05:00:00+00:00/2031-06-11T05:00:00+00:00",
    ],
)  # fmt: skip
def test_a_stretch_that_does_not_read_spoils_the_answer(time: object) -> None:
    answer = grid()
    answer["properties"]["dewpoint"]["values"][0]["validTime"] = time
    with pytest.raises(NoWeather):
        look(answer)


def test_a_stretch_may_be_written_with_a_z() -> None:
    answer = json.loads(json.dumps(grid()).replace("+00:00/", "Z/"))
    assert look(answer).days == look(grid()).days


@pytest.mark.parametrize(
    ("name", "uom", "value", "field", "expected"),
    [
        ("temperature", "wmoUnit:degF", 50.0, "tmin_c", 10.0),
        ("temperature", "unit:degC", 10.0, "tmin_c", 10.0),
        ("windSpeed", "wmoUnit:m_s-1", 4.0, "wind_m_s", 4.0),
        ("windSpeed", "wmoUnit:km_h-1", 9.0, "wind_m_s", 2.5),
        ("windSpeed", "wmoUnit:kt", 10.0, "wind_m_s", 5.14444),
        ("quantitativePrecipitation", "wmoUnit:in", 7.0, "rain_mm", 25.4),
    ],
)
def test_a_unit_is_read_as_the_layer_names_it(
    name: str, uom: str, value: float, field: str, expected: float
) -> None:
    # WORKED: 1.8 F a degree from 32 F, 3.6 km/h, 0.514444 m/s a knot, 25.4 mm an inch. The stretch
    # is the seven days whole, so that of 7 in of rain each day gets one.
    begins = datetime(2031, 6, 10, 0, tzinfo=UTC)
    answer = grid(**{name: layer(uom, [stretch(begins, "P7D", value)])})
    assert look(answer).days[0].value(field) == pytest.approx(expected, rel=1e-5)


def test_a_unit_nobody_knows_leaves_the_layer_out() -> None:
    answer = grid()
    answer["properties"]["windSpeed"]["uom"] = "wmoUnit:knot_of_rope"
    reading = look(answer)
    assert reading.days[0].wind_m_s is None
    assert any("windSpeed not used: its unit is 'knot_of_rope'" in r for r in reading.remarks)
    answer["properties"]["temperature"]["uom"] = None
    with pytest.raises(NoWeather, match="no temperatures"):
        look(answer)


@pytest.mark.parametrize(
    ("begins", "day", "lasts_h"),
    [
        # The second Sunday of March, the first of November 2031 (Energy Policy Act of 2005).
        (datetime(2031, 3, 8, 0, tzinfo=UTC), date(2031, 3, 9), 23),
        (datetime(2031, 11, 1, 0, tzinfo=UTC), date(2031, 11, 2), 25),
    ],
)
def test_a_day_on_which_the_clocks_change_has_23_or_25_hours_of_rain(
    begins: datetime, day: date, lasts_h: int
) -> None:
    answer = nws_grid(begins)
    rain = [stretch(begins + n * 6 * HOUR, "PT6H", 6.0) for n in range(20)]
    answer["properties"]["quantitativePrecipitation"] = layer("wmoUnit:mm", rain)
    place = question().place
    asked = Question(place=place, today=begins.date(), past_days=0, forecast_days=3)
    days = read_forecast(json.dumps(answer), asked, given_utc=begins).days
    assert next(d.rain_mm for d in days if d.day == day) == pytest.approx(float(lasts_h))


@pytest.mark.parametrize(
    ("zone", "longitude_deg", "first", "midnight_h"),
    [
        ("Pacific/Honolulu", -157.0, date(2031, 6, 10), 10),
        ("Pacific/Guam", 144.8, date(2031, 6, 11), 14),  # the 11th begins on the 10th, 14 UTC
        ("Pacific/Pago_Pago", -170.7, date(2031, 6, 10), 11),
    ],
)
def test_far_from_greenwich_a_day_is_still_the_gardens(
    zone: str, longitude_deg: float, first: date, midnight_h: int
) -> None:
    begins = datetime(2031, 6, 10, 0, tzinfo=UTC)
    # WORKED: 1 mm in each of the first day's 24 h and 50 mm in the hours on either side of it.
    rain = [stretch(begins + h * HOUR, "PT1H", 50.0) for h in range(midnight_h)]
    rain += [stretch(begins + (midnight_h + h) * HOUR, "PT1H", 1.0) for h in range(24)]
    rain += [stretch(begins + (midnight_h + 24) * HOUR, "PT1H", 50.0)]
    answer = grid(quantitativePrecipitation=layer("wmoUnit:mm", rain))
    day = look(answer, question(zone, longitude_deg)).days[0]
    assert (day.day, day.rain_mm) == (first, pytest.approx(24.0))


def test_no_more_days_than_were_asked_for() -> None:
    assert [d.day.day for d in look(grid(), question(days=3)).days] == [10, 11]


def test_the_square_is_taken_from_the_first_answer_but_not_where_it_lies() -> None:
    asked = question()
    found = read_square(json.dumps(nws_point("OAX/3,120")), asked, given_utc=NOW)
    assert found.path == "/gridpoints/OAX/3,120"
    for named in ["https://api.weather.gov/gridpoints/OAX/../x", "nonsense", 7, None]:
        answer = nws_point()
        answer["properties"]["forecastGridData"] = named
        with pytest.raises(NoWeather, match="no square"):
            read_square(json.dumps(answer), asked, given_utc=NOW)
    elsewhere = nws_point()
    elsewhere["properties"]["forecastGridData"] = "https://example.org/gridpoints/OAX/3,120"
    path = read_square(json.dumps(elsewhere), asked, given_utc=NOW).path
    assert path == "/gridpoints/OAX/3,120"  # asked of the service itself all the same


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "path"),
    [
        (40.51234, -100.2, "/points/40.5123,-100.2"),
        (40.0, -100.0, "/points/40,-100"),
        (13.45, 144.79999, "/points/13.45,144.8"),
        (-0.00001, -160.0, "/points/0,-160"),
    ],
)
def test_a_place_has_four_decimals_at_most_and_no_noughts(
    latitude_deg: float, longitude_deg: float, path: str
) -> None:
    place = Place(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=0.0, timezone="UTC"
    )
    assert point_path(place) == path


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg"), [(40.5, -4.2), (-33.0, -70.0), (0.0, 0.0), (80.0, -100.0)]
)
def test_a_place_nowhere_near_the_states_is_not_asked_about(
    latitude_deg: float, longitude_deg: float
) -> None:
    place = Place(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=0.0, timezone="UTC"
    )
    with pytest.raises(NoWeather, match="United States only"):
        point_path(place)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda p: p.pop("temperature"),
        lambda p: p["temperature"].update(values=[]),
        lambda p: p["temperature"].update(values={"a": 1}),
        lambda p: p["temperature"]["values"].insert(0, 7),
        lambda p: p["temperature"]["values"][0].update(value="15"),
        lambda p: [v.update(value=None) for v in p["temperature"]["values"]],
        lambda p: p["temperature"].update(values=p["temperature"]["values"][:2]),  # no day whole
        lambda p: p.update(updateTime="lately"),
    ],
)
def test_what_is_not_as_agreed_is_refused(spoil: Any) -> None:
    answer = grid()
    spoil(answer["properties"])
    with pytest.raises(NoWeather):
        look(answer)


@given(
    name=st.sampled_from(["temperature", "windSpeed", "quantitativePrecipitation", "updateTime"]),
    value=st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["uom", "values", "validTime", "value"]), inner, max_size=3
            )
        ),
        max_leaves=8,
    ),
)
def test_no_answer_brings_the_reader_down(name: str, value: Any) -> None:
    answer = grid()
    answer["properties"][name] = value
    try:
        reading = look(answer)
    except NoWeather:
        return
    assert reading.days
    assert not any(d.measured for d in reading.days)
