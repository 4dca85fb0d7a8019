"""A fit in the logbook reaches the running daemon's lines, and nothing else does."""

from __future__ import annotations

from pathlib import Path

from pytest import approx
from support.clock import HandClock
from support.gardens import a_garden, a_zone
from support.wording import said

from controller.daemon.garden_reload import GardenFile, KeptFieldTests
from controller.garden.plumbing import Opening
from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.measurements import Bucket
from controller.hydraulics.calibration.result import fitted_to_dict
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED
from controller.logbook.logbook import Logbook
from controller.units import m3_s_from_l_min
from crops.catalogue import load

GARDEN = a_garden(a_zone(opening=Opening(angle_deg=60.0)))
ALONE = frozenset("a")


def test_without_a_logbook_or_a_fit_nothing_is_corrected(tmp_path: Path) -> None:
    kept = KeptFieldTests(tmp_path / "logbook.db")
    assert kept.corrections(GARDEN) == NOTHING_MEASURED
    Logbook(tmp_path / "logbook.db", HandClock()).close()
    assert kept.corrections(GARDEN) == NOTHING_MEASURED


def test_a_new_fit_is_taken_up_at_the_next_look(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "logbook.db", HandClock())
    (tmp_path / "garden.toml").write_text("good", encoding="utf-8")
    file = GardenFile(
        tmp_path / "garden.toml",
        tmp_path / "copy.toml",
        lambda text: GARDEN,
        load(),
        KeptFieldTests(tmp_path / "logbook.db"),
    )
    first = file.first()
    assert file.look() is None
    test = Bucket(zones=ALONE, zone="a", volume_m3=0.004, time_s=160.0)
    number = book.keep_measurement({"kind": "bucket"})
    book.keep_fit(fitted_to_dict(fit(GARDEN, [test]), said), [number])
    book.close()
    fresh = file.look()
    assert fresh is not None
    assert not fresh.same_as(first)
    assert fresh.lines.open_set(ALONE).supply_flow_m3_s == approx(m3_s_from_l_min(1.5), rel=0.1)
    assert file.look() is None
