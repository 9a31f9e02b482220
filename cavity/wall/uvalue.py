"""Thermal resistance and U-value of a wall with a ventilated cavity by ISO 6946, with studs, rails and brackets.

Conductivities are dry values, as in the materials table. Membranes have no thermal resistance. Three results are
distinguished: the undisturbed wall between studs and rails, the wall with its timber frame (combined method of
ISO 6946), and the wall with metal rails (zone method) and brackets.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.climate.outside import INNER_SURFACE, heat_flow_direction
from cavity.constants import RAIL_FLANGE, STEFAN_BOLTZMANN, UNVENTILATED_LIMIT, WELL_VENTILATED_LIMIT
from cavity.errors import Fault, InputError
from cavity.units import COLDEST, HOTTEST, check_range
from cavity.wallfile.model import exchange_emissivity, takes_wall, ventilation_class

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from cavity.wallfile.model import Case, Frame, Layer, Wall

OUTER_SURFACE = 0.04  # m2 K/W, ISO 6946 R_se
_STILL_AIR = 0.025  # W/(m K), conductivity of air in ISO 6946 annex B
_SMALLEST_CONVECTION = {"horizontal": 1.25, "up": 1.95}  # W/(m2 K), for differences up to 5 K, ISO 6946 annex B
_SMALLEST_COVER = 0.013  # m, ASHRAE zone method, from memory
# m, own choice: the zone method is meant for panels; a two-dimensional calculation of rails on 180 mm of concrete gives
# a strip of 100 to 130 mm, the whole cover would give 400 mm and more than twice the loss
_LARGEST_COVER = 0.05
_LARGEST_RATIO = 1.5  # upper over lower limit up to which ISO 6946 allows the combined method, from memory


@dataclass(frozen=True)
class UValue:
    """U-value of one wall with one set of openings by ISO 6946.

    Parameters
    ----------
    u_value : float
        Thermal transmittance of the wall with all its studs, rails and brackets. [W/(m2 K)]
    resistance : float
        Its inverse, total thermal resistance, air to air. [m2 K/W]
    ventilation_class : {"unventilated", "slightly ventilated", "well ventilated"}
        Class of the air layer.
    opening_area : float
        Free vent area of the column per metre of wall length. [m2/m]
    outer_surface, inner_surface : float
        Surface resistances used. [m2 K/W]
    parts : tuple of (str, float)
        Names and resistances outside to inside, between studs and rails; 0 for a part omitted by the rules. [m2 K/W]
    undisturbed : float
        U-value between studs and rails. [W/(m2 K)]
    framed : float
        U-value with timber studs, without metal. [W/(m2 K)]
    rails, brackets : float
        Increase by metal rails and by point brackets. [W/(m2 K)]
    upper, lower : float
        Upper and lower limit of the total resistance of the framed wall, ISO 6946. [m2 K/W]
    notes : tuple of str
        Remarks on the result.
    """

    u_value: float
    resistance: float
    ventilation_class: str
    opening_area: float
    outer_surface: float
    inner_surface: float
    parts: tuple[tuple[str, float], ...]
    undisturbed: float
    framed: float
    rails: float
    brackets: float
    upper: float
    lower: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class CombinedResistance:
    """Total thermal resistance of a wall whose layers are not uniform, by the combined method of ISO 6946.

    Parameters
    ----------
    upper, lower : float
        Upper limit (sections side by side) and lower limit (planes of one temperature). [m2 K/W]
    resistance : float
        Their mean, the result. [m2 K/W]
    u_value : float
        Its inverse. [W/(m2 K)]
    error : float
        Largest relative error of the method, (upper - lower) / (2 resistance). [1]
    valid : bool
        False where upper / lower is above 1.5: ISO 6946 then requires a calculation by ISO 10211.
    """

    upper: float
    lower: float

    @property
    def resistance(self) -> float:
        """Mean of both limits [m2 K/W]."""
        return 0.5 * (self.upper + self.lower)

    @property
    def u_value(self) -> float:
        """Thermal transmittance [W/(m2 K)]."""
        return 1.0 / self.resistance

    @property
    def error(self) -> float:
        """Largest relative error of the method [1]."""
        return (self.upper - self.lower) / (2.0 * self.resistance)

    @property
    def valid(self) -> bool:
        """Whether the ratio of the limits allows the method."""
        return self.upper <= _LARGEST_RATIO * self.lower


def combined_method(
    fractions: ArrayLike, resistances: ArrayLike, *, outer_surface: float = OUTER_SURFACE, inner_surface: float = 0.13
) -> CombinedResistance:
    """Return the total resistance of a wall of several sections, such as insulation and studs.

    Parameters
    ----------
    fractions : array_like, (section,)
        Fraction of the area of each section; their sum is 1. [1]
    resistances : array_like, (section, layer)
        Resistance of each layer in each section, outside to inside. [m2 K/W]
    outer_surface, inner_surface : float, keyword only
        Surface resistances R_se and R_si; R_se = R_si behind a well ventilated cavity. [m2 K/W]

    Returns
    -------
    CombinedResistance

    Raises
    ------
    InputError
        If the fractions do not add up to 1 or the shapes do not fit.

    References
    ----------
    ISO 6946:2017, 6.7.2: upper and lower limit and their mean, from memory. The same two limits are the parallel-path
    and the isothermal-planes method of the ASHRAE Handbook - Fundamentals, ch. 27.

    Examples
    --------
    Insulation 160 mm of 0.035 with 15 % softwood of 0.13 between two boards:

    >>> wall = combined_method([0.85, 0.15], [[0.09, 0.16 / 0.035, 0.05], [0.09, 0.16 / 0.13, 0.05]])
    >>> round(wall.upper, 3), round(wall.lower, 3), round(wall.u_value, 3)
    (3.683, 3.559, 0.276)
    """
    areas, sections = np.asarray(fractions, dtype=float), np.asarray(resistances, dtype=float)
    if sections.ndim != 2 or areas.shape != sections.shape[:1]:
        raise InputError(
            Fault(
                "combined method",
                "fractions and resistances do not fit each other",
                f"{areas.shape} and {sections.shape}",
                "one fraction for each section, resistances by section and layer",
                "pass as many rows of resistances as fractions",
            )
        )
    check_range("combined_method, fractions", areas, "1", 0.0, 1.0 + 1e-9)
    if abs(areas.sum() - 1.0) > 1e-6 or np.any(sections < 0.0):
        raise InputError(
            Fault(
                "combined method",
                "fractions do not add up to 1, or a resistance is negative",
                f"sum {areas.sum():g}",
                "fractions of the whole area",
                "add the missing section",
            )
        )
    surfaces = outer_surface + inner_surface
    upper = 1.0 / float(np.sum(areas / (surfaces + sections.sum(axis=1))))
    with np.errstate(divide="ignore"):  # the plane of a membrane has no resistance
        planes = 1.0 / np.sum(areas[:, None] / sections, axis=0)
    return CombinedResistance(upper, surfaces + float(planes.sum()))


@dataclass(frozen=True)
class ZoneResult:
    """U-value of a wall with metal rails through a layer, by the zone method.

    Parameters
    ----------
    u_value : float
        Of the wall with rails. [W/(m2 K)]
    undisturbed : float
        Of the wall between them. [W/(m2 K)]
    width : float
        Of the strip from which a rail conducts heat. [m]
    """

    u_value: float
    undisturbed: float
    width: float


def zone_width(flange: float, *covers: float, spacing: float = np.inf) -> float:
    """Return the width of the strip from which a metal rail conducts heat: flange plus twice the cover.

    Parameters
    ----------
    flange : float
        Width of the flange. [m]
    *covers : float
        Distance from the metal to the surface of the construction on each side; the larger one decides, between 13 mm
        and 50 mm (upper bound: own choice, see the module). [m]
    spacing : float, keyword only
        Distance between rails, the widest a strip can be. [m]

    Returns
    -------
    float
        Width. [m]

    References
    ----------
    ASHRAE Handbook - Fundamentals, ch. 27, zone method: W = m + 2 d, d at least 13 mm, the larger of both sides; from
    memory.

    Examples
    --------
    >>> round(zone_width(0.04, 0.0125), 3)
    0.066
    """
    cover = min(max((*covers, _SMALLEST_COVER)), _LARGEST_COVER)
    return min(flange + 2.0 * cover, spacing)


def zone_method(
    *,
    resistance_outside: float,
    resistance_inside: float,
    thickness: float,
    conductivity: float,
    web: float,
    spacing: float,
    metal_conductivity: float = 50.0,
    flange: float = RAIL_FLANGE,
    cover_outside: float = 0.0,
    cover_inside: float = 0.0,
) -> ZoneResult:
    """Return the U-value of a wall with metal studs, rails or girts through one layer.

    Parameters
    ----------
    resistance_outside, resistance_inside : float, keyword only
        All resistances on either side of the bridged layer, surface resistances included. [m2 K/W]
    thickness, conductivity : float, keyword only
        Of the bridged layer. [m] [W/(m K)]
    web : float, keyword only
        Metal thickness. [m]
    spacing : float, keyword only
        Distance between rails. [m]
    metal_conductivity : float, keyword only
        50 steel, 17 stainless steel, 160 aluminium. [W/(m K)]
    flange : float, keyword only
        Width of the flange. [m]
    cover_outside, cover_inside : float, keyword only
        Thickness of the solid layers that cover the metal on either side, see `zone_width`. [m]

    Returns
    -------
    ZoneResult

    Notes
    -----
    In the strip, metal and insulation conduct in parallel within the layer; strip and undisturbed wall lie side by
    side. Compared with a two-dimensional calculation of steel studs, girts and aluminium rails the U-value is between
    6 % below and 20 % above (tested). ISO 6946 requires ISO 10211 where metal bridges insulation.

    References
    ----------
    ASHRAE Handbook - Fundamentals, ch. 27, zone method, from memory.

    Examples
    --------
    Aluminium rails 2 mm thick through 160 mm of mineral wool, 600 mm apart:

    >>> wall = zone_method(
    ...     resistance_outside=0.13, resistance_inside=0.19, thickness=0.16, conductivity=0.035, web=0.002,
    ...     spacing=0.6, metal_conductivity=160.0, cover_inside=0.0125)
    >>> round(wall.undisturbed, 3), round(wall.u_value, 3)
    (0.204, 0.494)
    """
    check_range("zone_method, thickness", thickness, "m", 1e-4, 2.0)
    check_range("zone_method, web", web, "m", 0.0, 0.1)
    check_range("zone_method, spacing", spacing, "m", 1e-2, 10.0)
    insulation = conductivity / thickness
    width = zone_width(flange, cover_outside, cover_inside, spacing=spacing)
    strip = 1.0 / (
        insulation + rail_conductance(conductivity=metal_conductivity, web=web, spacing=width, thickness=thickness)
    )
    around = resistance_outside + resistance_inside
    zone, undisturbed = 1.0 / (around + strip), 1.0 / (around + 1.0 / insulation)
    strip_fraction = width / spacing
    return ZoneResult(strip_fraction * zone + (1.0 - strip_fraction) * undisturbed, undisturbed, width)


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
        Longwave emissivity of its two surfaces. [1]
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
    check_range("air_layer_resistance, thickness", thickness, "m", 1e-4, 1.0)
    check_range("air_layer_resistance, emissivity", (emissivity_1, emissivity_2), "1", 1e-3, 1.0)
    check_range("air_layer_resistance, temperature", temperature, "K", COLDEST, HOTTEST)
    smallest = 0.12 * thickness**-0.44 if direction == "down" else _SMALLEST_CONVECTION[direction]
    convection = max(smallest, _STILL_AIR / thickness)
    exchange = exchange_emissivity(emissivity_1, emissivity_2)
    return 1.0 / (convection + exchange * 4.0 * STEFAN_BOLTZMANN * temperature**3)


def cavity_resistance(case: Case) -> float:
    """Return the resistance of the cavity of a case as an unventilated air layer, `air_layer_resistance` [m2 K/W]."""
    direction = heat_flow_direction(case.wall.tilt)
    return float(air_layer_resistance(case.depth, *case.emissivities, direction=direction))


def layer_resistance(layer: Layer) -> float:
    """Return the thermal resistance of a layer between its studs and rails; that of a membrane is 0 [m2 K/W]."""
    if layer.is_membrane or layer.thickness <= 0.0:
        return 0.0
    return layer.thickness / layer.material.conductivity


def strip_resistance(layer: Layer, width: float) -> float:
    """Return the resistance of a layer in a strip with one metal rail, both in parallel.

    Parameters
    ----------
    layer : Layer
        With `bridge_conductance` and `bridge_spacing`.
    width : float
        Width of the strip; the whole spacing gives the parallel path, the least favourable estimate. [m]

    Returns
    -------
    float
        Resistance. [m2 K/W]
    """
    insulation = layer.material.conductivity / layer.thickness
    return 1.0 / (insulation + layer.bridge_conductance * layer.bridge_spacing / width)


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
    check_range("rail_conductance, web", web, "m", 0.0, 0.1)
    check_range("rail_conductance, spacing", spacing, "m", 1e-2, 10.0)
    check_range("rail_conductance, thickness", thickness, "m", 1e-4, 2.0)
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
    """Return the increase of the U-value by point fasteners through the insulation.

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
    ISO 6946:2007 annex D.3, from memory: alpha = 0.8, or 0.8 times the penetrated fraction where recessed.
    """
    alpha = 0.8 * min(length / insulation_thickness, 1.0)
    resistance_ratio = insulation_resistance / total_resistance
    return alpha * conductivity * count * cross_section / length * resistance_ratio**2


def rail_temperature_factor(
    *,
    resistance_outside: float,
    resistance_inside: float,
    layer: Layer,
    cover: float,
    flange: float | None = None,
) -> float:
    """Return the temperature factor of the inner surface of a layer at a rail: the cold spot for dew-point checks.

    The metal conducts heat from a strip as wide as its flange plus twice the cover; in that strip metal and layer
    conduct in parallel, elsewhere the layer is undisturbed. Temperature = T_out + factor (T_in - T_out).

    Parameters
    ----------
    resistance_outside, resistance_inside : float, keyword only
        Resistances on either side of the layer, surface resistances included. [m2 K/W]
    layer : Layer, keyword only
        The insulation, with `bridge_conductance` and `bridge_spacing`.
    cover : float, keyword only
        Thickness of the board or wall that the inner flange bears on; not less than 13 mm. [m]
    flange : float, keyword only
        Width of that flange; None: that of the layer's rails. [m]

    Returns
    -------
    float
        0 at outdoor, 1 at room temperature. [1]

    References
    ----------
    ASHRAE Handbook - Fundamentals, ch. 27, zone method (strip width m + 2 d, d at least 13 mm), from memory. It is
    meant for mean U-values; its use for the local temperature is our own estimate and does not replace ISO 10211.
    """
    strip = min((flange or layer.bridge_flange) + 2.0 * max(cover, _SMALLEST_COVER), layer.bridge_spacing)
    through = resistance_outside + strip_resistance(layer, strip)
    return through / (through + resistance_inside)


@dataclass(frozen=True)
class RailSpot:
    """One cold spot at metal rails through a layer.

    Parameters
    ----------
    layer : str
        Layer that the rails pass.
    behind : str
        First layer behind the spot that is not a membrane, or "room" for the interior surface.
    factor : float
        Temperature factor, 0 at outdoor and 1 at room temperature. [1]
    drop : float
        Temperature drop from the room air to the spot over that to the undisturbed wall at the same depth, >= 1. [1]
    """

    layer: str
    behind: str
    factor: float
    drop: float


@takes_wall
def rail_spots(case: Case) -> tuple[RailSpot, ...]:
    """Return the cold spots of metal rails through the backup wall: at their inner ends, and at the interior surface.

    Parameters
    ----------
    case : Case or Wall
        From `Wall.case`; for a wall, with the keywords of `Wall.case`. Openings and depth decide the resistance
        outside the insulation.

    Returns
    -------
    tuple of RailSpot
        Empty without rails.

    Notes
    -----
    Strip and wall differ only in the resistance of the layer, so in the steady state the drop from the room air to any
    plane inside the layer grows by the same factor, R_total,wall / R_total,strip. Width of the strip: see
    `rail_temperature_factor`; for the interior surface its cover is the whole depth behind the layer.
    """
    iso_6946, wall = u_value(case), case.wall
    resistances = [layer_resistance(layer) for layer in wall.backup]
    outside = 1.0 / iso_6946.undisturbed - iso_6946.inner_surface - sum(resistances)
    spots = []
    for index, layer in enumerate(wall.backup):
        if layer.bridge_conductance <= 0.0 or layer.is_membrane:
            continue
        solid = [item for item in wall.backup[index + 1 :] if not item.is_membrane]
        before = outside + sum(resistances[:index])
        within = sum(resistances[index + 1 :]) + iso_6946.inner_surface
        covers = [(solid[0].name, solid[0].thickness)] if solid else []
        for behind, cover in (*covers, ("room", sum(item.thickness for item in solid))):
            end = rail_temperature_factor(resistance_outside=before, resistance_inside=within, layer=layer, cover=cover)
            # 1 - end = within / R_total,strip
            drop = (1.0 - end) * (before + resistances[index] + within) / within
            factor = 1.0 - (1.0 - end) * iso_6946.inner_surface / within if behind == "room" else end
            spots.append(RailSpot(layer.name, behind, factor, drop))
    return tuple(spots)


@takes_wall
def u_value(case: Case) -> UValue:
    """Return the U-value of a wall by ISO 6946, with the rules for ventilated air layers, studs, rails and brackets.

    Parameters
    ----------
    case : Case or Wall
        From `Wall.case`; for a wall, with the keywords of `Wall.case`.

    Returns
    -------
    UValue

    Notes
    -----
    Well ventilated: the air layer and all layers outside it are omitted, and still air is assumed there (R_se = R_si).
    Slightly ventilated: R_T = (1500 - A) / 1000 R_T,unventilated + (A - 500) / 1000 R_T,ventilated, A in mm2/m.
    Studs of timber: `combined_method`. Adjacent layers with the same frame have common studs; different frames
    are assumed to cross each other. Metal rails: for each layer that they bridge, the zone method adds its strip to the
    framed wall; a linear transmittance is used where the file gives one.
    Brackets: chi times their number.

    References
    ----------
    ISO 6946:2007 clauses 5 and 6, annexes B and D, from memory; surface resistances and classes read in a secondary
    text. Zone method: ASHRAE Handbook - Fundamentals, ch. 27, from memory.
    """
    wall, area = case.wall, case.opening_area
    kind = ventilation_class(area)
    inner = INNER_SURFACE[heat_flow_direction(wall.tilt)]
    air = cavity_resistance(case)
    cladding, backup = list(wall.cladding), list(wall.backup)
    closed = _framed([*cladding, air, *backup], OUTER_SURFACE, inner)
    ventilated = _framed(backup, inner, inner)
    notes = []
    if kind == "well ventilated":
        (field, framed), outer = ventilated, inner
        counted: list[Layer] = backup
    elif kind == "slightly ventilated":
        weight = (area - UNVENTILATED_LIMIT) / (WELL_VENTILATED_LIMIT - UNVENTILATED_LIMIT)
        field = (1.0 - weight) * closed[0] + weight * ventilated[0]
        framed = CombinedResistance(
            (1.0 - weight) * closed[1].upper + weight * ventilated[1].upper,
            (1.0 - weight) * closed[1].lower + weight * ventilated[1].lower,
        )
        outer, counted = OUTER_SURFACE, [*cladding, *backup]
        notes.append("Slightly ventilated: the total is interpolated between the unventilated and the ventilated wall.")
    else:
        (field, framed), outer = closed, OUTER_SURFACE
        counted = [*cladding, *backup]
    if case.depth > 0.3:
        notes.append("The air layer is deeper than the 0.3 m that ISO 6946 covers.")
    omitted = kind == "well ventilated"
    parts = (
        *((layer.name, 0.0 if omitted else layer_resistance(layer)) for layer in cladding),
        ("cavity", 0.0 if omitted else air),
        *((layer.name, layer_resistance(layer)) for layer in backup),
    )
    rails = sum(_rail_loss(layer, backup, framed.resistance) for layer in counted)
    brackets = sum(layer.bracket_loss for layer in counted)
    total = 1.0 / (framed.u_value + rails + brackets)
    return UValue(
        1.0 / total,
        total,
        kind,
        area,
        outer,
        inner,
        parts,
        1.0 / field,
        framed.u_value,
        rails,
        brackets,
        framed.upper,
        framed.lower,
        (*notes, *_bridge_notes(counted, framed)),
    )


def _framed(layers: Sequence[Layer | float], outer: float, inner: float) -> tuple[float, CombinedResistance]:
    """Return the total resistance of layers (or bare resistances) between studs, and with them [m2 K/W]."""
    parts = [(part, None) if isinstance(part, float) else (layer_resistance(part), part) for part in layers]
    field = outer + inner + sum(resistance for resistance, _ in parts)
    fractions, sections = frame_sections([part for _, part in parts if part is not None])
    plain = np.array([[resistance for resistance, part in parts if part is None]] * len(fractions))
    return field, combined_method(fractions, np.hstack((sections, plain)), outer_surface=outer, inner_surface=inner)


def frame_sections(layers: Sequence[Layer]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the sections of layers with timber frames, for `combined_method`.

    Parameters
    ----------
    layers : sequence of Layer
        Outside to inside.

    Returns
    -------
    fractions : array, (section,)
        Fraction of the area. [1]
    resistances : array, (section, layer)
        Resistance of each layer in each section. [m2 K/W]

    Notes
    -----
    Adjacent layers with the same frame have common studs, also with a membrane between them. Other frames cross each
    other: the fraction of a section is the product of the fractions.
    """
    groups: list[tuple[Frame, list[int]]] = []
    previous = None
    for index, layer in enumerate(layers):
        if layer.is_membrane:
            continue
        if layer.frame is not None:
            if layer.frame == previous:
                groups[-1][1].append(index)
            else:
                groups.append((layer.frame, [index]))
        previous = layer.frame
    fractions = np.ones(1)
    resistances = np.array([[layer_resistance(layer) for layer in layers]])
    for frame, members in groups:
        studs = resistances.copy()
        for index in members:
            studs[:, index] = layers[index].thickness / frame.material.conductivity
        fractions = np.concatenate((fractions * (1.0 - frame.fraction), fractions * frame.fraction))
        resistances = np.vstack((resistances, studs))
    return fractions, resistances


