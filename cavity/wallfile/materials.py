"""The built-in table of materials, read from materials.toml, and the materials of a wall file."""

from __future__ import annotations

import functools
import itertools
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from importlib import resources
from typing import TYPE_CHECKING, Any

from cavity.constants import ICE_POINT
from cavity.errors import Fault, InputError
from cavity.wallfile.model import Material

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    from cavity.wallfile.schema import MaterialEntry, MaterialValues

# One defect of a material: key, problem, expected, fix.
Defect = tuple[str, str, str, str]

_DENSEST_SOLID = 3300.0  # kg/m3: above the minerals of stone and cement (2650 to 3150), from memory
# Values of which a row states the basis
BASIS_KEYS = ("density", "conductivity", "specific_heat", "vapour", "sorption", "saturation", "absorption")
_PLAIN = (
    "density",
    "conductivity",
    "specific_heat",
    "absorption",
    "moisture_conductivity",
    "emissivity",
    "mould_class",
)


def fold(name: str) -> str:
    """Return the name as it is looked up: capitals, hyphens and underscores do not matter."""
    return re.sub(r"[\s_-]+", " ", name.strip().casefold())


def pick(items: Iterable[Any], name: str) -> Any:
    """Return the first item with this name, whatever capitals and hyphens; None where there is none."""
    return next((item for item in items if fold(item.name) == fold(name)), None)


