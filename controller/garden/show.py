"""Text of quantities and of filled defaults, in the gardener's own units.

`quantities` reads the text back, to the printed decimals.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from math import floor, log10

from controller import units
from controller.garden.model import Filled

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def listed(names: Iterable[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    *most, last = list(names) or [""]
    return f"{', '.join(most)} and {last}" if most else last


def quoted(names: Iterable[str]) -> str:
    """Names of zones or rows in a sentence, each between its own marks."""
    return listed(f'"{name}"' for name in names)


def show_figures(value: float, count: int) -> str:
    """A number to so many figures, written out: 240, 2.4, 0.024."""
    if value == 0.0:
        return "0"
    decimals = count - 1 - floor(log10(abs(value)))
    text = f"{round(value, decimals):.{max(0, decimals)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def show_length(metres: float, us: bool) -> str:
    """A length for reading: feet and inches, or metres, centimetres, millimetres."""
    if not us:
        size = abs(metres)
        if size >= 1.0 or size == 0.0:
            return f"{_trim(metres, 2)} m"
        return f"{_trim(metres * 100, 1)} cm" if size >= 0.02 else f"{_trim(metres * 1000, 2)} mm"
    inches = abs(units.in_from_m(metres))
    sign = "-" if metres < 0 else ""
    if inches < 24.0:
        return sign + _inches(inches)
    feet, rest = divmod(round(inches * 4.0) / 4.0, 12.0)
    return f"{sign}{feet:.0f} ft" + (f" {_inches(rest)}" if rest else "")


def show_about(metres: float, us: bool) -> str:
    """A rough length: to a sixteenth of an inch or a millimetre, at least one."""
    step_m = units.m_from_in(1.0 / 16.0) if us else 0.001
    return show_length(max(1.0, round(metres / step_m)) * step_m, us)


def show_rough_length(metres: float, us: bool) -> str:
    """A length to a whole inch or centimetre."""
    step_m = units.m_from_in(1.0) if us else 0.01
    return show_length(round(metres / step_m) * step_m, us)


def show_off_level(metres: float, us: bool) -> str:
    """A small height in both units, the garden's first, because levels are marked in either."""
    size_mm = 1000.0 * metres
    shown, unit = (size_mm, "mm") if size_mm < 10.0 else (size_mm / 10.0, "cm")
    inches = show_figures(units.in_from_m(metres), 2)
    return _both(f"{inches} in", f"{show_figures(shown, 2)} {unit}", us)


def show_tilt(metres: float, us: bool) -> str:
    """A height by which a row is tilted: whole centimetres, and what they are in inches."""
    metric = f"{100.0 * metres:.0f} cm"
    return f"{metric} ({units.in_from_m(metres):.1f} in)" if us else metric


def show_bore(metres: float, us: bool) -> str:
    """A drill or pipe size: a fraction of an inch where it is one, else three decimals; or mm."""
    return _inches(units.in_from_m(metres)) if us else f"{_trim(metres * 1000, 2)} mm"


def show_pressure(head_m: float, us: bool) -> str:
    """Metres of water as psi or kPa."""
    if us:
        return f"{_trim(units.psi_from_head_m(head_m), 1)} psi"
    return f"{_trim(units.kpa_from_head_m(head_m), 1)} kPa"


def show_head(head_m: float, us: bool) -> str:
    """A head to three figures, in psi or metres of water."""
    if us:
        return f"{show_figures(units.psi_from_head_m(head_m), 3)} psi"
    return f"{show_figures(head_m, 3)} m of water"


def show_force(newtons: float, us: bool) -> str:
    """A force in both units, the garden's first."""
    return _both(f"{newtons / units.N_PER_LBF:.0f} lbf", f"{newtons:.0f} N", us)


def show_speed(m_s: float, us: bool) -> str:
    """A velocity in both units, the garden's first, because the guideline is known in feet."""
    return _both(f"{m_s / units.M_PER_FT:.1f} ft/s", f"{m_s:.1f} m/s", us)


def show_flow(flow_m3_s: float, us: bool) -> str:
    """A flow in gal/min or L/min."""
    if us:
        return f"{_trim(units.gal_min_from_m3_s(flow_m3_s), 3)} gal/min"
    return f"{_trim(units.l_min_from_m3_s(flow_m3_s), 2)} L/min"


