"""From SI to what people read: the one place where a report turns values, units and axis titles into display form."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from cavity import constants, variables
from cavity.constants import HOUR


@dataclass(frozen=True)
class Display:
    """How one SI unit is shown: ``shown = (value - offset) * scale`` in `unit`, and the inch-pound form of that."""

    unit: str
    scale: float = 1.0
    offset: float = 0.0
    pound_unit: str = ""
    pound_scale: float = 1.0  # of the shown value
    pound_shift: float = 0.0  # added after scaling

    def show(self, values: Any) -> np.ndarray:
        """Return SI `values` in the display unit."""
        return (np.asarray(values, dtype=float) - self.offset) * self.scale


_CELSIUS = Display("°C", offset=constants.ICE_POINT, pound_unit="°F", pound_scale=1.8, pound_shift=32.0)
_KELVIN = Display("K", pound_unit="°F", pound_scale=1.8)
_RATE = Display("g/(m² h)", scale=3.6e6, pound_unit="oz/(ft² h)", pound_scale=0.00327706)

# By SI unit as variables.TABLE writes it.
_BY_UNIT: dict[str, Display] = {
    "K": _CELSIUS,
    "1": Display("%", scale=100.0),
    "Pa": Display("Pa", pound_unit="in. w.c.", pound_scale=0.00401463),
    "m/s": Display("m/s", pound_unit="fpm", pound_scale=196.850),
    "degree": Display("°"),
    "W/m2": Display("W/m²", pound_unit="Btu/(h ft²)", pound_scale=0.316998),
    "1/h": Display("per hour"),
    "kg/(m2 s)": _RATE,
    "kg/m2": Display("kg/m²", pound_unit="lb/ft²", pound_scale=0.204816),
    "J/m2": Display("kJ/m²", scale=1e-3, pound_unit="Btu/ft²", pound_scale=0.0880551),
    "kg/(m s)": Display("g/(m s)", scale=1e3, pound_unit="lb/(ft h)", pound_scale=2.41909),
    "m": Display("mm", scale=1e3, pound_unit="in", pound_scale=1.0 / 25.4),
    "kPa": Display("kPa", pound_unit="in. Hg", pound_scale=0.295300),  # at 0 degC, NIST SP 811
}

# Where the unit alone does not decide.
_BY_NAME: dict[str, Display] = {
    "dew_point_margin": _KELVIN,
    "rail_dew_point_margin": _KELVIN,
    "stud_dew_point_margin": _KELVIN,
    "film": Display("g/m²", scale=1e3, pound_unit="oz/ft²", pound_scale=0.00327706),
    "rain": Display("mm/h", scale=HOUR, pound_unit="in/h", pound_scale=1.0 / 25.4),
    "driving_rain": Display("mm/h", scale=HOUR, pound_unit="in/h", pound_scale=1.0 / 25.4),
}


def of(name: str) -> Display:
    """Return the display form of a variable of the table."""
    return _BY_NAME.get(name) or _BY_UNIT.get(variables.TABLE[name].units) or Display(variables.TABLE[name].units)


def show(name: str, values: Any) -> np.ndarray:
    """Return SI `values` of the variable `name` in its display unit."""
    return of(name).show(values)


def axis_title(name: str, label: str = "") -> str:
    """Return ``label [unit]`` of a variable; the label of the table unless another is given."""
    return f"{label or variables.TABLE[name].label} [{of(name).unit}]"


def pound_units() -> dict[str, list[Any]]:
    """Return the page's inch-pound switch: display unit -> [inch-pound unit, scale, shift]."""
    rows = [*_BY_UNIT.values(), *_BY_NAME.values()]
    return {row.unit: [row.pound_unit, row.pound_scale, row.pound_shift] for row in rows if row.pound_unit}


def text_units() -> dict[str, list[Any]]:
    """Return `pound_units` with the units of inputs, for numbers with a unit in sentences and drawings."""
    made = {
        unit: [other, other_scale / scale, (offset - other_offset) * other_scale]
        for unit, scale, offset, other, other_scale, other_offset in _INPUTS.values()
        if other_scale and unit not in ("", "%", "°")
    }
    made["cm2/m"] = made["cm²/m"]  # as messages write it
    made |= {  # units of sentences and tables only
        "mm²/m": ["in²/ft", 0.0047244, 0.0],
        "m²": ["ft²", 1.0 / 0.3048**2, 0.0],
        "L/(s m)": ["cfm/ft", 0.645834, 0.0],
        "L/m": ["gal/ft", 0.264172 * 0.3048, 0.0],
        "g/(m² d)": ["oz/(ft² d)", 0.00327706, 0.0],
    }
    return {**made, **pound_units()}


