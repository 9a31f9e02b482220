"""Changes of a wall that sizing and advice try: vents, rail gaps, compartments, layers. A wall in, a wall out.

A barrier itself is never opened: it is there for fire. Vents to the outdoors next to it are tried instead.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cavity.constants import TOUCH
from cavity.errors import Fault, InputError
from cavity.wallfile.model import Opening

if TYPE_CHECKING:
    from cavity.wallfile.model import Column, Layer, OpeningSet, Rail, Wall

INCH = 0.0254  # m
_BESIDE = 0.02  # m between a barrier and a vent next to it
_NEAR = 0.3  # m from the end of a compartment within which a vent ventilates that end; own choice
_SHORTEST = 0.3  # m, a compartment shorter than this gets no vents of its own; own choice
_PLAIN = Opening("vent", 0.0, "slot", 0.01, 0.01)  # where a set has no vent that could serve as a pattern


@dataclass(frozen=True)
class BlindEnd:
    """An end of a compartment of the cavity without a vent.

    Parameters
    ----------
    column : str
        Strip of the wall.
    bottom, top : float
        Ends of the compartment above the base of the wall. [m]
    lower : bool
        Whether it is the lower end.
    barrier : str
        Name of the barrier that closes this end; empty where it is the end of the strip.
    vents : int
        Open vents of the compartment.
    """

    column: str
    bottom: float
    top: float
    lower: bool
    barrier: str
    vents: int

    @property
    def dead(self) -> bool:
        """Whether no air can pass the compartment: it has less than two vents."""
        return self.vents < 2

    @property
    def vent(self) -> str:
        """What a vent there is called."""
        if self.barrier:
            return f"vent {'above' if self.lower else 'below'} {self.barrier}"
        return f"vent at the {'bottom' if self.lower else 'top'} of {self.column}"


def vents_of(opening_set: OpeningSet, column: Column) -> list[Opening]:
    """Return the open vents of a set that serve a column, low to high."""
    return [vent for vent in column.vents(opening_set.openings) if vent.free_area > 0.0]


def stem(vent: Opening) -> str:
    """Return the name of a vent without the strip that the reader of the wall file added to it."""
    for column in vent.columns:
        if vent.name.endswith(f", {column}"):
            return vent.name.removesuffix(f", {column}")
    return vent.name


def halves(wall: Wall, opening_set: str, columns: Iterable[str]) -> tuple[float, float]:
    """Return the free vent area in the lower and in the upper half of the strip that has least. [m2/m]."""
    lower, upper = [], []
    for column in wall.columns:
        if column.name in set(columns):
            middle = 0.5 * (column.bottom + column.top)
            vents = vents_of(wall.opening_set(opening_set), column)
            lower.append(sum(vent.free_area for vent in vents if vent.height < middle))
            upper.append(sum(vent.free_area for vent in vents if vent.height >= middle))
    return min(lower), min(upper)


def blind_ends(wall: Wall, opening_set: str, columns: Iterable[str] = ()) -> tuple[BlindEnd, ...]:
    """Return the ends of compartments without a vent near them, strip by strip, from below.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set.
    columns : iterable of str
        Strips to look at; none: all.

    Returns
    -------
    tuple of BlindEnd
    """
    wanted = set(columns) or {column.name for column in wall.columns}
    ends = []
    for column in wall.columns:
        if column.name not in wanted:
            continue
        vents = [vent.height for vent in vents_of(wall.opening_set(opening_set), column)]
        closers = sorted((barrier.height, barrier.name) for barrier in wall.barriers if column.holds(barrier))
        edges = [(column.bottom, ""), *closers, (column.top, "")]
        for (bottom, below), (top, above) in itertools.pairwise(edges):
            if top - bottom < _SHORTEST:
                continue
            # a vent at the height of a barrier is below it, as the air flow takes it
            least = bottom + TOUCH if below else bottom - TOUCH
            inside = [height for height in vents if least < height <= top + TOUCH]
            reach = min(_NEAR, 0.5 * (top - bottom))
            if not any(height - bottom <= reach for height in inside):
                ends.append(BlindEnd(column.name, bottom, top, True, below, len(inside)))
            if not any(top - height <= reach for height in inside):
                ends.append(BlindEnd(column.name, bottom, top, False, above, len(inside)))
    return tuple(ends)


def with_vents(wall: Wall, opening_set: str, ends: Iterable[BlindEnd]) -> Wall:
    """Return the wall with a vent at each of these ends, made like the lowest or the highest vent of the set.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set that gets the vents.
    ends : iterable of BlindEnd
        From `blind_ends`.

    Returns
    -------
    Wall
    """
    drawn = wall.opening_set(opening_set)
    patterns = sorted(
        (opening for opening in drawn.openings if opening.free_area > 0.0), key=lambda opening: opening.height
    )
    added = []
    for end in ends:
        pattern = (patterns[0] if end.lower else patterns[-1]) if patterns else _PLAIN
        height = end.bottom if end.lower else end.top
        if end.barrier:
            height += _BESIDE if end.lower else -_BESIDE
        name = end.vent if len(wall.columns) == 1 or not end.barrier else f"{end.vent}, {end.column}"
        added.append(
            replace(
                pattern, name=name, height=height, columns=(end.column,),
                exposure="face" if end.barrier else pattern.exposure, cp_shift=None,
            )
        )  # fmt: skip
    return _with_set(wall, replace(drawn, openings=(*drawn.openings, *added)))


def _with_set(wall: Wall, changed: OpeningSet) -> Wall:
    return replace(
        wall, opening_sets=tuple(changed if other.name == changed.name else other for other in wall.opening_sets)
    )


def scale_openings(wall: Wall, opening_set: str, factor: float, names: Iterable[str] = ()) -> Wall:
    """Return the wall with the openings of one set scaled.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set.
    factor : float
        On the free area and the clear height of each opening; mesh porosity stays. [1]
    names : iterable of str
        Openings to scale; none: all of the set.

    Returns
    -------
    Wall

    Raises
    ------
    InputError
        If the set has no opening of such a name.
    """
    drawn = wall.opening_set(opening_set)
    known = [opening.name for opening in drawn.openings]
    wanted = set(names) or set(known)
    if unknown := sorted(wanted - set(known)):
        raise InputError(
            Fault(
                "openings to scale",
                "the set has no such opening",
                ", ".join(unknown),
                ", ".join(dict.fromkeys(known)),
                "use its names",
            )
        )
    openings = tuple(
        replace(opening, gross_area=opening.gross_area * factor, clear_height=opening.clear_height * factor)
        if opening.name in wanted
        else opening
        for opening in drawn.openings
    )
    return _with_set(wall, replace(drawn, openings=openings))


def rails_of(wall: Wall, opening_set: str) -> tuple[Rail, ...]:
    """Return the rails of a set: its own, or those of the wall, as far as they cross any of the strips."""
    return tuple(
        rail
        for rail in wall.case(opening_set=opening_set).rails
        if any(column.crossed_by(rail) for column in wall.columns)
    )


def widest_gap(rail: Rail) -> float:
    """Return the gap that leaves nothing of a rail: its bay, divided among the gaps of a bay. [m]."""
    return rail.bay / rail.gaps


def with_gap(wall: Wall, opening_set: str, gap: Callable[[Rail], float] | float) -> Wall:
    """Return the wall with another gap at the rail ends; rails are no wider open than their bay.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set whose rails are changed; those of the wall where it has none of its own.
    gap : float or callable
        The gap of every rail, or a function of the rail that returns it. [m]

    Returns
    -------
    Wall
    """

    def widened(rails: tuple[Rail, ...]) -> tuple[Rail, ...]:
        return tuple(replace(rail, gap=min(gap(rail) if callable(gap) else gap, widest_gap(rail))) for rail in rails)

    drawn = wall.opening_set(opening_set)
    if drawn.rails is None:
        return replace(wall, rails=widened(wall.rails))
    return _with_set(wall, replace(drawn, rails=widened(drawn.rails)))


def variants_of(wall: Wall) -> tuple[str, ...]:
    """Return the names of the variants of a wall, in the order of the file."""
    return tuple(dict.fromkeys(variant for variant, _, _ in wall.variants))


def with_variant(wall: Wall, name: str) -> Wall:
    """Return the wall with the layers of one of its variants put in; KeyError if there is no such variant."""
    exchanged: dict[str, Layer] = {old: layer for variant, old, layer in wall.variants if variant == name}
    if not exchanged:
        raise KeyError(name)

    def exchange(layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
        return tuple(exchanged.get(layer.name, layer) for layer in layers)

    return replace(wall, cladding=exchange(wall.cladding), backup=exchange(wall.backup))


def gap_text(gap: float) -> str:
    """Return a rail gap [m] in millimetres, with the inches of a usual one."""
    text = f"{round(1e3 * gap + 1e-9, 1):g} mm"
    for sixteenths in (1, 2, 3, 4, 6, 8, 12, 16):
        if abs(gap - sixteenths * INCH / 16) < 1e-5:
            whole, part = sixteenths, 16
            while whole % 2 == 0 and part > 1:
                whole, part = whole // 2, part // 2
            return f"{text} ({whole} in)" if part == 1 else f"{text} ({whole}/{part} in)"
    return text
