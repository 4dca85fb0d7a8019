"""The kind of a weather file, found from its form or asked for; any file reads or is refused."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.weather_formats import dly, element_csv, gsod, gsod_line, log, read_as

from controller.errors import WeatherFileError
from controller.weather.files.reader import KINDS, read_weather

DAY = date(2031, 6, 3)
LOG = log(
    "Date,Time,Temp (°C)",
    [(datetime(2031, 6, 3) + timedelta(minutes=30 * n), (15 + n % 7,)) for n in range(48)],
    "%Y-%m-%d,%H:%M",
)
OF_KIND = {
    "own": "date,tmin_c,tmax_c\n2031-06-03,9,21\n",
    "station-log": LOG,
    "ghcn-daily": dly({(DAY, "TMAX"): (287, "", "")}),
    "gsod": gsod([gsod_line(DAY)]),
}


def test_every_kind_is_shown_here() -> None:
    assert set(OF_KIND) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_the_kind_is_told_from_the_files_shape(tmp_path: Path, kind: str) -> None:
    found = read_as(tmp_path, OF_KIND[kind])
    assert found.kind == kind
    assert [d.day for d in found.days] == [DAY]
    assert read_as(tmp_path, OF_KIND[kind], kind=kind) == found


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (element_csv({(DAY, "TMIN"): (87, "", "")}), "ghcn-daily"),
        ("# mine\n\ndate;rain_mm\n2031-06-03;1,5\n", "own"),
        ("station,date,tmax_c,dewp\nmine,2031-06-03,20,9\n", "own"),
        (LOG.replace("Date,Time", "date,time"), "station-log"),
    ],
)
def test_close_cousins_are_told_apart(tmp_path: Path, text: str, kind: str) -> None:
    assert read_as(tmp_path, text).kind == kind


def test_the_examples_of_the_page_are_what_they_are_said_to_be(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "weather-file.md").read_text(encoding="utf-8")
    shown = page.split("```")[3].lstrip("\n")
    _heading, *lines = shown.splitlines()
    assert len(lines) == 2
    found = read_as(tmp_path, shown)
    assert found.kind == "station-log"
    assert not any("is not used" in f or "unit" in f for f in found.faults)
    assert sum("is not used" in r for r in found.remarks) == 2  # indoors, and gusts
    assert any(
        "Daily Rain (mm), Solar (W/m²): too little read on 1 day" in r for r in found.remarks
    )
    assert all(kind in page for kind in KINDS)


def test_an_own_file_whose_columns_are_misspelt_is_told_so(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="did you mean tmax_c"):
        read_as(tmp_path, "date,tmaxx_c\n2031-06-03,20\n")


@pytest.mark.parametrize(
    "text", ["day of year,high,low\n154,20,9\n", "hello\n", "[garden]\nname = 'mine'\n",
             "when,outside\n2031-06-03 10:00,20\n"]
)  # fmt: skip
def test_a_file_of_no_known_shape_is_asked_about(tmp_path: Path, text: str) -> None:
    with pytest.raises(WeatherFileError) as told:
        read_as(tmp_path, text)
    assert "given.csv: what kind of weather file this is does not show" in str(told.value)
    assert "file_kind in [weather] of the garden file" in str(told.value)
    assert all(f'"{kind}"' in str(told.value) for kind in KINDS)


def test_a_kind_that_is_none_names_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match=r"found 'other'; allowed are .*station-log"):
        read_as(tmp_path, OF_KIND["own"], kind="other")


@pytest.mark.parametrize("kind", ["auto", *KINDS])
@pytest.mark.parametrize(
    "raw", [b"", b"\n\n", b"\x00\x01\x02", b"\x89PNG\r\n\x1a\n\x00\x00", b"PK\x03\x04\x00",
            b"\xff\xfe", b"\xff\xfea", b"\xff" * 50, "\ufeff".encode(), b"# only a note\n"]
)  # fmt: skip
def test_empty_and_binary_files_are_refused(tmp_path: Path, kind: str, raw: bytes) -> None:
    path = tmp_path / "odd.bin"
    path.write_bytes(raw)
    with pytest.raises(WeatherFileError):
        read_weather(path, kind=kind)


def test_a_file_that_is_not_there_or_a_folder_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path, Path("a\0b")):
        with pytest.raises(WeatherFileError):
            read_weather(path)


@settings(max_examples=80)
@given(
    kind=st.sampled_from([*KINDS]),
    as_kind=st.sampled_from(["auto", *KINDS]),
    at=st.integers(0, 500),
    raw=st.binary(max_size=12) | st.text(max_size=12).map(str.encode),
    cut=st.integers(0, 800),
)
def test_no_file_of_any_kind_brings_the_reader_down(
    tmp_path_factory: pytest.TempPathFactory, kind: str, as_kind: str, at: int, raw: bytes, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "any"
    good = OF_KIND[kind].encode()
    path.write_bytes((good[:at] + raw + good[at:])[:cut])
    try:
        found = read_weather(path, kind=as_kind, clear_sky_mj_m2=lambda _: 30.0)
    except WeatherFileError:
        return
    assert list(found.days) == sorted(found.days, key=lambda d: d.day)
    assert len({d.day for d in found.days}) == len(found.days)
