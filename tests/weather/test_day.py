"""A day of weather keeps what is unknown apart from what is nought."""

from __future__ import annotations

from datetime import date

import pytest

from controller.weather.day import VALUES, WeatherDay

DAY = date(2031, 6, 1)


def test_what_is_not_given_is_unknown() -> None:
    day = WeatherDay(day=DAY)
    assert not day.known()
    assert all(day.value(name) is None for name in VALUES)


def test_no_rain_is_something_known() -> None:
    assert WeatherDay(day=DAY, rain_mm=0.0).known() == {"rain_mm": 0.0}


def test_a_changed_day_leaves_the_first_as_it_was() -> None:
    day = WeatherDay(day=DAY, tmin_c=8.0)
    assert day.with_(tmin_c=9.0).tmin_c == 9.0
    assert day.tmin_c == 8.0


def test_only_figures_of_the_weather_are_values() -> None:
    with pytest.raises(KeyError):
        WeatherDay(day=DAY).value("wind_height_m")
