"""The body of an answer: whole days as agreed, or a plain refusal."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.weather_server import USUAL, forecast

from controller.errors import NoWeather
from controller.weather.online import open_meteo
from controller.weather.online.answers import ParsedAnswer, Place, Question, reason_in
from controller.weather.online.open_meteo import read_answer

TODAY = date(2031, 6, 1)
NOW = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)
QUESTION = Question(
    place=Place(latitude_deg=40.5, longitude_deg=-4.2, elevation_m=640.0, timezone="Europe/Madrid"),
    today=TODAY,
    past_days=2,
    forecast_days=3,
)


def look(answer: Any) -> ParsedAnswer:
    body = answer if isinstance(answer, str) else json.dumps(answer)
    return read_answer(body, QUESTION, fetched_utc=NOW)


def changed(name: str, values: list[Any]) -> dict[str, Any]:
    answer = forecast(TODAY)
    answer["daily"][name] = values
    return answer


def test_a_last_day_with_sums_missing_is_left_out_whole() -> None:
    answer = forecast(TODAY)
    for name in ("dew_point_2m_mean", "wind_speed_10m_mean", "precipitation_sum"):
        answer["daily"][name][-1] = None
    reading = look(answer)
    assert [d.day.day for d in reading.days] == [30, 31, 1, 2]
    assert reading.remarks == ("left out, being only part of a day: 2031-06-03",)


def test_a_day_cut_short_in_the_middle_is_left_out_too() -> None:
    reading = look(changed("shortwave_radiation_sum", [24.0, None, 24.0, 24.0, 24.0]))
    assert [d.day.day for d in reading.days] == [30, 1, 2, 3]


def test_a_missing_chance_of_rain_leaves_the_day_whole() -> None:
    reading = look(changed("precipitation_probability_max", [None, None, 8, 8, None]))
    assert len(reading.days) == 5
    assert reading.days[-1].rain_chance_pct is None
    assert reading.days[-1].rain_mm == 0.4


def test_a_list_that_is_empty_on_every_day_is_unknown_not_nought() -> None:
    reading = look(changed("precipitation_sum", [None] * 5))
    assert [d.rain_mm for d in reading.days] == [None] * 5
    assert "the weather service left precipitation_sum empty on every day" in reading.remarks


def test_a_list_that_is_not_there_is_unknown_not_nought() -> None:
    answer = forecast(TODAY)
    del answer["daily"]["wind_speed_10m_mean"]
    reading = look(answer)
    assert [d.wind_m_s for d in reading.days] == [None] * 5
    assert "the weather service gave no wind_speed_10m_mean" in reading.remarks


@pytest.mark.parametrize(
    ("name", "unit", "value", "field", "expected"),
    [
        ("wind_speed_10m_mean", "km/h", 9.0, "wind_m_s", 2.5),
        ("wind_speed_10m_mean", "mp/h", 5.0, "wind_m_s", 2.2352),
        ("wind_speed_10m_mean", "kn", 10.0, "wind_m_s", 5.14444),
        ("temperature_2m_max", "°F", 68.0, "tmax_c", 20.0),
        ("precipitation_sum", "inch", 0.5, "rain_mm", 12.7),
    ],
)
def test_a_unit_not_asked_for_is_read_as_the_answer_names_it(
    name: str, unit: str, value: float, field: str, expected: float
) -> None:
    answer = changed(name, [value] * 5)
    answer["daily_units"][name] = unit
    # WORKED: the units' definitions: 1.8 F a degree from 32 F, 3.6 km/h, 0.44704 m/s a mph,
    # 0.514444 a knot, 25.4 mm an inch.
    assert look(answer).days[0].value(field) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("unit", ["furlong/fortnight", None, 3])
def test_a_unit_nobody_knows_leaves_the_figure_out(unit: object) -> None:
    answer = forecast(TODAY)
    answer["daily_units"]["wind_speed_10m_mean"] = unit
    reading = look(answer)
    assert reading.days[0].wind_m_s is None
    assert any("wind_speed_10m_mean not used: its unit is" in r for r in reading.remarks)


@pytest.mark.parametrize("name", ["temperature_2m_min", "temperature_2m_max"])
def test_without_temperatures_there_is_no_weather(name: str) -> None:
    answer = forecast(TODAY)
    answer["daily_units"][name] = "K"
    with pytest.raises(NoWeather, match="no temperatures"):
        look(answer)


def test_an_impossible_figure_is_left_out_and_named() -> None:
    reading = look(changed("precipitation_sum", [0.0, -3.0, 0.0, 0.0, 0.0]))
    assert [d.rain_mm for d in reading.days] == [0.0, None, 0.0, 0.0, 0.0]
    assert any("2031-05-31, rain_mm: found -3 mm" in r for r in reading.remarks)


@pytest.mark.parametrize("length", [0, 4, 6])
@pytest.mark.parametrize("name", ["time", *USUAL])
def test_a_list_of_another_length_spoils_the_answer(name: str, length: int) -> None:
    answer = forecast(TODAY)
    answer["daily"][name] = [*answer["daily"][name], answer["daily"][name][0]][:length]
    with pytest.raises(NoWeather):
        look(answer)


@pytest.mark.parametrize(
    "dates",
    [
        ["2031-05-30", "2031-05-31", "2031-06-01", "2031-06-02", "2031-06-04"],
        ["2031-06-03", "2031-06-02", "2031-06-01", "2031-05-31", "2031-05-30"],
        ["2031-05-30"] * 5,
        ["30/05/2031", "31/05/2031", "01/06/2031", "02/06/2031", "03/06/2031"],
        [1937952000, 1938038400, 1938124800, 1938211200, 1938297600],
        "2031-05-30",
        None,
    ],
)
def test_dates_that_are_not_a_row_of_days_spoil_the_answer(dates: Any) -> None:
    with pytest.raises(NoWeather, match="date"):
        look(changed("time", dates))


@pytest.mark.parametrize("value", ["21.4", True, [21.4], {}, 10**400])
def test_what_is_no_number_spoils_the_answer(value: Any) -> None:
    with pytest.raises(NoWeather, match="where a number belongs"):
        look(changed("temperature_2m_max", [20.0, 20.0, 20.0, 20.0, value]))


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_a_number_that_json_does_not_have_spoils_the_answer(word: str) -> None:
    with pytest.raises(NoWeather, match="garbled"):
        look(json.dumps(forecast(TODAY)).replace("27.1", word, 1))


@pytest.mark.parametrize(
    "body", ["", "null", "[]", "{}", '{"timezone": "Europe/Madrid"}', "[" * 100_000, "<html>", "7"]
)
def test_a_body_that_is_no_answer_is_refused(body: str) -> None:
    with pytest.raises(NoWeather):
        look(body)


def test_answers_for_two_places_are_refused() -> None:
    with pytest.raises(NoWeather, match="not for one place"):
        look([forecast(TODAY), forecast(TODAY)])


def test_days_of_another_zone_are_refused_and_another_name_of_ours_is_not() -> None:
    greenwich = {**forecast(TODAY), "timezone": "GMT", "utc_offset_seconds": 0}
    with pytest.raises(NoWeather, match="days are those of 'GMT'"):
        look(greenwich)
    renamed = {**forecast(TODAY), "timezone": "Europe/Paris"}  # the same hours that day
    assert len(look(renamed).days) == 5


def test_yesterday_settles_half_a_day_after_its_end_and_days_before_it_have() -> None:
    # WORKED: 31 May ends in Madrid at 22 UTC of that day; twelve hours on it is 10 UTC, noon there.
    place = QUESTION.place
    noon = datetime(2031, 6, 1, 10, tzinfo=UTC)
    assert open_meteo.settles_utc(noon - timedelta(hours=7), place) == noon
    for at_utc, settles in ((noon - timedelta(seconds=1), True), (noon, False)):
        body = json.dumps(forecast(TODAY))
        reading = read_answer(body, QUESTION, fetched_utc=at_utc)
        assert [d.settles for d in reading.days] == [False, settles, False, False, False]
        assert [d.given_utc for d in reading.days] == [
            None, at_utc if settles else None, at_utc, at_utc, at_utc
        ]  # fmt: skip


def test_no_day_settles_by_a_clock_that_has_run_ahead() -> None:
    ahead = datetime(2033, 6, 1, tzinfo=UTC)
    reading = read_answer(json.dumps(forecast(TODAY)), QUESTION, fetched_utc=ahead)
    assert [d.given_utc for d in reading.days[2:]] == [datetime(2031, 6, 1, 22, tzinfo=UTC)] * 3
    reading = read_answer(json.dumps(forecast(TODAY)), QUESTION, fetched_utc=ahead, given_utc=NOW)
    assert {d.given_utc for d in reading.days} == {None, NOW}


def test_days_beyond_a_change_of_the_clocks_are_named() -> None:
    """The clocks of Madrid go forward on 30 March 2031; one offset serves the whole answer."""
    at_utc = datetime(2031, 3, 29, 4, tzinfo=UTC)
    today = date(2031, 3, 29)
    asked = Question(place=QUESTION.place, today=today, past_days=2, forecast_days=3)
    answer = {**forecast(today), "utc_offset_seconds": 3600}
    said = read_answer(json.dumps(answer), asked, fetched_utc=at_utc).remarks
    assert len(said) == 1
    assert "its days 2031-03-30, 2031-03-31 do not begin at the garden's midnight" in said[0]
    # Days long past are not named: it would be said for three months.
    today = date(2031, 4, 3)
    asked = Question(place=QUESTION.place, today=today, past_days=9, forecast_days=3)
    answer = {**forecast(today, past_days=9), "utc_offset_seconds": 7200}
    at_utc = datetime(2031, 4, 3, 4, tzinfo=UTC)
    assert read_answer(json.dumps(answer), asked, fetched_utc=at_utc).remarks == ()


def test_a_reason_is_taken_from_an_error_and_cut_short() -> None:
    assert reason_in('{"error": true, "reason": "too\\nmany"}') == "too many"
    assert len(reason_in(json.dumps({"error": True, "reason": "x" * 5000}))) == 200
    assert [reason_in(body) for body in ("", "<h1>", "[]", '{"reason": 3}')] == [""] * 4


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        ({"title": "Not Found", "detail": "No such square"}, "No such square"),
        ({"title": "Not Found"}, "Not Found"),
        ({"detail": [{"loc": ["query"], "msg": "not a date"}]}, "not a date"),
        ({"messages": ["Too many", "Ask later"]}, "Too many"),
        ({"messages": [], "detail": [], "reason": " "}, ""),
    ],
)
def test_a_reason_is_found_under_each_name_the_services_have_for_it(
    told: dict[str, Any], reason: str
) -> None:
    assert reason_in(json.dumps(told)) == reason


@given(
    name=st.sampled_from(["time", "daily", "daily_units", "timezone", *USUAL]),
    value=st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=6) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
        ),
        max_leaves=12,
    ),
)
def test_no_answer_brings_the_reader_down(name: str, value: Any) -> None:
    answer = forecast(TODAY)
    (answer if name in answer else answer["daily"])[name] = value
    try:
        reading = look(answer)
    except NoWeather:
        return
    assert all(d.tmin_c is not None or d.tmax_c is not None or d.known() for d in reading.days)
