"""The crop growth model WOFOST 7.2 as the library pcse (6.0.13, EUPL-1.2) carries it, in a process
of its own.

Crops, calendar and weather are those of the library's own demo database, grid cell 31031
(Andalusia) in the year 2000; nothing is fetched. Importing pcse makes a folder in the user's home
and silences the loggers of whoever imports it, so it is imported only in a child process whose home
is a folder of the test's.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

GRID, YEAR = 31031, 2000
MAIZE, POTATO, SUNFLOWER = 2, 7, 11  # the numbers the database has them under
_POROSITY_OVER_FC = 0.16  # room for air above field capacity; never reached, drainage is free


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """The grid cell, and its year as rows of a weather file in Rowgate's own units."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    weather_csv: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The soil both sides are given: volumes of water, and the depth that roots reach."""

    field_capacity: float
    wilting_point: float
    roots_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """What the model says of one season; on `short_days` the crop drank less than it wanted.

    Of the potential season the model keeps no account of water but what the crop drank.
    """

    yield_kg_ha: float
    transpired_mm: float
    evaporated_mm: float
    drained_mm: float
    irrigated_mm: float
    short_days: int
    emerged: date
    flowered: date
    ripe: date


def place(home: Path) -> Place:
    """The grid cell's place and weather; its rain is left out, as if none had fallen."""
    return Place(**_asked(home, {"ask": "place"}))


def grow(
    home: Path,
    crop: int,
    ground: Ground,
    *,
    begins: date,
    thirst: float = 1.0,
    irrigations: Mapping[str, Mapping[date, float]],
) -> dict[str, Grown]:
    """The season without any lack of water, "potential", and with each irrigation instead of rain.

    `thirst` multiplies what a closed canopy loses, reference ET by itself (the model's CFET).
    Irrigations are mm over the ground by day. The soil is at field capacity on the day it `begins`.
    """
    answer = _asked(
        home,
        {
            "ask": "grow",
            "crop": crop,
            "begins": begins.isoformat(),
            "thirst": thirst,
            "soil": [ground.field_capacity, ground.wilting_point, 100.0 * ground.roots_m],
            "irrigations": {
                name: {day.isoformat(): mm for day, mm in given.items()}
                for name, given in irrigations.items()
            },
        },
    )
    days = ("emerged", "flowered", "ripe")

    def grown(found: dict[str, Any]) -> Grown:
        return Grown(**(found | {key: date.fromisoformat(found[key]) for key in days}))

    return {name: grown(found) for name, found in answer.items()}


def _asked(home: Path, question: Mapping[str, object]) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-P", __file__],
        input=json.dumps(question),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        # Without a USER, pcse would put its folder beside everybody's temporary files.
        env={**os.environ, "HOME": str(home), "USER": "gardener"},
    )
    assert done.returncode == 0, done.stderr
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


# ---- What follows runs in the child process only. --------------------------------------------


def _answer(question: Mapping[str, object]) -> object:
    import sqlite3

    from pcse.settings import settings
    from pcse.tests import run_wofost

    database = sqlite3.connect(Path(settings.PCSE_USER_HOME) / "pcse.db")
    database.row_factory = run_wofost.namedtuple_factory
    if question["ask"] == "place":
        return _place(database)
    return {
        "potential": _season(database, question, None),
        **{
            name: _season(database, question, given)
            for name, given in question["irrigations"].items()  # type: ignore[attr-defined]
        },
    }


def _place(database: Any) -> dict[str, object]:
    (where,) = database.execute("select * from grid where grid_no=?", (GRID,)).fetchall()
    lines = ["date,tmin_c,tmax_c,vapour_pressure_kpa,wind_m_s,solar_mj_m2,rain_mm"]
    for row in database.execute(
        "select * from grid_weather where grid_no=? and day like ? order by day", (GRID, f"{YEAR}%")
    ):
        lines.append(
            f"{row.day},{row.minimum_temperature},{row.maximum_temperature},"
            f"{row.vapour_pressure / 10:.3f},{row.windspeed},"
            f"{row.calculated_radiation / 1000:.3f},0"
        )
    return {
        "latitude_deg": where.latitude,
        "longitude_deg": where.longitude,
        "elevation_m": where.altitude,
        "weather_csv": "\n".join(lines) + "\n",
    }


def _season(database: Any, question: Any, given: Mapping[str, float] | None) -> dict[str, object]:
    from pcse.base import ParameterProvider
    from pcse.models import Wofost72_PP, Wofost72_WLP_CWB
    from pcse.tests import db_input

    crop = question["crop"]
    held, dry, roots_cm = question["soil"]
    soil = {
        **db_input.fetch_soildata(database, GRID),
        "SMFCF": held,
        "SMW": dry,
        "SM0": held + _POROSITY_OVER_FC,
        "RDMSOL": roots_cm,
    }
    site = {
        **db_input.fetch_sitedata(database, GRID, YEAR),
        "WAV": (held - dry) * roots_cm,
        "SMLIM": held,
    }
    plant = db_input.fetch_cropdata(database, GRID, YEAR, crop)
    plant["CFET"] *= question["thirst"]
    parameters = ParameterProvider(cropdata=plant, soildata=soil, sitedata=site)
    calendar = db_input.AgroManagementDataProvider(database, GRID, crop, YEAR)
    (campaign,) = calendar
    (plan,) = campaign.values()
    campaign.clear()
    campaign[date.fromisoformat(question["begins"])] = plan
    weather = db_input.GridWeatherDataProvider(database, grid_no=GRID, use_cache=False)
    for container in weather.store.values():
        container.RAIN = 0.0
    if given:
        plan["TimedEvents"] = [
            {
                "event_signal": "irrigate",
                "name": "drip",
                "comment": "",
                "events_table": [
                    {date.fromisoformat(day): {"amount": mm / 10.0, "efficiency": 1.0}}
                    for day, mm in sorted(given.items())
                ],
            }
        ]
    model = (Wofost72_PP if given is None else Wofost72_WLP_CWB)(parameters, weather, calendar)
    model.run_till_terminate()
    (summary,) = model.get_summary_output()
    ended = model.get_terminal_output() if given is not None else {}
    return {
        "yield_kg_ha": summary["TWSO"],
        "transpired_mm": 10.0 * summary["CTRAT"],
        "evaporated_mm": 10.0 * ended.get("EVST", 0.0),
        "drained_mm": 10.0 * ended.get("PERCT", 0.0),
        "irrigated_mm": 10.0 * ended.get("TOTIRR", 0.0),
        "short_days": sum(
            day["RFTRA"] < 0.999 for day in model.get_output() if day.get("RFTRA") is not None
        ),
        "emerged": str(summary["DOE"]),
        "flowered": str(summary["DOA"]),
        "ripe": str(summary["DOM"]),
    }


if __name__ == "__main__":
    print(json.dumps(_answer(json.load(sys.stdin))))