@functools.cache
def _rows() -> dict[str, dict[str, Any]]:
    text = resources.files("cavity.wallfile").joinpath("materials.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)["material"]


@functools.cache
def _index() -> dict[str, str]:
    return {fold(name): name for name in _rows()}


@functools.cache
def _other_words() -> dict[str, str]:
    return {fold(word): name for name, row in _rows().items() for word in (*row.get("also", ()), row["title"])}


def material_names() -> tuple[str, ...]:
    """Return the names of the built-in table in its order."""
    return tuple(_rows())


def suggestion(name: str, own: tuple[str, ...] = ()) -> str:
    """Return the fix for an unknown material: another word for it, the nearest name, or where to look.

    Parameters
    ----------
    name : str
        The unknown name.
    own : tuple of str
        Names defined in the wall file.

    Returns
    -------
    str
    """
    import difflib

    likely = _other_words().get(fold(name))
    if not likely:
        words = {**_other_words(), **_index(), **{fold(word): word for word in own}}
        close = difflib.get_close_matches(fold(name), list(words), n=1, cutoff=0.6)
        likely = words[close[0]] if close else None
    if likely:
        return f'did you mean "{likely}"?'
    return "`cavity materials` lists the names; or define your own in [material.NAME]"


def material(name: str) -> Material:
    """Return a row of the built-in table.

    Parameters
    ----------
    name : str
        Name as `material_names` lists it; capitals, hyphens and underscores do not matter.

    Returns
    -------
    Material
        Values in SI, each row with its source.

    Raises
    ------
    InputError
        If the table has no such name; the fix names the nearest.
    """
    known = _index().get(fold(name))
    if known is None:
        raise InputError(
            Fault("material", "not in the table of materials", name[:60], "a name it lists", suggestion(name[:60]))
        )
    return _material(known)


@functools.cache
def _material(known: str) -> Material:
    from cavity.wallfile.schema import MaterialEntry

    row, defects = make(known, MaterialEntry.model_validate(_rows()[known]))
    if defects:  # a faulty row of our own table; the tests check all rows
        raise AssertionError(f"materials.toml, {known}: {defects}")
    return row


def wood_moisture(relative_humidity: ArrayLike, temperature: ArrayLike = 293.15) -> NDArray[np.float64]:
    """Return the equilibrium moisture content of wood by the Wood Handbook's equation 4-5, the mean of many species.

    Parameters
    ----------
    relative_humidity : array_like
        Below 1. [1]
    temperature : array_like
        0 to 60 degC is sensible. [K]

    Returns
    -------
    array
        Water by dry mass. [kg/kg]

    References
    ----------
    USDA Forest Products Laboratory, Wood Handbook, equation 4-5; W. T. Simpson, FPL-RN-0268, 1998. Coefficients from
    memory, the form was read. The rows of solid wood hold this curve at 20 degC.

    Examples
    --------
    >>> [round(100 * float(wood_moisture(h)), 1) for h in (0.5, 0.7, 0.9)]
    [9.3, 13.1, 20.5]
    """
    import numpy as np

    h, t = np.asarray(relative_humidity, dtype=float), np.asarray(temperature, dtype=float) - ICE_POINT
    W = 349.0 + 1.29 * t + 0.0135 * t**2
    K = 0.805 + 0.000736 * t - 2.73e-6 * t**2
    K1 = 6.27 - 0.00938 * t - 3.03e-4 * t**2
    K2 = 1.91 + 0.0407 * t - 2.93e-4 * t**2
    hydrated = (K1 * K * h + 2.0 * K1 * K2 * (K * h) ** 2) / (1.0 + K1 * K * h + K1 * K2 * (K * h) ** 2)
    return 18.0 / W * (K * h / (1.0 - K * h) + hydrated)


def materials() -> dict[str, Material]:
    """Return the whole built-in table, name to Material, in its order."""
    return {name: material(name) for name in _rows()}


def make(name: str, entry: MaterialEntry) -> tuple[Material, list[Defect]]:
    """Return the material that a [material.NAME] section describes, and its defects.

    Parameters
    ----------
    name : str
        NAME.
    entry : schema.MaterialEntry
        The section as read.

    Returns
    -------
    Material, list of (key, problem, expected, fix)
        The material is usable only where the list is empty.
    """
    defects: list[Defect] = []
    for key, example in (
        ("density", "1400 kg/m3"), ("conductivity", "0.25 W/(m K)"), ("specific_heat", "1000 J/(kg K)"),
    ):  # fmt: skip
        if getattr(entry, key) is None:
            defects.append((key, "is missing", "every material of your own needs it", f'add {key} = "{example}"'))
    membrane = entry.sd or entry.sd_table  # its vapour resistance is s_d: mu is not asked for
    if not membrane and entry.mu is None and (entry.mu_dry is None or entry.mu_wet is None) and not entry.mu_table:
        defects.append(("mu", "is missing", "mu, or mu_dry and mu_wet, or mu_table", "add mu = 50"))
    base = Material(name, entry.title or name, 1000.0, 1.0, 1000.0, 1.0, 1.0, entry.source)
    base = replace(
        base,
        group=entry.group,
        wood=entry.wood,
        metal=entry.metal,
        thickness=entry.thickness or 0.0,
        sd=entry.sd,
        sd_table=entry.sd_table,
        basis=tuple(entry.basis.items()),
        mould_class="resistant" if entry.metal else "sensitive",
    )
    defects += [
        ("basis", f"unknown value {key!r}", "of " + ", ".join(BASIS_KEYS), "check the name")
        for key in entry.basis
        if key not in BASIS_KEYS
    ]
    row, more = override(base, entry)
    return row, defects + (more if not defects else [])


def override(base: Material, entry: MaterialValues) -> tuple[Material, list[Defect]]:
    """Return the material with the values that a layer or section overrides, and the defects of the result."""
    changes: dict[str, Any] = {key: getattr(entry, key) for key in _PLAIN if getattr(entry, key) is not None}
    density = changes.get("density", base.density)
    if entry.mu is not None:
        changes.update(mu_dry=entry.mu, mu_wet=entry.mu, mu_table=())
    for key in ("mu_dry", "mu_wet"):
        if getattr(entry, key) is not None:
            changes.update({key: getattr(entry, key), "mu_table": ()})
    if entry.mu_table:
        changes["mu_table"] = entry.mu_table
        if entry.mu_dry is None and entry.mu is None:
            changes["mu_dry"] = _at(entry.mu_table, 0.25)
        if entry.mu_wet is None and entry.mu is None:
            changes["mu_wet"] = _at(entry.mu_table, 0.75)
    for key in ("free_saturation", "max_saturation"):
        if getattr(entry, key) is not None:
            changes[key] = _water(getattr(entry, key), density)
    for key in ("sorption",):
        if entry.sorption:
            changes[key] = tuple((humidity, _water(water, density)) for humidity, water in entry.sorption)
    if entry.diffusivity:
        changes["diffusivity"] = tuple((_water(water, density), value) for water, value in entry.diffusivity)
    row = replace(base, **changes)
    if not changes:
        return row, []
    if row.free_saturation and not row.max_saturation:
        # our own assumption: pores of minerals, capped by what capillary uptake already reached
        row = replace(row, max_saturation=max(row.free_saturation, 1000.0 * (1.0 - row.density / _DENSEST_SOLID)))
    return row, list(_defects(row, entry.free_saturation))


def _water(value: float, density: float) -> float:
    return value if value >= 0.0 else -value * density  # schema.Water: % of the dry mass comes as minus the fraction


def _at(table: tuple[tuple[float, float], ...], humidity: float) -> float:
    """Value of a table at a humidity, straight between points and flat outside."""
    if humidity <= table[0][0]:
        return table[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(table):
        if humidity <= x1:
            return y0 + (y1 - y0) * (humidity - x0) / (x1 - x0) if y0 != y1 else y0
    return table[-1][1]


def _defects(row: Material, stated_saturation: float | None) -> Any:
    if row.mu_wet > row.mu_dry:
        yield "mu_wet", "above mu_dry", f"at most mu_dry, {row.mu_dry:g}", "exchange the two"
    for number, (before, after) in enumerate(itertools.pairwise(row.sorption), 2):
        if after[1] <= before[1]:
            yield "sorption", f"pair {number} does not rise", "water content rising with humidity", "check the pairs"
    if row.sorption and not row.free_saturation:
        problem = "is missing" if stated_saturation is None else "zero together with sorption"
        yield "free_saturation", problem, "needed with sorption", 'write free_saturation = "300 kg/m3"'
    if row.free_saturation and not row.sorption:
        yield "sorption", "is missing", "needed with free_saturation", 'add sorption = [["80 %", "45 kg/m3"]]'
    if row.sorption and row.free_saturation and row.sorption[-1][1] > row.free_saturation:
        yield (
            "sorption",
            "reaches above free_saturation",
            f"at most {row.free_saturation:g} kg/m3",
            "check sorption and free_saturation",
        )
    if row.sorption and row.free_saturation and row.sorption[0][1] >= 0.99 * row.free_saturation:
        yield (
            "sorption",
            "has no point below free_saturation",
            f"below {row.free_saturation:g} kg/m3",
            'add a point such as ["50 %", "10 kg/m3"]',
        )
    elif (
        row.sorption
        and row.free_saturation
        and not any(
            0.0 < humidity <= 0.9999 and 0.0 < water < 0.99 * row.free_saturation for humidity, water in row.sorption
        )
    ):
        yield (
            "sorption",
            "has no point between dry and full",
            f"a pair above 0 % and below 100 %, below {row.free_saturation:g} kg/m3",
            'add a point such as ["80 %", "45 kg/m3"]',
        )
    if row.max_saturation < row.free_saturation:
        yield (
            "max_saturation",
            "below free_saturation",
            f"at least {row.free_saturation:g} kg/m3",
            "check both",
        )
    if row.absorption and not row.free_saturation and not row.sorption:
        problem = "is missing" if stated_saturation is None else "zero together with absorption"
        yield "free_saturation", problem, "needed with absorption", 'write free_saturation = "300 kg/m3"'


def row_of(name: str, own: Mapping[str, Material]) -> Material | None:
    """Return the material of this name, the user's own first; None where there is none."""
    for key, row in own.items():
        if fold(key) == fold(name):
            return row
    known = _index().get(fold(name))
    return material(known) if known else None
