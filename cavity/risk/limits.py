"""Every threshold of the criteria: default, unit, meaning and origin. SI; fractions are 0-1, durations hours or days.

A wall file may set any of them in its ``limits`` table; `resolve` checks names and sizes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cavity.constants import ICE_POINT, RUN_OFF
from cavity.errors import Fault, InputError
from cavity.units import slip


@dataclass(frozen=True)
class Limit:
    """One threshold: default value, unit, allowed range, meaning, origin of the default."""

    default: float
    units: str
    lower: float
    upper: float
    meaning: str
    source: str


_OWN = "own choice; common practice, no source"
_VTT = "ASHRAE Standard 160-2016, from memory"
_LEVELS = "Viitanen, Krus, Ojanen, Eitner, Zirkelbach, Energy Procedia 78 (2015), from memory"

LIMITS: dict[str, Limit] = {
    "mould_index": Limit(3.0, "1", 0.1, 6.0, "largest mould index on the wall side", _VTT),
    "mould_index_review": Limit(2.0, "1", 0.1, 6.0, "mould index inside the wall above which to review", _LEVELS),
    "mould_room_review": Limit(
        1.0, "1", 0.1, 6.0, "mould index at the interior surface above which to review", _LEVELS
    ),
    "mould_decline": Limit(0.1, "1", 0.0, 1.0, "relative decline of mould in dry or cold hours", _VTT),
    "mould_years": Limit(
        30.0, "1", 1.0, 100.0, "most times the last year is repeated for mould and decay, until the peak settles", _OWN
    ),
    "humidity_mean": Limit(
        0.80,
        "1",
        0.3,
        1.0,
        "30-day mean relative humidity at 5-40 degC, to compare with",
        "ASHRAE Standard 160-2009, abstract of STP1599",
    ),
    "wood_moisture": Limit(
        0.20,
        "kg/kg",
        0.05,
        1.0,
        "30-day mean moisture content of wood",
        "ASHRAE Fundamentals 2021 ch. 25 (safety limit)",
    ),
    "wood_moisture_review": Limit(0.18, "kg/kg", 0.05, 1.0, "moisture content of wood above which to review", _OWN),
    "decay_activation": Limit(
        1.0, "1", 0.05, 1.0, "activation of brown rot at which loss of mass begins", "Viitanen et al. 2010, from memory"
    ),
    "condensate_runoff": Limit(
        RUN_OFF,
        "kg/m2",
        0.001,
        5.0,
        "condensate above which it may run off smooth surfaces",
        "ISO 13788:2012, from memory",
    ),
    "condensate_smooth": Limit(
        0.5, "kg/m2", 0.001, 5.0, "condensate at a layer that does not absorb", "DIN 4108-3, from memory"
    ),
    "condensate_absorbent": Limit(
        1.0, "kg/m2", 0.001, 5.0, "condensate between layers that absorb", "DIN 4108-3, from memory"
    ),
    "condensate_wood": Limit(
        0.05, "kg/kg", 0.005, 0.5, "condensate taken up by solid wood, by its dry mass", "DIN 4108-3, from memory"
    ),
    "condensate_wood_board": Limit(
        0.03, "kg/kg", 0.005, 0.5, "condensate taken up by wood-based boards, by dry mass", "DIN 4108-3, from memory"
    ),
    "dew_hours": Limit(
        876.0,
        "h",
        1.0,
        8784.0,
        "hours of dew per year, at the exterior surface of the wall and inside, above which to review",
        _OWN,
    ),
    "film": Limit(0.1, "kg/m2", 0.001, 5.0, "film that the back of the cladding holds", "the wall file (film_limit)"),
    "residue": Limit(0.02, "kg/m2", 1e-6, 5.0, "annual moisture accumulation of a layer", _OWN),
    "wetness_cavity": Limit(
        5500.0,
        "h",
        10.0,
        8784.0,
        "time of wetness of metal in the cavity above which to review",
        "ISO 9223:1992, tau 4 to tau 5, from memory",
    ),
    "wetness_wall": Limit(
        2500.0,
        "h",
        10.0,
        8784.0,
        "time of wetness of metal in the wall above which to review",
        "ISO 9223:1992, tau 3 to tau 4, from memory",
    ),
    "freeze_saturation": Limit(
        0.8, "1", 0.1, 1.0, "critical degree of saturation", "Fagerlund 1977 (0.8-0.9), from memory"
    ),
    "freeze_temperature": Limit(
        271.15,
        "K",
        240.0,
        ICE_POINT,
        "temperature at which pore water freezes",
        "Fagerlund 1977 (-2 to -5 degC), from memory",
    ),
    "freeze_cycles": Limit(1.0, "1", 1.0, 1000.0, "freeze-thaw cycles per year above critical saturation", _OWN),
    "drying_days": Limit(90.0, "d", 1.0, 730.0, "90 % drying time after a wetting event above which to review", _OWN),
}


def resolve(limits: Mapping[str, float] | None, film_limit: float | None = None) -> dict[str, float]:
    """Return all thresholds: those given, else the defaults.

    Parameters
    ----------
    limits : mapping of str to float, optional
        Thresholds by the names of `LIMITS`, in the units listed there.
    film_limit : float, optional
        Film the case was computed with; the default of ``film``. [kg/m2]

    Returns
    -------
    dict of str to float

    Raises
    ------
    InputError
        If a name is not known or a value is out of its range; all such at once.
    """
    values = {key: row.default for key, row in LIMITS.items()}
    if film_limit is not None:
        values["film"] = film_limit
    faults = []
    for key, value in (limits or {}).items():
        if key not in LIMITS:
            faults.append(
                Fault(
                    f"limits.{key}",
                    "no criterion has a limit of this name",
                    key,
                    ", ".join(LIMITS),
                    "use a listed name",
                )
            )
            continue
        row = LIMITS[key]
        if not row.lower <= value <= row.upper:
            fix = "a fraction is written 0.2 or 20 %" if row.units in ("1", "kg/kg") else f"give it in {row.units}"
            fix = slip(value, "1" if row.units == "kg/kg" else row.units, row.lower, row.upper) or fix
            faults.append(
                Fault(
                    f"limits.{key}",
                    f"the limit is out of range ({row.meaning})",
                    f"{value:g} {row.units}",
                    f"{row.lower:g} to {row.upper:g} {row.units}",
                    fix,
                )
            )
        values[key] = float(value)
    if faults:
        raise InputError(*faults)
    return values


def source(key: str, thresholds: Mapping[str, float]) -> str:
    """Return where a threshold comes from: the wall file when it differs from the default, else its origin."""
    row = LIMITS[key]
    return row.source if thresholds[key] == row.default else f"limit set in the wall file; default from {row.source}"
