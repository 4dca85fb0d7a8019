"""What a walk says of the flow meter."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller.cli.walkseen import AtRest, Finding, Tried
from controller.garden.model import Garden

LEAST_COUNTS = 3.0  # of a meter, reckoned, before its silence says anything; our choice
RUN_ON_COUNTS = 2  # after all is shut; one may be the wheel coming to rest; our choice


def meter_findings(
    tries: Sequence[Tried],
    garden: Garden,
    at_rest: AtRest,
    *,
    flow_l_s: Callable[[str], float],
) -> list[Finding]:
    """What the meter did while water ran, and while none should."""
    meter = garden.meter
    if meter is None:
        return []
    found = []
    if (at_rest.counts or 0) >= RUN_ON_COUNTS and not at_rest.on:
        found.append(
            Finding(
                kind="meter counts at rest",
                words=f"the meter counted {at_rest.counts} while all was shut: water is drawn "
                "elsewhere, a pipe leaks, or the pin catches noise",
            )
        )
    silent: list[str] = []
    too_little: list[str] = []
    for t in tries:
        if t.counts is None or t.not_tried:
            continue
        if t.counts == 0 and t.seen:
            due = flow_l_s(t.zone) * t.open_s / meter.litres_per_pulse
            (silent if due >= LEAST_COUNTS else too_little).append(t.zone)
        if t.counts >= RUN_ON_COUNTS and t.nothing:
            found.append(
                Finding(
                    kind="counts without water",
                    words=f"{t.zone}: the meter counted {t.counts} and nobody saw water: it runs "
                    "where nobody looked",
                    zone=t.zone,
                    line=t.line,
                )
            )
        if (t.run_on or 0) >= RUN_ON_COUNTS and t.stopped is not False:
            found.append(
                Finding(
                    kind="runs on by the meter",
                    words=f"{t.zone}: the meter counted {t.run_on} more after it had shut",
                    zone=t.zone,
                    line=t.line,
                )
            )
    if silent:
        counted = any(t.counts for t in tries)
        why = (
            "it counted for others: does their water pass it, and fast enough for it to turn?"
            if counted
            else f"see its wires, its pin ({meter.line}), and the arrow on it"
        )
        found.append(
            Finding(
                kind="meter does not count",
                words=f"water came at {', '.join(silent)} and the meter gave no count; {why}",
                line=meter.line,
            )
        )
    elif too_little and not any(t.counts for t in tries):
        found.append(
            Finding(
                kind="meter not judged",
                words="too little water passed for the meter to count once; walk again with more "
                "--seconds",
                line=meter.line,
            )
        )
    return found
