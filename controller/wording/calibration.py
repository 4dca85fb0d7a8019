"""Sentences on field tests: what they show, where they contradict, which to do next."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "test.named": "{name}",
    "test.unreadable": "which cannot be read: {fault}",
    "test.zone_gone": '{test}: left out, the garden has no zone "{zone}" now',
    "test.zone_changed": (
        "{test}: left out, the garden file describes the {part} otherwise than on its day"
    ),
    "fit.stale": (
        "{part}: the garden file describes it otherwise than when it was "
        "tested; what was measured of it is left out until it is tested again"
    ),
    "fit.anew": "fitted anew, as this Rowgate does it: {flows:; }",
    "fit.moved": '"{zone}" {before} before, {now} now',
    "fit.unmoved": "no flow moves by more than {share}",
    # What was found.
    "fit.of_garden": "{kind}",
    "fit.of_zone": '{kind} of "{zone}"',
    "fit.silent": "{name}: no test shows it; the figure from before the tests is kept",
    "fit.nothing_of": "no test shows: {names:, }",
    "fit.contradiction": "contradiction: {contradiction}",
    "fit.level": (
        "{name}: {off_cm:+.1f} cm against the garden file, give or take {error_cm:.1f} cm"
    ),
    "fit.valve": "{name}: loss coefficient {loss_k:figures} over its take-off, give or take "
    "{error:.1%} (before the tests {prior_k:figures}, {prior_error:.0%})",
    "fit.factor": "{name}: {factor:.3g} times what the garden file says, give or take {error:.1%} "
    "(before the tests {prior_error:.1%})",
    "fit.supply_changed": "the supply has changed since the flow test in the garden file: {then} "
    "then, {now} now; look at its filter, and put a new flow test into the garden file",
    "fit.supply_changed_at": "the supply has changed since the flow test in the garden file: "
    "{then} at {pressure} then, {now} now; look at its filter, and put a new flow test into the "
    "garden file",
    "fit.holes_plugged": (
        'some holes of "{zone}" may be plugged: about {share} of its water '
        "comes; count those that run (rowgate note count)"
    ),
    # Contradictions, and their likely causes.
    "fit.contradicts": (
        "{test}: contradicts the other field tests ({cause}). Flows are less sure until that "
        "is solved"
    ),
    "fit.slip": (
        "{test}: it shows {says}, all tests together {others}. Until that is solved it is left "
        "out, and the flows are less sure: {cause}"
    ),
    "fit.too_far": (
        "{test}: it shows {says}, all tests together {others}: {times:.1f} times what the "
        "errors allow for one; {cause}"
    ),
    "fit.hole_gives_more": "{test}: hole {hole} gives more than the other holes of the test would "
    "have it, {times:.1f} times what the errors allow for one; {cause}",
    "fit.hole_gives_less": "{test}: hole {hole} gives less than the other holes of the test would "
    "have it, {times:.1f} times what the errors allow for one; {cause}",
    "fit.streams": "streams as of {height} upward",
    "fit.holes_share": "{share} of the holes",
    "cause.wrong_zone": 'it fits far better as a test of "{zone}": was it noted for the wrong '
    "zone?",
    "cause.far_end": "it fits far better with its holes counted from the far end: count from the "
    "inlet",
    "cause.of_hole": "hole {hole}: {cause}",
    "cause.stands_low": "its water is low: measure the heights along the row",
    "cause.drilling": "look at its drilling, or whether it is half plugged",
    "cause.do_again": "do it again",
    "cause.look": "do it again, or look for what was different",
    # Tests to do.
    "next.none_needed": (
        "none is needed: the flows are known to about {now}, and another test would add little"
    ),
    "next.would_tell": "{test} (the flows are known to about {now}; it would make that {then})",
    "next.gauge_still": "a gauge at the tap with nothing open",
    "next.gauge_open": 'a gauge at the tap with only "{zone}" open',
    "next.open_tap": "the open tap into a bucket, three times",
    "next.meter_two": 'the house meter over two minutes with only "{zone}" open',
    "next.meter": 'the house meter over {minutes} minutes with only "{zone}" open',
    "next.count": 'a count of the holes of "{zone}" that run, open alone',
    "next.bucket": "all of {where}, open alone, into a bucket",
    "next.cups": "cups under holes {holes:, } of {where}, open alone",
    "next.streams": "the height of the streams of holes {holes:, } of {where}, open alone",
    "next.zone": '"{zone}"',
    "next.row": 'row {row} of "{zone}"',
}
