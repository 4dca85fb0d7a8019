"""The result of a fit of the field tests, as frozen values that the logbook can keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from math import exp
from typing import Any

from controller.errors import InputError
from controller.garden.model import Garden
from controller.hydraulics.calibration.parameters import (
    NOTHING_LEARNT,
    Unknown,
    corrections_of,
    is_worth_handing_on,
    unknowns_of,
)
from controller.hydraulics.network.supply_curve import Corrections, SupplyCurve
from controller.lean import sha256
from controller.messages import Message, verbatim

# Edition 1 knew no level, no share of open holes, no take-off's or exponent's error.
_EDITION = 2
_FIRST_EDITION = 1
# Keys added to the garden file later; a mark leaves them out where the file does not use them, so
# that marks of older logbooks still match.
_SAID_SINCE = (", tested_on=None",)


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedParameter:
    """One unknown after the fit. Errors are relative standard errors (of the logarithm).

    `value` is a factor, a static head [m], a flow at the test's head [m3/s], or what the valve
    loses over its take-off. `narrowed` is the share of its prior error that the tests took away.
    """

    unknown: Unknown
    log_factor: float
    error: float

    @property
    def value(self) -> float:
        """The unknown's value after the fit."""
        return self.unknown.value(self.log_factor)

    @property
    def narrowed(self) -> float:
        """Share of the prior error that the tests took away, 0 to 1."""
        return max(0.0, 1.0 - self.error / self.unknown.prior_error)

    @property
    def learnt(self) -> bool:
        """Whether the tests say anything about it; if not, it keeps its prior."""
        return self.narrowed >= NOTHING_LEARNT

    @property
    def name(self) -> Message:
        """Its name in reports."""
        if self.unknown.zone is None:
            return Message("fit.of_garden", {"kind": self.unknown.kind})
        return Message("fit.of_zone", {"kind": self.unknown.kind, "zone": self.unknown.zone})

    @property
    def message(self) -> Message:
        """What the tests say about it, for reports."""
        if not self.learnt:
            return Message("fit.silent", {"name": self.name})
        if self.unknown.kind == "level":
            off_cm, error_cm = 100.0 * self.log_factor, 100.0 * self.error
            return Message("fit.level", {"name": self.name, "off_cm": off_cm, "error_cm": error_cm})
        if self.unknown.kind == "valve":
            return Message(
                "fit.valve",
                {
                    "name": self.name,
                    "loss_k": self.value,
                    "error": self.error,
                    "prior_k": self.unknown.prior_value,
                    "prior_error": self.unknown.prior_error,
                },
            )
        return Message(
            "fit.factor",
            {
                "name": self.name,
                "factor": exp(self.log_factor),
                "error": self.error,
                "prior_error": self.unknown.prior_error,
            },
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """A test that contradicts the others and the priors: reading less prediction, in `sigmas`.

    `cause` is the most likely reason; None where none stands out.
    """

    test: str
    sigmas: float
    message: Message
    cause: Message | None = None

    @property
    def short(self) -> Message:
        """One sentence for a plan: the test, and what to do."""
        cause = self.cause or Message("cause.do_again")
        return Message("fit.contradicts", {"test": self.test, "cause": cause})


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """The test that would narrow the errors of the zones' flows most, from `before` to `after`.

    Both are the root mean square of the zones' relative standard errors, in the sets that a plan
    opens. `enough`: the flows are known well enough, or no possible test adds much.
    """

    kind: str
    zones: frozenset[str]
    message: Message
    before: float
    after: float
    enough: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The result of a fit. `described` marks the parts of the garden file that it rests on.

    `remarks` say where the tests differ from the file, and what to do.
    """

    corrections: Corrections
    parameters: tuple[FittedParameter, ...]
    covariance: tuple[tuple[float, ...], ...]
    contradictions: tuple[Contradiction, ...]
    next_test: NextTest | None
    tests: int
    described: Mapping[str, str]
    remarks: tuple[Message, ...] = ()

    @property
    def warnings(self) -> tuple[Message, ...]:
        """What plans print until it is resolved: remarks, and contradictions in short."""
        found = [*self.remarks, *(one.short for one in self.contradictions)]
        return tuple(one for i, one in enumerate(found) if one not in found[:i])


def described(garden: Garden) -> dict[str, str]:
    """A short mark of each part of the garden file that a fit rests on."""
    supply = garden.supply
    beside = [part for part in (supply.before, supply.test_assumed, supply.pump) if part]
    parts = {"supply": "".join(map(repr, [supply, *beside]))}
    for zone in garden.zones:
        parts[f"holes of {zone.name}"] = repr(zone.rows)
        parts[f"valve of {zone.name}"] = repr((zone.opening, zone.take_off_k, zone.rows[0].pipe))
    for since in _SAID_SINCE:
        parts = {part: text.replace(since, "") for part, text in parts.items()}
    return {part: sha256(text.encode()).hexdigest()[:16] for part, text in parts.items()}


def part_of(unknown: Unknown) -> str | None:
    """The part of the garden file an unknown belongs to; None for the drill's bore (all zones)."""
    if unknown.kind in ("static head", "test flow", "exponent"):
        return "supply"
    if unknown.kind == "bore":
        return None
    return f"{'valve' if unknown.kind in ('valve', 'take-off') else 'holes'} of {unknown.zone}"


def standing(
    garden: Garden, fitted: Fitted, *, jets: bool = True
) -> tuple[list[Unknown], list[float], list[int | None]]:
    """The garden's unknowns now: each with its fitted value and its place in the fit.

    An unknown returns to its prior once the garden file describes its part otherwise than at the
    fit. `jets` as in `unknowns_of`.
    """
    now = described(garden)
    places = {(p.unknown.kind, p.unknown.zone): i for i, p in enumerate(fitted.parameters)}
    unknowns, log_factors, found = list(unknowns_of(garden, jets=jets)), [], []
    for unknown in unknowns:
        part, place = part_of(unknown), places.get((unknown.kind, unknown.zone))
        if part is not None and fitted.described.get(part) != now[part]:
            place = None
        found.append(place)
        log_factors.append(0.0 if place is None else fitted.parameters[place].log_factor)
    return unknowns, log_factors, found


def corrections_for(garden: Garden, fitted: Fitted) -> tuple[Corrections, tuple[Message, ...]]:
    """The corrections that hold for the garden as described now, and what no longer holds."""
    unknowns, log_factors, places = standing(garden, fitted, jets=False)
    made = corrections_of(garden, unknowns, log_factors)
    stands = {
        (unknown.kind, unknown.zone)
        for unknown, place in zip(unknowns, places, strict=True)
        if place is not None
        and (
            unknown.kind != "valve"
            or is_worth_handing_on(garden, unknown, fitted.parameters[place].error)
        )
    }
    corrections = Corrections(
        discharge={z: f for z, f in made.discharge.items() if ("discharge", z) in stands},
        valve_k={
            z: k
            for z, k in made.valve_k.items()
            if ("valve", z) in stands or ("take-off", z) in stands
        },
        level_m={z: m for z, m in made.level_m.items() if ("level", z) in stands},
        supply=made.supply if ("test flow", None) in stands else None,
    )
    now = described(garden)
    stale = [part for part in fitted.described if now.get(part) != fitted.described[part]]
    return corrections, tuple(Message("fit.stale", {"part": part}) for part in stale if part in now)


def fitted_to_dict(fitted: Fitted, in_words: Callable[[Message], str]) -> dict[str, Any]:
    """A fit as plain values that JSON can hold; its messages in the words of the day."""
    supply, next_test = fitted.corrections.supply, fitted.next_test
    return {
        "edition": _EDITION,
        "corrections": {
            "discharge": dict(fitted.corrections.discharge),
            "valve_k": dict(fitted.corrections.valve_k),
            "level_m": dict(fitted.corrections.level_m),
            "supply": None if supply is None else asdict(supply),
        },
        "parameters": [asdict(parameter) for parameter in fitted.parameters],
        # Most entries are 0, for zones that share no test. Lower triangle, by row and column.
        "covariance": [
            [i, k, row[k]]
            for i, row in enumerate(fitted.covariance)
            for k in range(i + 1)
            if row[k] != 0.0
        ],
        "contradictions": [
            {
                "test": found.test,
                "sigmas": found.sigmas,
                "words": in_words(found.message),
                "cause": "" if found.cause is None else in_words(found.cause),
            }
            for found in fitted.contradictions
        ],
        "next_test": None
        if next_test is None
        else {
            "kind": next_test.kind,
            "zones": sorted(next_test.zones),
            "words": in_words(next_test.message),
            "before": next_test.before,
            "after": next_test.after,
            "enough": next_test.enough,
        },
        "tests": fitted.tests,
        "described": dict(fitted.described),
        "remarks": [in_words(remark) for remark in fitted.remarks],
    }


def _curve(plain: Mapping[str, Any] | None) -> SupplyCurve | None:
    """The curve back from what `asdict` made of it, and what limits it."""
    return None if plain is None else SupplyCurve(**{**plain, "limit": _curve(plain.get("limit"))})


def is_of_an_older_edition(plain: Mapping[str, Any]) -> bool:
    """Whether an older Rowgate made a kept fit, so that its tests must be fitted anew."""
    return plain.get("edition") == _FIRST_EDITION


def older_corrections(plain: Mapping[str, Any]) -> Corrections:
    """Corrections of a fit of an older edition; none where it cannot be read."""
    try:
        corrections = plain["corrections"]
        supply = corrections["supply"]
        return Corrections(
            discharge=dict(corrections["discharge"]),
            valve_k=dict(corrections["valve_k"]),
            supply=_curve(supply),
        )
    except (KeyError, TypeError):
        return Corrections()


def fitted_from_dict(plain: Mapping[str, Any]) -> Fitted:
    """The fit back from what `fitted_to_dict` made of it; InputError if it cannot be read."""
    if plain.get("edition") != _EDITION:
        raise InputError(
            f"fitted field tests of edition {plain.get('edition')!r}; this Rowgate reads "
            f"edition {_EDITION}: fit the tests again"
        )
    try:
        corrections, next_test = plain["corrections"], plain["next_test"]
        supply = corrections["supply"]
        return Fitted(
            corrections=Corrections(
                discharge=dict(corrections["discharge"]),
                valve_k=dict(corrections["valve_k"]),
                level_m=dict(corrections["level_m"]),
                supply=_curve(supply),
            ),
            parameters=tuple(
                FittedParameter(**{**one, "unknown": Unknown(**one["unknown"])})
                for one in plain["parameters"]
            ),
            covariance=_whole(plain["covariance"], len(plain["parameters"])),
            contradictions=tuple(_contradiction(**one) for one in plain["contradictions"]),
            next_test=None if next_test is None else _next_test(**next_test),
            tests=plain["tests"],
            described=dict(plain["described"]),
            remarks=tuple(map(verbatim, plain["remarks"])),
        )
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise InputError(
            f"fitted field tests that do not read ({error}): fit them again"
        ) from error


def _contradiction(words: str, cause: str = "", **figures: Any) -> Contradiction:
    return Contradiction(
        message=verbatim(words), cause=verbatim(cause) if cause else None, **figures
    )


def _next_test(words: str, zones: Sequence[str], **figures: Any) -> NextTest:
    return NextTest(message=verbatim(words), zones=frozenset(zones), **figures)


def _whole(entries: Sequence[Sequence[Any]], size: int) -> tuple[tuple[float, ...], ...]:
    """A symmetric matrix from the entries of its lower triangle."""
    rows = [[0.0] * size for _ in range(size)]
    for i, k, value in entries:
        rows[i][k] = rows[k][i] = float(value)
    return tuple(tuple(row) for row in rows)
