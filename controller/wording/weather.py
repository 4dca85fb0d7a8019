"""Sentences of the weather of a plan: its sources, what stands in, heat, frost, covers."""

SENTENCES: dict[str, str] = {
    # The sources.
    "source.not_read": "no weather from {name}: {fault}",
    "source.no_file": (
        '{key} = "{name}" in [weather]: there is no such file. Looked for at {path}. Correct '
        "the name, or put the file there"
    ),
    "source.more_lines": "{name}: {more} more {more:line|lines} like these",
    "source.no_day": "it has no day",
    "source.normals_not_read": "no normals from {name}: {fault}",
    "source.normals_empty": "no normals from {name}: it has no day with both temperatures",
    "source.no_climate_table": "no climate table: {fault}",
    # Days without weather of their own.
    "days.remark": "{days:, }: {remark}",
    "days.one": "{day}",
    "days.run": "{first} to {last} ({count} days)",
    "days.many": "{count} days from {first} to {last}",
    "days.impossible": "{day}: {fault}; {source} is not used",
    "days.impossible_rain": "{day}: found {rain:g} mm of rain; taken as unknown",
    "days.forecast_kept": "no measurement; the kept forecast is used",
    "days.forecast_kept_no_rain": "no measurement; the kept forecast is used, its rain is unknown",
    "days.no_weather": (
        "no usable weather; the reference ET is a stand-in ({stand_in}), rain is as measured"
    ),
    "days.no_weather_no_rain": (
        "no usable weather; the reference ET is a stand-in ({stand_in}), rain is unknown"
    ),
    "days.model_rain": (
        "rain is a weather model's and may have missed the garden; {share} of it is credited. "
        "Note what a rain gauge caught"
    ),
    "days.model_settles": (
        "a weather model's figures that may still change; they are asked for again"
    ),
    "stand_in.days_before": "what is usual, moved by the days before",
    "stand_in.normal": "what is normal here",
    "stand_in.climate_table": "what the monthly climate table has",
    "stand_in.season": "the season's table for a {climate} climate",
    "stand_in.season_an": "the season's table for an {climate} climate",
    # The climate in use.
    "climate.of_garden": (
        "{sources:, then }: reference ET is greatest in {month}, {eto} a day{rain}"
    ),
    "climate.of_class": (
        "{sources:, then }: reference ET is greatest in {month}, {eto} a day ({others:, }); set "
        "climate or climate_table in [weather]"
    ),
    "climate.normals": "what is normal here in {years} years",
    "climate.table": "the climate table {name}",
    "climate.eto_if": "{eto} if {climate}",
    "climate.class_stands_in": (
        "climate {climate} stands in on {days} {days:day|days}: {etos:, }; set climate or "
        "climate_table in [weather]"
    ),
    "climate.eto": "ETo {eto} a day",
    "climate.times_if": "{times:.1f} times that if {climate}",
    "climate.table_stands_in": (
        "the climate table stands in on {days} {days:day|days}: ETo {eto} a day{rain}"
    ),
    "climate.usual_rain": "; its usual rain, {rain}, is not counted before it has fallen",
    # Heat and frost.
    "heat.day": (
        "{first}: dries far more than usual{warmest}; reference ET {eto}, usual {usual} is "
        "{usual_eto}"
    ),
    "heat.run": (
        "{first} to {last}: dries far more than usual{warmest}; reference ET up to {eto}, usual "
        "{usual} is {usual_eto}"
    ),
    "heat.warmest": ", up to {temperature}",
    "heat.usual_here": "here",
    "heat.usual_climate_table": "by the climate table",
    "heat.usual_season_table": "by the season's table",
    "heat.usual_of_late": "in the days before",
    "frost.holds": (
        "frost: {lows:, }; nothing is watered on {days: and }. Drain the pipes that are above "
        "ground"
    ),
    "frost.may_come": (
        "frost: {lows:, }; if it comes, what is listed for {days:, } is left out, and "
        "does not count as given. Print the plan again that morning"
    ),
    "frost.forecast": "{temperature} forecast for {day}",
    "frost.expected": "{temperature} expected for {day}",
    # Covers.
    "cover.zones": (
        "{zones:listed}: under {covers: and }; ETo and rain are as the bed has them under it"
    ),
    "cover.dated": "the {kind}{begins}{ends}",
    "cover.one": "{cover} ({eto:.2f} of the reference ET outside, {rain})",
    "cover.begins": " from {day}",
    "cover.ends": " until {day}",
    "cover.no_rain": "no rain",
    "cover.all_rain": "all rain",
    "cover.share_of_rain": "{share:g} of the rain",
}
