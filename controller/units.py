"""Unit conversions and physical constants, each with its source.

The program computes in SI. A gardener's units are converted once, on input or output, by a function
whose name has both units.
"""

from __future__ import annotations

# Standard gravity: CGPM 1901, exact by definition. [m/s2]
GRAVITY_M_S2 = 9.80665
# Water at 20 °C: density (CRC Handbook, 998.2; from memory). [kg/m3]
WATER_DENSITY_KG_M3 = 998.2
# International inch, foot, US gallon, avoirdupois pound-force: NIST SP 811, exact.
M_PER_IN = 0.0254
M_PER_FT = 0.3048
M3_PER_US_GAL = 231 * M_PER_IN**3
PA_PER_PSI = 6894.757293168
N_PER_LBF = 4.4482216152605
# Head of cold water for one psi. The trade's 2.31 ft (0.7041 m) is for 62 °F; ours follows from the
# density above at standard gravity: 0.70434 m.
HEAD_M_PER_PSI = PA_PER_PSI / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2)
HEAD_M_PER_KPA = 1000.0 / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2)
# Latent heat of vaporisation 2.45 MJ/kg: FAO-56 (1998), Table 3 and eq. 20.
MM_PER_MJ_M2 = 0.408
# The international-table calorie, 4.1868 J (NIST SP 811); other calories differ by 0.07 %.
MJ_M2_PER_LANGLEY = 0.041868


def m_from_in(inches: float) -> float:
    """Inches to metres."""
    return inches * M_PER_IN


def in_from_m(metres: float) -> float:
    """Metres to inches."""
    return metres / M_PER_IN


def m_from_ft(feet: float) -> float:
    """Feet to metres."""
    return feet * M_PER_FT


def m3_from_gal(us_gallons: float) -> float:
    """US gallons to cubic metres."""
    return us_gallons * M3_PER_US_GAL


def gal_from_m3(cubic_metres: float) -> float:
    """Cubic metres to US gallons."""
    return cubic_metres / M3_PER_US_GAL


def m3_from_l(litres: float) -> float:
    """Litres to cubic metres."""
    return litres / 1000.0


def l_from_m3(cubic_metres: float) -> float:
    """Cubic metres to litres."""
    return cubic_metres * 1000.0


def m3_s_from_gal_min(us_gallons_per_minute: float) -> float:
    """US gallons a minute to cubic metres a second."""
    return us_gallons_per_minute * M3_PER_US_GAL / 60.0


def gal_min_from_m3_s(cubic_metres_per_second: float) -> float:
    """Cubic metres a second to US gallons a minute."""
    return cubic_metres_per_second * 60.0 / M3_PER_US_GAL


def m3_s_from_l_min(litres_per_minute: float) -> float:
    """Litres a minute to cubic metres a second."""
    return litres_per_minute / 60_000.0


def l_min_from_m3_s(cubic_metres_per_second: float) -> float:
    """Cubic metres a second to litres a minute."""
    return cubic_metres_per_second * 60_000.0


def head_m_from_psi(psi: float) -> float:
    """Pounds per square inch to metres of water."""
    return psi * HEAD_M_PER_PSI


def psi_from_head_m(head_m: float) -> float:
    """Metres of water to pounds per square inch."""
    return head_m / HEAD_M_PER_PSI


def kpa_from_head_m(head_m: float) -> float:
    """Metres of water to kilopascals."""
    return head_m / HEAD_M_PER_KPA


def c_from_f(fahrenheit: float) -> float:
    """Degrees Fahrenheit to degrees Celsius."""
    return (fahrenheit - 32.0) / 1.8


def f_from_c(celsius: float) -> float:
    """Degrees Celsius to degrees Fahrenheit."""
    return celsius * 1.8 + 32.0


def m_s_from_mph(miles_per_hour: float) -> float:
    """Miles an hour to metres a second."""
    return miles_per_hour * 0.44704


def m_s_from_km_h(kilometres_per_hour: float) -> float:
    """Kilometres an hour to metres a second."""
    return kilometres_per_hour / 3.6


def m_s_from_knot(knots: float) -> float:
    """Knots to metres a second."""
    return knots * 1852.0 / 3600.0


def mm_from_in(inches: float) -> float:
    """Inches to millimetres."""
    return inches * 25.4


def in_from_mm(millimetres: float) -> float:
    """Millimetres to inches."""
    return millimetres / 25.4


def mj_m2_from_langley(langleys: float) -> float:
    """Langleys (cal/cm2) to megajoules per square metre."""
    return langleys * MJ_M2_PER_LANGLEY


def litres_from_mm(depth_mm: float, area_m2: float) -> float:
    """Depth of water over an area to litres: 1 mm on 1 m2 is 1 L (FAO-56, Table 3)."""
    return depth_mm * area_m2


def mm_from_litres(litres: float, area_m2: float) -> float:
    """Litres over an area to a depth of water in millimetres."""
    return litres / area_m2