def at_studs(wall: Wall) -> Wall:
    """Return the wall along a line through its studs: in layers with a frame, wood instead of insulation.

    Parameters
    ----------
    wall : Wall
        The wall as described.

    Returns
    -------
    Wall
        With the material of the studs in the layers that have a frame; unchanged without frames.
    """
    if not any(layer.frame for layer in wall.layers):
        return wall

    def with_studs(layers: tuple[Layer, ...]) -> tuple[Layer, ...]:
        return tuple(
            replace(layer, material=layer.frame.material, frame=None) if layer.frame else layer for layer in layers
        )

    return replace(wall, cladding=with_studs(wall.cladding), backup=with_studs(wall.backup))


def _rail_loss(layer: Layer, backup: list[Layer], total: float) -> float:
    """Return the increase of the U-value by metal rails through a layer, for this total resistance [W/(m2 K)]."""
    if layer.is_membrane or layer.bridge_conductance <= 0.0:
        return layer.bridge_loss
    before, after = 0.0, 0.0
    if layer in backup:
        index = backup.index(layer)
        before = sum(other.thickness for other in backup[:index] if not other.is_membrane)
        after = sum(other.thickness for other in backup[index + 1 :] if not other.is_membrane)
    width = zone_width(layer.bridge_flange, before, after, spacing=layer.bridge_spacing)
    strip = total - layer_resistance(layer) + strip_resistance(layer, width)
    return layer.bridge_loss + width / layer.bridge_spacing * (1.0 / strip - 1.0 / total)


