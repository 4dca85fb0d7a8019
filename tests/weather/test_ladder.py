"""The ladder of sources: which row answers for a day, what helps it out, how it is named."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import permutations

from controller.weather.day import WeatherDay
from controller.weather.ladder import BestDay, best_days, service_of

DAY = date(2031, 6, 10)
ORDER = ("station.csv", "open-meteo", "nasa-power")


def row(source: str, **more: object) -> WeatherDay:
    plain = {"day": DAY, "tmin_c": 11.0, "tmax_c": 23.0, "dewpoint_c": 9.0, "wind_m_s": 2.0}
    plain |= {"solar_mj_m2": 20.0, "rain_mm": 1.0, "source": source}
    return WeatherDay(**(plain | more))  # type: ignore[arg-type]


def best(*rows: WeatherDay, today: date | None = DAY + timedelta(days=1)) -> BestDay:
    return best_days(rows, order=ORDER, today=today)[DAY]


def test_the_highest_ranked_measured_day_stands_in_whatever_order_the_rows_come() -> None:
    rows = [
        row("nasa-power analysis"),
        row("station.csv"),
        row("open-meteo analysis"),
        row("open-meteo forecast", measured=False),
    ]
    for shuffled in permutations(rows):
        found = best(*shuffled)
        assert found.weather == rows[1]
        assert found.rung == "station"


def test_each_source_that_falls_away_gives_the_word_to_the_next_rung() -> None:
    rows = [
        row("station.csv"),
        row("open-meteo analysis"),
        row("nasa-power analysis"),
        row("open-meteo forecast", measured=False),
        row("nasa-power forecast", measured=False),
    ]
    # The second service is the second of the garden's list, also while the first is silent.
    wanted = ["station", "service", "second service", "forecast kept", "forecast kept"]
    assert [best(*rows[n:]).rung for n in range(5)] == wanted


def test_what_a_day_lacks_is_taken_singly_and_named() -> None:
    found = best(
        row("station.csv", solar_mj_m2=None, wind_m_s=None, wind_height_m=3.0),
        row("open-meteo analysis", solar_mj_m2=18.0, wind_m_s=4.0, wind_height_m=10.0),
    )
    assert found.rung == "station"
    assert (found.weather.solar_mj_m2, found.weather.wind_m_s) == (18.0, 4.0)
    assert found.weather.wind_height_m == 10.0  # a wind goes with the height it was measured at
    assert found.weather.source == "station.csv; wind and sun from open-meteo analysis"
    assert found.source == "station.csv"


def test_a_figure_comes_from_the_first_source_that_has_it() -> None:
    found = best(
        row("station.csv", dewpoint_c=None, rh_min_pct=40.0),
        row("open-meteo analysis", dewpoint_c=None),
        row("nasa-power analysis", dewpoint_c=6.5),
    )
    # The lowest humidity alone does not tell the vapour, so the group comes whole from elsewhere.
    assert (found.weather.dewpoint_c, found.weather.rh_min_pct) == (6.5, None)
    assert found.weather.source == "station.csv; humidity from nasa-power analysis"


def test_what_a_day_has_is_not_replaced() -> None:
    found = best(row("station.csv", solar_mj_m2=None, sunshine_h=8.0), row("open-meteo analysis"))
    assert (found.weather.solar_mj_m2, found.weather.sunshine_h) == (None, 8.0)
    assert found.weather.source == "station.csv"


def test_temperatures_come_as_a_pair_from_one_source() -> None:
    found = best(row("station.csv", tmax_c=None), row("open-meteo analysis", tmin_c=12.0))
    assert (found.weather.tmin_c, found.weather.tmax_c) == (12.0, 23.0)
    assert found.rung == "service"


def test_rain_measured_by_the_better_source_stands_though_its_day_lacks_temperatures() -> None:
    found = best(
        row("station.csv", tmin_c=None, tmax_c=None, rain_mm=14.0),
        row("open-meteo analysis", rain_mm=2.0),
    )
    assert found.weather.rain_mm == 14.0
    assert found.weather.source == "open-meteo analysis; rain from station.csv"


def test_a_forecast_of_a_day_that_is_over_does_not_tell_its_rain() -> None:
    found = best(row("open-meteo forecast", measured=False, rain_mm=9.0, rain_chance_pct=80.0))
    assert (found.rung, found.weather.rain_mm, found.weather.rain_chance_pct) == (
        "forecast kept",
        None,
        None,
    )
    assert found.weather.tmax_c == 23.0


def test_rain_that_was_only_foretold_never_fills_a_measured_day() -> None:
    found = best(
        row("station.csv", rain_mm=None), row("open-meteo forecast", measured=False, rain_mm=9.0)
    )
    assert found.weather.rain_mm is None


def test_from_today_on_forecasts_answer_first() -> None:
    half_a_day = row("station.csv", tmax_c=14.0)
    foretold = row("open-meteo forecast", measured=False, rain_chance_pct=60.0)
    found = best(half_a_day, foretold, today=DAY)
    assert (found.weather, found.rung) == (foretold, "forecast")
    assert best(half_a_day, today=DAY).rung == "station"


def test_without_a_date_each_row_is_taken_at_its_word() -> None:
    foretold = row("open-meteo forecast", measured=False)
    assert best(foretold, today=None) == BestDay(
        weather=foretold, rung="forecast", source="open-meteo forecast"
    )
    assert best(foretold, row("station.csv"), today=None).rung == "station"


def test_of_two_rows_of_one_source_the_later_stands() -> None:
    assert best(row("station.csv", tmin_c=5.0), row("station.csv")).weather.tmin_c == 11.0


def test_sources_nobody_ranked_come_last_in_the_order_met() -> None:
    found = best(row("old.csv", tmin_c=1.0), row("older.csv", tmin_c=2.0))
    assert found.weather.tmin_c == 1.0
    found = best(row("old.csv", tmin_c=1.0), row("nasa-power analysis", tmin_c=2.0))
    assert (found.weather.tmin_c, found.rung) == (2.0, "second service")
    found = best(row("met-norway analysis"), row("nasa-power forecast", measured=False))
    assert found.rung == "third service"


def test_a_day_without_temperatures_keeps_its_rain_and_has_no_rung() -> None:
    found = best(row("station.csv", tmin_c=None))
    assert (found.rung, found.weather.rain_mm) == ("", 1.0)
    assert found.weather.tmax_c is None


def test_days_come_in_order() -> None:
    rows = [row("a", day=DAY + timedelta(days=n)) for n in (3, 1, 2)]
    assert list(best_days(rows)) == sorted(r.day for r in rows)


def test_a_service_is_told_by_how_its_days_are_named() -> None:
    assert service_of("open-meteo analysis") == "open-meteo"
    assert service_of("nws forecast") == "nws"
    assert service_of("station.csv") is None
