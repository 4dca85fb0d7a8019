"""Quantities as written, to SI and back."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import show

read_flow, read_angle = partial(q.parse, kind=q.FLOW), partial(q.parse, kind=q.ANGLE)
read_temperature = partial(q.parse, kind=q.TEMPERATURE)
read_warmth = partial(q.parse, kind=q.WARMTH)
read_days, read_salt = partial(q.parse, kind=q.DAYS), partial(q.parse, kind=q.SALT)

# PRINTED: Thompson and Taylor (2008), NIST SP 811, appendix B.8, factors to SI, seven digits as
# printed (from memory; each is also the exact inch, gallon or pound-force definition worked out).
NIST = [
    ("1 in", q.read_length, 2.54e-2),
    ("1 ft", q.read_length, 3.048e-1),
    ("1 yd", q.read_length, 9.144e-1),
    ("1 gal", q.read_volume, 3.785412e-3),
    ("1 qt", q.read_volume, 9.463529e-4),
    ("1 cup", q.read_volume, 2.365882e-4),
    ("1 fl oz", q.read_volume, 2.957353e-5),
    ("1 gal/min", read_flow, 6.309020e-5),
]


@pytest.mark.parametrize(("written", "read", "si"), NIST)
def test_a_unit_is_as_large_as_nist_prints(written: str, read: Any, si: float) -> None:
    assert read(written) == pytest.approx(si, rel=5e-7)


def test_a_psi_is_as_many_pascals_as_nist_prints() -> None:
    # PRINTED: NIST SP 811, appendix B.8: 1 psi = 6.894 757 E+03 Pa, from memory.
    assert q.read_pressure("6.894757 kPa") == pytest.approx(q.read_pressure("1 psi"), rel=1e-7)


# WORKED: each from the definition of its unit.
WORKED = [
    ("1/16 in", q.read_length, 25.4e-3 / 16),
    ("1 1/4 in", q.read_length, 31.75e-3),
    ("1-1/4 in", q.read_length, 31.75e-3),
    ("1¼ in", q.read_length, 31.75e-3),
    ("5 ft 6 in", q.read_length, 66 * 25.4e-3),
    ("5' 6\"", q.read_length, 66 * 25.4e-3),
    ("-4 in", q.read_length, -0.1016),
    ("−4 in", q.read_length, -0.1016),
    ("410 m", q.read_length, 410.0),
    ("0,5 cm", q.read_length, 0.005),
    ("0,125 in", q.read_length, 3.175e-3),
    ("3 bar", q.read_pressure, q.read_pressure("300 kPa")),
    ("10 m water", q.read_pressure, 10.0),
    ("28 L/min", read_flow, 28e-3 / 60),
    ("2,5 l/min", read_flow, 2.5e-3 / 60),
    ("90 l per hour", read_flow, 1.5e-3 / 60),
    ("1 m3/h", read_flow, 1 / 3600),
    ("90 s", q.read_duration, 90.0),
    ("10 min", q.read_duration, 600.0),
    ("1 h 15 min", q.read_duration, 4500.0),
    ("40 deg", read_angle, 40.0),
    ("60 %", q.read_share, 0.6),
    (0.6, q.read_share, 0.6),
    ("15 C", read_temperature, 15.0),
    ("-2,5 °C", read_temperature, -2.5),
    ("32 F", read_temperature, 0.0),
    ("59 °F", read_temperature, 15.0),
    ("-40 F", read_temperature, -40.0),
    ("250 C days", read_warmth, 250.0),
    ("250 °C·d", read_warmth, 250.0),
    ("450 F days", read_warmth, 250.0),
    ("450 °F·d", read_warmth, 250.0),
    ("450 F-days", read_warmth, 250.0),
    ("450 f day", read_warmth, 250.0),
    ("12 days", read_days, 12.0),
    ("1 day", read_days, 1.0),
    ("2 weeks", read_days, 14.0),
    ("1.2 dS/m", read_salt, 1.2),
    ("1,2 mS/cm", read_salt, 1.2),
    ("1200 uS/cm", read_salt, 1.2),
    ("1200 µS/cm", read_salt, 1.2),
    ("1200 μS/cm", read_salt, 1.2),
    ("120 mS/m", read_salt, 1.2),
]


@pytest.mark.parametrize(("written", "read", "si"), WORKED)
def test_a_quantity_reads_as_meant(written: str | float, read: Any, si: Any) -> None:
    assert read(written) == pytest.approx(si, rel=1e-9)


def test_a_bare_number_is_told_which_unit_it_lacks() -> None:
    with pytest.raises(QuantityError) as caught:
        q.parse(1.5, q.LENGTH, what="a bore", example='"1.5 mm" or "1/16 in"')
    assert str(caught.value) == ('found 1.5; a bore needs its unit, as in "1.5 mm" or "1/16 in"')


@pytest.mark.parametrize("found", ["1.5", "1/16", "-3", 3, math.inf, math.nan])
def test_a_number_without_a_unit_is_never_guessed(found: Any) -> None:
    with pytest.raises(QuantityError, match="needs its unit"):
        q.read_length(found)


@pytest.mark.parametrize(
    "found",
    [
        *("5 furlongs", "5 gal", "in", "", "1/0 in", "5 in 3 ft", "1 ft 1 ft", "1e3 m", "inf m"),
        *("- in", "--3 in", "1..5 m", "1,000 m", "12,345 ft", "5 m2", "9" * 5000 + " m", "٣ m"),
    ],
)
def test_what_is_no_length_is_told_the_units_of_length(found: Any) -> None:
    with pytest.raises(QuantityError, match="a length is in mm, cm, m, in, ft or yd"):
        q.read_length(found)


@pytest.mark.parametrize("found", [True, None, [1], {"a": 1}])
def test_what_is_not_even_a_number_is_no_length(found: Any) -> None:
    with pytest.raises(QuantityError, match="a length is written as in"):
        q.read_length(found)


@pytest.mark.parametrize("found", [True, 1.5, -0.1, math.nan, "0.6", "101 %", 60, 10**400])
def test_a_share_lies_between_nothing_and_all(found: Any) -> None:
    with pytest.raises(QuantityError, match="a share is a number from 0 to 1"):
        q.read_share(found)


@pytest.mark.parametrize(
    ("written", "us"),
    [
        ("11 ft", True),
        ("3 m", False),
        ("48 psi", True),
        ("5 L", False),
        ("5 min", None),
        ("59 F", True),
        ("15 C", False),
        ("450 F days", True),
        ("250 °C·d", False),
        ("12 days", None),
        ("1.2 dS/m", None),
    ],
)
def test_a_unit_belongs_to_the_us_to_the_rest_or_to_both(written: str, us: bool | None) -> None:
    assert q.is_us(written) is us


@given(st.text(max_size=40))
def test_any_text_reads_or_is_refused_in_our_words(text: str) -> None:
    for kind in q.KINDS:
        try:
            assert math.isfinite(q.parse(text, kind))
        except QuantityError as error:
            assert str(error).startswith("found ")


# What is shown has so many decimals: half a unit of the last place, in SI.
BACK = [
    # A fraction stands for anything within a thousandth of an inch; quarter inches beyond 24 in.
    (show.show_length, q.read_length, True, (-100.0, 100.0), 0.0254 / 8 + 1e-9, 0.0),
    (show.show_length, q.read_length, False, (-100.0, 100.0), 0.005 + 1e-9, 0.0),
    (show.show_bore, q.read_length, True, (1e-4, 0.05), 0.0254 * 0.0011, 0.0),
    (show.show_bore, q.read_length, False, (1e-4, 0.05), 0.5e-5 + 1e-9, 0.0),
    (show.show_pressure, q.read_pressure, True, (0.0, 200.0), 0.04, 0.0),
    (show.show_pressure, q.read_pressure, False, (0.0, 200.0), 0.006, 0.0),
    (show.show_flow, read_flow, True, (0.0, 0.01), 3.2e-8, 0.0),
    (show.show_flow, read_flow, False, (0.0, 0.01), 8.4e-8, 0.0),
    (show.show_volume, q.read_volume, True, (0.0, 10.0), 1.9e-5, 0.0),
    (show.show_volume, q.read_volume, False, (0.0, 10.0), 5.1e-5, 0.0),
    (show.show_temperature, read_temperature, True, (-40.0, 60.0), 0.03, 0.0),
    (show.show_temperature, read_temperature, False, (-40.0, 60.0), 0.0501, 0.0),
]


@pytest.mark.parametrize(("shown", "read", "us", "span", "within", "rel"), BACK)
def test_what_is_shown_reads_back(
    shown: Any, read: Any, us: bool, span: tuple[float, float], within: float, rel: float
) -> None:
    @given(st.floats(*span))
    def reads_back(value: Any) -> None:
        assert read(shown(value, us)) == pytest.approx(value, abs=within, rel=rel)

    reads_back()


@given(st.floats(0.0, 1e5))
def test_a_time_shown_reads_back_to_half_a_second(seconds: float) -> None:
    assert q.read_duration(show.show_duration(seconds)) == pytest.approx(seconds, abs=0.51)


@pytest.mark.parametrize("found", ["250 days", "250 C", "250 GDD", "250 degree days"])
def test_a_sum_of_warmth_says_of_which_degrees(found: str) -> None:
    with pytest.raises(QuantityError, match="a sum of warmth is in C days or F days"):
        read_warmth(found)


@given(st.integers(1, 640))
def test_a_fraction_of_an_inch_comes_back_exactly(sixty_fourths: int) -> None:
    metres = sixty_fourths / 64 * 0.0254
    assert "." not in show.show_bore(metres, True)
    assert q.read_length(show.show_bore(metres, True)) == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    ("metres", "us", "shown"),
    [
        (0.0015875, True, "1/16 in"),
        (0.0015, True, "0.059 in"),
        (0.0015, False, "1.5 mm"),
        (0.03175, True, "1 1/4 in"),
    ],
)
def test_a_drill_is_shown_as_a_drill_box_has_it(metres: float, us: bool, shown: str) -> None:
    assert show.show_bore(metres, us) == shown


@pytest.mark.parametrize(
    ("metres", "us", "shown"),
    [
        (3.3528, True, "11 ft"),
        (1.6764, True, "5 ft 6 in"),
        (0.6096, True, "2 ft"),
        (-0.1016, True, "-4 in"),
        (0.0, True, "0 in"),
        (0.15, False, "15 cm"),
        (3.4, False, "3.4 m"),
    ],
)
def test_a_length_is_shown_as_a_tape_has_it(metres: float, us: bool, shown: str) -> None:
    assert show.show_length(metres, us) == shown
