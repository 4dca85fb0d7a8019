"""The ladder of sources: which row answers for a day, what helps it out, how it is named."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import permutations

from controller.weather.day import WeatherDay
from controller.weather.online.cache import FORECASTS
from controller.weather.source_priority import (
    MODEL_RAIN_SHARE,
    OUTRANKED_AFTER,
    BestDay,
    best_days,
    is_of_a_model,
    service_of,
)

DAY = date(2031, 6, 10)
ORDER = ("station.csv", "open-meteo", "nasa-power")


def row(source: str, **more: object) -> WeatherDay:
    plain = {"day": DAY, "tmin_c": 11.0, "tmax_c": 23.0, "dewpoint_c": 9.0, "wind_m_s": 2.0}
    plain |= {"solar_mj_m2": 20.0, "rain_mm": 1.0, "source": source}
    if source.endswith(" model"):
        plain |= {"measured": False, "modelled": True}
    return WeatherDay(**(plain | more))  # type: ignore[arg-type]


def best(*rows: WeatherDay, today: date | None = DAY + timedelta(days=1)) -> BestDay:
    return best_days(rows, order=ORDER, today=today)[DAY]


def test_the_highest_ranked_measured_day_stands_in_whatever_order_the_rows_come() -> None:
    rows = [
        row("nasa-power model"),
        row("station.csv"),
        row("open-meteo model"),
        row("open-meteo forecast", measured=False),
    ]
    for shuffled in permutations(rows):
        found = best(*shuffled)
        assert found.weather == rows[1]
        assert found.rung == "station"


def test_each_source_that_falls_away_gives_the_word_to_the_next_rung() -> None:
    rows = [
        row("station.csv"),
        row("open-meteo model"),
        row("nasa-power model"),
        row("open-meteo forecast", measured=False),
        row("nasa-power forecast", measured=False),
    ]
    # The second service is the second of the garden's list, also while the first is silent.
    wanted = ["station", "service", "second service", "forecast kept", "forecast kept"]
    assert [best(*rows[n:]).rung for n in range(5)] == wanted


def test_what_a_day_lacks_is_taken_singly_and_named() -> None:
    found = best(
        row("station.csv", solar_mj_m2=None, wind_m_s=None, wind_height_m=3.0),
        row("open-meteo model", solar_mj_m2=18.0, wind_m_s=4.0, wind_height_m=10.0),
    )
    assert found.rung == "station"
    assert (found.weather.solar_mj_m2, found.weather.wind_m_s) == (18.0, 4.0)
    assert found.weather.wind_height_m == 10.0  # a wind goes with the height it was measured at
    assert found.weather.source == "station.csv; wind and sun from open-meteo model"
    assert found.source == "station.csv"


def test_a_figure_comes_from_the_first_source_that_has_it() -> None:
    found = best(
        row("station.csv", dewpoint_c=None, rh_min_pct=40.0),
        row("open-meteo model", dewpoint_c=None),
        row("nasa-power model", dewpoint_c=6.5),
    )
    # The lowest humidity alone does not tell the vapour, so the group comes whole from elsewhere.
    assert (found.weather.dewpoint_c, found.weather.rh_min_pct) == (6.5, None)
    assert found.weather.source == "station.csv; humidity from nasa-power model"


def test_what_a_day_has_is_not_replaced() -> None:
    found = best(row("station.csv", solar_mj_m2=None, sunshine_h=8.0), row("open-meteo model"))
    assert (found.weather.solar_mj_m2, found.weather.sunshine_h) == (None, 8.0)
    assert found.weather.source == "station.csv"


def test_temperatures_come_as_a_pair_from_one_source() -> None:
    found = best(row("station.csv", tmax_c=None), row("open-meteo model", tmin_c=12.0))
    assert (found.weather.tmin_c, found.weather.tmax_c) == (12.0, 23.0)
    assert found.rung == "service"


def test_rain_measured_by_the_better_source_stands_though_its_day_lacks_temperatures() -> None:
    found = best(
        row("station.csv", tmin_c=None, tmax_c=None, rain_mm=14.0),
        row("open-meteo model", rain_mm=2.0),
    )
    assert found.weather.rain_mm == 14.0
    assert found.weather.source == "open-meteo model; rain from station.csv"


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
    found = best(row("old.csv", tmin_c=1.0), row("nasa-power model", tmin_c=2.0))
    assert (found.weather.tmin_c, found.rung) == (2.0, "second service")
    found = best(row("met-norway model"), row("nasa-power forecast", measured=False))
    assert found.rung == "third service"


def test_a_day_without_temperatures_keeps_its_rain_and_has_no_rung() -> None:
    found = best(row("station.csv", tmin_c=None))
    assert (found.rung, found.weather.rain_mm) == ("", 1.0)
    assert found.weather.tmax_c is None


def test_days_come_in_order() -> None:
    rows = [row("a", day=DAY + timedelta(days=n)) for n in (3, 1, 2)]
    assert list(best_days(rows)) == sorted(r.day for r in rows)


def test_what_was_measured_outranks_a_model_wherever_it_stands_in_the_order() -> None:
    rows = [row("open-meteo model", tmin_c=1.0), row("station.csv", tmin_c=2.0)]
    for order in ((), ("open-meteo", "station.csv"), ("station.csv", "open-meteo")):
        found = best_days(rows, order=order, today=DAY + timedelta(days=1))[DAY]
        assert (found.weather.tmin_c, found.rung) == (2.0, "station")
    # A file that the garden no longer names stands behind what it does name.
    found = best(rows[0], row("old.csv", tmin_c=3.0))
    assert (found.weather.tmin_c, found.rung) == (1.0, "service")


def test_a_models_rain_counts_in_part_and_what_it_said_is_kept_beside_it() -> None:
    found = best(row("open-meteo model", rain_mm=12.0))
    assert (found.weather.rain_mm, found.model_rain_mm) == (12.0 * MODEL_RAIN_SHARE, 12.0)
    assert 0.0 < MODEL_RAIN_SHARE < 1.0
    assert best(row("station.csv", rain_mm=12.0)).model_rain_mm is None
    assert is_of_a_model(found.rung) and not is_of_a_model("station")


def test_a_models_rain_helps_a_station_out_in_part_and_a_station_helps_a_model_in_full() -> None:
    model = row("open-meteo model", rain_mm=12.0)
    found = best(row("station.csv", rain_mm=None), model)
    assert (found.weather.rain_mm, found.rung) == (6.0, "station")
    assert found.weather.source == "station.csv; rain from open-meteo model"
    found = best(row("station.csv", tmin_c=None, rain_mm=0.0), model)
    assert (found.weather.rain_mm, found.model_rain_mm) == (0.0, None)
    found = best(row("station.csv", tmin_c=None, rain_mm=None), row("x model", tmin_c=None))
    assert (found.rung, found.weather.rain_mm, found.model_rain_mm) == ("", 0.5, 1.0)


def foretold(source: str, hour: int | None, **more: object) -> WeatherDay:
    """A forecast given at that hour of the day before, or nobody knows when."""
    given = None if hour is None else datetime(2031, 6, 9, hour, tzinfo=UTC)
    return row(source, measured=False, given_utc=given, **more)


def test_an_old_forecast_of_a_higher_service_does_not_outrank_a_fresh_one() -> None:
    high, low = "open-meteo forecast", "nasa-power forecast"
    for hour, wanted in ((None, low), (1, low), (8, low), (9, high), (12, high)):
        for rows in permutations([foretold(high, hour), foretold(low, 12)]):
            assert best(*rows, today=DAY).source == wanted, hour
            assert best(*rows, today=DAY + timedelta(days=1)).source == wanted, hour
    assert best(foretold(low, None), foretold(high, None), today=DAY).source == high
    assert FORECASTS.fresh_for == OUTRANKED_AFTER
    # What the fresh one lacks still comes from the old one.
    found = best(foretold(high, 1), foretold(low, 12, wind_m_s=None), today=DAY)
    assert found.weather.source == "nasa-power forecast; wind from open-meteo forecast"


def test_a_file_of_forecasts_keeps_its_rank_though_it_has_no_date() -> None:
    found = best(
        foretold("station.csv", None, tmin_c=3.0), foretold("open-meteo forecast", 12), today=DAY
    )
    assert found.source == "station.csv"


def test_of_two_rows_of_one_source_the_one_given_later_stands() -> None:
    early, late = foretold("nws forecast", 1, tmin_c=1.0), foretold("nws forecast", 7, tmin_c=2.0)
    for rows in permutations([early, late]):
        assert best(*rows, today=DAY).weather.tmin_c == 2.0


def test_a_service_is_told_by_how_its_days_are_named() -> None:
    assert service_of("open-meteo model") == "open-meteo"
    assert service_of("nws forecast") == "nws"
    assert service_of("station.csv") is None
