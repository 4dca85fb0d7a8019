"""The timetable as paper and as rows."""

from __future__ import annotations

import doctest
import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from types import ModuleType

import pytest
from support.gardens import EVERY_DAY, a_garden, a_zone, even_days
from support.given import NOTHING_GIVEN

import controller.paper.amounts as amounts
import controller.paper.printout as printout
import controller.paper.text as paper_text
from controller.garden.model import Garden, Hold, Watering, Window
from controller.garden.plumbing import ValveKind
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.uniformity import real_uniformity
from controller.messages import Message, verbatim
from controller.paper.amounts import Units
from controller.paper.flows import flow_document, flow_text, gauge_m
from controller.paper.ledger import ledger_rows, ledger_text
from controller.paper.plan_rows import dose_rows, timetable_rows
from controller.paper.printout import Look, timetable_text
from controller.paper.reasons import why_line
from controller.paper.text import WIDTH, long_day, open_time, paragraph
from controller.timetable.need.dose import need_of
from controller.timetable.need.jobs import Grounds
from controller.timetable.plan import Installation, Span, plan_garden
from controller.timetable.records import Dose, Timetable, Why
from crops.catalogue import load

FIRST = date(2031, 7, 1)
HAND = Window(opens=EVERY_DAY.opens, closes=EVERY_DAY.closes, valves=frozenset({ValveKind.HAND}))
GARDEN = a_garden(
    a_zone("leeks by the long south wall of the shed"),
    a_zone("b", relay=27),
    a_zone("h", relay=None),
    watering=Watering(
        windows=(EVERY_DAY,),
        holds=(
            Hold(
                begins=datetime(2031, 7, 1),
                ends=datetime(2031, 7, 2),
                zones=frozenset({"b"}),
                reason="the path is being relaid",
            ),
        ),
    ),
)


def _plan(garden: Garden = GARDEN) -> Timetable:
    return plan_garden(
        Installation(garden, Grounds(garden, load()), Lines(garden)),
        even_days(FIRST - timedelta(days=3), FIRST + timedelta(days=9)),
        Span(first=FIRST, count=4),
        given=NOTHING_GIVEN,
        remarks=(
            verbatim("a remark that is long enough to need more than one line when it is printed"),
        ),
    )


@pytest.mark.parametrize("us", [True, False])
def test_no_line_is_wider_than_a_terminal(us: bool) -> None:
    garden = replace(GARDEN, us_units=us)
    texts = [
        timetable_text(_plan(garden), garden, Look(why=True, twelve_hours=us)),
        timetable_text(_plan(garden), garden, Look(bands=Bands(garden, None), twelve_hours=us)),
        ledger_text(_plan(garden).ledger, (), garden),
        flow_text(
            [(["b", "h"], Lines(garden).open_set(frozenset("bh")))],
            Lines(garden),
            Bands(garden, None),
            holes=True,
            bars=True,
        ),
    ]
    for text in texts:
        assert max(map(len, text.splitlines())) <= WIDTH


def test_every_pulse_stands_on_the_paper_and_every_reason_at_its_end() -> None:
    timetable = _plan()
    plain = timetable_text(timetable, GARDEN)
    clock = r"\d\d:\d\d +\d\d:\d\d(:\d\d)?  (b|h|leeks)"
    assert len(re.findall(rf"^(\[ \]|   ) +{clock}", plain, re.M)) == len(timetable.pulses)
    assert "Reasons" not in plain
    text = timetable_text(timetable, GARDEN, Look(why=True))
    assert text.startswith(plain[:-1])  # the reasons are gathered at the end
    before, _, reasons = (" ".join(text.split())).partition("Reasons")
    assert "it suffers from" not in before
    assert reasons.count("it suffers from") == len(timetable.doses)
    held = sum(n.reason.code == "left.held" for n in timetable.not_fitted)
    assert held == 1
    assert "by hand" in text and "relay 27" in text
    assert "held: the path is being relaid" in text


def _why(*reasons: Message) -> str:
    why = Why(
        account="carrot from 2031-06-20", stage="initial", eto_mm=4.0, method="test", kc=0.7,
        depletion_mm=3.0, allowed_mm=6.0, raw_mm=12.0, rain_mm=0.0, rain_unknown_days=0,
        stand_in_days=0, reasons=reasons,
    )  # fmt: skip
    dose = Dose(
        zone="b", day=FIRST, net_mm=3.0, ground_m2=2.0, evenness=0.9, line_litres=0.5, pulses=1,
        litres=7.0, already_litres=0.0, why=why,
    )  # fmt: skip
    return why_line(dose, Units(us=False))


def test_why_now_is_said_where_the_figures_do_not_say_it() -> None:
    # WORKED: of an ETo of 4.0 mm a Kc of 0.70 takes 2.8 mm.
    plain = "carrot, still small: 3.0 mm is missing, it is watered from 6.0 mm, it suffers from "
    plain += "12.0 mm; the day takes 2.8 mm; rain counted since the last watering 0.0 mm"
    assert _why(verbatim("its seedbed is kept moist")) == f"{plain}; its seedbed is kept moist"
    ordinary = need_of(
        missing_mm=9.0, raw_mm=12.0, refill_at=0.5, expected_etc_mm=1.0, rain_doubt_days=0
    )
    assert ordinary is not None and _why(ordinary.reason) == plain
    assert _why(ordinary.reason, verbatim("its flow is a guess")) == f"{plain}; its flow is a guess"


