"""Sentences of the design advice, and of the changes that "what if" tries."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # Places.
    "place.zone": 'zone "{zone}"',
    "place.row": 'zone "{zone}", row {row}',
    "place.rows": 'zone "{zone}", row {rows: and }',
    "place.drilled_as": 'rows drilled as in zone "{zone}"',
    "place.together": "zones together",
    "place.level": "level",
    "place.main": "main",
    "place.run": 'main, run "{run}"',
    "place.tap": "tap",
    "place.row_ends": "row ends",
    "place.house_pipe": "house pipe",
    "advice.saves": "Saves about {volume} on a hot day",
    # Length of rows.
    "advice.too_long": (
        "{length} is too long for its holes: such a row is even {reach}. Feed it in its "
        "middle, which halves the length that counts; or drill fewer or smaller holes; "
        "or take the next pipe size"
    ),
    "advice.reach": "{pipe} pipe with {holes} stays even {reach}, if level",
    "reach.any": "over any length a garden has",
    "reach.up_to": "up to {length}",
    "reach.none": "at no length",
    "basis.length": (
        "the row computed hole by hole on this supply, level, {wished} low-quarter "
        "uniformity, drill and error of level in it"
    ),
    # Holes.
    "holes.drilled": "{group:a hole|{group} holes} of {bore} every {every}",
    "holes.both_walls": (
        "{group:a hole|{group} holes} of {bore} every {every}, through both walls,"
    ),
    "advice.holes": (
        "{crop} plants are {apart} apart, the holes {every}. {holes} would reach each "
        "plant; a row then gives {then} instead of {now}, {each} a plant"
    ),
    "basis.holes": "a hole by each plant, three by a big one, one every hand's breadth for close "
    "crops: common practice, no source; flows: the network with the new holes",
    # Speed in rows.
    "advice.speed": (
        "water enters it at {speed}. Over {most} friction grows nearly as the square and "
        "can make it uneven, dry-fitted joints are pushed apart, and shutting it knocks. "
        "Throttle it to {flow} a row, feed it in its middle, or take the next pipe size"
    ),
    "basis.speed": "flow over the bore's area, the supply at its fullest; 5 ft/s as in mains "
    "(utilities' practice, from memory)",
    # Level.
    "advice.off_level": "it lies {off} off level, and {bears}: level it{or_open}",
    "advice.off_level_when_low": "it lies {off} off level, and, when the barrel is low, {bears}: "
    "level it{or_open}",
    "level.friction": "its friction alone takes all that its holes may differ",
    "level.bears": "with {over} over its driest hole it allows only {enough}",
    "level.no_water": "no water",
    "level.or_open": ", or open the valve further",
    "level.opening_is_not_enough": "; to open the valve wide would not be enough",
    "advice.level_within": "its rows are level enough within {within}, at the far end and in the "
    "middle",
    "advice.level_within_when_low": (
        "its rows are level enough within {within}, when the barrel is low, at "
        "the far end and in the middle"
    ),
    "advice.level_by_eye": "within {within}, which the eye sees, is level enough for "
    "{zones:quoted} as they run now",
    "basis.level": (
        "rows computed with their far end or middle off level, the head at the "
        "inlet as computed now; up to {variation} between strongest and "
        "weakest hole (ASAE practice, from memory)"
    ),
    # Throttle.
    "advice.throttle": (
        "a hot day's water passes in {now}. Throttle it to about {flow}{ends} with only "
        "this zone open, {why:, }: then it takes {then}, and {care}. Set it by meter or "
        "bucket, not by the handle (the loss coefficient K of valve and take-off is then "
        "{loss_k})"
    ),
    "throttle.barrel": " with the barrel at half its fall ({full} when full, {low} when low) and",
    "throttle.time": "so that its time can be kept",
    "throttle.travel": "so that little passes while its valve travels",
    "throttle.soil": "so that the soil takes it in as one pulse",
    "throttle.longest": "as far as {longest} allows, the longest it may run",
    "throttle.head": "as far as {head} of water over the holes allows",
    "care.far_holes": "its far holes give less, however level it lies",
    "care.by_eye": "level by eye is level enough",
    "care.within": "its rows must lie level within {within}",
    "basis.throttle": "a use of {use} a day (FAO-56, warm), the network for the flow, the soil's "
    "steady intake and the basin; shortest and longest times and how much may pass while a valve "
    "travels are our choice",
    # Zones together.
    "advice.together": "{together}, with {head} at the tap",
    "advice.together_and_largest": (
        "{together}; {zones:quoted}, which draw most, leave one of them only "
        "{share}, with {head} at the tap"
    ),
    "together.some": "{zones:quoted} can run together, each keeping at least {share} of its flow "
    "alone",
    "together.none": "no two zones can run together by the garden's rules",
    "basis.together": (
        "the network solved for the sets, smallest flow first; at least {share} each, no "
        "more dry holes, valves' closing pressure"
    ),
    # The main.
    "advice.main": (
        'zone "{zone}" alone draws {speed} through {pipe}, which takes {share} of the '
        "static pressure{bigger}. Throttling the zone costs nothing"
    ),
    "main.pipe": "the {pipe} main",
    "main.run": 'the run "{run}" of the main, {pipe}',
    "main.bigger": "; {pipe} pipe would give it {gain} more, at {speed}",
    "main.bigger_but_tap": "; {pipe} pipe would give it {gain} more, at {speed}, so that the tap "
    "and not the main is the limit",
    "main.bigger_but_other": (
        "; {pipe} pipe would give it {gain} more, at {speed}, so that the tap "
        "or another run is the limit"
    ),
    "basis.main": (
        "5 ft/s in mains (utilities' practice, from memory); the network solved with the next size"
    ),
    # Surge.
    "advice.surge": (
        'if zone "{zone}" shuts at once, it adds a surge of {at_once} to the {standing} '
        "of static pressure; if it shuts as its kind of valve does, "
        "{usual}{slower}{rating}"
    ),
    "surge.slower": "; anything slower than {back_s:.2f} s helps",
    "surge.no_rating": ". Compare the sum with the pressure printed on your pipe",
    "surge.over": (
        ". {pipe} Schedule 40, glued, is rated for {rated} at {warm}, and the sum is "
        "over it: close slowly, or throttle"
    ),
    "surge.holds": ". {pipe} Schedule 40, glued, is rated for {rated} at {warm}: it holds",
    "basis.surge": "Joukowsky and Michaud; wave speed by Korteweg from PVC's modulus, wall and "
    "bore; ASTM D1785 ratings, times 0.62 in the sun; closing times from memory",
    # Ends, the house's pipe, closing, filter, backflow.
    "advice.ends": (
        "with its holes blocked a row takes the full {standing}. That pushes with "
        "{least} on the end of {pipe} pipe, and with up to {most} where water gets in "
        "between cap and pipe. Stake dry-fitted ends and joints, and never dry-fit "
        "anything before the valve"
    ),
    "basis.ends": "pressure times area of bore and of outside",
    "advice.house_pipe": (
        'zone "{zone}" draws {flow} through the house\'s own pipe too: {speeds: and } '
        "copper pipe, where {most} is the most for cold water. If it shuts at once it "
        "adds {at_once: and } there; if it shuts as its kind of valve does, {usual: and "
        "} for {run} of pipe. Look which size yours is. A zone that is throttled, or "
        "shuts slowly, is easier on it"
    ),
    "house.speed": "{speed} in {size}",
    "basis.house_pipe": "bores of type L copper tube, ASTM B88, and 8 ft/s in it, copper tube "
    "handbooks, all from memory; Joukowsky and Michaud; the pipe's size and length are not known "
    "here",
    "advice.closing": (
        "while it runs, {has} are left before its valve, and by its own figure it needs "
        "{wants} to shut. Throttle behind the valve, or take one that shuts by a spring "
        "or motor"
    ),
    "advice.closing_diaphragm": (
        "while it runs, {has} are left before its valve, and if that has a diaphragm it "
        "needs {wants} to shut. Throttle behind the valve, or take one that shuts by a "
        "spring or motor"
    ),
    "basis.closing": "the network, tap less main; 5 to 10 psi for diaphragm valves from memory, "
    "the data sheet knows better",
    "advice.filter": (
        "a screen of about {mesh} mesh ({opening_mm:.2f} mm) keeps grit out of holes of "
        "{bore}. Water from a barrel, well or pond needs one; with town water it is wise "
        "after work on the mains. Rinse it when the flow falls"
    ),
    "basis.filter": "a tenth of the bore, common practice, no source; sieve openings of ASTM E11, "
    "from memory",
    "advice.backflow": (
        "drilled pipe in the ground can draw soil water back into the house: put a "
        "backflow preventer before the main. Which kind, how high and how often tested: "
        "ask your local code, not us. Measure the flow test behind it, for it takes "
        "pressure"
    ),
    "basis.backflow": "common practice, no source; defer to local code",
    # What if.
    "change.tilt_up": "every far end {tilt} higher",
    "change.tilt_down": "every far end {tilt} lower",
    "change.no_drain": "without its drain holes",
    "change.drain": "with a drain hole of {bore} at the far end of each row",
    "change.drained": "{change} ({share} of the water leaves that way)",
    "change.plugged_tail": "the last {share} of each row plugged",
    "change.worn_hole": "the middle hole of the first row worn {share} wider",
    "change.together": 'open together with "{zone}", which takes most from it',
}
