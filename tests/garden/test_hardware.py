"""Kinds of valves, the master, meter, sensors and the health address, as they stand in the file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.garden_files import TEN_LINES, faults, in_zone, read

from controller.errors import QuantityError
from controller.garden.device_schema import pulses_per
from controller.garden.model import Action, FlowFinding, HealthAddress, SensorKind
from controller.garden.plumbing import Device, Valve, ValveKind
from controller.units import psi_from_head_m

EXAMPLE = Path(__file__).parents[2] / "config/example-garden.toml"
METER = '\n[meter]\npin = 22\nper_pulse = "0.45 L"\n'
MASTER = "\n[master]\nrelay = 5\n"


def valve(said: str) -> Valve:
    (zone,) = read(in_zone(f"valve = {{ {said} }}")).zones
    found: Valve = zone.valve
    return found


def valve_fault(said: str) -> str:
    found: str
    (found,) = faults(in_zone(f"valve = {{ {said} }}"))
    return found


def told(text: str) -> dict[tuple[str, str], str]:
    return {(one.where, one.key): one.shown for one in read(text).filled}


def test_a_relay_valve_without_a_kind_is_taken_as_a_diaphragm() -> None:
    found = valve("relay = 17")
    assert found == Valve(
        kind=ValveKind.RELAY,
        relay_line=17,
        device=Device.DIAPHRAGM,
        assumed=True,
        least_closing_head_m=valve('relay = 17, kind = "diaphragm"').least_closing_head_m,
    )
    assert (found.opens_in_s, found.closes_in_s) == (0.0, 0.0)
    shown = told(in_zone("valve = { relay = 17 }"))
    assert shown['zone "leeks", valve', "kind"] == "diaphragm"
    assert shown['zone "leeks", valve', "least_closing_pressure"] == "10 psi"
    assert ('zone "leeks", valve', "kind") not in told(in_zone("valve = { hand = true }"))


def test_a_written_closing_pressure_holds_without_a_kind() -> None:
    found = valve('relay = 17, least_closing_pressure = "3 psi"')
    assert psi_from_head_m(found.least_closing_head_m) == approx(3.0, abs=1e-9)
    assert not found.assumed
    assert not valve('relay = 17, kind = "diaphragm"').assumed
    assert valve('relay = 17, least_closing_pressure = "0 psi"').least_closing_head_m == 0.0


def test_a_diaphragm_wants_ten_psi_to_shut_unless_its_sheet_says_otherwise() -> None:
    found = valve('relay = 17, kind = "diaphragm"')
    assert found.device is Device.DIAPHRAGM
    assert psi_from_head_m(found.least_closing_head_m) == approx(10.0, abs=1e-9)
    named = valve('relay = 17, kind = "diaphragm", least_closing_pressure = "3 psi"')
    assert psi_from_head_m(named.least_closing_head_m) == approx(3.0, abs=1e-9)
    shown = told(in_zone('valve = { relay = 17, kind = "diaphragm" }'))
    assert shown['zone "leeks", valve', "least_closing_pressure"] == "10 psi"


@pytest.mark.parametrize("kind", ["direct", "ball returns", "ball stays"])
def test_only_a_diaphragm_is_shut_by_the_water(kind: str) -> None:
    rest = 'close_relay = 18, opens_in = "8 s", ' if kind == "ball stays" else ""
    said = f'relay = 17, {rest}kind = "{kind}"'
    assert valve(said).least_closing_head_m == 0.0
    found = valve_fault(f'{said}, least_closing_pressure = "10 psi"')
    assert f'found 10 psi with kind = "{kind}"; only a diaphragm is shut by the water' in found


def test_a_ball_that_returns_takes_eight_seconds_unless_timed() -> None:
    found = valve('relay = 17, kind = "ball returns"')
    assert (found.opens_in_s, found.closes_in_s) == (8.0, 8.0)
    assert (
        told(in_zone('valve = { relay = 17, kind = "ball returns" }'))[
            'zone "leeks", valve', "opens_in"
        ]
        == "8 s"
    )


def test_a_travel_that_is_not_told_is_as_long_as_the_other() -> None:
    ball = 'relay = 17, kind = "ball returns"'
    opens = valve(f'{ball}, opens_in = "6 s"')
    assert (opens.opens_in_s, opens.closes_in_s) == (6.0, 6.0)
    closes = valve(f'{ball}, closes_in = "3 s"')
    assert (closes.opens_in_s, closes.closes_in_s) == (3.0, 3.0)
    both = valve(f'{ball}, opens_in = "6 s", closes_in = "3 s"')
    assert (both.opens_in_s, both.closes_in_s) == (6.0, 3.0)


def test_a_ball_that_stays_has_a_line_to_shut_it_and_a_travel() -> None:
    found = valve('relay = 17, kind = "ball stays", close_relay = 18, opens_in = "8 s"')
    assert (found.device, found.close_line) == (Device.BALL_STAYS, 18)
    assert (found.opens_in_s, found.closes_in_s) == (8.0, 8.0)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('relay = 17, kind = "ball stays", opens_in = "8 s"', "without a close_relay"),
        ('relay = 17, kind = "ball stays", close_relay = 18', "without opens_in; how long it"),
        (
            'relay = 9, kind = "ball stays", close_relay = 8, closes_in = "0 s", opens_in = "8 s"',
            "found no time at all; a ball that stays is driven",
        ),
        (
            "relay = 17, close_relay = 18",
            'found it with no kind; a close_relay belongs to kind = "ball stays"',
        ),
        ('relay = 17, kind = "direct", close_relay = 18', 'found it with kind = "direct"'),
        ('hand = true, kind = "direct"', "kind: found it without a relay"),
        ('hand = true, opens_in = "8 s"', "opens_in: found it without a relay"),
        (
            'relay = 17, kind = "bal stays"',
            'did you mean "ball stays"? a kind of valve is "diaphragm"',
        ),
        ("relay = 17, opens_in = 8", 'a valve\'s travel needs its unit, as in "8 s"'),
        (
            'relay = 17, kind = "ball returns", opens_in = "8 s", shortest_pulse = "5 s"',
            "found 5 s; only opening and shutting it passes as much as 8 s of its flow",
        ),
    ],
)
def test_what_does_not_go_together_in_a_valve_is_named(said: str, words: str) -> None:
    assert words in valve_fault(said)


def test_a_valve_may_have_a_shortest_pulse_of_its_own_by_hand_too() -> None:
    assert valve('relay = 17, shortest_pulse = "20 s"').shortest_pulse_s == 20.0
    assert valve('hand = true, shortest_pulse = "2 min"').shortest_pulse_s == 120.0
    assert valve("relay = 17").shortest_pulse_s is None


def test_a_garden_without_these_tables_has_none_of_the_things() -> None:
    garden = read(TEN_LINES)
    assert (garden.master, garden.meter, garden.sensors) == (None, None, ())
    assert garden.health == HealthAddress(port=None)


def test_a_master_leads_and_lags_by_two_seconds() -> None:
    master = read(TEN_LINES + MASTER).master
    assert master is not None
    assert (master.valve.relay_line, master.leads_s, master.lags_s) == (5, 2.0, 2.0)


def test_a_master_waits_for_its_own_travel_and_for_the_slowest_zone() -> None:
    slow = in_zone('valve = { relay = 17, kind = "ball returns", closes_in = "6 s" }')
    text = slow + MASTER + 'kind = "ball returns"\nopens_in = "9 s"\n'
    master = read(text).master
    assert master is not None
    assert (master.leads_s, master.lags_s) == (9.0, 6.0)
    early, soon = faults(text + 'leads = "3 s"\nlags = "1 s"\n')
    assert 'master, leads: found "3 s"; it opens itself in 9 s' in early
    assert 'master, lags: found "1 s"; the slowest zone\'s valve shuts in 6 s' in soon


def test_a_master_needs_its_relay() -> None:
    (found,) = faults(TEN_LINES + '\n[master]\nleads = "2 s"\n')
    assert "a master needs its relay, as in relay = 5" in found


def test_each_pin_has_one_thing_on_it_whatever_that_is() -> None:
    ball = in_zone(
        'valve = { relay = 17, kind = "ball stays", close_relay = 18, opens_in = "8 s" }'
    )
    rest = (
        "\n[master]\nrelay = 18\n"
        + METER.replace("22", "17")
        + '\n[[sensor]]\nkind = "rain switch"\npin = "GPIO18"\n'
        + '\n[[sensor]]\nkind = "freeze switch"\npin = 23\n'
        + '\n[[sensor]]\nkind = "rain gauge"\npin = 23\nper_tip = "0.2 mm"\n'
    )
    master, meter, switch, gauge = faults(ball + rest)
    shut = 'found 18, which is the close_relay of zone "leeks"; each has a pin of its own'
    assert master.endswith(f"master, relay: {shut}")
    assert 'meter, pin: found 17, which is the relay of zone "leeks"' in meter
    assert switch.endswith(f"sensor 1, pin: {shut}")
    assert "sensor 3, pin: found 23, which is the pin of sensor 2" in gauge


def test_a_valve_whose_two_lines_are_one_is_a_fault() -> None:
    said = 'relay = 17, kind = "ball stays", close_relay = 17, opens_in = "8 s"'
    assert 'close_relay: found 17, which is the relay of zone "leeks"' in valve_fault(said)


def test_a_meter_reads_its_label_either_way() -> None:
    # WORKED: 450 pulses to the litre are 1/450 = 0.002222 L each; to the gallon of 3.785411784 L
    # they are 0.008412 L.
    for said, litres in [
        ('per_pulse = "0.45 L"', 0.45),
        ('pulses_per = "450 per L"', 1.0 / 450.0),
        ('pulses_per = "450 pulses per litre"', 1.0 / 450.0),
        ('pulses_per = "450/L"', 1.0 / 450.0),
        ('pulses_per = "450 per gal"', 3.785411784 / 450.0),
    ]:
        meter = read(f"{TEN_LINES}\n[meter]\npin = 22\n{said}\n").meter
        assert meter is not None
        assert meter.litres_per_pulse == approx(litres, rel=1e-12)


@given(count=st.integers(min_value=1, max_value=10_000))
def test_pulses_to_the_litre_turn_into_litres_a_pulse(count: int) -> None:
    assert pulses_per(f"{count} per L") == approx(0.001 / count, rel=1e-12)


@pytest.mark.parametrize("said", ["450", "450 per", "per L", "450 per s", "1,380 per L", 450])
def test_a_label_that_is_no_count_of_pulses_is_refused(said: object) -> None:
    with pytest.raises(QuantityError, match="450 per L"):
        pulses_per(said)


def test_a_meter_says_how_much_a_pulse_is_once() -> None:
    (neither,) = faults(f"{TEN_LINES}\n[meter]\npin = 22\n")
    assert "found neither per_pulse nor pulses_per" in neither
    (both,) = faults(f'{TEN_LINES}{METER}pulses_per = "450 per L"\n')
    assert "found both per_pulse and pulses_per" in both


def test_what_a_meter_does_is_mild_where_nothing_runs_away() -> None:
    meter = read(TEN_LINES + METER).meter
    assert meter is not None
    assert not meter.by_litres
    assert meter.active_low
    assert meter.actions == {
        FlowFinding.CLOGGED: Action.NOTE,
        FlowFinding.BURST: Action.HOLD_ZONE,
        FlowFinding.NOT_OPENED: Action.HOLD_ZONE,
        FlowFinding.NOT_CLOSED: Action.HOLD_GARDEN,
        FlowFinding.LEAK: Action.NOTE,
        FlowFinding.CHANGED: Action.NOTE,
        FlowFinding.MISCOUNTED: Action.NOTE,
    }
    behind = read(TEN_LINES + MASTER + METER).meter
    assert behind is not None
    assert behind.actions[FlowFinding.NOT_CLOSED] is Action.SHUT_MASTER


def test_what_a_finding_does_can_be_told_and_is_judged() -> None:
    when = '[meter.when]\nclogged = "hold zone"\nleak = "hold garden"\n'
    meter = read(TEN_LINES + METER + when).meter
    assert meter is not None
    assert meter.actions[FlowFinding.CLOGGED] is Action.HOLD_ZONE
    assert meter.actions[FlowFinding.LEAK] is Action.HOLD_GARDEN
    (leak,) = faults(TEN_LINES + METER + '[meter.when]\nleak = "hold zone"\n')
    assert 'is done when it finds "leak" is "note", "hold garden" or "shut master"' in leak
    (miscounted,) = faults(TEN_LINES + METER + '[meter.when]\nmiscounted = "hold zone"\n')
    assert 'finds "miscounted" is "note", "hold garden" or "shut master"' in miscounted
    (burst,) = faults(TEN_LINES + METER + '[meter.when]\nburst = "shut master"\n')
    assert 'meter, when, burst: found "shut master" without a [master]' in burst
    assert read(TEN_LINES + MASTER + METER + '[meter.when]\nburst = "shut master"\n').meter


def test_a_debounce_that_would_lose_pulses_is_a_fault_and_the_default_never_does() -> None:
    # WORKED: 7.5 gal/min are 0.47318 L/s; at 450 pulses a litre they come every 4.696 ms, half of
    # that is 2.348 ms. At 2000 a litre they come every 1.0567 ms, a quarter of that is 0.264 ms.
    fast = '\n[meter]\npin = 22\npulses_per = "450 per L"\n'
    assert read(TEN_LINES + fast + 'debounce = "2.3 ms"\n').meter
    (found,) = faults(TEN_LINES + fast + 'debounce = "2.4 ms"\n')
    assert "found 2.4 ms; at the flow of the test a pulse comes every 4.7 ms" in found
    faster = read(TEN_LINES + fast.replace("450", "2000")).meter
    assert faster is not None
    assert faster.debounce_s == approx(0.000264, abs=1e-6)


def test_switches_and_a_gauge_hang_on_pins() -> None:
    garden = read(
        TEN_LINES
        + '\n[[sensor]]\nkind = "rain switch"\npin = 23\nactive = "high"\n'
        + '\n[[sensor]]\nkind = "rain gauge"\npin = 24\nper_tip = "0.01 in"\ndebounce = "50 ms"\n'
    )
    switch, gauge = garden.sensors
    assert (switch.kind, switch.line, switch.active_low, switch.debounce_s) == (
        *(SensorKind.RAIN_SWITCH, 23, False),
        0.1,
    )
    # WORKED: 0.01 in of 25.4 mm.
    assert gauge.mm_per_tip == approx(0.254, abs=1e-12)
    assert gauge.debounce_s == approx(0.05)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('kind = "rain gauge"\npin = 24', "found a rain gauge without per_tip"),
        ('kind = "rain switch"\npin = 24\nper_tip = "0.2 mm"', "found it on a rain switch"),
        ("pin = 24", 'a sensor needs its kind: "rain switch"'),
        ('kind = "freeze switch"', "a sensor needs its pin, as in pin = 23"),
        ('kind = "freeze switch"\npin = 40', "a pin is a GPIO number from 2 to 27"),
    ],
)
def test_what_a_sensor_lacks_is_named(said: str, words: str) -> None:
    (found,) = faults(f"{TEN_LINES}\n[[sensor]]\n{said}\n")
    assert words in found


def test_the_daemon_is_seen_from_the_board_alone_unless_asked() -> None:
    assert read(TEN_LINES + "\n[health]\nport = 8765\n").health == HealthAddress(
        port=8765, address="127.0.0.1"
    )
    wide = read(TEN_LINES + '\n[health]\nport = 8765\naddress = "0.0.0.0"\n').health
    assert wide.address == "0.0.0.0"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ('address = "0.0.0.0"', "found it without a port"),
        ('port = 8765\naddress = "board.local"', "an address is one of this board in numbers"),
        ("port = 99999", "a port is a whole number from 1 to 65535"),
    ],
)
def test_an_address_that_is_none_is_named(said: str, words: str) -> None:
    (found,) = faults(f"{TEN_LINES}\n[health]\n{said}\n")
    assert words in found


def test_the_meter_that_the_example_shows_in_remarks_reads() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    start = text.index("# [meter]")
    uncommented = text[start:].replace("\n# ", "\n").removeprefix("# ")
    crops = {"known_crops": None, "known_soils": None}
    assert read(text, **crops).meter is None
    meter = read(text[:start] + uncommented, **crops).meter
    assert meter is not None
    assert meter.actions[FlowFinding.BURST] is Action.HOLD_ZONE
