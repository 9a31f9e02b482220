"""Quantities as text with a unit, read into SI floats; range checks that name the likely unit mistake; citations."""

from __future__ import annotations

import functools
import math
from typing import Any

from cavity.constants import ICE_POINT, US_PERM
from cavity.errors import Fault, InputError

# the usual conversions of wall files, exact: without them pint would read its unit definitions, half a second
_EVERYDAY = {
    ("mm", "m"): 1e-3,
    ("cm", "m"): 1e-2,
    ("cm**2/m", "m**2/m"): 1e-4,
    ("mm**2/m", "m**2/m"): 1e-6,
    ("g/m**2", "kg/m**2"): 1e-3,
    ("percent", "dimensionless"): 1e-2,
}


@functools.cache
def registry() -> Any:
    """Return the pint registry with the units of the trade added (US perm, nanogram permeance, percent)."""
    import pint

    units: Any = pint.UnitRegistry(cache_folder=None)
    units.define(f"US_perm = {US_PERM} kilogram / pascal / second / meter ** 2 = perm")
    return units


def parse_quantity(text: object, unit: str) -> float:
    """Read a quantity such as ``"25 mm"`` and return its value in `unit`.

    Parameters
    ----------
    text : str
        Number and unit; ``"1 1/2 in"`` and ``"60 ng/(Pa s m2)"`` are understood.
    unit : str
        Unit of the returned float, as pint writes it, e.g. ``"m"``, ``"kg/(Pa s m2)"``.

    Returns
    -------
    float
        The value in `unit`.

    Raises
    ------
    ValueError
        With one clause that says what is wrong: no unit, unknown unit, wrong dimension, not a finite number.
    """
    import re

    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise ValueError(f"a quantity in {unit or 'no unit'} is needed")
    if isinstance(text, (int, float)):
        raise ValueError(f"the number {text!r} has no unit; a unit such as {unit} is needed")
    if len(text) > 80:
        raise ValueError("the text is too long for a quantity")
    match = re.fullmatch(
        r"\s*(?:(\d+)[\s-](?=\d+\s*/\s*\d))?"  # the 1 of "1 1/2 in"
        r"([+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d{1,3})?|[+-]?\.\d+)(?:\s*/\s*(\d+))?\s*(.*?)\s*",
        text,
    )
    if not match:
        raise ValueError(f"{text!r} does not start with a number")
    number, divisor, name = float(match[2]), match[3], match[4]
    if divisor is not None:
        if not float(divisor):
            raise ValueError(f"{text!r} divides by zero")
        number = float(match[1] or 0) + number / float(divisor)
    if not name:
        if unit:
            raise ValueError(f"{text!r} has no unit; a unit such as {unit} is needed")
        return number
    spelled = re.sub(r"(?<=[A-Za-z])(-?\d)", r"**\1", name.replace("²", "2").replace("³", "3"))
    spelled = spelled.replace("%", "percent").replace("°C", "degC").replace("°F", "degF")
    spelled = re.sub(r"°|\bdeg\b", "degree", spelled)
    spelled = re.sub(r"(?<=[A-Za-z0-9)])\s+(?=[A-Za-z(])", "*", spelled)
    if not re.fullmatch(r"[A-Za-zµμ_*/()\d\s.\-]+", spelled) or re.search(r"\d{3,}|\*\*-?\d\d", spelled):
        raise ValueError(f"unit {name!r} is not understood")
    target = _spell(unit)
    if name == unit or spelled == target:
        value = number
    elif (spelled, target) in _EVERYDAY:
        value = number * _EVERYDAY[spelled, target]
    else:
        value = _by_pint(number, spelled, name, unit)
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is not a finite number")
    return value


def _by_pint(number: float, spelled: str, name: str, unit: str) -> float:
    import pint

    try:
        return float(registry().Quantity(number, spelled).to(_spell(unit)).magnitude)
    except pint.DimensionalityError:
        wanted = f"one such as {unit}" if unit else "a fraction or %"
        raise ValueError(f"{name!r} is not a unit of this kind; {wanted} is needed") from None
    except Exception:  # pint raises many kinds, tokenizer errors among them
        raise ValueError(f"unit {name!r} is not known") from None


