"""The supply curve at the tap, with the corrections that field tests give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import inf

from controller.errors import InputError, require_range
from controller.hydraulics.network.tree_solver import SupplyLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyCurve:
    """Head at the tap, falling with the flow through one tested point; heads against the tap. [m]

    The exponent 2 is that of fittings and rough pipe; with 1.85 the flow of a garden differs by
    about 2 %. The lower of this curve and `limit` holds: the mains before a regulator, or the pump
    that fills a pressure tank.
    """

    static_head_m: float
    test_head_m: float
    test_flow_m3_s: float
    exponent: float = 2.0
    limit: SupplyCurve | None = None

    def __post_init__(self) -> None:
        require_range("static_head_m", self.static_head_m, 0.0, 1000.0)
        require_range("test_head_m", self.test_head_m, -1.0, 1000.0)
        require_range("test_flow_m3_s", self.test_flow_m3_s, 1e-9, 10.0)
        require_range("exponent", self.exponent, 1.0, 3.0)
        if self.test_head_m >= self.static_head_m:
            raise InputError(
                "the flow test must read less pressure than the still tap: found "
                f"{self.test_head_m:.2f} m of head flowing, {self.static_head_m:.2f} m still"
            )
        if self.limit is not None and self.limit.static_head_m < self.static_head_m:
            raise InputError(
                "what limits a supply stands at least as high as the supply itself: found "
                f"{self.limit.static_head_m:.2f} m of head, still, before "
                f"{self.static_head_m:.2f} m"
            )

    @property
    def k(self) -> float:
        """Head lost at a flow of 1 m3/s."""
        return float((self.static_head_m - self.test_head_m) / self.test_flow_m3_s**self.exponent)

    @property
    def law(self) -> tuple[float, float, float, tuple[SupplyLaw, ...]]:
        """Head of the still tap, k and exponent; and the same of each curve that limits it."""
        limits: tuple[SupplyLaw, ...] = ()
        if self.limit is not None:
            *own, beyond = self.limit.law
            limits = ((own[0], own[1], own[2]), *beyond)
        return self.static_head_m, self.k, self.exponent, limits

    def head_m(self, flow_m3_s: float) -> float:
        """Head at the tap.

        Parameters
        ----------
        flow_m3_s : float
            Flow drawn, 0 or more. [m3/s]

        Returns
        -------
        float
            Head at the tap, below 0 beyond what an open tap gives. [m]

        Raises
        ------
        OutOfRange
            If the flow is negative or not a number.

        Source
        ------
        Static head less a loss by a power of the flow; common practice, no source.
        """
        require_range("flow_m3_s", flow_m3_s, 0.0, 1e3)
        own = float(self.static_head_m - self.k * flow_m3_s**self.exponent)
        return own if self.limit is None else min(own, self.limit.head_m(flow_m3_s))

    def flow_m3_s(self, head_m: float = 0.0) -> float:
        """Flow at which the tap's head has fallen to a value.

        Parameters
        ----------
        head_m : float
            Head at the tap; 0 is an open tap. [m]

        Returns
        -------
        float
            Flow, 0 where the head is above the static one. [m3/s]

        Raises
        ------
        OutOfRange
            If the head is not a number.

        Source
        ------
        The inverse of `head_m`.
        """
        require_range("head_m", head_m, -1000.0, inf)
        lost = max(0.0, self.static_head_m - head_m)
        own = float((lost / self.k) ** (1.0 / self.exponent))
        return own if self.limit is None else min(own, self.limit.flow_m3_s(head_m))

    def limited_from_m3_s(self) -> float:
        """Flow from which the limit holds, as where a regulator drops out.

        Returns
        -------
        float
            Flow at which the two curves cross; infinite without a limit, or where the limit is
            higher up to the flow of the open tap. [m3/s]

        Source
        ------
        Bisection between no flow and that of the open tap.
        """
        if self.limit is None:
            return inf
        low, high = 0.0, self.flow_m3_s(0.0)
        own = replace(self, limit=None)
        if self.limit.head_m(high) > own.head_m(high):
            return inf
        for _ in range(100):
            middle = 0.5 * (low + high)
            if self.limit.head_m(middle) >= own.head_m(middle):
                low = middle
            else:
                high = middle
        return high


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """Factors and coefficients from field tests, in place of drill sizes and tables.

    `discharge` multiplies the discharge coefficient of every hole of a zone (a worn drill and a
    wide bore included); `valve_k` is the loss coefficient of a zone's take-off and valve together,
    on the velocity in its first row's pipe; `level_m` is how much higher [m] a zone's rows lie than
    in the garden file; `supply` replaces the supply curve.
    """

    discharge: Mapping[str, float] = field(default_factory=dict)
    valve_k: Mapping[str, float] = field(default_factory=dict)
    level_m: Mapping[str, float] = field(default_factory=dict)
    supply: SupplyCurve | None = None


NOTHING_MEASURED = Corrections()