def show_volume(volume_m3: float, us: bool) -> str:
    """A volume in gallons or litres."""
    if us:
        return f"{_trim(units.gal_from_m3(volume_m3), 2)} gal"
    return f"{_trim(units.l_from_m3(volume_m3), 1)} L"


def show_rough_flow(flow_m3_s: float, us: bool) -> str:
    """A flow to three figures: nobody sets a valve closer."""
    if us:
        return f"{show_figures(units.gal_min_from_m3_s(flow_m3_s), 3)} gal/min"
    return f"{show_figures(units.l_min_from_m3_s(flow_m3_s), 3)} L/min"


def show_rough_volume(volume_m3: float, us: bool) -> str:
    """A volume to two figures."""
    if us:
        return f"{show_figures(units.gal_from_m3(volume_m3), 2)} gal"
    return f"{show_figures(units.l_from_m3(volume_m3), 2)} L"


def show_depth(depth_mm: float, us: bool) -> str:
    """A depth of water in inches or millimetres."""
    return f"{_trim(units.in_from_mm(depth_mm), 2)} in" if us else f"{_trim(depth_mm, 1)} mm"


def show_rough_depth(depth_mm: float, us: bool) -> str:
    """A large depth of water: tenths of an inch, or whole millimetres."""
    return f"{units.in_from_mm(depth_mm):.1f} in" if us else f"{depth_mm:.0f} mm"


def show_hours(seconds: float) -> str:
    """A time in hours and minutes, as in "1:30 h"."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def show_duration(seconds: float) -> str:
    """A time: seconds below two minutes, then minutes, then hours."""
    if seconds < 120.0:
        return f"{_trim(seconds, 1)} s"
    minutes, rest_s = divmod(round(seconds), 60)
    hours, minutes_left = divmod(minutes, 60)
    parts = [(hours, "h"), (minutes_left, "min"), (rest_s, "s")]
    return " ".join(f"{count} {unit}" for count, unit in parts if count)


def show_short(seconds: float) -> str:
    """A short time: milliseconds below a second."""
    return f"{_trim(1000.0 * seconds, 2)} ms" if seconds < 1.0 else show_duration(seconds)


def show_seconds(seconds: float) -> str:
    """A time that is compared in seconds: whole ones, up to ten minutes."""
    return f"{seconds:.0f} s" if seconds < 600.0 else show_duration(round(seconds))


def show_temperature(celsius: float, us: bool) -> str:
    """A temperature in F or C."""
    return f"{_trim(units.f_from_c(celsius), 1)} F" if us else f"{_trim(celsius, 1)} C"


def show_pipe_temperature(celsius: float, us: bool) -> str:
    """The temperature of a pipe in both units, the garden's first."""
    return _both(f"{units.f_from_c(celsius):.0f} °F", f"{celsius:.0f} °C", us)


def show_both_temperatures(celsius: float) -> str:
    """A temperature in both units, rounded."""
    return f"{celsius:.0f} °C ({1.8 * celsius + 32.0:.0f} °F)"


def show_filled(filled: Iterable[Filled]) -> list[str]:
    """One line for each default, with all places where it was filled in."""
    places: dict[tuple[str, str, str], list[str]] = {}
    for one in filled:
        places.setdefault((one.key, one.shown, one.why), []).append(one.where)
    lines = []
    for (key, shown, why), where in places.items():
        reason = f" ({why})" if why else ""
        lines.append(f"{key} = {shown}{reason}: {_places(where)}")
    return lines


def _both(customary: str, metric: str, us: bool) -> str:
    first, second = (customary, metric) if us else (metric, customary)
    return f"{first} ({second})"


def _places(where: list[str]) -> str:
    if len(where) <= 3:
        return "; ".join(where)
    return f"{'; '.join(where[:2])} and {len(where) - 2} more"


def _inches(inches: float) -> str:
    """ "1 1/4 in" where it is one within a thousandth, else up to three decimals."""
    sixty_fourths = round(inches * 64.0)
    if abs(inches * 64.0 - sixty_fourths) > 0.064 or (sixty_fourths == 0) != (inches == 0.0):
        return f"{_trim(inches, 3)} in"
    whole, rest = divmod(sixty_fourths, 64)
    if not rest:
        return f"{whole} in"
    part = Fraction(rest, 64)
    return f"{whole} {part} in" if whole else f"{part} in"


def _trim(value: float, decimals: int) -> str:
    """The rounded value, without trailing zeros and without a minus before 0."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
