"""Each kind of quantity is shown in the gardener's units."""

from __future__ import annotations

from typing import get_args

import pytest

from controller.garden.show import show_figures
from controller.messages import Kind, Message, Quantity, Value
from controller.wording import say as say_module
from controller.wording.say import _SHOWN, say


def test_every_kind_of_quantity_has_its_own_way_to_be_shown() -> None:
    assert set(get_args(Kind)) == set(_SHOWN)


# WORKED, by NIST SP 811: 1 in is 25.4 mm, 1 ft 0.3048 m, 1 gal 3.785412 L, 1 psi 6894.757 Pa, or
# 0.70434 m of water of 998.2 kg/m3; 1 lbf 4.448222 N; 100 °F is 37.8 °C.
@pytest.mark.parametrize(
    ("quantity", "metric", "us"),
    [
        (Quantity(2.4384, "off level"), "240 cm (96 in)", "96 in (240 cm)"),
        (Quantity(0.0012, "off level"), "1.2 mm (0.047 in)", "0.047 in (1.2 mm)"),
        (Quantity(0.01, "tilt"), "1 cm", "1 cm (0.4 in)"),
        (Quantity(1.524, "speed"), "1.5 m/s (5.0 ft/s)", "5.0 ft/s (1.5 m/s)"),
        (Quantity(35.217, "head"), "35.2 m of water", "50 psi"),
        (Quantity(444.82216, "force"), "445 N (100 lbf)", "100 lbf (445 N)"),
        (Quantity(37.7778, "pipe temperature"), "38 °C (100 °F)", "100 °F (38 °C)"),
        (Quantity(3.785412e-3 / 60.0, "rough flow"), "3.79 L/min", "1 gal/min"),
        (Quantity(0.03785412, "rough volume"), "38 L", "10 gal"),
        (Quantity(234.0, "rough number"), "230", "230"),
        (Quantity(0.125, "percent"), "12 %", "12 %"),
        (Quantity(180.0, "duration"), "3 min", "3 min"),
    ],
)
def test_quantities_are_shown(
    monkeypatch: pytest.MonkeyPatch, quantity: Quantity, metric: str, us: str
) -> None:
    monkeypatch.setattr(say_module, "SENTENCES", {"a": "{x}"})
    message = Message("a", {"x": quantity})
    assert (say(message, us=False), say(message, us=True)) == (metric, us)


def test_figures_are_written_out() -> None:
    assert [show_figures(v, 2) for v in (0.0, 0.0123, 9.96, 234.0)] == ["0", "0.012", "10", "230"]


def test_a_share_has_a_space_before_its_sign_and_no_number_a_power_of_ten(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(say_module, "SENTENCES", {"a": "{k:figures}, {error:.1%}"})
    for k, words in ((114_300.0, "114000, 10.2 %"), (4.123, "4.12, 10.2 %")):
        assert say(Message("a", {"k": k, "error": 0.102}), us=False) == words


def test_numbers_and_names_stand_in_their_words(monkeypatch: pytest.MonkeyPatch) -> None:
    sentence = "{n:a hole|{n} holes} for {names:quoted}, {both: and }"
    monkeypatch.setattr(say_module, "SENTENCES", {"a": sentence})
    both = (Quantity(1.0, "length"), Quantity(2.0, "length"))
    values: dict[str, Value] = {"n": 3, "names": ("ash", "bay", "cob"), "both": both}
    assert say(Message("a", values), us=False) == '3 holes for "ash", "bay" and "cob", 1 m and 2 m'
    assert say(Message("a", values | {"n": 1}), us=False).startswith("a hole for")