def _spell(unit: str) -> str:
    import re

    spelled = re.sub(r"(?<=[A-Za-z])(-?\d)", r"**\1", unit)
    spelled = re.sub(r"(?<=[A-Za-z0-9)])\s+(?=[A-Za-z(])", "*", spelled)
    return spelled or "dimensionless"


# unit -> likely mistakes: factor and offset that correct the number, and what is expected
_SLIPS = {
    "m": ((1e-3, 0.0, "lengths are in m"),),
    "1": ((1e-2, 0.0, "fractions are 0 to 1, not in percent"),),
    "K": ((1.0, ICE_POINT, "temperatures are in K"),),
    "Pa": ((1e2, 0.0, "pressures are in Pa"), (1e3, 0.0, "pressures are in Pa")),
    "kg/m2": ((1e-3, 0.0, "water is in kg/m2"),),
}


def slip(value: float, unit: str, low: float, high: float) -> str:
    """Return the number probably meant by one out of range, such as "did you mean 0.030 m?"; empty where unclear.

    Parameters
    ----------
    value : float
        The number as given. [unit]
    unit : str
        "m", "1", "K", "Pa" or "kg/m2"; for other units the answer is empty.
    low, high : float
        Range in which it should be. [unit]

    Examples
    --------
    >>> slip(30.0, "m", 0.0, 1.0)
    'did you mean 0.030 m? lengths are in m'
    >>> slip(40.0, "1", 0.0, 1.0)
    'did you mean 0.4? fractions are 0 to 1, not in percent'
    """
    for factor, offset, expected in _SLIPS.get(unit, ()):
        meant = value * factor + offset
        if low <= meant <= high:
            shown = f"{meant:.3f}" if unit == "m" and abs(meant - round(meant, 3)) < 1e-9 else f"{meant:.6g}"
            return f"did you mean {shown}{'' if unit == '1' else f' {unit}'}? {expected}"
    return ""


def check_range(where: str, values: Any, unit: str, low: float, high: float) -> None:
    """Refuse numbers that are out of range, and name the likely unit mistake.

    Parameters
    ----------
    where : str
        Function and parameter, such as ``"air_layer_resistance, thickness"``.
    values : float or array
        The numbers; NaN passes. [unit]
    unit : str
        Their unit; "1" for a fraction.
    low, high : float
        What is allowed, both included. [unit]

    Raises
    ------
    InputError
        For the first number out of range.
    """
    import numpy as np

    numbers = np.asarray(values, dtype=float)
    wrong = (numbers < low) | (numbers > high)
    if not wrong.any():
        return
    value = float(numbers[wrong].flat[0])
    shown = "" if unit == "1" else f" {unit}"
    raise InputError(
        Fault(
            where, "out of range", f"{value:g}{shown}", f"{low:g} to {high:g}{shown}",
            slip(value, unit, low, high) or "check number and unit",
        )
    )  # fmt: skip


# wide ranges of temperature and air pressure: a number in another unit is far outside
COLDEST, HOTTEST = 150.0, 500.0  # K
THINNEST, DENSEST = 30e3, 120e3  # Pa

FOOTNOTE = "† cited from memory, not re-checked against the text."


def cite(text: str) -> str:
    """Return a source as a page or listing shows it: "from memory" becomes the mark †, which `FOOTNOTE` explains.

    Parameters
    ----------
    text : str
        A source as code and data keep it.

    Returns
    -------
    str

    Examples
    --------
    >>> cite("ISO 10456:2007, from memory (heat, mu); water: estimate")
    'ISO 10456:2007 † (heat, mu); water: estimate'
    """
    import re

    text = re.sub(r"\bfrom memory of ([^;:,.()]+)", r"\1 †", text)
    text = re.sub(r"[,:;]?\s*(?:\(\s*(?:both |all )?from memory\s*\)|\b(?:both |all )?from memory\b)", " †", text)
    return re.sub(r"^ †:?", "†", text)
