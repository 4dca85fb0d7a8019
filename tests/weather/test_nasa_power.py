"""NASA POWER's answers: days that have been, whole or without radiation, or a plain refusal."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.weather_answers import POWER_USUAL, nasa_power

from controller.errors import NoWeather
from controller.weather.online.answers import ParsedAnswer, Place, Question
from controller.weather.online.nasa_power import query, read_days

NOW = datetime(2031, 6, 10, 4, 0, tzinfo=UTC)
FIRST = date(2031, 6, 1)


def question(
    zone: str = "Europe/Madrid", longitude_deg: float = -4.2, now: datetime = NOW
) -> Question:
    place = Place(
        latitude_deg=40.51234, longitude_deg=longitude_deg, elevation_m=640.0, timezone=zone
    )
    return Question(place=place, today=place.date_at(now), past_days=9, forecast_days=0)


def look(answer: Any, asked: Question | None = None) -> ParsedAnswer:
    body = answer if isinstance(answer, str) else json.dumps(answer)
    return read_days(body, asked or question(), given_utc=NOW)


def test_days_that_have_been_are_a_models_and_wind_is_at_two_metres() -> None:
    reading = look(nasa_power(FIRST, 9))
    assert [d.day for d in reading.days] == [FIRST + timedelta(days=n) for n in range(9)]
    assert reading.days[0].known() == {
        "tmin_c": 11.1, "tmax_c": 24.8, "rh_mean_pct": 57.2, "dewpoint_c": 9.2, "wind_m_s": 1.6,
        "solar_mj_m2": 23.9, "rain_mm": 0.4,
    }  # fmt: skip
    assert {(d.source, d.measured, d.modelled, d.wind_height_m) for d in reading.days} == {
        ("nasa-power model", False, True, 2.0)
    }
    assert not any(d.settles for d in reading.days)


def test_the_latest_days_are_taken_without_radiation_and_later_ones_not_at_all() -> None:
    reading = look(nasa_power(FIRST, 9, sun_late=3, all_late=2))
    assert [d.day.day for d in reading.days] == [1, 2, 3, 4, 5, 6, 7]
    assert [d.solar_mj_m2 for d in reading.days[3:]] == [23.9, None, None, None]
    assert "no radiation yet for 2031-06-05, 2031-06-06, 2031-06-07" in reading.remarks
    assert not any("only part" in r for r in reading.remarks)


@pytest.mark.parametrize("fill", [-999.0, -99, 1e20, 9999.9])
def test_the_figure_for_none_is_the_one_the_answer_names(fill: float) -> None:
    reading = look(nasa_power(FIRST, 9, all_late=4, fill=fill))
    assert [d.day.day for d in reading.days] == [1, 2, 3, 4, 5]
    assert all(len(d.known()) == 7 for d in reading.days)


def test_without_that_figure_nothing_is_believed() -> None:
    answer = nasa_power(FIRST, 9)
    del answer["header"]["fill_value"]
    with pytest.raises(NoWeather, match="fill_value"):
        look(answer)


def test_a_day_cut_short_is_left_out() -> None:
    answer = nasa_power(FIRST, 9)
    answer["properties"]["parameter"]["WS2M"]["20310604"] = -999.0
    answer["properties"]["parameter"]["RH2M"]["20310605"] = None
    del answer["properties"]["parameter"]["T2M_MAX"]["20310606"]
    reading = look(answer)
    assert [d.day.day for d in reading.days] == [1, 2, 3, 7, 8, 9]
    words = "left out, being only part of a day: 2031-06-04, 2031-06-05, 2031-06-06"
    assert words in reading.remarks


@pytest.mark.parametrize("unit", ["kW-hr/m^2/day", "kWh/m^2/day"])
def test_radiation_in_kilowatt_hours_is_converted(unit: str) -> None:
    # WORKED: 1 kWh = 3.6 MJ; 6.5 kWh/m2 are 23.4 MJ/m2.
    answer = nasa_power(FIRST, 9)
    answer["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = unit
    answer["properties"]["parameter"]["ALLSKY_SFC_SW_DWN"]["20310601"] = 6.5
    assert look(answer).days[0].solar_mj_m2 == pytest.approx(23.4)


def test_a_unit_nobody_knows_leaves_the_figure_out() -> None:
    answer = nasa_power(FIRST, 9)
    answer["parameters"]["WS2M"]["units"] = "ell/s"
    reading = look(answer)
    assert {d.wind_m_s for d in reading.days} == {None}
    assert any("WS2M not used: its unit is 'ell/s'" in r for r in reading.remarks)
    answer["parameters"]["T2M_MIN"]["units"] = "K"
    with pytest.raises(NoWeather, match="no temperatures"):
        look(answer)


def test_today_is_not_over_and_not_given() -> None:
    assert look(nasa_power(FIRST, 10)).days[-1].day == date(2031, 6, 9)


@pytest.mark.parametrize(
    ("zone", "longitude_deg", "its_day", "ours", "words"),
    [
        # WORKED: the sun's day begins at 0 - round(longitude / 15) h UTC.
        # Madrid in summer: at 0 UTC, the garden's at 22 UTC before.
        ("Europe/Madrid", -4.2, "20310605", date(2031, 6, 5), "2 h after"),
        ("Africa/Accra", -0.2, "20310605", date(2031, 6, 5), None),
        # Kolkata: band 5, its day begins at 19 UTC, the garden's at 18:30.
        ("Asia/Kolkata", 77.0, "20310605", date(2031, 6, 5), None),
        # The west of China: band 5, 19 UTC; by Beijing's clock 16 UTC.
        ("Asia/Shanghai", 76.0, "20310605", date(2031, 6, 5), "3 h after"),
        # Kiritimati: band -10, so 5 June by the sun begins at 10 UTC of 5 June; there, 24 h ahead
        # of the sun, 6 June begins at that moment.
        ("Pacific/Kiritimati", -157.4, "20310605", date(2031, 6, 6), None),
        # Tonga: band -12 and the clock 13 h ahead: 12 UTC of 5 June, an hour into 6 June there.
        ("Pacific/Tongatapu", -175.2, "20310605", date(2031, 6, 6), "1 h after"),
        # Pago Pago, by the same longitude on this side of the line: 11 UTC both.
        ("Pacific/Pago_Pago", -170.7, "20310605", date(2031, 6, 5), None),
    ],
)
def test_the_suns_day_is_set_against_the_gardens_and_the_difference_told(
    zone: str, longitude_deg: float, its_day: str, ours: date, words: str | None
) -> None:
    answer = nasa_power(FIRST, 9)
    answer["properties"]["parameter"]["PRECTOTCORR"][its_day] = 7.5
    reading = look(answer, question(zone, longitude_deg))
    assert [d.day for d in reading.days if d.rain_mm == 7.5] == [ours]
    told = [r for r in reading.remarks if "days are those of the sun" in r]
    assert len(told) == (words is not None)
    assert words is None or words in told[0]


def test_days_of_greenwich_are_refused() -> None:
    answer = nasa_power(FIRST, 9)
    answer["header"]["time_standard"] = "UTC"
    with pytest.raises(NoWeather, match="'UTC', asked for was LST"):
        look(answer)


def test_the_question_asks_for_the_days_before_today() -> None:
    asked = {name: values[0] for name, values in parse_qs(query(question())).items()}
    assert (asked["start"], asked["end"]) == ("20310601", "20310609")
    assert (asked["latitude"], asked["longitude"]) == ("40.5123", "-4.2000")
    assert (asked["community"], asked["format"], asked["time-standard"]) == ("AG", "JSON", "LST")
    assert asked["parameters"].split(",") == [
        "T2M_MIN", "T2M_MAX", "T2MDEW", "RH2M", "WS2M", "PRECTOTCORR", "ALLSKY_SFC_SW_DWN",
    ]  # fmt: skip
    far = {n: v[0] for n, v in parse_qs(query(question("Pacific/Kiritimati", -157.4))).items()}
    assert far["end"] == "20310608"  # it is the 10th there, by the sun the 9th


def test_a_clock_before_the_service_began_is_doubted_before_asking() -> None:
    with pytest.raises(NoWeather, match="1970-01-01: is this clock right"):
        query(question(now=datetime(1970, 1, 1, 3, tzinfo=UTC)))


def test_days_asked_for_by_a_clock_years_behind_are_not_taken_for_the_latest() -> None:
    with pytest.raises(NoWeather, match="its latest day is 2029-06-09, long before 2031-06-10"):
        look(nasa_power(date(2029, 6, 1), 9))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda a: a.pop("header"),
        lambda a: a.pop("properties"),
        lambda a: a["properties"].pop("parameter"),
        lambda a: a.pop("parameters"),
        lambda a: a["properties"]["parameter"].pop("T2M_MAX"),
        lambda a: a["properties"]["parameter"].update(T2M_MAX=[1.0, 2.0]),
        lambda a: a["properties"]["parameter"]["T2M_MAX"].update({"2031-06-01": 20.0}),
        lambda a: a["properties"]["parameter"]["T2M_MAX"].update({"20310601": "20.0"}),
        lambda a: a["header"].update(fill_value=POWER_USUAL["T2M_MAX"]),
    ],
)
def test_what_is_not_as_agreed_is_refused(spoil: Any) -> None:
    answer = nasa_power(FIRST, 9)
    spoil(answer)
    with pytest.raises(NoWeather):
        look(answer)


@given(
    name=st.sampled_from(["T2M_MAX", "WS2M", "ALLSKY_SFC_SW_DWN"]),
    value=st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from(["20310601", "20310602", "x"]), inner, max_size=2)
        ),
        max_leaves=6,
    ),
)
def test_no_answer_brings_the_reader_down(name: str, value: Any) -> None:
    answer = nasa_power(FIRST, 9)
    answer["properties"]["parameter"][name] = value
    try:
        reading = look(answer)
    except NoWeather:
        return
    assert reading.days
    assert all(d.modelled and d.day < date(2031, 6, 10) for d in reading.days)