def test_rows_carry_what_their_keys_promise() -> None:
    timetable = _plan()
    row = timetable_rows(timetable, GARDEN)[0]
    assert set(row) >= {"zone", "opens", "closes", "open_s", "litres", "valve"}
    opens, closes = (datetime.fromisoformat(str(row[k])) for k in ("opens", "closes"))
    assert opens.utcoffset() == timedelta(hours=2)
    assert (closes - opens).total_seconds() == pytest.approx(float(str(row["open_s"])), abs=1e-3)
    assert {r["date"] for r in dose_rows(timetable, us=False)} <= {
        (FIRST + timedelta(days=i)).isoformat() for i in range(4)
    }


def test_a_ledger_row_closes() -> None:
    rows = ledger_rows(_plan().ledger)
    assert len(rows) > 20
    for row in rows:
        r = {k: float(str(v)) for k, v in row.items() if str(k).endswith("_mm") and v is not None}
        closes = (
            r["start_depletion_mm"] - (r["rain_mm"] - r["rain_unused_mm"] - r["runoff_mm"])
            - r["watered_mm"] + r["passed_mm"] + r["used_mm"] + r["drained_mm"]
            + r["handed_over_mm"]
        )  # fmt: skip
        assert r["depletion_mm"] == pytest.approx(closes, abs=5e-4)
        if row["coefficients"] == "dual":
            apart = r["transpired_mm"] + r["evaporated_mm"]
            assert r["used_mm"] == pytest.approx(apart, abs=5e-4)


def test_a_flow_document_sums_up() -> None:
    flows = Lines(GARDEN).open_set(frozenset("bh"))
    (found,) = flow_document([(["b", "h"], flows)], Lines(GARDEN), Bands(GARDEN, None))
    zones = found["zones"]
    assert isinstance(zones, list)
    total = sum(h["flow_m3_s"] for z in zones for r in z["rows"] for h in r["holes"])
    assert total == pytest.approx(found["supply_flow_m3_s"], rel=1e-9)
    for zone in zones:
        assert zone["uniformity"] < zone["evenness"]


def test_one_heading_says_what_is_in_every_figure_of_evenness() -> None:
    flows = Lines(GARDEN).open_set(frozenset("b"))

    def text(garden: Garden) -> str:
        lines = flow_text([(["b"], flows)], Lines(garden), Bands(garden, None))
        return " ".join(lines.split())

    real = real_uniformity(flows.zones["b"].holes, GARDEN.watering)
    assert f"even {100 * real:.0f} %;" in text(GARDEN)
    assert "with a drilling scatter of 5 % and heights 3 mm off in it" in text(GARDEN)
    level = replace(GARDEN, watering=replace(GARDEN.watering, level_error_m=0.0))
    assert "heights" not in text(level)
    assert text(GARDEN).count("without drilling") == 0


def test_amounts_are_short_and_in_the_unit_asked_for() -> None:
    # WORKED: 1 US gal = 3.785411784 L (NIST SP 811), 1 in = 25.4 mm.
    assert Units(us=True).volume(37.85) == "10.0 gal"
    assert Units(us=False).volume(1234.5) == "1,234 L"
    assert Units(us=True).depth(25.4) == "1.00 in"
    assert long_day(date(2031, 7, 6)) == "Sunday 6 July 2031"


def test_a_paragraph_fits_the_page_and_may_leave_words_with_hyphens_in_one_piece() -> None:
    # WORKED: 70 letters, a space and "seed-bed-" are 80 columns.
    words = f"{70 * 'x'} seed-bed-water"
    assert paragraph(words) == [f"{70 * 'x'} seed-bed-", "  water"]
    assert paragraph(words, at_hyphens=False) == [70 * "x", "  seed-bed-water"]
    assert paragraph("a b " * 30, "  - ", "    ")[1].startswith("    a b")
    assert max(map(len, paragraph("ab " * 90, "  ! "))) <= WIDTH == 80


@pytest.mark.parametrize(
    ("seconds", "shown"), [(0.4, "0:00.4"), (9.96, "0:10"), (59.6, "1:00"), (3600, "1:00:00")]
)
def test_a_time_open_never_reads_sixty_seconds(seconds: float, shown: str) -> None:
    assert open_time(seconds) == shown


@pytest.mark.parametrize("module", [amounts, paper_text, printout])
def test_the_examples_in_the_docstrings_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_a_row_is_said_to_stand_under_what_a_gauge_at_its_inlet_shows() -> None:
    # WORKED: V = Q/A; a gauge on the pipe's wall does not see V^2/2g of the total head.
    row = Lines(GARDEN).open_set(frozenset("b")).zones["b"].rows[0]
    drawn = GARDEN.zone("b").rows[0]
    speed_m_s = row.flow_m3_s / (3.141592653589793 / 4 * drawn.pipe.bore_m**2)
    assert gauge_m(row, drawn) == pytest.approx(row.inlet_head_m - speed_m_s**2 / 19.6133)
