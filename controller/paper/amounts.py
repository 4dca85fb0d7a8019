"""Amounts as text, in the gardener's units."""

from __future__ import annotations

from dataclasses import dataclass

from controller.garden import show
from controller.units import (
    M3_PER_US_GAL,
    M_PER_FT,
    gal_from_m3,
    gal_min_from_m3_s,
    in_from_m,
    in_from_mm,
    kpa_from_head_m,
    l_min_from_m3_s,
    m3_from_l,
    psi_from_head_m,
)


@dataclass(frozen=True, slots=True)
class Units:
    """The units of a sheet: US units, or metric ones.

    Figures that stand below each other have a fixed number of decimals. What stands in a sentence
    is shown by `controller.garden.show`.
    """

    us: bool

    def volume(self, litres: float) -> str:
        """Litres, or US gallons, to three figures at most.

        >>> Units(us=True).volume(37.85), Units(us=False).volume(1234.5)
        ('10.0 gal', '1,234 L')
        """
        amount = gal_from_m3(m3_from_l(litres)) if self.us else litres
        return f"{_three_figures(amount)} {'gal' if self.us else 'L'}"

    def depth(self, millimetres: float) -> str:
        """A depth of water in mm, or inches."""
        return f"{self.depth_figure(millimetres)} {'in' if self.us else 'mm'}"

    def depth_figure(self, millimetres: float) -> str:
        """The figure of a depth without its unit."""
        return f"{in_from_mm(millimetres):.2f}" if self.us else f"{millimetres:.1f}"

    def plant_figure(self, litres: float) -> str:
        """The figure of what one plant drew in a day, without its unit."""
        return f"{gal_from_m3(m3_from_l(litres)):.3f}" if self.us else f"{litres:.2f}"

    def flow(self, flow_m3_s: float) -> str:
        """A flow in gal/min or L/min, with two decimals."""
        if self.us:
            return f"{gal_min_from_m3_s(flow_m3_s):.2f} gal/min"
        return f"{l_min_from_m3_s(flow_m3_s):.2f} L/min"

    def short_flow(self, flow_m3_s: float) -> str:
        """A flow without the zeros at its end."""
        return show.show_flow(flow_m3_s, self.us)

    def pressure(self, head_m: float) -> str:
        """A pressure in psi or kPa; a small one reads better as a height of water."""
        if self.us:
            psi = psi_from_head_m(head_m)
            return f"{psi:.2f} psi" if psi >= 1.0 else f"{in_from_m(head_m):.1f} in of water"
        if head_m >= 1.0:
            return f"{kpa_from_head_m(head_m):.1f} kPa"
        return f"{100.0 * head_m:.1f} cm of water"

    def short_pressure(self, head_m: float) -> str:
        """A pressure in psi or kPa, without the zeros at its end."""
        return show.show_pressure(head_m, self.us)

    def speed(self, speed_m_s: float) -> str:
        """The speed of water."""
        return f"{speed_m_s / M_PER_FT:.1f} ft/s" if self.us else f"{speed_m_s:.1f} m/s"

    def length(self, metres: float) -> str:
        """A length in feet and inches, or in metres, centimetres, millimetres."""
        return show.show_length(metres, self.us)

    def about(self, metres: float) -> str:
        """A rough length."""
        return show.show_about(metres, self.us)

    def area(self, area_m2: float) -> str:
        """An area of ground."""
        return f"{area_m2 / M_PER_FT**2:.2f} sq ft" if self.us else f"{area_m2:.2f} m2"

    @property
    def distance_unit(self) -> str:
        """The unit of distances along a row."""
        return "ft" if self.us else "m"

    def distance(self, metres: float) -> float:
        """A distance along a row, in its unit."""
        return metres / M_PER_FT if self.us else metres

    @property
    def hole_flow_unit(self) -> str:
        """A hole's flow as people measure it: gallons by the hour, or a cup by the minute."""
        return "gal/h" if self.us else "mL/min"

    def hole_flow(self, flow_m3_s: float) -> float:
        """The flow of one hole, in its unit."""
        return flow_m3_s * (3600.0 / M3_PER_US_GAL if self.us else 6e7)


def _three_figures(amount: float) -> str:
    if amount >= 99.95:
        return f"{amount:,.0f}"
    return f"{amount:.1f}" if amount >= 9.995 else f"{amount:.2f}"
