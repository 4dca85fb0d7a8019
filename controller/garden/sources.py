"""Values of where the weather comes from, and of what it may do; one reader each."""

from __future__ import annotations

import re
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.values import instead_of

# The public services there is a reader for, in the order they are asked.
SERVICES = ("open-meteo", "met-norway", "nasa-power", "nws")
# These answer only those who say who they are.
WANT_CONTACT = frozenset({"met-norway", "nws"})
FILE_KINDS = ("auto", "own", "station-log", "ghcn-daily", "gsod")
CLIMATES = ("arid", "semi-arid", "sub-humid", "humid", "very humid")
OFF = "off"

_FROST = v.quantity(
    q.TEMPERATURE,
    "a frost hold",
    '"34 F", "1 C" or "off"',
    -10.0,
    10.0,
    "from 14 F to 50 F (-10 C to 10 C)",
)


def online(found: Any) -> bool | tuple[str, ...]:
    """Whether services are asked, or which, in this order."""
    if isinstance(found, bool):
        return found
    listed = [found] if isinstance(found, str) else found
    if not isinstance(listed, list):
        services = ", ".join(f'"{one}"' for one in SERVICES)
        raise QuantityError(
            f"found {q.spell(found)}; allowed is true, false, or a list of services out of "
            f"{services}"
        )
    names = [one.strip().lower() if isinstance(one, str) else one for one in listed]
    for name in names:
        if name not in SERVICES:
            word = name if isinstance(name, str) else ""
            raise QuantityError(f"found {q.spell(name)}; {instead_of(word, 'a service', SERVICES)}")
    return tuple(dict.fromkeys(names))


def contact(found: Any) -> str:
    """How to reach the gardener: a mail address or a web page, fit for a request's header."""
    said = found.strip() if isinstance(found, str) else ""
    if len(said) <= 200 and re.fullmatch(r"[!-~]+@[!-~]+|https?://[!-~]+", said):
        return said
    raise QuantityError(
        f"found {q.spell(found)}; a contact is a mail address or a web page, as in "
        f'"gardener@example.org"'
    )


def frost_hold(found: Any) -> float | str:
    """The night's low under which nothing is watered, in degrees Celsius, or "off"."""
    if isinstance(found, str) and found.strip().lower() == OFF:
        return OFF
    held_c: float = _FROST(found)
    return held_c
