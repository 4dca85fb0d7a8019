"""Sentences of `check`: findings, the supply, perennials, remedies for zones short of water."""

from __future__ import annotations

_UNEVEN = (
    "it waters unevenly: the driest quarter gets {driest} of the mean. A shorter or more level "
    "row helps, or feeding it in the middle"
)
_BARREL_FALLS = (
    "while the barrel falls from {full} to {lowest} it gives {first} at first and {last} at the end"
)
_BARREL_TIMED = (
    ". Its times are computed at the {middle} of the middle; "
    "if that is too rough, keep it filled up"
)
_FIXED_OFFSET = (
    'timezone "{timezone}" has the same time all year: where clocks change, windows are an hour '
    "off for months. Name a zone by its area and city, as in America/Denver"
)
_LONGITUDE = (
    "longitude {longitude:g} does not fit {timezone}: its clock is {off_h:.1f} h off the sun there"
)
_LATITUDE = (
    "of the equator, {timezone} does not. A latitude {slip}? South is negative; as it is, summer "
    "and winter are taken for each other"
)
_BY_HAND = "a hot day's water passes in {seconds:.0f} s: too short to time by hand"
_PULSES = "its soil takes a hot day's water in only in {pulses} pulses: "
_WIDEN = "widen the wetted strip, or shape a deeper basin"
_HOLES_APART = (
    "row {row}: its holes are {every} apart, each wets about {wets}, and {crop} plants are {apart} "
    "apart:"
)
_DRILL_NEARER = ". Drill nearer, or plant at the holes"
_STANDS = "{crop} from {start} is in the ground for {stands} days, and "
_WRITE_DAYS = "write harvest_in (the days on the seed packet) or stages"
_SALT = "the water ({salt:g} dS/m, {class} by FAO-29)"
_SHORT = (
    "in a usual season without rain its {crop}{part} goes short of water, {days} "
    "{days:day|days} from {first} on; at worst, on {worst}, it finds {finds} of what it asks for "
    "({reason})"
)
_REGULATOR = "a regulator that holds {still} with nothing flowing, {tested} at {test}"
_PERENNIAL = "{crop} from {start}: "
_AS_ESTABLISHED = "as established from {full} on{as_of}"
_ALONE = 'zone "{zone}", alone: '

