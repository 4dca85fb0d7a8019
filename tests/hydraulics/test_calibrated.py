"""A fit that an older Rowgate kept: its tests are fitted anew, and what moved is said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pytest import approx
from support.clock import HandClock
from support.hydraulics_gardens import a_garden, a_zone
from support.wording import kept, said

from controller.daemon.garden_reload import KeptFieldTests
from controller.garden.plumbing import Opening
from controller.hydraulics.calibration import calibrated as kept_lines
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.kept_tests import kept_dict
from controller.hydraulics.calibration.measurements import MeterRun
from controller.hydraulics.calibration.result import described, fitted_from_dict
from controller.logbook.logbook import Logbook
from controller.units import l_min_from_m3_s

A = frozenset("a")
GARDEN = a_garden(a_zone("a", opening=Opening(unknown=True)), a_zone("b"))
# 4 L in two minutes by a meter with 1 L ticks: edition 1 measured it and left it out.
RUN = MeterRun(zones=A, before_m3=0.0, after_m3=0.004, time_s=120.0)


def _old() -> dict[str, Any]:
    """What edition 1 kept: no valve, the prior's supply."""
    return {
        "edition": 1,
        "corrections": {"discharge": {}, "valve_k": {}, "supply": None},
        "parameters": [],
        "covariance": [],
        "contradictions": [],
        "next_test": None,
        "tests": 1,
        "described": described(GARDEN),
    }


def _flow(tested: Any) -> float:
    return l_min_from_m3_s(tested.lines.zone_flows(A)["a"])


def test_an_older_fit_is_made_anew_from_the_kept_tests() -> None:
    tested = kept_lines.calibrated_lines(GARDEN, _old(), [kept_dict(RUN, GARDEN)])
    assert tested.refitted
    # WORKED: 4 L in two minutes.
    assert _flow(tested) == approx(2.0, rel=0.05)
    remark = said(tested.remarks[0])
    assert remark.startswith("fitted anew, as this Rowgate does it")
    assert '"a"' in remark and "now" in remark and '"b"' not in remark
    assert tested.fitted is not None
    again = kept_lines.calibrated_lines(GARDEN, kept(tested.fitted), [kept_dict(RUN, GARDEN)])
    assert (again.refitted, again.remarks) == (False, ())


def test_the_daemon_makes_it_anew_once(tmp_path: Path, monkeypatch: Any) -> None:
    book = Logbook(tmp_path / "logbook.db", HandClock())
    number = book.keep_measurement(kept_dict(RUN, GARDEN))
    book.keep_fit(_old(), [number])
    book.close()
    fits: list[object] = []

    def counted(*args: Any, **more: Any) -> Any:
        fits.append(args)
        return fit(*args, **more)

    monkeypatch.setattr("controller.hydraulics.calibration.fit.fit", counted)
    tests = KeptFieldTests(tmp_path / "logbook.db")
    assert tests.corrections(GARDEN).valve_k["a"] > 1e4
    assert tests.fitted(GARDEN) is not None
    assert tests.corrections(GARDEN).valve_k["a"] > 1e4
    assert len(fits) == 1


def test_a_fit_of_sixty_zones_is_kept_in_little_room() -> None:
    zones = [a_zone(f"zone {i}") for i in range(60)]
    fitted = fit(a_garden(*zones), [])
    text = json.dumps(kept(fitted))
    assert len(text) < 150_000
    assert kept(fitted_from_dict(json.loads(text))) == json.loads(text)


def test_the_bands_say_when_it_is_enough() -> None:
    runs = [
        MeterRun(zones=frozenset(z), before_m3=0.0, after_m3=1.0, time_s=3600.0) for z in ("a", "b")
    ]
    enough = Bands(GARDEN, fit(GARDEN, [*runs, *runs])).next_test
    assert enough is not None
    assert said(enough).startswith("none is needed")
    wanted = Bands(GARDEN, fit(GARDEN, [])).next_test
    assert wanted is not None
    assert not said(wanted).startswith("none")
