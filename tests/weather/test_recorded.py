"""Real answers of the four services, read into days, against figures worked out elsewhere.

The answers, their sources and licences: tests/support/recorded/README.md. The daily figures there
are not our own: another program made them from the same files.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pytest import approx

from controller.demand.climate.reference_et import reference_et
from controller.errors import NoWeather
from controller.weather.online import met_norway, nasa_power, nws, open_meteo
from controller.weather.online.answers import ParsedAnswer, Place, Question

RECORDED = Path(__file__).parents[1] / "support" / "recorded"


def body(name: str) -> str:
    return (RECORDED / f"{name}.json").read_text(encoding="utf-8")


def question(
    latitude_deg: float, longitude_deg: float, elevation_m: float, zone: str, given_utc: datetime,
    *, past_days: int = 0, forecast_days: int = 0,
) -> Question:  # fmt: skip
    place = Place(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        timezone=zone,
    )
    return Question(
        place=place,
        today=place.date_at(given_utc),
        past_days=past_days,
        forecast_days=forecast_days,
    )


LONDON_UTC = datetime(2020, 7, 20, 11, 44, 31, tzinfo=UTC)
FLORIDA_UTC = datetime(2022, 2, 4, 3, 20, tzinfo=UTC)
IDAHO_UTC = datetime(2025, 7, 28, 18, tzinfo=UTC)
VERACRUZ_UTC = datetime(2026, 9, 19, 12, tzinfo=UTC)


def london() -> ParsedAnswer:
    asked = question(51.5, -0.1, 25.0, "Europe/London", LONDON_UTC, forecast_days=9)
    return met_norway.read_forecast(body("met_norway_london_2020"), asked, given_utc=LONDON_UTC)


def florida() -> ParsedAnswer:
    asked = question(30.0, -85.0, 4.0, "America/New_York", FLORIDA_UTC, forecast_days=7)
    return nws.read_forecast(body("nws_gridpoint_tae_2022"), asked, given_utc=FLORIDA_UTC)


def idaho() -> ParsedAnswer:
    asked = question(47.685, -116.784, 647.0, "GMT", IDAHO_UTC, forecast_days=7)
    return open_meteo.read_answer(body("open_meteo_idaho_2025"), asked, fetched_utc=IDAHO_UTC)


def veracruz(answer: Any = None) -> ParsedAnswer:
    asked = question(19.5, -96.9, 1133.0, "America/Mexico_City", VERACRUZ_UTC, past_days=9)
    text = body("nasa_power_veracruz_2026") if answer is None else json.dumps(answer)
    return nasa_power.read_days(text, asked, given_utc=VERACRUZ_UTC)


def test_met_norways_steps_make_these_days() -> None:
    # PRINTED in the README's source, to the figures given: low, high, dew point, humidity, wind at
    # 10 m, rain.
    wanted = {
        "2020-07-21": (10.9, 20.2, 7.835, 61.077, 2.267, 0.0),
        "2020-07-22": (11.0, 23.3, 9.249, 61.239, 2.134, 0.0),
        "2020-07-23": (11.8, 22.9, 10.018, 62.544, 3.760, 0.0),
        "2020-07-24": (11.2, 23.3, 10.997, 65.524, 2.021, 0.0),
        "2020-07-25": (14.6, 23.4, 13.338, 71.286, 3.606, 1.1),
    }
    reading = london()
    found = {
        str(d.day): (d.tmin_c, d.tmax_c, d.dewpoint_c, d.rh_mean_pct, d.wind_m_s, d.rain_mm)
        for d in reading.days
    }
    assert found.keys() == wanted.keys()
    for day, figures in wanted.items():
        assert found[day] == approx(figures, abs=0.002), day
    assert {d.wind_height_m for d in reading.days} == {10.0}
    # Its first step is 11 UTC, an hour after noon in London: the day under way is not whole.
    assert reading.remarks == (
        "of the day under way, 2020-07-20, it lacks the hours before 12:00: that day is not taken "
        "from it, nor the rain it still has for it",
    )
    # It was made ten hours before it was given, as its global model is: no old forecast.
    assert reading.made_utc == datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC)
    assert {d.given_utc for d in reading.days} == {LONDON_UTC}


def test_the_us_services_layers_make_these_days() -> None:
    # PRINTED as above: low, high, dew point, humidity mean, lowest, highest, wind, rain.
    wanted = {
        "2022-02-04": (9.444, 22.222, 16.273, 92.5, 84.0, 100.0, 3.451, 14.224),
        "2022-02-05": (3.889, 12.778, 2.685, 72.292, 45.0, 93.0, 3.430, 2.794),
        "2022-02-06": (3.333, 14.444, 4.838, 80.0, 62.0, 93.0, 1.415, 0.0),
    }
    reading = florida()
    found = {
        str(d.day): (
            d.tmin_c, d.tmax_c, d.dewpoint_c, d.rh_mean_pct, d.rh_min_pct, d.rh_max_pct,
            d.wind_m_s, d.rain_mm,
        )
        for d in reading.days
    }  # fmt: skip
    assert found.keys() == wanted.keys()
    for day, figures in wanted.items():
        assert found[day] == approx(figures, abs=0.001), day
    # The garden's 3 February is under way; its layers begin at 21 UTC, four in the afternoon.
    assert any("2022-02-03, it lacks the hours before 16:00" in r for r in reading.remarks)


def test_open_meteos_figures_come_in_our_units_and_make_this_reference_et() -> None:
    reading = idaho()
    assert [d.day for d in reading.days] == [
        date(2025, 7, 28) + timedelta(days=n) for n in range(7)
    ]
    first = reading.days[0]
    # PRINTED in the README's source, from degrees F and miles an hour.
    assert (first.tmin_c, first.tmax_c, first.dewpoint_c) == approx((13.39, 32.83, 6.11), abs=0.006)
    assert first.wind_m_s == approx(1.654, abs=0.0006)
    assert (first.solar_mj_m2, first.rain_mm, first.rain_chance_pct) == (27.96, 0.0, 1.0)
    etos = [
        reference_et(
            day=d.day, latitude_deg=47.685, elevation_m=647.0, tmin_c=d.tmin_c or 0.0,
            tmax_c=d.tmax_c or 0.0, dewpoint_c=d.dewpoint_c, rh_min_pct=d.rh_min_pct,
            rh_max_pct=d.rh_max_pct, wind_m_s=d.wind_m_s, wind_height_m=d.wind_height_m,
            solar_mj_m2=d.solar_mj_m2,
        ).eto_mm_day
        for d in reading.days
    ]  # fmt: skip
    # PRINTED there: FAO-56 eq. 6 by another program.
    assert etos == approx([5.93, 6.05, 6.82, 6.18, 6.02, 5.82, 5.85], abs=0.006)
    # The service's own, a sum of hours: the week within 3 %, a day within 10 %.
    theirs = json.loads(body("open_meteo_idaho_2025"))["daily"]["et0_fao_evapotranspiration"]
    assert sum(etos) == approx(sum(theirs), rel=0.03)
    assert etos == approx(theirs, rel=0.10)


def test_powers_days_are_there_as_they_stand_and_the_one_to_come_is_not() -> None:
    reading = veracruz()
    assert [d.known() for d in reading.days] == [
        {
            "tmin_c": 18.62, "tmax_c": 27.29, "rh_mean_pct": 82.58, "dewpoint_c": 18.1,
            "wind_m_s": 0.97, "solar_mj_m2": 23.09, "rain_mm": 6.3,
        },
        {
            "tmin_c": 18.9, "tmax_c": 27.22, "rh_mean_pct": 80.41, "dewpoint_c": 18.4,
            "wind_m_s": 1.11, "solar_mj_m2": 21.56, "rain_mm": 2.18,
        },
    ]  # fmt: skip
    assert [d.day.day for d in reading.days] == [10, 11]
    assert all(d.modelled and not d.measured for d in reading.days)


@pytest.mark.parametrize(
    ("name", "field"),
    [("WS2M", "wind_m_s"), ("PRECTOTCORR", "rain_mm"), ("T2MDEW", "dewpoint_c")],
)
def test_one_of_powers_figures_empty_throughout_does_not_cost_the_others(
    name: str, field: str
) -> None:
    answer = json.loads(body("nasa_power_veracruz_2026"))
    column = answer["properties"]["parameter"][name]
    column.update(dict.fromkeys(column, -999.0))
    reading = veracruz(answer)
    assert [d.day.day for d in reading.days] == [10, 11]
    assert {d.value(field) for d in reading.days} == {None}
    assert {len(d.known()) for d in reading.days} == {6}
    assert f"the weather service left {name} empty on every day" in reading.remarks


@pytest.mark.parametrize("name", ["T2M_MIN", "T2M_MAX"])
def test_powers_temperatures_empty_throughout_are_no_day(name: str) -> None:
    answer = json.loads(body("nasa_power_veracruz_2026"))
    column = answer["properties"]["parameter"][name]
    column.update(dict.fromkeys(column, -999.0))
    with pytest.raises(NoWeather, match="no day whole"):
        veracruz(answer)
