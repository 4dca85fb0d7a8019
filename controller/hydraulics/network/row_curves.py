"""A row as one curve: its inlet head against its flow, marched from the closed end.

The curve's parameter is the head at the closed end. Each march from such a head gives the flow and
the head at the inlet, with their slopes, without a search. Successive marches differ by a factor of
four in that head. Between two of them the logarithm of the head over the lowest hole is a cubic of
the logarithm of the flow, with the marches' exact slopes at its ends (Hermite). A cell of the curve
is confirmed when the march in its middle meets the cubic; else it is halved, where it is needed.
"""

from __future__ import annotations

from bisect import bisect_right
from math import exp, floor, inf, log, sqrt

from controller.hydraulics.network.march import RowMarch, Shape

# Largest distance of the march in a cell's middle from its cubic, in the logarithm of the head; the
# halves, which are then used, are closer by a factor of eight or more.
_CUBIC_MET = 1e-7
# A cell this narrow, in the logarithm of the head, is as good as a point.
_POINT = 1e-7
# End heads of the first marches: powers of four, in metres over the lowest hole. The topmost is
# past any tap; below the lowest, and where it takes longer to halve a cell than doubles have
# digits, there is no curve.
_APART, _TOPMOST, _LOWEST, _MOST_HALVINGS = 4.0, 6, -500, 60
# Where friction uses up a row's head, a march moves the flow little: the next one goes further.
_MOVED_LITTLE = 0.2
# With less head than this over the lowest hole at the closed end, rounding decides which holes are
# dry, and two ways of computing may differ.
_STILL_M = 1e-12
# Below a micrometre of head over its lowest hole a row only drips; no curve is valid there.
_DRIPS_X = log(1e-6)
# Slopes under three times the chord's keep a cubic from turning back (Fritsch and Carlson, 1980).
_STEEPEST = 3.0
# First and last logarithm of the flow; the cubic's origin and coefficients; dry holes, or MOVED
# where it is not confirmed yet.
Cell = tuple[float, float, float, float, float, float, float, int]
MOVED = -1
# No march is kept that ends ten kilometres up. [log m]
_BEYOND_X = log(1e4)
NOWHERE: Cell = (inf, -inf, 0.0, 0.0, 0.0, 0.0, 0.0, MOVED)
# Where air holds the head at the inlet the curve is flat; its least slope.
_FLATTEST = 1e-9
# A start goes no further than this beyond the last march, in the flow's logarithm.
_FAR = 10.0
# Where a pool begins to fill, over its lowest hole: next to nothing. [m]
_BEGINS_M = 1e-10
# The power of four below the first march of a row's last pool: a few millimetres.
_HIGH_OF_POOLS = -4
# A march: the pool it begins in, and the head at its closed end over the pool's lowest hole.
End = tuple[int, float]


