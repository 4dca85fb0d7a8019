"""MET Norway's answers: UTC steps become the garden's whole days, or a plain refusal."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.weather_answers import met_norway

from controller.errors import NoWeather
from controller.weather.online.answers import ParsedAnswer, Place, Question
from controller.weather.online.met_norway import query, read_forecast

NOW = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)
TODAY = date(2031, 6, 1)


LACKS = (
    "of the day under way, 2031-06-01, it lacks the hours before 06:00: that day is not taken from "
    "it, nor the rain it still has for it"
)


def question(zone: str = "Europe/Madrid", longitude_deg: float = -4.2, days: int = 16) -> Question:
    place = Place(
        latitude_deg=40.51234, longitude_deg=longitude_deg, elevation_m=640.0, timezone=zone
    )
    return Question(place=place, today=place.date_at(NOW), past_days=0, forecast_days=days)


def look(answer: Any, asked: Question | None = None) -> ParsedAnswer:
    body = answer if isinstance(answer, str) else json.dumps(answer)
    return read_forecast(body, asked or question(), given_utc=NOW)


def test_the_days_are_those_there_whole_and_all_are_a_forecast() -> None:
    """60 hours and 28 times six reach to 10 June 16 UTC; the first day begins 31 May, 22 UTC."""
    reading = look(met_norway(NOW))
    assert [d.day.day for d in reading.days] == [2, 3, 4, 5, 6, 7, 8, 9]
    assert {(d.source, d.measured, d.wind_height_m) for d in reading.days} == {
        ("met-norway forecast", False, 10.0)
    }
    assert reading.days[0].known() == {
        "tmin_c": 15.0, "tmax_c": 15.0, "rh_mean_pct": 60.0, "rh_min_pct": 60.0,
        "rh_max_pct": 60.0, "dewpoint_c": 8.0, "wind_m_s": 2.0, "rain_mm": 0.0,
        "rain_chance_pct": 10.0,
    }  # fmt: skip
    assert reading.asked_on == TODAY
    assert reading.made_utc == NOW
    assert reading.remarks == (LACKS,)


def test_today_counts_when_asked_before_it_begins() -> None:
    midnight_utc = datetime(2031, 5, 31, 22, tzinfo=UTC)
    reading = read_forecast(json.dumps(met_norway(midnight_utc)), question(), given_utc=NOW)
    assert reading.days[0].day == TODAY
    assert not reading.days[0].measured


@pytest.mark.parametrize(
    ("begins_utc", "words"),
    [
        (datetime(2031, 5, 31, 22, tzinfo=UTC), None),  # midnight in Madrid
        (datetime(2031, 5, 31, 20, tzinfo=UTC), None),
        (datetime(2031, 6, 1, 17, tzinfo=UTC), "the day under way, 2031-06-01, it lacks the hours "
         "before 19:00"),
        (datetime(2031, 6, 1, 23, tzinfo=UTC), "nothing of the day under way, 2031-06-01: it "
         "begins on 2031-06-02"),
    ],
)  # fmt: skip
def test_what_is_lacking_of_the_day_under_way_is_said(
    begins_utc: datetime, words: str | None
) -> None:
    said = [r for r in look(met_norway(begins_utc)).remarks if "under way" in r]
    assert len(said) == (words is not None)
    assert words is None or words in said[0]


@pytest.mark.parametrize(
    ("made", "dated"),
    [
        ("2031-05-31T20:00:00Z", NOW),
        ("2031-05-31T15:00:00Z", datetime(2031, 5, 31, 15, tzinfo=UTC)),  # it is being repeated
        ("2031-06-02T00:00:00Z", NOW),  # nothing is made in time to come
    ],
)
def test_days_are_dated_by_when_they_were_given_or_were_made_long_before(
    made: str, dated: datetime
) -> None:
    answer = met_norway(NOW)
    answer["properties"]["meta"]["updated_at"] = made
    assert {d.given_utc for d in look(answer).days} == {dated}


def test_no_more_days_than_were_asked_for() -> None:
    assert [d.day.day for d in look(met_norway(NOW), question(days=3)).days] == [2, 3]


@pytest.mark.parametrize(
    ("today", "days"),
    [
        (date(2031, 6, 2), [2, 3, 4]),  # kept since yesterday: the days asked for go by today
        (date(1970, 1, 1), [2, 3]),  # by a clock that is wrong: by the day it was given
        (date(2051, 1, 1), [2, 3, 4, 5, 6, 7, 8, 9]),
    ],
)
def test_the_days_asked_for_go_by_the_later_of_two_dates(today: date, days: list[int]) -> None:
    asked = Question(place=question().place, today=today, past_days=0, forecast_days=3)
    assert [d.day.day for d in look(met_norway(NOW), asked).days] == days
    assert len(asked.days_to_come(TODAY)) <= 16  # even by a clock that is years ahead


def test_the_sums_of_a_day_by_the_hour() -> None:
    # WORKED: 2 June runs from 18 h to 42 h after 1 June 4 UTC. Warmth rises 1 °C an hour from 0 °C:
    # lowest 18, highest 42 (both midnights), the dew point's mean (9 + 21) / 2 = 15. Rain 0.5 mm in
    # the hour before it, 1 in its first, 2 in its last, 4 in the hour after: 3.
    rain = {17: 0.5, 18: 1.0, 41: 2.0, 42: 4.0}
    answer = met_norway(
        NOW, air_c=float, dew_c=lambda h: h / 2, rain_mm_h=lambda h: rain.get(h, 0.0),
        chance_pct=lambda h: {17: 99.0, 30: 55.0, 42: 99.0}.get(h, 5.0),
    )  # fmt: skip
    day = look(answer).days[0]
    assert (day.tmin_c, day.tmax_c) == (18.0, 42.0)
    assert day.dewpoint_c == pytest.approx(15.0)
    assert day.rain_mm == pytest.approx(3.0)
    assert day.rain_chance_pct == 55.0


def test_an_hour_and_its_six_hours_are_never_both_counted() -> None:
    """Each hour carries the six hours after it, too: 24 hours of 1 mm are 24 mm, on every day."""
    reading = look(met_norway(NOW, rain_mm_h=lambda h: 1.0))
    assert [d.rain_mm for d in reading.days] == [pytest.approx(24.0)] * 8


def test_steps_of_six_hours_are_split_at_the_gardens_midnight() -> None:
    # WORKED: from 20 June 0 UTC all steps are of six hours. 21 June runs from 20 June 22 UTC to 21
    # June 22 UTC, 22 h to 46 h. Rain 0.3 mm an hour in 18-24 h (2 of its 6 h: 0.6), 0.5 in 24-30 h
    # (3.0), 0.1 in 42-48 h (4 of 6: 0.4): 4.0. Wind 2, but 8 m/s at 30 h: two flanks of six hours,
    # each on average 3 above 2: 2 + 2 * 6 * 3 / 24 = 3.5.
    begins = datetime(2031, 6, 20, 0, tzinfo=UTC)
    rain = {18: 0.3, 24: 0.5, 42: 0.1}
    answer = met_norway(
        begins, hourly=0, rain_mm_h=lambda h: rain.get(h // 6 * 6, 0.0),
        wind_m_s=lambda h: 8.0 if h == 30 else 2.0,
    )  # fmt: skip
    body = json.dumps(answer)
    asked = Question(place=question().place, today=date(2031, 6, 20), past_days=0, forecast_days=2)
    (day,) = read_forecast(body, asked, given_utc=begins).days
    assert day.day == date(2031, 6, 21)
    assert day.rain_mm == pytest.approx(4.0)
    assert day.wind_m_s == pytest.approx(3.5)
    assert day.rh_min_pct is None  # four moments do not tell it


def test_between_wide_steps_the_highest_and_lowest_are_those_told_of() -> None:
    """28 °C at 39 h falls between the steps at 36 and 42 h; 5 °C at 27 h between 24 and 30 h."""
    begins = datetime(2031, 6, 20, 0, tzinfo=UTC)
    answer = met_norway(begins, hourly=0, air_c=lambda h: {27: 5.0, 39: 28.0}.get(h, 15.0))
    asked = Question(place=question().place, today=date(2031, 6, 20), past_days=0, forecast_days=2)
    (day,) = read_forecast(json.dumps(answer), asked, given_utc=begins).days
    assert (day.tmin_c, day.tmax_c) == (5.0, 28.0)


def test_wide_steps_without_highest_and_lowest_make_no_day() -> None:
    answer = met_norway(NOW)
    for step in answer["properties"]["timeseries"]:
        for name in ("air_temperature_max", "air_temperature_min"):
            step["data"].get("next_6_hours", {"details": {}})["details"].pop(name, None)
    reading = look(answer)
    assert [d.day.day for d in reading.days] == [2]  # by the hour to 3 June 16 UTC
    assert reading.remarks[0].startswith("left out, being only part of a day: 2031-06-03, ")


def test_a_step_that_lacks_its_rain_spoils_its_day_only() -> None:
    answer = met_norway(NOW)
    step = answer["properties"]["timeseries"][30]["data"]
    del step["next_1_hours"]["details"]["precipitation_amount"]
    reading = look(answer)
    assert [d.day.day for d in reading.days][:2] == [3, 4]
    assert reading.remarks == ("left out, being only part of a day: 2031-06-02", LACKS)


@pytest.mark.parametrize("value", [None, "gone"])
def test_a_figure_left_empty_is_bridged_and_never_nought(value: object) -> None:
    answer = met_norway(NOW, air_c=lambda h: 15.0)
    details = answer["properties"]["timeseries"][30]["data"]["instant"]["details"]
    details["air_temperature"] = None
    if value == "gone":
        del details["air_temperature"]
    day = look(answer).days[0]
    assert (day.day.day, day.tmin_c) == (2, 15.0)


def test_a_gap_of_more_than_six_hours_makes_no_day() -> None:
    answer = met_norway(NOW)
    del answer["properties"]["timeseries"][24:32]  # nine hours apart
    assert look(answer).days[0].day.day == 3


@pytest.mark.parametrize(
    ("zone", "longitude_deg", "first", "first_hour"),
    [
        # NOW is 1 June 4 UTC. The first whole day begins so many hours after it.
        ("Pacific/Kiritimati", -157.4, date(2031, 6, 2), 6),  # midnight at 10 UTC
        ("Pacific/Pago_Pago", -170.7, date(2031, 6, 1), 7),  # at 11 UTC; there it is 31 May still
        ("Pacific/Auckland", 174.8, date(2031, 6, 2), 8),  # at 12 UTC
        ("America/Los_Angeles", -120.0, date(2031, 6, 1), 3),  # at 7 UTC; 31 May there
    ],
)
def test_far_from_greenwich_a_day_is_still_the_gardens(
    zone: str, longitude_deg: float, first: date, first_hour: int
) -> None:
    # WORKED: warmth is the hours since NOW, so that the day's ends are its lowest and highest.
    reading = look(met_norway(NOW, air_c=lambda h: h / 10), question(zone, longitude_deg))
    day = reading.days[0]
    assert day.day == first
    assert day.tmin_c == pytest.approx(first_hour / 10)
    assert day.tmax_c == pytest.approx((first_hour + 24) / 10)


@pytest.mark.parametrize(
    ("begins", "day", "lasts_h"),
    [
        (datetime(2031, 3, 29, 6, tzinfo=UTC), date(2031, 3, 30), 23),
        (datetime(2031, 10, 25, 6, tzinfo=UTC), date(2031, 10, 26), 25),
    ],
)
def test_a_day_on_which_the_clocks_change_has_23_or_25_hours_of_rain(
    begins: datetime, day: date, lasts_h: int
) -> None:
    asked = Question(place=question().place, today=begins.date(), past_days=0, forecast_days=3)
    body = json.dumps(met_norway(begins, rain_mm_h=lambda h: 1.0))
    days = read_forecast(body, asked, given_utc=begins).days
    # WORKED: a millimetre an hour.
    assert [(d.day, d.rain_mm) for d in days] == [
        (day, pytest.approx(float(lasts_h))),
        (day + timedelta(days=1), pytest.approx(24.0)),
    ]


@pytest.mark.parametrize(
    ("name", "unit", "value", "field", "expected"),
    [
        ("air_temperature", "fahrenheit", 68.0, "tmax_c", 20.0),
        ("wind_speed", "km/h", 9.0, "wind_m_s", 2.5),
        ("wind_speed", "knots", 10.0, "wind_m_s", 5.14444),
    ],
)
def test_a_unit_is_read_as_the_answer_names_it(
    name: str, unit: str, value: float, field: str, expected: float
) -> None:
    answer = met_norway(NOW, air_c=lambda h: value, wind_m_s=lambda h: value)
    answer["properties"]["meta"]["units"][name] = unit
    # WORKED: 1.8 F a degree from 32 F, 3.6 km/h, 0.514444 m/s a knot.
    assert look(answer).days[0].value(field) == pytest.approx(expected, rel=1e-5)


def test_a_unit_nobody_knows_leaves_the_figure_out() -> None:
    answer = met_norway(NOW)
    answer["properties"]["meta"]["units"]["precipitation_amount"] = "barleycorn"
    reading = look(answer)
    assert reading.days[0].rain_mm is None
    assert reading.days[0].tmax_c == 15.0
    assert len(reading.remarks) == 2
    assert "its unit is 'barleycorn'" in reading.remarks[0]
    answer["properties"]["meta"]["units"]["air_temperature"] = "K"
    with pytest.raises(NoWeather, match="no temperatures"):
        look(answer)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda p: p.pop("timeseries"),
        lambda p: p.update(timeseries=[]),
        lambda p: p.pop("meta"),
        lambda p: p["timeseries"].reverse(),
        lambda p: p["timeseries"].insert(3, p["timeseries"][3]),
        lambda p: p["timeseries"][3].update(time="2031-06-01T07:00:00"),  # of no zone
        lambda p: p["timeseries"][3].update(time="yesterday"),
        lambda p: p["timeseries"][3].update(time=1938052800),
        lambda p: p["timeseries"][3].pop("data"),
        lambda p: p["timeseries"].insert(3, 7),
        lambda p: p["timeseries"][3]["data"]["instant"]["details"].update(wind_speed="2.0"),
        lambda p: p["timeseries"].__delitem__(slice(20, None)),  # no day whole
    ],
)
def test_what_is_not_as_agreed_is_refused(spoil: Any) -> None:
    answer = met_norway(NOW)
    spoil(answer["properties"])
    with pytest.raises(NoWeather):
        look(answer)


def test_an_impossible_figure_is_left_out_and_named() -> None:
    reading = look(met_norway(NOW, wind_m_s=lambda h: 90.0))
    assert reading.days[0].wind_m_s is None
    assert any("2031-06-02, wind_m_s: found 90 m/s" in r for r in reading.remarks)


def test_the_question_has_four_decimals_and_a_whole_height() -> None:
    assert query(question().place) == "lat=40.5123&lon=-4.2000&altitude=640"


@given(
    at=st.integers(0, 80),
    where=st.sampled_from(["time", "data", "instant", "next_1_hours", "next_6_hours"]),
    value=st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from(["details", "air_temperature"]), inner, max_size=2)
        ),
        max_leaves=6,
    ),
)
def test_no_answer_brings_the_reader_down(at: int, where: str, value: Any) -> None:
    answer = met_norway(NOW)
    step = answer["properties"]["timeseries"][at]
    (step if where in step else step["data"])[where] = value
    try:
        reading = look(answer)
    except NoWeather:
        return
    assert reading.days
    assert all(d.day >= TODAY and not d.measured for d in reading.days)
