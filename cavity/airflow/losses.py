"""Loss coefficients of vents, meshes, rails and slots, each with its source, and the rows of the kernels.

A loss coefficient zeta has a reference speed: loss = zeta rho v^2 / 2 [Pa]. "Memory" after a source means a recalled
textbook value; the text was not at hand.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import AIR_DENSITY, GRAVITY, R_AIR
from cavity.kernels import pressure_drop as kernel
from cavity.units import COLDEST, DENSEST, HOTTEST, THINNEST, check_range

if TYPE_CHECKING:
    from cavity.wallfile.model import Barrier, Opening, Rail

SHARP_DISCHARGE = 0.6  # -, sharp-edged opening; ISO 15099 and ASHRAE Fundamentals, memory
BEND_LOSS = 1.2  # -, sharp 90 degree mitre bend, Re > 1e4: 1.1 to 1.2; Idelchik diagram 6 and ASHRAE fittings, memory
SLIT_LOW_RE = 128.0 / math.pi  # -, zeta Re of a slit in a thin wall, creeping flow; Hasimoto 1958, re-derived
HOLE_LOW_RE = 12.0 * math.pi  # -, zeta Re of a round hole in a thin wall, creeping flow; Sampson 1891, memory
# Loss of rounded battens about 40 % below that of sharp ones: Gullbrekken, Uvslokk, Geving, Kvande 2018, J. Build.
# Phys. (abstract read); measured on tile battens across a one-sided slot, used for rails
ROUNDED_EDGES = 0.6
LAMINAR_SLOT = 96.0  # -, Darcy f Re between parallel plates; Shah & London 1978, memory
DEFAULT_WIRE = 0.3e-3  # m, wire of an insect mesh where none is given; common practice, no source
DEFAULT_HOLE = 3.0e-3  # m, hole of a perforated strip where none is given; common practice, no source

# Full-scale tracer gas; Iqbal, Ozaki, Choi, Arima, Hamashima 2023, E3S Web Conf. 396:02030 (read)
LOUVRE_DISCHARGE = ((0.0, 0.80), (15.0, 0.62), (30.0, 0.41))  # (blade angle degrees, discharge coefficient)


def plate_loss_idelchik(porosity: float | np.ndarray) -> float | np.ndarray:
    """Return the loss coefficient of a thin sharp-edged perforated plate in a duct (E22).

    Parameters
    ----------
    porosity : float or array
        Open fraction of the plate, 0-1. [1]

    Returns
    -------
    float or array
        Loss coefficient on the approach speed, turbulent limit (hole Re > 1e5). [1]

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, diagram 8-1, memory.
    """
    f = np.asarray(porosity, dtype=float)
    return (0.707 * np.sqrt(1.0 - f) + 1.0 - f) ** 2 / f**2


def mesh_loss_idelchik(porosity: float | np.ndarray) -> float | np.ndarray:
    """Return the loss coefficient of a round-wire mesh in turbulent flow, on the approach speed [-].

    Parameters
    ----------
    porosity : float or array
        Open fraction of the mesh, 0-1. [1]

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, diagram 8-6, memory.
    """
    f = np.asarray(porosity, dtype=float)
    return 1.3 * (1.0 - f) + (1.0 / f - 1.0) ** 2


def mesh_loss_bailey_2003(porosity: float | np.ndarray, reynolds: float | np.ndarray) -> float | np.ndarray:
    """Return the loss coefficient of a woven mesh, as used in the network.

    Parameters
    ----------
    porosity : float or array
        Open fraction of the mesh, 0-1. [1]
    reynolds : float or array
        Reynolds number on face speed and wire diameter. [1]

    Returns
    -------
    float or array
        Loss coefficient on the face speed. [1]

    References
    ----------
    Bailey, Montero, Perez-Parra, Robertson, Baeza, Kamaruddin 2003, Biosystems Engineering 86; coefficients memory,
    three-term structure and Reynolds number read in secondary texts.
    """
    b2 = np.square(porosity)
    value, _ = _bailey(np.asarray(reynolds, dtype=float))
    return (1.0 - b2) / b2 * value / np.square(reynolds)


_bailey = np.vectorize(kernel.mesh_bailey_2003, otypes=[float, float])


def mesh_loss_brundrett_1993(porosity: float | np.ndarray, reynolds: float | np.ndarray) -> float | np.ndarray:
    """Return the loss coefficient of a mesh on the face speed [-]; Brundrett 1993, J. Fluids Eng. 115, memory.

    Parameters
    ----------
    porosity : float or array
        Open fraction of the mesh, 0-1. [1]
    reynolds : float or array
        Reynolds number on face speed and wire diameter, 1e-4 to 1e4. [1]
    """
    b2 = np.square(porosity)
    re = np.asarray(reynolds, dtype=float)
    return (1.0 - b2) / b2 * (7.0 / re + 0.9 / np.log10(re + 1.25) + 0.05 * np.log10(re))


def mesh_loss_armour_1968(porosity: float | np.ndarray, reynolds: float | np.ndarray) -> float | np.ndarray:
    """Return the loss coefficient of a plain square weave on the face speed [-], built from its wire geometry.

    Independent of the laws by porosity: the weave is a thin packed bed two wires thick. For comparison only.

    Parameters
    ----------
    porosity : float or array
        Open fraction of the mesh, (1 - d/M)^2 with wire d and pitch M. [1]
    reynolds : float or array
        Reynolds number on face speed and wire diameter. [1]

    References
    ----------
    Armour & Cannon 1968, AIChE J. 14:415: f = 8.61/Re + 0.52, memory.
    """
    pitch = 1.0 / (1.0 - np.sqrt(porosity))  # in wire diameters, as all lengths here
    wire = 2.0 * np.sqrt(pitch**2 + 1.0)  # length of wire in one cell of pitch x pitch x 2
    volume = 2.0 * pitch**2
    void = 1.0 - 0.25 * np.pi * wire / volume
    surface = np.pi * wire / volume
    pore = pitch - 1.0
    factor = 8.61 * surface**2 * pore / np.asarray(reynolds, dtype=float) + 0.52
    return 2.0 * factor * 2.0 / (void**2 * pore)  # loss f B rho U^2 / (void^2 D) over rho U^2 / 2, B = 2


def louvre_discharge(angle: float) -> float:
    """Return the discharge coefficient of a louvre.

    Parameters
    ----------
    angle : float
        Blade angle from the flow, 0 = straight through; measured for 0, 15 and 30. [degree]

    Returns
    -------
    float
        Discharge coefficient on the free area; beyond 30 degrees extrapolated with the last slope. [1]

    References
    ----------
    Iqbal, Ozaki, Choi, Arima, Hamashima 2023, E3S Web Conf. 396:02030, read.
    """
    angles = [pair[0] for pair in LOUVRE_DISCHARGE]
    logs = [math.log(pair[1]) for pair in LOUVRE_DISCHARGE]
    angle = abs(angle)
    if angle > angles[-1]:
        fall = (logs[-1] - logs[-2]) / (angles[-1] - angles[-2])
        return math.exp(logs[-1] + fall * (angle - angles[-1]))
    return math.exp(float(np.interp(angle, angles, logs)))


def orifice_loss(discharge: float, area_ratio_before: float = 0.0, area_ratio_after: float = 0.0) -> float:
    """Return the loss of total pressure through an orifice between two spaces, on the orifice speed (E21).

    Parameters
    ----------
    discharge : float
        Discharge coefficient between two large spaces; 1 / Cd includes contraction and jet loss. [1]
    area_ratio_before, area_ratio_after : float
        Orifice area over the section before and after it; 0 for open space, 1 without a change of section. [1]

    Returns
    -------
    float
        Loss coefficient: 1 / Cd^2 between large spaces; (1/Cd - f)^2 from open space into a duct (this is Z_in of
        ISO 15099 with Cd 0.6); 1 at the plain end of a duct; 0 without a change of section. [1]

    References
    ----------
    Idelchik, Handbook of Hydraulic Resistance, diagrams 4-9 to 4-17 (1 + 0.707 sqrt(1 - f1) - f2)^2, memory; 0.707
    is replaced by 1/Cd - 1.
    """
    contraction = (1.0 / discharge - 1.0) * math.sqrt(1.0 - min(area_ratio_before, 1.0))
    if area_ratio_before == 0.0 and area_ratio_after == 0.0:
        return 1.0 / discharge**2
    return max(1.0 + contraction - min(area_ratio_after, 1.0), 0.0) ** 2


def opening_row(opening: Opening, channel_area: float, at_end: bool) -> np.ndarray:
    """Return the kernel row of an opening.

    Edge loss by discharge coefficient (sharp edges unless given; louvre by blade angle), mesh or perforated plate in
    series, bends in series, creeping flow of the slit or the holes. Only the jet of a straight opening at the end of
    the column continues along the channel; at any other opening its energy is lost.

    Parameters
    ----------
    opening : Opening
        As in the wall file; `discharge` is that of edges and blades, mesh and bends are added.
    channel_area : float
        Flow area of the cavity. [m2/m]
    at_end : bool
        True for an opening at the bottom or the top end of its column.

    Returns
    -------
    array, (6,)
        See `cavity.kernels.pressure_drop`; AREA 0 where the opening is closed.
    """
    row = np.zeros(kernel.RESTRICTION_COLUMNS)
    area = opening.gross_area
    if area <= 0.0 or opening.porosity <= 0.0:
        return row
    filled = min(area / channel_area, 1.0) if at_end and not opening.bends and channel_area > 0.0 else 0.0
    narrowing = (
        max(area / channel_area, 1.0) if filled else 1.0
    )  # an opening wider than the channel: the channel decides
    discharge = opening.discharge
    if discharge is None:
        discharge = louvre_discharge(opening.blade_angle) if opening.kind == "louvre" else SHARP_DISCHARGE
    bends = BEND_LOSS * opening.bends
    width = opening.clear_height or area  # the height of a continuous slot is its area per metre
    row[kernel.AREA] = area
    row[kernel.ZETA_PLUS] = orifice_loss(discharge, 0.0, filled) * narrowing**2 + bends
    row[kernel.ZETA_MINUS] = orifice_loss(discharge, filled, 0.0) * narrowing**2 + bends
    # no creeping-flow loss where the opening is as large as the channel, as in the gap of a rail
    row[kernel.LINEAR] = SLIT_LOW_RE / (2.0 * width) * (1.0 - filled)
    perforated = opening.kind == "perforated"
    _add_mesh(row, opening.porosity, opening.wire, opening.hole, perforated=perforated, factor=opening.mesh_factor)
    return row


def _add_mesh(
    row: np.ndarray, porosity: float, wire: float, hole: float, *, perforated: bool, factor: float = 1.0
) -> None:
    """Add a perforated plate or a mesh in series to the row of its opening or gap."""
    if porosity >= 1.0:
        return
    if perforated:
        plate = float(plate_loss_idelchik(porosity))
        row[kernel.ZETA_PLUS] += plate
        row[kernel.ZETA_MINUS] += plate
        row[kernel.LINEAR] += HOLE_LOW_RE / (porosity * (hole or DEFAULT_HOLE))
    else:
        row[kernel.MESH] = factor * (1.0 / porosity**2 - 1.0)
        row[kernel.WIRE] = wire or DEFAULT_WIRE


def _gap_row(area: float, channel_area: float, diameter: float, length: float, discharge: float) -> np.ndarray:
    """Return the row of a sharp gap across the channel; AREA 0 where it is closed."""
    row = np.zeros(kernel.RESTRICTION_COLUMNS)
    if area <= 0.0:
        return row
    filled = min(area / channel_area, 1.0)
    row[kernel.AREA] = area
    row[kernel.ZETA_PLUS] = row[kernel.ZETA_MINUS] = orifice_loss(discharge, filled, filled)
    # no edge loss where the gap is the whole channel; friction in the gap is laminar below Re 2300
    row[kernel.LINEAR] = (SLIT_LOW_RE + LAMINAR_SLOT * length / diameter) / diameter * (1.0 - filled)
    return row


def rail_row(rail: Rail, depth: float, channel_area: float) -> np.ndarray:
    """Return the kernel row of a rail: gaps of gap x depth in every bay, with laminar friction inside them.

    A mesh or perforation in the gaps is in series; rounded edges reduce the loss.

    Parameters
    ----------
    rail : Rail
        Gap, bay and length of the gap along the flow [m]; number of gaps, mesh, edges.
    depth : float
        Depth of the cavity. [m]
    channel_area : float
        Flow area of the cavity. [m2/m]

    Returns
    -------
    array, (6,)
        See `cavity.kernels.pressure_drop`.
    """
    area = min(rail.gap * rail.gaps, rail.bay) * depth / rail.bay
    diameter = 2.0 * rail.gap * depth / max(rail.gap + depth, 1e-12)
    row = _gap_row(
        min(area, channel_area), channel_area, max(diameter, 1e-9), rail.gap_length_along_flow, rail.discharge
    )
    if rail.rounded:
        row[kernel.ZETA_PLUS] *= ROUNDED_EDGES
        row[kernel.ZETA_MINUS] *= ROUNDED_EDGES
    if row[kernel.AREA] > 0.0:
        _add_mesh(row, rail.porosity, rail.wire, rail.hole, perforated=rail.wire <= 0.0, factor=rail.mesh_factor)
    return row


def barrier_row(barrier: Barrier, channel_area: float) -> np.ndarray:
    """Return the kernel row of a barrier with residual free area [m2/m], as a slit along the wall; AREA 0: closed.

    Parameters
    ----------
    barrier : Barrier
        Residual free area and discharge coefficient.
    channel_area : float
        Flow area of the cavity. [m2/m]
    """
    area = min(barrier.free_area, channel_area)
    return _gap_row(area, channel_area, max(2.0 * area, 1e-9), 0.0, barrier.discharge)


def channel_row(
    depth: float, length: float, *, blocked: float = 0.0, roughness: float = 0.0, pieces: int = 1
) -> np.ndarray:
    """Return the kernel row of a piece of the cavity.

    Parameters
    ----------
    depth, length : float
        Depth of the cavity, length along the flow. [m]
    blocked : float
        Fraction of the cross-section blocked by battens and brackets: it narrows the channel. [1]
    roughness : float
        Equivalent sand roughness of the surfaces. [m]
    pieces : int
        Number of pieces in which the flow develops again. [1]

    Returns
    -------
    array, (5,)
        See `cavity.kernels.pressure_drop`.
    """
    row = np.zeros(kernel.CHANNEL_COLUMNS)
    row[kernel.CHANNEL_AREA] = depth * (1.0 - blocked)
    row[kernel.LENGTH] = length
    row[kernel.DIAMETER] = 2.0 * depth
    row[kernel.ROUGH] = (min(roughness, 0.5 * depth) / (3.7 * 2.0 * depth)) ** 1.11
    row[kernel.PIECES] = pieces
    return row


_channel = np.vectorize(kernel.channel_loss, excluded={0, 1}, otypes=[float, float])
_friction = np.vectorize(kernel.friction, otypes=[float, float])


def channel_loss(
    speed: float | np.ndarray,
    depth: float,
    length: float,
    *,
    density: float = AIR_DENSITY,
    viscosity: float = 1.81e-5,
    roughness: float = 0.0,
    pieces: int = 1,
) -> np.ndarray:
    """Return the friction and entry loss of a slot [Pa]; laminar, turbulent and the blend between.

    Parameters
    ----------
    speed : float or array
        Mean speed; the loss has its sign. [m/s]
    depth, length, roughness : float
        Slot. [m]
    density : float
        Air density. [kg/m3]
    viscosity : float
        Dynamic viscosity. [Pa s]
    pieces : int
        Number of pieces in which the flow develops again. [1]
    """
    check_range("channel_loss, depth", depth, "m", 1e-5, 1.0)
    check_range("channel_loss, roughness", roughness, "m", 0.0, 0.1)
    row = channel_row(depth, length, roughness=roughness, pieces=pieces)[np.newaxis]
    return _channel(row, 0, np.asarray(speed, dtype=float) * density * depth, density, viscosity)[0]


def friction_factor(reynolds: float | np.ndarray, relative_roughness: float = 0.0) -> np.ndarray:
    """Return the Darcy friction factor between parallel plates [-].

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the hydraulic diameter, above 0. [1]
    relative_roughness : float
        Equivalent sand roughness over the hydraulic diameter. [1]
    """
    return _friction(np.asarray(reynolds, dtype=float), (relative_roughness / 3.7) ** 1.11)[0]


def friction_dean_1978(reynolds: float | np.ndarray) -> float | np.ndarray:
    """Return the Darcy friction factor of smooth turbulent plates [-]; Dean 1978, J. Fluids Eng. 100:215, memory.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number on the hydraulic diameter, 1.2e4 to 1.2e6 (6e3 to 6e5 on the full gap). [1]
    """
    return 4.0 * 0.073 * (0.5 * np.asarray(reynolds, dtype=float)) ** -0.25


def stack_pressure(height: float, temperature_inside: float, temperature_outside: float, pressure: float) -> float:
    """Return the stack pressure of dry air over a height, positive when it drives air upwards [Pa].

    Parameters
    ----------
    height : float
        Difference of height of the two openings. [m]
    temperature_inside, temperature_outside : float
        Air in the cavity and outdoors. [K]
    pressure : float
        Atmospheric pressure. [Pa]
    """
    check_range("stack_pressure, temperature_inside", temperature_inside, "K", COLDEST, HOTTEST)
    check_range("stack_pressure, temperature_outside", temperature_outside, "K", COLDEST, HOTTEST)
    check_range("stack_pressure, pressure", pressure, "Pa", THINNEST, DENSEST)
    return pressure / R_AIR * (1.0 / temperature_outside - 1.0 / temperature_inside) * GRAVITY * height