SENTENCES: dict[str, str] = {
    # Places in the garden.
    "place.garden": "garden",
    "place.site": "site",
    "place.board": "board",
    "place.bed": 'bed "{bed}"',
    "place.supply": "supply",
    "place.watering": "watering",
    "place.weather": "weather",
    "place.health": "health",
    "place.field_tests": "field tests",
    # The garden as a whole.
    "check.no_zone": "it has no zone: add a [[zone]]",
    "check.no_window": "no window lets {kind} valves water: add one to [watering], or let one of "
    "those there serve them",
    "check.clock_change": "{change}; a window clear of that hour is as long as it says",
    "check.health_address": (
        "{address} can be reached from outside this board, and no password is asked: whoever "
        "is on its networks can read when the garden is watered, and when nobody looks after it"
    ),
    # The place.
    "check.fixed_offset": _FIXED_OFFSET,
    "check.fixed_offset_near": _FIXED_OFFSET + "; the nearest is {near}",
    "check.longitude": _LONGITUDE + "; one of the two may be another place's",
    "check.longitude_turned": _LONGITUDE + ". A longitude {slip}? West is negative, {turned:g} "
    "would fit",
    "check.latitude_north": "latitude {latitude:g} lies north " + _LATITUDE,
    "check.latitude_south": "latitude {latitude:g} lies south " + _LATITUDE,
    "check.minus_missing": "without its minus",
    "check.minus_too_many": "with a minus too many",
    "check.cold_season": "{crop} in {zone} from {start} to {until}{more}: at latitude "
    "{latitude:g} that is the cold half of the year, about {mean} on average. A latitude {slip}, "
    "or dates of the other hemisphere? South is negative",
    "check.more_plantings": ", and {rest} more {rest:planting|plantings} like it",
    # Likely slips, and relays at power-on.
    "check.pressure_unit": "static_pressure is {written}, and a tap has 10 to 120 psi (0.7 to 8.3 "
    "bar) with nothing running; {meant:, }. Look at the gauge's scale, and write its unit",
    "check.pressure_meant": "{text} would be {would_be}",
    "check.low_tap": "static_pressure is {written}, and a tap has 10 psi (0.7 bar) or more with "
    "nothing running: read the gauge again with everything shut; water from a barrel is "
    'kind = "barrel"',
    "check.high_tap": "static_pressure is {written}, and a tap has 120 psi (8.3 bar) or less with "
    "nothing running: read the gauge again; if it is so, put a regulator before the main",
    "check.starts_low": (
        "{zones} may open at power-on, until the daemon runs: GPIO {lines:listed} "
        "{count:starts|start} low, and an active-low relay is on at low (Raspberry Pi; other "
        "boards: see theirs). Move {count:the relay|these relays} to GPIO 4 to 8, or fit 10 "
        "kilohm from each relay input to 3.3 V and write resistors = true in [board]. A line "
        "gpio={raw}=op,dh in the board's config.txt switches it off within seconds"
    ),
    "check.starts_high": (
        "{zones} may open at power-on, until the daemon runs: GPIO {lines:listed} "
        "{count:starts|start} high, and an active-high relay is on at high (Raspberry Pi; "
        "other boards: see theirs). Move {count:the relay|these relays} to GPIO 9 to 27, or "
        "fit 10 kilohm from each relay input to ground and write resistors = true in [board]. "
        "A line gpio={raw}=op,dl in the board's config.txt switches it off within seconds"
    ),
    "check.no_zone_here": 'no zone waters it: add bed = "{bed}" to the zone that does, or take '
    "the bed out of the file",
    "check.row_over_bed": (
        '{count:it is|each is} {row} long, and the bed "{bed}" only {length}: what its holes '
        "give beyond the bed is lost. Measure both; a row that lies in two beds is two rows"
    ),
    # A zone's flow.
    "check.all_plugged": (
        "every row is plugged, so it is not watered; take plugged = true from a row that is to "
        "water"
    ),
    "check.no_water": "no hole of it gives water, even with nothing else open: its holes lie "
    "higher than the water rises. Lay its rows lower, or correct rise and the rows' heights",
    "check.dry_holes": "{holes} of its holes stay dry even when it runs alone: open its valve "
    "further, plug some of its holes, or lay the row lower there",
    "check.unknown_opening": "{guess} (from {least} to {most} is likely)",
    "check.barrel_falls": _BARREL_FALLS + _BARREL_TIMED,
    "check.barrel_falls_dry": _BARREL_FALLS + ", where {dry} of its holes are dry" + _BARREL_TIMED,
    "check.uneven": _UNEVEN,
    "check.uneven_and_short": _UNEVEN + ". No dose is divided by less than {least:g}, so that "
    "quarter gets only {gets} of what it asks for: improve the row",
    "check.fast_main": (
        "alone it draws {speed} through the main; over {most} surge and noise grow. Throttle "
        "it, or lay a wider main"
    ),
    "check.fast_run": (
        'alone it draws {speed} through the run "{run}" of the main; over {most} surge and '
        "noise grow. Throttle it, or lay that run wider"
    ),
    "check.fast_row": (
        "water enters it at {speed}: friction can make it uneven, and dry-fitted joints are "
        "pushed apart. Throttle it, feed it in its middle, or take the next pipe size"
    ),
    "check.stays_open": (
        "its valve needs {wants} before it to shut, and with it open only {has} are left. So "
        "it is not opened: {helps}"
    ),
    "check.assumed_stays_open": (
        "it is not opened: no kind is written for its valve, so a diaphragm is assumed. That "
        "needs {wants} before it to shut, and with it open only {has} are left. If it shuts "
        'without pressure, write its kind, as in kind = "direct"; else {helps}'
    ),
    "check.throttle_behind": "throttle the row behind it, or take a valve that shuts without "
    "pressure",
    "check.never_so_high": "take a valve that shuts without pressure, for here even with nothing "
    "running there are no more than {most}",
    # Zones together.
    "check.never_together": (
        "it is never open together with {others}: its valve needs {wants} before it to shut, "
        "and as little as {has} would be left. Throttled behind their valves they can run "
        "together"
    ),
    "check.assumed_never_together": (
        "it is never open together with {others}: no kind is written for its valve, so a "
        "diaphragm is assumed. That needs {wants} before it to shut, and as little as {has} "
        'would be left. If it shuts without pressure, write its kind, as in kind = "direct"'
    ),
    "check.fast_fork": (
        "with {others} open too, the water before a fork of the main is much faster than its "
        "own after it. That may take up to {missed} more head than is computed, of the {has} "
        "before its valve. A bigger pipe before the fork helps, or fewer zones at once"
    ),
    "check.first_names": '"{names:", "}" and {more} more',
    "check.every_name": "{names:quoted}",
    "check.any_name": '"{most:", "}" or "{last}"',
    # The supply.
    "check.small_barrel": (
        "a hot day asks for {wanted}, and the barrel gives {holds} from full to its lowest. "
        "Fill it up meanwhile, or the later zones get less than is computed"
    ),
    "supply.pump": (
        "a pump that starts at {on} and stops at {off}: computed at {middle} while it starts "
        "and stops, and by its own curve once it runs without stopping, from {runs_on} on. "
        "From stop to start its tank gives {gives}"
    ),
    "supply.pump_runs_on": _ALONE + "the pump runs without stopping, and settles at {flow} and "
    "{pressure}, after up to {high} from a full tank. Times are computed at {timed}",
    "supply.pump_cycles": _ALONE
    + "the pump starts every {every} and runs for {runs} of it. The flow is "
    "{low} to {high}, and times are computed at {timed}. A pulse shorter than one start to the "
    "next is known to {swing}, a long one to {over_cycles}",
    "check.pump_starts_often": (
        "while it is open alone the pump starts every {every_s:.0f} s; more than about one "
        "start a minute heats a motor (from memory). Raise the flow, by opening its valve or "
        "adding rows, until the pump runs without stopping, at about {runs_on}; or take a "
        "larger tank"
    ),
    "check.pump_never_rests": (
        "alone it draws more than the pump lifts: the pressure falls below the {on} at which "
        "the pump starts, to {pressure} at {flow}, and the pump never stops. Before that, a "
        "full tank gives up to {high}: a pulse that takes about its {tank} passes far more "
        "than is computed. Throttle it, or water fewer rows at a time"
    ),
    "check.pump_runs_on": (
        "it draws nearly all that the pump gives, so that the pump runs without stopping at "
        "{pressure}, over the middle. It gets up to {over} more than is computed; measure the "
        "flow, or read a meter over a real run, to be sure"
    ),
    "check.slow_well": (
        "a hot day asks for {wanted}, which the well gives in {needs}, and the windows of a "
        "day are open for {has}. The water stored in the well must make up for it, or the "
        "later zones get less; open longer windows, on more days"
    ),
    "check.over_well": (
        "the well gives {most} for long, and {zones:quoted} {count:draws|draw} more than that "
        "while open: a long pulse uses the water stored in the well. Throttle to its yield, or "
        "see that the pump is switched off before the well is empty"
    ),
    "supply.regulator": _REGULATOR,
    "supply.regulator_alone": _REGULATOR + "; the mains before it are not known",
    "supply.regulator_and_mains": _REGULATOR + "; from {from} on, at {pressure}, it is wide open "
    "and the mains before it rule",
    "check.regulator_untested": (
        'nobody tested how far the regulator falls: zone "{zone}" alone may get {low} to '
        "{high}. Read a gauge behind it while rows run, and write it as flow_test"
    ),
    "check.beyond_test": (
        "{zones:quoted} {count:draws|draw} more than the {most} of the regulator's test, and "
        "nobody tested the mains before it. Beyond the test its pressure may drop faster: "
        "write static_pressure and flow_test_before"
    ),
    "check.regulator_wide_open": (
        "{zones:quoted} {count:draws|draw} more than the {most} at which the regulator is wide "
        "open: there the pressure is that of the mains, with their ups and downs. Throttle "
        "behind the valve, or take a regulator for more flow"
    ),
    "check.low_before_regulator": (
        "only {still} are before a regulator that is set to {setting}; it needs 10 to 15 psi "
        "(70 to 100 kPa) more than its setting (from memory): set it lower, or leave it out"
    ),
    "check.low_behind_flow": (
        "with {zones:quoted} open alone as little as {least} are left before a regulator set "
        "to {setting}; it needs 10 to 15 psi (70 to 100 kPa) more than its setting to hold it "
        "(from memory): throttle, or set it lower"
    ),
    # A hot day's water.
    "check.throttle": "throttle it to about {flow} with only this zone open: then it takes {takes}",
    "check.short_by_hand": _BY_HAND,
    "check.short_by_hand_throttle": _BY_HAND + "; {throttle}",
    "check.filling": (
        "filling its line takes {fills} and {seconds:.0f} s, on top of {wanted} of a hot day's "
        "water: fewer, larger doses waste less"
    ),
    "check.travel": "{share} of a hot day's water passes while its valve travels ({travel}) and "
    "its line fills: {throttle}",
    "check.over_cap": "a hot day asks for {wanted}, over its daily cap of {cap}: raise daily_cap, "
    "if the water is there",
    "check.many_pulses": _PULSES + _WIDEN,
    "check.many_pulses_throttle": _PULSES + "{throttle}; or " + _WIDEN,
    "check.coarse_meter": (
        "the meter gives a pulse for {tick}, and a hot day's water is {wanted}: too coarse to "
        "end its openings. Write ends_pulses = false, or take a meter with finer pulses"
    ),
    # Plantings.
    "check.nothing_planted": "nothing is planted, so it gets no water; add a planting with its "
    "dates",
    "check.holes_apart": _HOLES_APART + " plants between them stay dry" + _DRILL_NEARER,
    "check.holes_apart_sown": _HOLES_APART + " seeds between them do not come up" + _DRILL_NEARER,
    "check.bare_rows": (
        "{count:row|rows} {bare:listed} {count:holds|hold} no plants from {start} to {until}, "
        "and {count:takes|take} {share} of the valve's water: on a hot day {beside} beside "
        "{hot} for {planted_count:row|rows} {planted:listed}. Plug {count:it|them} (plugged = "
        "true) until something grows there"
    ),
    "check.idle_cover": "{cover} covers no planting: look at its dates",
    "check.salt_under_cover": (
        "{cover} keeps all rain out, and the water has {salt:g} dS/m of salt. No rain washes "
        "it down, so all leaching must come from the line. Where the crop's bounds are known "
        "the doses have it; else water the bed through now and then, and leave it open in "
        "winter if you can"
    ),
    "check.too_salty": _SALT + " is too salty for {crop}: with {share} more to wash it out, the "
    "most that is given, its roots still take up only about {left} of what they ask for",
    "check.salty": _SALT + ": {share} of what {crop} gets is given beyond its need, to wash salt "
    "below the roots, as far as rain has not done it",
    "check.no_perennial": (
        "{crop} is no perennial: from, established and planted_year have no meaning for it, "
        "and it begins with its first stage on {start}. Take them out, or correct the crop"
    ),
    "check.set_out_late": (
        "{crop} is set out on {start}, and its growing year is taken to begin on that date "
        "each year. If it rests until spring, add the day from which it grows, as in from = "
        "{spring}"
    ),
    "check.perennial_harvest": "{crop} is a perennial: harvest_in has no meaning for it. "
    "Take it out",
    "check.far_harvest": "{crop}: harvest_in is {days} days, and the crop table has "
    "{table_days:.0f}; its stages are changed no further than to {scale:g} of the table's; write "
    "stages if the days are right",
    "check.stands_long": _STANDS
    + "its stages end after {stages}, on {last}. After that it is watered as at its end. "
    "For a longer variety " + _WRITE_DAYS + ". If it is gone by then, write an earlier until",
    "check.stands_short": _STANDS
    + "by its stages it is full-grown after {full_grown}. For a quick variety "
    + _WRITE_DAYS,
    # What a perennial is taken as.
    "perennial.established": _PERENNIAL + "established, with all its roots from the first day",
    "perennial.growing_year": _PERENNIAL + "in growing year {nth} in {year}, " + _AS_ESTABLISHED,
    "perennial.set_out": _PERENNIAL + "newly set out, roots {roots} deep{more}; " + _AS_ESTABLISHED,
    "perennial.sown": _PERENNIAL + "newly sown, roots {roots} deep{more}; " + _AS_ESTABLISHED,
    "perennial.kept_moist": ", kept moist for {days} days",
    "perennial.rests": ", at rest until {until}",
    "perennial.as_of": "; first years as of {kind}",
    "check.same_for_rows": "{message}; the same for {count:row|rows} {rows:listed}",
    # The first line, and what comes on request.
    "verdict.nothing": "nothing is wrong",
    "verdict.cautions": (
        "no faults, {cautions:1 caution|{cautions} cautions}: it can water. Look at "
        "{cautions:it|each}"
    ),
    "verdict.faults": "{faults:1 fault|{faults} faults}: correct {faults:it|them} first",
    "verdict.both": (
        "{faults:1 fault|{faults} faults}, {cautions:1 caution|{cautions} cautions}: "
        "correct the {faults:fault|faults} first"
    ),
    "verdict.more": (
        "{beds:1 bed|{beds} beds}, {zones:1 zone|{zones} zones}, {rows:1 row|{rows} rows}; "
        "{filled:1 setting was|{filled} settings were} filled in. To see them, and how the "
        "supply and perennials are understood, add --all"
    ),
    # A usual season, and what would help.
    "check.short": _SHORT,
    "check.short_helps": _SHORT + "; {helps}",
    "check.short_part": " ({part})",
    "check.no_window_then": "no window on those days",
    "help.change": "{change} would keep it supplied",
    "help.together": "none of these alone would keep it supplied, all together would: {tried:, }",
    "help.stopped": "the garden is too large to try more",
    "help.stopped_after": "{tried:, } would not keep it supplied, and the garden is too large to "
    "try more",
    "help.not_together": "not even all of these together would keep it supplied: {tried:, }",
    "help.not_enough": "{tried:, } would not keep it supplied",
    "help.neediest": 'unlike_rows = "neediest"',
    "help.daily_cap": 'daily_cap = "{cap}"',
    "help.longest_open": 'longest_open = "{longest}"',
    "help.shortest_pulse": 'shortest_pulse = "{shortest}" at its valve',
    "help.most_open": "most_open = {count}",
    "help.hand_turns": "hand_turns = {count}",
    "help.hand_visits": "hand_visits = {count}",
    "help.longer_windows": "windows {more} longer ({windows:listed})",
    "help.window": "{opens:%H:%M} to {closes:%H:%M}",
    "help.another_window": "another window, {opens:%H:%M} to {closes:%H:%M}",
    "help.every_day": "windows on every day",
    "help.weekdays": "windows on {days:listed}",
    "help.no_hold": "watering without the hold",
}
