"""Thermal resistance and U-value of a wall with a ventilated cavity by ISO 6946, with rails and fasteners.

Dry conductivities of the materials table are used, because the wall file gives no other. Membranes are taken as
without thermal resistance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from cavity.constants import STEFAN_BOLTZMANN
from cavity.errors import Fault, InputError
from cavity.wallfile.model import UNVENTILATED_LIMIT, WELL_VENTILATED_LIMIT, ventilation_class

if TYPE_CHECKING:
    from cavity.wallfile.model import Column, Layer, OpeningSet, Wall

OUTER_SURFACE = 0.04  # m2 K/W, ISO 6946 R_se
INNER_SURFACE = {"up": 0.10, "horizontal": 0.13, "down": 0.17}  # m2 K/W, ISO 6946 R_si by direction of heat flow
_STILL_AIR = 0.025  # W/(m K), conductivity of air as ISO 6946 annex B takes it
_SMALLEST_CONVECTION = {"horizontal": 1.25, "up": 1.95}  # W/(m2 K), for differences up to 5 K, ISO 6946 annex B
FLANGE = 0.04  # m, width of a rail's flange, common practice, no source
_SMALLEST_COVER = 0.013  # m, ASHRAE zone method, from memory


@dataclass(frozen=True)
class UValue:
    """What ISO 6946 says of one wall with one set of openings.

    Parameters
    ----------
    u_value : float
        Thermal transmittance. [W/(m2 K)]
    resistance : float
        Total thermal resistance, air to air. [m2 K/W]
    ventilation_class : {"unventilated", "slightly ventilated", "well ventilated"}
        Class of the air layer.
    opening_area : float
        Free vent area of the column per metre of wall length. [m2/m]
    outer_surface, inner_surface : float
        Surface resistances used. [m2 K/W]
    parts : tuple of (str, float)
        Names and resistances outside to inside, as counted: a part left out by the rules has 0. [m2 K/W]
    notes : tuple of str
        What a reader should know about the figure.
    """

    u_value: float
    resistance: float
    ventilation_class: str
    opening_area: float
    outer_surface: float
    inner_surface: float
    parts: tuple[tuple[str, float], ...]
    notes: tuple[str, ...] = ()


def heat_flow_direction(tilt: float) -> str:
    """Return the direction of heat flow out of a heated room: horizontal within 30 degrees of it, else up or down.

    Parameters
    ----------
    tilt : float
        Slope of the wall from horizontal, 90 is a wall, less leans back like a roof. [degree]

    Returns
    -------
    str
        "up", "horizontal" or "down".

    References
    ----------
    ISO 6946:2007, clause 5.2, from memory.
    """
    if tilt < 60.0:
        return "up"
    return "down" if tilt > 120.0 else "horizontal"


def air_layer_resistance(
    thickness: float,
    emissivity_1: float,
    emissivity_2: float,
    *,
    direction: str = "horizontal",
    temperature: float = 283.15,
) -> float:
    """Return the resistance of an unventilated air layer by the general formula of ISO 6946.

    Parameters
    ----------
    thickness : float
        Thickness of the layer, up to 0.3 m. [m]
    emissivity_1, emissivity_2 : float
        Longwave emissivity of its two faces. [1]
    direction : {"horizontal", "up", "down"}, keyword only
        Direction of heat flow.
    temperature : float, keyword only
        Mean temperature. [K]

    Returns
    -------
    float
        R = 1 / (h_a + E 4 sigma T3). [m2 K/W]

    References
    ----------
    ISO 6946:2007 annex B, from memory; reproduces its table 2 (which was read in a secondary text).

    Examples
    --------
    >>> round(air_layer_resistance(0.025, 0.9, 0.9), 4)
    0.1831
    """
    smallest = 0.12 * thickness**-0.44 if direction == "down" else _SMALLEST_CONVECTION[direction]
    convection = max(smallest, _STILL_AIR / thickness)
    exchange = 1.0 / (1.0 / emissivity_1 + 1.0 / emissivity_2 - 1.0)
    return 1.0 / (convection + exchange * 4.0 * STEFAN_BOLTZMANN * temperature**3)


def opening_area(opening_set: OpeningSet, column: Column) -> float:
    """Return the free vent area of all the openings of a column, mesh taken off.

    Parameters
    ----------
    opening_set : OpeningSet
        The openings.
    column : Column
        The column they serve.

    Returns
    -------
    float
        Area per metre of wall length. [m2/m]
    """
    return sum(
        opening.free_vent_area
        for opening in opening_set.openings
        if (column.name in opening.columns if opening.columns else column.bottom <= opening.height <= column.top)
    )


def layer_resistance(layer: Layer) -> float:
    """Return the thermal resistance of a layer; metal rails through it count as a path in parallel [m2 K/W].

    The parallel path is the least favourable estimate for rails: ISO 6946 leaves insulation bridged by metal to a
    two-dimensional calculation (ISO 10211). For steel rails through 100 mm of insulation it leaves 16-26 % of the
    nominal resistance; published studies of girts that run through give 20-40 % (vertical) and 30-50 % (horizontal).
    """
    if layer.is_membrane or layer.thickness <= 0.0:
        return 0.0
    return 1.0 / (layer.material.conductivity / layer.thickness + layer.rail_conductance)


def rail_conductance(*, conductivity: float, web: float, spacing: float, thickness: float) -> float:
    """Return the conductance of metal webs through a layer, averaged over the wall area, as a path in parallel.

    Parameters
    ----------
    conductivity : float, keyword only
        Conductivity of the metal. [W/(m K)]
    web : float, keyword only
        Metal thickness. [m]
    spacing : float, keyword only
        Distance between rails. [m]
    thickness : float, keyword only
        Thickness of the layer that they pass. [m]

    Returns
    -------
    float
        Conductance. [W/(m2 K)]
    """
    return conductivity * web / (spacing * thickness)


def fastener_correction(
    *,
    conductivity: float,
    count: float,
    cross_section: float,
    length: float,
    insulation_resistance: float,
    total_resistance: float,
    insulation_thickness: float,
) -> float:
    """Return what point fasteners through the insulation add to the U-value.

    Parameters
    ----------
    conductivity : float, keyword only
        Conductivity of the fastener. [W/(m K)]
    count : float, keyword only
        Fasteners per area. [1/m2]
    cross_section : float, keyword only
        Cross-section of one. [m2]
    length : float, keyword only
        Length in the insulation, less than its thickness where recessed. [m]
    insulation_resistance, total_resistance : float, keyword only
        Resistance of the insulation layer, and of the wall air to air. [m2 K/W]
    insulation_thickness : float, keyword only
        Thickness of the insulation. [m]

    Returns
    -------
    float
        Correction of the U-value. [W/(m2 K)]

    References
    ----------
    ISO 6946:2007 annex D.3, from memory: alpha = 0.8, or 0.8 times the penetrated share where recessed.
    """
    alpha = 0.8 * min(length / insulation_thickness, 1.0)
    share = insulation_resistance / total_resistance
    return alpha * conductivity * count * cross_section / length * share**2


def rail_temperature_factor(
    *,
    resistance_outside: float,
    resistance_inside: float,
    layer: Layer,
    cover: float,
    flange: float = FLANGE,
) -> float:
    """Return the temperature factor of the inner face of a layer where a rail passes: the cold spot for dew checks.

    The metal draws heat from a strip as wide as its flange plus twice the cover; in that strip metal and layer
    conduct in parallel, elsewhere the layer is undisturbed. Temperature = T_out + factor (T_in - T_out).

    Parameters
    ----------
    resistance_outside, resistance_inside : float, keyword only
        Resistances on either side of the layer, surface resistances included. [m2 K/W]
    layer : Layer, keyword only
        The insulation, with `rail_conductance` and `rail_spacing`.
    cover : float, keyword only
        Thickness of the board or wall that the inner flange bears on; not less than 13 mm. [m]
    flange : float, keyword only
        Width of that flange; 40 mm is common practice, no source. [m]

    Returns
    -------
    float
        0 at outdoor, 1 at room temperature. [1]

    References
    ----------
    ASHRAE Handbook - Fundamentals, ch. 27, zone method (strip width m + 2 d, d at least 13 mm), from memory. It is
    meant for mean U-values; its use for the local temperature is our own estimate, and no substitute for ISO 10211.
    """
    strip = min(flange + 2.0 * max(cover, _SMALLEST_COVER), layer.rail_spacing)
    conductance = layer.material.conductivity / layer.thickness + layer.rail_conductance * layer.rail_spacing / strip
    through = resistance_outside + 1.0 / conductance
    return through / (through + resistance_inside)


@dataclass(frozen=True)
class RailSpot:
    """One cold spot where metal rails through a layer make the wall colder than it is elsewhere.

    Parameters
    ----------
    layer : str
        Layer that the rails pass.
    behind : str
        What the spot touches: the first layer behind that is no membrane, or "room" for the room face.
    factor : float
        Temperature factor, 0 at outdoor and 1 at room temperature. [1]
    drop : float
        Temperature drop from the room air to the spot over that to the undisturbed wall at the same depth, from 1. [1]
    """

    layer: str
    behind: str
    factor: float
    drop: float


def rail_spots(
    wall: Wall, *, opening_set: str | None = None, depth: float | None = None, column: str | None = None
) -> tuple[RailSpot, ...]:
    """Return the cold spots of metal rails through the backup wall: where they end, and the room face behind them.

    Parameters
    ----------
    wall : Wall
        The wall as described.
    opening_set, depth, column : keyword only, optional
        As in `u_value`, depth in [m]; they set what lies outside the insulation.

    Returns
    -------
    tuple of RailSpot
        Empty without rails.

    Notes
    -----
    Strip and wall have all resistances in common but the layer's own, so in the steady state the drop from the room
    air to any plane inside the layer grows by the same factor, R_total,wall / R_total,strip. The strip is as wide as
    `rail_temperature_factor` says, at the room face with the whole depth behind the layer for its cover.
    """
    found = u_value(wall, opening_set=opening_set, depth=depth, column=column)
    resistances = [layer_resistance(layer) for layer in wall.backup]
    outside = found.resistance - found.inner_surface - sum(resistances)
    spots = []
    for index, layer in enumerate(wall.backup):
        if layer.rail_conductance <= 0.0 or layer.is_membrane:
            continue
        solid = [item for item in wall.backup[index + 1 :] if not item.is_membrane]
        before = outside + sum(resistances[:index])
        within = sum(resistances[index + 1 :]) + found.inner_surface
        covers = [(solid[0].name, solid[0].thickness)] if solid else []
        for behind, cover in (*covers, ("room", sum(item.thickness for item in solid))):
            end = rail_temperature_factor(resistance_outside=before, resistance_inside=within, layer=layer, cover=cover)
            # 1 - end = within / R_total,strip
            drop = (1.0 - end) * (before + resistances[index] + within) / within
            factor = 1.0 - (1.0 - end) * found.inner_surface / within if behind == "room" else end
            spots.append(RailSpot(layer.name, behind, factor, drop))
    return tuple(spots)


def u_value(
    wall: Wall, *, opening_set: str | None = None, depth: float | None = None, column: str | None = None
) -> UValue:
    """Return the U-value of a wall by ISO 6946, with the rules for ventilated air layers.

    Parameters
    ----------
    wall : Wall
        The wall as described.
    opening_set : str, keyword only, optional
        Name of the set of openings; the first where left out.
    depth : float, keyword only, optional
        Cavity depth; the wall file's where left out. [m]
    column : str, keyword only, optional
        Name of the column; the first where left out.

    Returns
    -------
    UValue

    Raises
    ------
    InputError
        If the set of openings or the column is not known.

    Notes
    -----
    Well ventilated: the air layer and all outside it are dropped, and still air stands outside (R_se = R_si).
    Slightly ventilated: R_T = (1500 - A) / 1000 R_T,unventilated + (A - 500) / 1000 R_T,ventilated, A in mm2/m.

    References
    ----------
    ISO 6946:2007 clauses 5 and 6, annexes B and D, from memory; surface resistances and classes read in a secondary
    text.
    """
    chosen_set, chosen_column = chosen(wall, opening_set, column)
    thickness = wall.cavity.depth if depth is None else depth
    area = opening_area(chosen_set, chosen_column)
    kind = ventilation_class(area)
    direction = heat_flow_direction(wall.tilt)
    inner = INNER_SURFACE[direction]
    air = air_layer_resistance(thickness, *face_emissivities(wall), direction=direction)
    cladding = [(layer.name, layer_resistance(layer)) for layer in wall.cladding]
    backup = [(layer.name, layer_resistance(layer)) for layer in wall.backup]
    behind = sum(resistance for _, resistance in backup) + inner
    closed = OUTER_SURFACE + sum(resistance for _, resistance in cladding) + air + behind
    ventilated = inner + behind
    notes = []
    if kind == "well ventilated":
        total, outer = ventilated, inner
        cladding = [(name, 0.0) for name, _ in cladding]
        air = 0.0
    elif kind == "slightly ventilated":
        share = (area - UNVENTILATED_LIMIT) / (WELL_VENTILATED_LIMIT - UNVENTILATED_LIMIT)
        total, outer = (1.0 - share) * closed + share * ventilated, OUTER_SURFACE
        notes.append("Slightly ventilated: the total is interpolated between the unventilated and the ventilated wall.")
    else:
        total, outer = closed, OUTER_SURFACE
    if thickness > 0.3:
        notes.append("The air layer is deeper than the 0.3 m that ISO 6946 covers.")
    if any(layer.rail_conductance for layer in wall.layers):
        notes.append(
            "Metal rails are counted as a path in parallel, the least favourable estimate; ISO 6946 asks for a "
            "two-dimensional calculation (ISO 10211) where metal bridges insulation."
        )
    return UValue(1.0 / total, total, kind, area, outer, inner, (*cladding, ("cavity", air), *backup), tuple(notes))


def face_emissivities(wall: Wall) -> tuple[float, float]:
    """Return the longwave emissivity of the back of the cladding and of the outer face of the backup wall [1]."""
    back, face = wall.cavity.emissivity_cladding, wall.cavity.emissivity_wall
    return (
        wall.cladding[-1].material.emissivity if back is None else back,
        wall.backup[0].material.emissivity if face is None else face,
    )


def chosen(wall: Wall, opening_set: str | None, column: str | None) -> tuple[OpeningSet, Column]:
    """Return the set of openings and the column of these names, the first ones for None; InputError where unknown."""
    found_set, found_column = wall.opening_sets[0], wall.columns[0]
    faults = []
    if opening_set is not None:
        try:
            found_set = wall.opening_set(opening_set)
        except KeyError:
            known = ", ".join(choice.name for choice in wall.opening_sets)
            faults.append(Fault("opening set", "there is none of this name in the wall file", opening_set, known, ""))
    if column is not None:
        named = [candidate for candidate in wall.columns if candidate.name == column]
        if named:
            found_column = named[0]
        else:
            known = ", ".join(candidate.name for candidate in wall.columns)
            faults.append(Fault("column", "there is none of this name in the wall file", column, known, ""))
    if faults:
        raise InputError(*faults)
    return found_set, found_column
