"""A column's heading is understood by plain words, or left alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.weather.station_log import layout as hd


@pytest.mark.parametrize(
    ("text", "meaning", "has_unit"),
    [
        ("Date/Time", hd.TIME, False),
        ("timestamp", hd.TIME, False),
        ("Date", hd.DATE_ONLY, False),
        ("Temp (°C)", hd.TEMP, True),
        ("Outdoor Temperature [degF]", hd.TEMP, True),
        ("Temperature", hd.TEMP, False),
        ("Temperature (°)", hd.TEMP, False),
        ("outTemp_C", hd.TEMP, True),
        ("Air temp, deg C", hd.TEMP, True),
        ("Temp In (°C)", None, False),
        ("Inside Temperature (°C)", None, False),
        ("Wind Chill (°C)", None, False),
        ("Heat Index (°F)", None, False),
        ("Min Temp (°C)", None, False),
        ("Humidity Out (%)", hd.HUMIDITY, True),
        ("Relative Humidity", hd.HUMIDITY, True),
        ("Indoor Humidity (%)", None, False),
        ("Dew Point (°F)", hd.DEW, True),
        ("Wind Speed (km/h)", hd.WIND, True),
        ("Wind Direction (°)", None, False),
        ("Wind Run (km)", None, False),
        ("Wind Gust (mph)", None, False),
        ("Max Wind (mph)", None, False),
        ("Solar Radiation (W/m²)", hd.SUN, True),
        ("Solar Rad. (W/m^2)", hd.SUN, True),
        ("Solar Energy (Ly)", hd.SUN_ENERGY, True),
        ("High Solar Rad. (W/m2)", None, False),
        ("UV Index", None, False),
        ("Rain (in)", hd.RAIN_PLAIN, True),
        ("Rainfall mm", hd.RAIN_PLAIN, True),
        ("Precipitation (mm)", hd.RAIN_PLAIN, True),
        ("Rain Rate (in/hr)", None, False),
        ("Rain (mm/h)", None, False),
        ("Hourly Rain (mm)", None, False),
        ("Rain last 24h (mm)", None, False),
        ("Rain yesterday (mm)", None, False),
        ("Daily Rain (in)", hd.RAIN_DAY, True),
        ("Rain since midnight (mm)", hd.RAIN_DAY, True),
        ("Total Rain (mm)", hd.RAIN_TOTAL, True),
        ("Monthly Rain (mm)", hd.RAIN_TOTAL, True),
        ("Barometric Pressure (hPa)", None, False),
        ("Battery", None, False),
    ],
)
def test_a_heading_means_what_it_says(text: str, meaning: str | None, has_unit: bool) -> None:
    found = hd.heading_of(0, text)
    assert found.meaning == meaning
    assert (found.to_si is not None) is has_unit


@given(st.text(max_size=40))
def test_no_heading_brings_it_down(text: str) -> None:
    assert hd.heading_of(3, text).at == 3


@given(st.floats(-40.0, 140.0))
def test_fahrenheit_in_a_heading_is_turned(fahrenheit: float) -> None:
    to_si = hd.heading_of(0, "Temp (°F)").to_si
    assert to_si is not None
    assert to_si(fahrenheit) == pytest.approx((fahrenheit - 32) * 5 / 9)
