"""One dose for all rows of a zone: what its parts want together, and what that costs some."""

from __future__ import annotations

from collections.abc import Mapping

from controller.garden.model import UnlikeRows, Zone
from controller.garden.show import show_depth
from controller.timetable.accounts import ZoneAccount
from controller.timetable.wants import Want

# Under this part of the flow due to a ground, dividing by it would flood the rest. Our choice.
LEAST_SHARE = 0.4
_WORTH_SAYING_MM = 0.5  # more or less than it lacks, before a row is named


def depth_of(zone: Zone, account: ZoneAccount, wants: Mapping[int, Want]) -> tuple[float, Want]:
    """The depth over the zone's whole ground that its parts' wants come to, and whose they are.

    `wants` are by the parts' numbers; at least one is due. For the neediest, as much as brings each
    due part its own; for the mean, what all the parts miss together.
    """
    if len(account.parts) == 1:
        (want,) = wants.values()
        return want.net_mm, want
    litres = {number: want.net_mm * want.part.ground_m2 for number, want in wants.items()}
    due = {
        n: litres[n] / max(account.shares[n], LEAST_SHARE * want.part.ground_m2 / zone.ground_m2)
        for n, want in wants.items()
        if want.due
    }
    neediest = max(due, key=lambda n: due[n])
    if zone.unlike_rows is UnlikeRows.NEEDIEST:
        return due[neediest] / zone.ground_m2, wants[neediest]
    return sum(litres.values()) / zone.ground_m2, wants[neediest]


def loss_words(
    zone: Zone,
    account: ZoneAccount,
    wants: Mapping[int, Want],
    spread_mm: float,
    chosen: Want,
    *,
    us_units: bool,
) -> str:
    """For a zone of unlike rows: whose need it is, what the others get beyond theirs, or lack."""
    if len(account.parts) == 1:
        return ""
    mean = zone.unlike_rows is UnlikeRows.MEAN
    words = "; for the mean of its rows" if mean else f"; for {chosen.part.name}"
    for number, (part, share) in enumerate(zip(account.parts, account.shares, strict=True)):
        if part.ground_m2 <= 0.0:
            continue
        gets = spread_mm * zone.ground_m2 * share / part.ground_m2  # its driest quarter
        want = wants.get(number)
        verb = "get" if len(part.rows) > 1 else "gets"
        it = "they lack" if len(part.rows) > 1 else "it lacks"
        if want is None or want.dries:
            if gets >= _WORTH_SAYING_MM:
                why = "where nothing stands" if want is None else "drying down"
                words += f"; {part.name}, {why}, {verb} {show_depth(gets, us_units)}"
        elif want.due and want.net_mm - gets >= _WORTH_SAYING_MM:
            lacks = show_depth(want.net_mm - gets, us_units)
            words += f"; {part.name} {verb} {lacks} less than {it}"
        elif part is not chosen.part and gets - want.missing_mm >= _WORTH_SAYING_MM:
            beyond = show_depth(gets - want.missing_mm, us_units)
            words += f"; {part.name} {verb} {beyond} more than {it}"
    return words