def number(value: float, digits: int = 3) -> str:
    """Return `value` to `digits` significant digits, no idle zeros, thousands set apart, powers only for odd sizes."""
    if value is None or math.isnan(value):
        return "–"
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size < -5 or size > 8:
        mantissa, power = f"{value:.{digits - 1}e}".split("e")
        sign = "⁻" if int(power) < 0 else ""
        return f"{mantissa} × 10{sign}{str(abs(int(power))).translate(str.maketrans('0123456789', '⁰¹²³⁴⁵⁶⁷⁸⁹'))}"
    decimals = max(0, digits - 1 - size)
    text = f"{value:,.{decimals}f}".replace(",", "\u202f")
    if decimals:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "−")


def typeset(text: str) -> str:
    """Return a text as it is set on a page: m², °C and a true minus, where code and data keep m2, degC and a hyphen.

    Examples
    --------
    >>> typeset("lowest margin -1.1 K; 0.5 W/(m2 K) at -5 degC")
    'lowest margin −1.1 K; 0.5 W/(m² K) at −5 °C'
    """
    text = re.sub(r"(?<![A-Za-z])([ckm]?m)([23])(?!\w)", lambda unit: unit[1] + "²³"[int(unit[2]) - 2], text)
    return re.sub(r"(?<![\w.,)\]–-])-(?=\d)", "−", text.replace("degC", "°C"))


# SI unit of an input -> (display unit, scale, offset, inch-pound unit, scale of SI, offset of SI)
_INPUTS: dict[str, tuple[str, float, float, str, float, float]] = {
    "m": ("mm", 1e3, 0.0, "in", 1 / 0.0254, 0.0),
    "height": ("m", 1.0, 0.0, "ft", 1 / 0.3048, 0.0),
    "s_d": ("m", 1.0, 0.0, "US perm", 0.0, 0.0),
    "area": ("cm²/m", 1e4, 0.0, "in²/ft", 472.44, 0.0),
    "K": ("°C", 1.0, constants.ICE_POINT, "°F", 1.8, constants.ICE_POINT - 32.0 / 1.8),
    "W/(m K)": ("W/(m K)", 1.0, 0.0, "Btu in/(h ft² °F)", 6.93347, 0.0),
    "kg/m3": ("kg/m³", 1.0, 0.0, "lb/ft³", 0.0624280, 0.0),
    "J/(kg K)": ("J/(kg K)", 1.0, 0.0, "Btu/(lb °F)", 2.38846e-4, 0.0),
    "kg/(m2 s0.5)": ("kg/(m² √s)", 1.0, 0.0, "lb/(ft² √s)", 0.204816, 0.0),
    "kg/m2": ("g/m²", 1e3, 0.0, "oz/ft²", 3.27706, 0.0),
    "kg/(m2 s)": ("kg/(m² h)", HOUR, 0.0, "lb/(ft² h)", HOUR * 0.204816, 0.0),
    "m3/(m2 s)": ("m³/(m² h)", HOUR, 0.0, "cfm/ft²", 196.850, 0.0),
    "1": ("%", 100.0, 0.0, "%", 100.0, 0.0),
    "-": ("", 1.0, 0.0, "", 1.0, 0.0),
    "degree": ("°", 1.0, 0.0, "°", 1.0, 0.0),
    "W/(m2 K)": ("W/(m² K)", 1.0, 0.0, "Btu/(h ft² °F)", 0.176110, 0.0),
}

# Permeance of an s_d of 1 m in US perm, by the same air as a permeance in a wall file.
_PERM_METRE = constants.AIR_PERMEABILITY / constants.US_PERM


def quantity(value: float | None, unit: str, digits: int = 3) -> tuple[str, str]:
    """Return an SI input as text in SI display units and in inch-pound units.

    Parameters
    ----------
    value : float
        None or infinite values are spelled out. [`unit`, SI]
    unit : str
        A key of the table of this module, e.g. ``"m"`` for a thickness, ``"height"`` for metres of height.
    digits : int
        Significant digits.

    Returns
    -------
    tuple of str
        SI text, inch-pound text.
    """
    if value is None:
        return "–", "–"
    si_unit, si_scale, si_offset, ip_unit, ip_scale, ip_offset = _INPUTS[unit]
    si = number((value - si_offset) * si_scale, digits)
    if unit == "s_d":
        ip = "0" if math.isinf(value) else number(_PERM_METRE / value, digits) if value > 0 else "∞"
    else:
        ip = number((value - ip_offset) * ip_scale, digits)
    return _with_unit(si, si_unit), _with_unit(ip, ip_unit)


def _with_unit(text: str, unit: str) -> str:
    """Return a number and its unit; the sign of degrees of arc follows without a space."""
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}".strip()
