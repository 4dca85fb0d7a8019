"""The unit reads without a complaint, is shut in, and says what the code relies on."""

from __future__ import annotations

import configparser
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from controller.cli.places import SYSTEM_GARDEN, SYSTEM_RUNTIME, SYSTEM_STATE
from controller.cli.walk.command import SYSTEM_OWN
from controller.daemon.host.process import WATCHDOG_EVERY_S
from controller.daemon.valve_set import LINE_FILE
from controller.valves.closer import STALE_S

UNIT = Path(__file__).parents[2] / "systemd" / "rowgate.service"
ANALYZE = shutil.which("systemd-analyze")
needs_analyze = pytest.mark.skipif(
    ANALYZE is None, reason="systemd-analyze is not on this machine (Debian's package systemd)"
)
OWN = "/var/lib/rowgate-daemon"  # what only the daemon writes
THRESHOLD = 20  # 2.0 of 10; a plain service has 9.6
BACK_OFF = UNIT.parent / "rowgate-back-off.conf"
BACK_OFF_FROM = 254  # systemd.service(5), version 254: RestartSteps=, RestartMaxDelaySec=


@pytest.fixture
def rendered(tmp_path: Path) -> Path:
    """The unit with the paths of this machine, as an installer would write it."""
    text = UNIT.read_text(encoding="utf-8")
    for program in ("rowgate", "python"):
        assert f"/opt/rowgate/bin/{program} " in text
        text = text.replace(f"/opt/rowgate/bin/{program} ", f"{sys.executable} ")
    path = tmp_path / "rowgate.service"
    path.write_text(text, encoding="utf-8")
    return path


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    assert ANALYZE is not None
    return subprocess.run(
        [ANALYZE, *arguments], capture_output=True, text=True, timeout=120, check=False
    )


@needs_analyze
def test_the_unit_verifies_without_a_word(rendered: Path) -> None:
    # An unknown key or a bad value gives rc 0 and a line on stderr: silence is the test.
    done = analyze("verify", str(rendered))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@needs_analyze
def test_the_check_would_see_a_misspelt_key(rendered: Path) -> None:
    rendered.write_text(rendered.read_text().replace("WatchdogSec=", "WatchDogSec="))
    assert "WatchDogSec" in analyze("verify", str(rendered)).stderr


@needs_analyze
def test_the_unit_is_shut_in(rendered: Path) -> None:
    done = analyze("security", "--offline=true", f"--threshold={THRESHOLD}", str(rendered))
    assert done.returncode == 0, done.stdout


@needs_analyze
def test_the_threshold_would_refuse_an_open_unit(rendered: Path) -> None:
    kept = [n for n in rendered.read_text().splitlines() if not n.startswith("Protect")]
    rendered.write_text("\n".join(kept))
    done = analyze("security", "--offline=true", f"--threshold={THRESHOLD}", str(rendered))
    assert done.returncode == 1


def comment() -> str:
    """All the unit says in words."""
    lines = UNIT.read_text(encoding="utf-8").splitlines()
    return "\n".join(line for line in lines if line.startswith("#"))


@needs_analyze
def test_what_the_analysis_still_counts_is_what_the_unit_gives_a_reason_for(
    rendered: Path,
) -> None:
    done = analyze("security", "--offline=true", "--json=short", str(rendered))
    counted = {
        found["name"].removeprefix("SystemCallFilter=~").removeprefix("RestrictAddressFamilies=~")
        for found in json.loads(done.stdout)
        if found["exposure"] and float(found["exposure"]) > 0.0
    }
    assert len(counted) > 5
    words = comment()
    for name in counted:
        parts = {"AF_(INET|INET6)": "AF_INET,", "RootDirectory=/RootImage=": "RootDirectory="}
        assert parts.get(name, name) in words, f"{name} counts, and the unit does not say why"


@needs_analyze
def test_the_score_is_the_one_the_unit_states(rendered: Path) -> None:
    done = analyze("security", "--offline=true", "--no-pager", str(rendered))
    measured = re.search(r"exposure level for \S+: ([0-9.]+)", done.stdout)
    stated = re.search(r"says ([0-9.]+) of 10", comment())
    assert measured is not None and stated is not None
    # Another version of systemd may count otherwise; ours is said beside the figure.
    if systemd_version() == 252:
        assert measured[1] == stated[1]
    assert float(measured[1]) <= float(stated[1]) + 0.3


def systemd_version() -> int:
    """As in 252."""
    found = re.match(r"systemd (\d+)", analyze("--version").stdout)
    assert found is not None
    return int(found[1])