class RowCurve:
    """Inlet head of a row, over its lowest hole, against its flow."""

    def __init__(self, shape: Shape, viscosity_m2_s: float) -> None:
        self._row = RowMarch(shape, viscosity_m2_s)
        self.holes = self._row.holes
        self.sill_m = self._row.sill_m  # head up to which nothing flows, over the lowest hole
        # Nodes in order of the flow: its logarithm, that of the head, slope of the second in the
        # first, dry holes, the march's end; and whether the cell that follows is confirmed.
        self._y: list[float] = []
        self._x: list[float] = []
        self._slope: list[float] = []
        self._dry: list[int] = []
        self._end: list[End] = []
        self._sure: list[bool] = []
        self._cells: list[Cell | None] = [None]
        # Where friction uses up a row's head, a metre at its end is kilometres at its inlet.
        self._low, self._stride, self._high = 0, 1, 0
        self._last = len(self._row.pools) - 1
        if self._last:
            self._begin_with_pools()
        else:
            while not self._add(0, (0, self._low)) and self._low > _LOWEST:
                self._low = self._high = self._low - 4
        self.flow_at_one_metre = self.flow_near(1.0)

    def flow_near(self, head_m: float) -> float:
        """Rough flow at a head above 0 over the lowest hole, to start from. [m3/s]"""
        x = log(head_m)
        if not self._x:
            return 0.0
        i = max(0, bisect_right(self._x, x) - 1)
        slope = self._slope[i]
        if i + 1 < len(self._x) and self._x[i + 1] > self._x[i]:
            slope = (self._x[i + 1] - self._x[i]) / (self._y[i + 1] - self._y[i])
        return exp(min(self._y[i] + (x - self._x[i]) / slope, self._y[-1] + _FAR))

    def settle(self, flow_m3_s: float) -> int | None:
        """Holes dry at a flow, where the curve is confirmed; None where it cannot be.

        Where it was not confirmed yet, its cell is halved until it is, and MOVED is returned.
        """
        y = log(flow_m3_s)
        self._reach(y)
        for halvings in range(_MOST_HALVINGS):
            i = bisect_right(self._y, y) - 1
            if i < 0 or i >= len(self._y) - 1:
                return None
            dry = self._dry_in(i)
            if dry != MOVED:
                return MOVED if halvings and dry is not None else dry
            if not self._halve(i):
                return None
        return None

    def _dry_in(self, i: int) -> int | None:
        """Holes dry in a confirmed cell, MOVED in another; None where halving does not help."""
        if self._end[i][1] < _STILL_M or self._x[i] < _DRIPS_X:
            return None
        if not self._sure[i]:
            return MOVED
        return self._dry[i] if self._dry[i] == self._dry[i + 1] else None

    def cell(self, y: float) -> Cell:
        """The cell at a flow's logarithm; beyond both ends the curve goes on by a power law."""
        self._reach(y)
        i = bisect_right(self._y, y)
        found = self._cells[i]
        if found is None:
            found = self._cells[i] = self._cubic(i - 1)
        return found

    def _cubic(self, i: int) -> Cell:
        """Between node i and the next."""
        ys, xs = self._y, self._x
        if i < 0:
            return -inf, ys[0], ys[0], xs[0], self._slope[0], 0.0, 0.0, MOVED
        if i == len(ys) - 1:
            return ys[i], inf, ys[i], xs[i], self._slope[i], 0.0, 0.0, MOVED
        width, s0, s1 = ys[i + 1] - ys[i], self._slope[i], self._slope[i + 1]
        rise = (xs[i + 1] - xs[i]) / width
        if max(s0, s1) >= _STEEPEST * rise:
            return ys[i], ys[i + 1], ys[i], xs[i], rise, 0.0, 0.0, MOVED
        c2, c3 = (3.0 * rise - 2.0 * s0 - s1) / width, (s0 + s1 - 2.0 * rise) / width**2
        dry = self._dry_in(i)
        return ys[i], ys[i + 1], ys[i], xs[i], s0, c2, c3, MOVED if dry is None else dry

    def _halve(self, i: int) -> bool:
        """March in the middle of cell i, and confirm both halves if the cubic predicted it."""
        (pool, below), (next_pool, above) = self._end[i], self._end[i + 1]
        if next_pool > pool:  # the node above is where this pool is full
            above = self._row.pools[pool].full_m
        over = sqrt(below * above)
        if not below < over < above:
            return False
        middle = (pool, over)
        y0, x0, y1, x1 = self._y[i], self._x[i], self._y[i + 1], self._x[i + 1]
        rise = (x1 - x0) / (y1 - y0)
        x, y, slope, dry = self._marched(middle)
        if not y0 < y < y1:
            return False
        _, _, _, _, c1, c2, c3, _ = self.cell(y)
        d = y - y0
        sure = (
            self._dry[i] == self._dry[i + 1]
            and max(self._slope[i], self._slope[i + 1]) < _STEEPEST * rise
            and abs(x0 + d * (c1 + d * (c2 + d * c3)) - x) <= _CUBIC_MET
            and abs(c1 + d * (2.0 * c2 + 3.0 * d * c3) - slope) <= 0.01 * slope
        ) or x1 - x0 <= _POINT
        self._sure[i] = sure
        self._put(i + 1, (x, y, slope, dry, middle), sure)
        return True

    def _reach(self, y: float) -> None:
        """Add marches at both ends until the curve spans the flow asked for."""
        while y < self._y[0] and self._low - self._stride >= _LOWEST:
            self._low -= self._stride
            self._add(0, (0, self._low))
            if self._y[1] - self._y[0] < _MOVED_LITTLE:
                self._stride *= 2
        while y >= self._y[-1] and self._high < _TOPMOST:
            self._high += 1
            if not self._add(len(self._y), (self._last, self._high)):
                self._high = _TOPMOST

    def _begin_with_pools(self) -> None:
        """The first nodes of a row with crests: where each pool is full and the next begins."""
        first = self._row.pools[0].full_m
        self._low = min(-1, floor(log(0.5 * first) / log(_APART)))
        self._high = _HIGH_OF_POOLS
        self._add(0, (0, self._low))
        for pool in range(1, self._last + 1):
            end = (pool, _BEGINS_M)
            x, y, slope, dry = self._marched(end)
            if x < _BEYOND_X and y > self._y[-1]:
                self._put(len(self._y), (x, y, slope, dry, end), False)

    def _add(self, i: int, place: tuple[int, int]) -> bool:
        """March from a power of four as end head; False if the inlet head is out of range."""
        pool, power = place
        end = (pool, _APART**power)
        x, y, slope, dry = self._marched(end)
        if not x < _BEYOND_X or (i and y <= self._y[i - 1]):
            return False
        self._put(i, (x, y, slope, dry, end), False)
        return True

    def _put(self, i: int, node: tuple[float, float, float, int, End], sure: bool) -> None:
        x, y, slope, dry, end = node
        self._x.insert(i, x)
        self._y.insert(i, y)
        self._slope.insert(i, slope)
        self._dry.insert(i, dry)
        self._end.insert(i, end)
        self._sure.insert(i, sure)
        self._cells = [None] * (len(self._y) + 1)

    def _marched(self, end: End) -> tuple[float, float, float, int]:
        """Logarithms of inlet head and flow, slope of the first in the second, dry holes."""
        head, flow, head_slope, flow_slope, dry = self._row.march(*end)
        if not head < inf or not flow > 0.0:
            return inf, inf, 1.0, dry
        slope = head_slope * flow / (head * flow_slope)
        return log(head), log(flow), max(_FLATTEST, slope), dry
