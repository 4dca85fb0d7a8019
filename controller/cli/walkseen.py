"""What a person saw on a walk, line by line: plain records."""

from __future__ import annotations

from dataclasses import dataclass

from controller.garden.model import Garden, Zone

SKIPPED = "skipped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One line of the board, told to open, and what was seen meanwhile and after.

    `seen` are the zones where water came, or whose valves moved while the water was off.
    `clicked` and `stopped` are None where nobody was asked, or did not know; the counts are the
    meter's, None without one.
    """

    zone: str
    line: int
    open_s: float = 0.0
    seen: frozenset[str] = frozenset()
    elsewhere: str = ""
    clicked: bool | None = None
    stopped: bool | None = None
    counts: int | None = None
    run_on: int | None = None
    not_tried: str = ""  # why it was not opened, or not to the end

    @property
    def nothing(self) -> bool:
        """Whether it was opened and nobody saw anything of it."""
        return not self.not_tried and not self.seen and not self.elsewhere

    @property
    def well(self) -> bool:
        """Whether it moved its own valve alone, and that shut again."""
        own = self.seen == {self.zone} and not self.elsewhere
        return own and not self.not_tried and self.stopped is not False


@dataclass(frozen=True, slots=True, kw_only=True)
class AtRest:
    """What was seen before anything was opened: nothing, all relays in, or water at some zones.

    `changed` are balls among those whose water stopped while their open line was driven.
    """

    all_on: bool = False
    on: frozenset[str] = frozenset()
    changed: frozenset[str] = frozenset()
    counts: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that is not as the garden file has it; `change` are lines for the file."""

    kind: str
    words: str
    zone: str | None = None
    line: int | None = None
    change: tuple[str, ...] = ()


def relay_zones(garden: Garden) -> list[Zone]:
    """The zones whose valves a relay moves, in the file's order."""
    return [zone for zone in garden.zones if zone.valve.relay_line is not None]