def test_a_daemon_that_cannot_start_is_tried_ever_more_seldom_and_without_end() -> None:
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(BACK_OFF, encoding="utf-8")
    assert dict(parser["Service"]) == {"RestartSteps": "8", "RestartMaxDelaySec": "120"}
    assert float(unit()["Service"]["RestartSec"]) < 120.0
    # Too new for the oldest systemd we name, so not in the unit itself.
    assert "RestartSteps=" not in "".join(
        line for line in UNIT.read_text().splitlines() if not line.startswith("#")
    )


@needs_analyze
def test_the_back_off_reads_where_systemd_knows_it(rendered: Path) -> None:
    if systemd_version() < BACK_OFF_FROM:
        pytest.skip(f"systemd {systemd_version()} here; the drop-in is for {BACK_OFF_FROM} on")
    folder = rendered.with_name("rowgate.service.d")
    folder.mkdir()
    shutil.copy(BACK_OFF, folder / "back-off.conf")
    done = analyze("verify", str(rendered))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_every_file_the_install_steps_copy_is_there() -> None:
    told = comment().split("To install, as root", 1)[1].split("Who is to use", 1)[0]
    named = set(re.findall(r"cp (\S+)", told)) - {"my-garden.toml"}
    there = {path.name for path in UNIT.parent.iterdir() if path.name != ".gitkeep"}
    assert named == there


def test_the_pins_belong_to_the_group_the_daemon_is_in() -> None:
    rule = (UNIT.parent / "60-rowgate.rules").read_text(encoding="utf-8")
    (line,) = [words for words in rule.splitlines() if not words.startswith("#")]
    keys = dict(re.findall(r'(\w+)==?"([^"]*)"', line))
    assert keys == {
        "SUBSYSTEM": "gpio",
        "KERNEL": "gpiochip*",
        "GROUP": unit()["Service"]["SupplementaryGroups"],
        "MODE": "0660",
    }


def unit() -> configparser.ConfigParser:
    """The unit as sections; a key that stands twice keeps its last value."""
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(UNIT, encoding="utf-8")
    return parser


def test_every_end_of_the_daemon_runs_the_stop_step_and_a_new_start() -> None:
    service = unit()["Service"]
    stop = service["ExecStopPost"].split()
    assert stop[1:] == ["-I", "-m", "controller.valves.alloff", f"{OWN}/{LINE_FILE}"]
    assert service["Restart"] == "always"
    assert unit()["Unit"]["StartLimitIntervalSec"] == "0"
    assert service["RuntimeDirectory"] == "rowgate"
    assert service["WorkingDirectory"] == "/run/rowgate"


def test_who_may_note_writes_in_the_logbooks_folder_and_in_no_other() -> None:
    service = unit()["Service"]
    assert f"--state {SYSTEM_STATE} --own {SYSTEM_OWN} " in service["ExecStart"]
    assert f" run {SYSTEM_GARDEN} " in service["ExecStart"]
    assert f" --runtime {SYSTEM_RUNTIME} " in service["ExecStart"]
    assert str(SYSTEM_OWN) == OWN
    # systemd makes this folder, and sets its mode again before each command, the stop step too.
    assert f"/var/lib/{service['StateDirectory']}" == OWN
    assert service["StateDirectoryMode"] == "0700"
    assert service["RuntimeDirectoryMode"] == "0750"
    # The shared one is made as root, beside it: RestrictSUIDSGID= keeps the daemon from setting
    # the bit by which what people write there belongs to the group.
    assert service["ExecStartPre"].split() == (
        f"+/usr/bin/install -d -o rowgate -g rowgate -m 2770 {SYSTEM_STATE}".split()
    )
    assert service["ReadWritePaths"] == f"-{SYSTEM_STATE}"
    assert not Path(OWN).is_relative_to(SYSTEM_STATE)


def test_the_watchdog_waits_longer_than_the_daemon_is_silent() -> None:
    service = unit()["Service"]
    assert (service["Type"], service["NotifyAccess"]) == ("notify", "main")
    watchdog_s = float(service["WatchdogSec"])
    assert watchdog_s >= 2.0 * WATCHDOG_EVERY_S
    assert watchdog_s > STALE_S


def test_the_pins_are_reachable_and_no_other_device() -> None:
    service = unit()["Service"]
    assert service["DevicePolicy"] == "closed"
    assert service["DeviceAllow"] == "char-gpiochip rw"
    assert service["SupplementaryGroups"] == "gpio"
    assert "PrivateDevices" not in service
    assert "ProcSubset" not in service


@pytest.mark.skipif(
    shutil.which("systemd-sysusers") is None, reason="systemd-sysusers is not on this machine"
)
def test_the_daemons_user_reads(tmp_path: Path) -> None:
    root = tmp_path / "root"
    (root / "etc").mkdir(parents=True)
    done = subprocess.run(
        ["systemd-sysusers", "--dry-run", f"--root={root}", str(UNIT.parent / "rowgate.sysusers")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Creating user 'rowgate'" in done.stdout + done.stderr
