"""Sentences on rows and valves that do not run as they should."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # A row and its holes.
    "row.never_fills": "row {row} never fills beyond {beyond} from its inlet: "
    "{count:hole|holes} {holes} lie above the water",
    "row.stays_dry": "row {row}: {count:hole|holes} {holes} lie above the water and stay dry",
    "row.may_not_run": (
        "row {row}: {count:hole|holes} {holes} may not run: only {over} of water is over the "
        "lowest of them, and surface tension can hold {held}"
    ),
    "row.lets_air_in": "row {row} falls away from its water: air enters at {at}, and "
    "{count:hole|holes} {holes} {count:stays|stay} dry (turned down they may trickle); "
    "{ways:, or }",
    "row.with_ways": "{warning}; {ways:, or }",
    "holes.runs": "{runs:, }",
    "holes.run": "{first} to {last}",
    "holes.every_second": "{first} to {last}, every second,",
    "holes.hole": "hole {number}",
    "holes.drain_hole": "drain hole {number}",
    # Ways to mend it.
    "way.open_valve": "open the valve until it gives about {then} alone instead of {now}",
    "way.plug_some": "plug about {count} of its {of} open holes, evenly spread",
    "way.lower_pipe": "lower the pipe there by {by}",
    "way.plug_those": "plug those, and plan without them",
    "way.throttle_low_end": "open the valve further, and throttle at the row's low end if at all",
    "way.lay_level": "lay the row level",
    "way.feed_low_end": "feed it at its low end",
    # A zone.
    "zone.strong_stream": (
        "its stream means {pressure} at the first hole. Over {limit} the air takes an eighth "
        "of the height and more, so more flows than is computed: measure the flow, or read a "
        "smaller stream"
    ),
    "zone.opening_unknown": (
        "how far its valve is open is unknown. Its time is computed at a middle flow, {flow} "
        "alone; the true flow may be a third of that, or three times as much: measure it with "
        "only this zone open"
    ),
    "zone.loose_jets": (
        "its holes are under {pressure}. Over about {limit} water can boil in a short hole, "
        "and the jet comes loose from its wall, glassy and thin. Such holes give up to {less} "
        "less than computed: look at the jets, and measure the flow"
    ),
    "zone.valve_stays_open": (
        'the valve of "{zone}" needs {wants} before it to shut, and {has} would be left'
    ),
    "zone.assumed_valve_stays_open": (
        'the valve of "{zone}" needs {wants} before it to shut (no kind is written, so a '
        "diaphragm is assumed), and {has} would be left"
    ),
}