def contributions_text(result: UValue) -> str:
    """Return a text on what studs, rails and brackets contribute to a U-value; empty where there are none."""
    if not (result.rails or result.brackets) and abs(result.framed - result.undisturbed) < 1e-9:
        return ""
    parts = [f"undisturbed {result.undisturbed:.3f}"]
    if abs(result.framed - result.undisturbed) >= 1e-9:
        parts.append(f"with studs {result.framed:.3f}")
    if result.rails:
        parts.append(f"rails add {result.rails:.3f}")
    if result.brackets:
        parts.append(f"brackets add {result.brackets:.3f}")
    return f" ({', '.join(parts)})"


def _bridge_notes(layers: Sequence[Layer], framed: CombinedResistance) -> list[str]:
    notes = []
    frames = [layer for layer in layers if layer.frame]
    if frames:
        listed = ", ".join(f"{layer.name} {100 * layer.frame.fraction:.3g} %" for layer in frames if layer.frame)
        notes.append(
            f"Studs ({listed}): "
            f"combined method of ISO 6946, upper limit {framed.upper:.2f}, lower limit {framed.lower:.2f} m2 K/W, "
            f"error at most {100 * framed.error:.0f} %."
        )
        if not framed.valid:
            notes.append(
                "The upper limit is more than 1.5 times the lower one: ISO 6946 then requires a calculation by ISO "
                "10211."
            )
    if any(layer.bridge_conductance for layer in layers):
        notes.append(
            "Metal rails are counted by the zone method of the ASHRAE handbook; ISO 6946 requires a two-dimensional "
            "calculation (ISO 10211) where metal bridges insulation: if you have one, enter its result as psi."
        )
    return notes
