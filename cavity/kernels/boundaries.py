"""What acts on a line of the wall: outdoors, the room, room air that leaks in, rain behind the cladding, the cavity.

One function for each. It returns what the node gets and how that depends on the state of the node, so that residual and
Jacobian come from the same lines. Slopes of the enthalpy of vapour are left out: it hardly changes.

Key: T temperature [K], p vapour pressure [Pa], h heat [W/(m2 K)] and beta vapour [s/m] transfer coefficients.
"""

from __future__ import annotations

from typing import NamedTuple

from cavity._jit import jit
from cavity.constants import (
    DRY_AIR_HEAT,
    ICE_POINT,
    LEWIS_VAPOUR,
    STEFAN_BOLTZMANN,
    WATER_HEAT,
    WATER_TO_AIR,
)
from cavity.kernels import moist_air
from cavity.kernels.wall_section import Slopes

# positions in the flux record of a line: vapour and liquid [kg/(m2 s)], heat [W/m2], state of the cavity air
OUT_VAPOUR, OUT_RAIN, BACK_VAPOUR, FRONT_VAPOUR, ROOM_VAPOUR, LEAK_VAPOUR, RAIN_BEHIND = 0, 1, 2, 3, 4, 5, 6
OUT_HEAT, BACK_HEAT, FRONT_HEAT, ROOM_HEAT, LEAK_HEAT = 7, 8, 9, 10, 11
AIR_T, AIR_P, ENERGY_IN = 12, 13, 14
BACK_ENERGY, FRONT_ENERGY = 15, 16  # from each surface into the cavity air, heat and vapour together
FLUX_COUNT = 17


class BoundaryConditions(NamedTuple):
    """What acts on one line during one step."""

    T_out: float  # K
    p_out: float  # Pa
    h_out: float  # W/(m2 K), convection
    beta_out: float  # s/m
    absorbed_radiation: float  # W/m2, sun and longwave
    emissivity: float  # exterior surface
    rain: float  # kg/(m2 s)
    T_in: float  # K, room
    p_in: float  # Pa, room
    h_in: float  # W/(m2 K), convection and radiation
    beta_in: float  # s/m
    T_air: float  # K, air entering the segment
    p_air: float  # Pa
    inlet_weight_heat: float  # of that temperature in the mean of the segment, see cavity_air.inlet_weight
    inlet_weight_vapour: float  # the same of its vapour pressure
    h_cladding: float  # W/(m2 K), cavity side
    h_wall: float
    emissivity_cavity: float  # exchange emissivity of the two surfaces
    leak: float  # kg/(m2 s), room air reaching leak_node
    leak_node: int
    rain_in: float  # kg/(m2 s), rain that passes the cladding and reaches rain_node
    rain_node: int
    pressure: float  # Pa
    dt: float  # s


class Inflow(NamedTuple):
    """What enters a node from one side of its surroundings."""

    heat: float  # W/m2, without what water carries
    vapour: float  # kg/(m2 s)
    liquid: float  # kg/(m2 s)
    energy: float  # W/m2, with what water carries
    slopes: Slopes  # of energy, and of vapour and liquid together, in T and u of the node


class Cavity(NamedTuple):
    """Exchange of the two surfaces of the cavity with its air and with each other."""

    back: Inflow  # into the back of the cladding
    front: Inflow  # into the exterior surface of the backup wall
    back_by_front: Slopes  # of what enters the back, in the state of the front
    front_by_back: Slopes
    convection_back: float  # W/m2, from the back to the air
    convection_front: float
    radiation: float  # W/m2, from the back to the front
    T: float  # K, mean of the air
    p: float  # Pa


@jit
def _with_air(heat, heat_T, beta, p_air, T_air, liquid, liquid_enthalpy, surface):
    """Return the inflow of heat (slope heat_T), of vapour from air of p_air and T_air, and of liquid."""
    g = beta * (p_air - surface.p)
    h = moist_air.vapour_enthalpy(T_air if g > 0.0 else surface.T)
    energy = heat + g * h + liquid * liquid_enthalpy
    return Inflow(heat, g, liquid, energy, _slopes(heat_T, -beta, h, surface))


@jit
def rain_enthalpy(bc):
    """Return the enthalpy of rain [J/kg]: liquid of the outdoor temperature, never below 0 degC."""
    return WATER_HEAT * max(bc.T_out - ICE_POINT, 0.0)


@jit
def outdoors(bc, surface):
    """Return what enters the exterior surface: convection, radiation, vapour and rain (E53)."""
    emitted_T = bc.emissivity * STEFAN_BOLTZMANN * surface.T**3
    heat = bc.h_out * (bc.T_out - surface.T) + bc.absorbed_radiation - emitted_T * surface.T
    heat_T = -(bc.h_out + 4.0 * emitted_T)
    return _with_air(heat, heat_T, bc.beta_out, bc.p_out, bc.T_out, bc.rain, rain_enthalpy(bc), surface)


@jit
def sol_air_temperature(T_out, h_out, absorbed_radiation, emissivity):
    """Return the temperature [K] at which a dry exterior surface would neither gain nor lose heat (E53)."""
    per_kelvin = emissivity * STEFAN_BOLTZMANN * T_out**3
    return T_out + (absorbed_radiation - per_kelvin * T_out) / (h_out + 4.0 * per_kelvin)


@jit
def room(bc, surface):
    """Return what enters the interior surface (E54)."""
    return _with_air(bc.h_in * (bc.T_in - surface.T), -bc.h_in, bc.beta_in, bc.p_in, bc.T_in, 0.0, 0.0, surface)


@jit
def leak(bc, surface):
    """Return what room air brings that leaks to a node (E55)."""
    C = bc.leak * DRY_AIR_HEAT
    beta = bc.leak * WATER_TO_AIR / bc.pressure
    return _with_air(C * (bc.T_in - surface.T), -C, beta, bc.p_in, bc.T_in, 0.0, 0.0, surface)


@jit
def rain_behind(bc):
    """Return what rain brings that passes the cladding (E55)."""
    return Inflow(0.0, 0.0, bc.rain_in, bc.rain_in * rain_enthalpy(bc), Slopes(0.0, 0.0, 0.0, 0.0))


@jit
def cavity(bc, back, front):
    """Return the exchange in the cavity; the mean of its air is eliminated (E31, E32, E37).

    The mean is w T_in + (1 - w) T_eq, w the inlet weight, T_eq the mean of both surfaces by their coefficients; vapour
    alike, by the same coefficients.
    """
    eps = bc.emissivity_cavity * STEFAN_BOLTZMANN
    radiation = eps * (back.T**4 - front.T**4)
    radiation_back, radiation_front = 4.0 * eps * back.T**3, 4.0 * eps * front.T**3

    h1, h2 = bc.h_cladding, bc.h_wall
    part = h1 / (h1 + h2)
    from_faces = 1.0 - bc.inlet_weight_heat
    T1, T2 = from_faces * part, from_faces * (1.0 - part)  # slopes of the mean
    T = T1 * back.T + T2 * front.T + bc.inlet_weight_heat * bc.T_air
    q1, q2 = h1 * (back.T - T), h2 * (front.T - T)

    b1, b2 = LEWIS_VAPOUR * h1, LEWIS_VAPOUR * h2
    from_faces = 1.0 - bc.inlet_weight_vapour
    p1, p2 = from_faces * part, from_faces * (1.0 - part)
    p = p1 * back.p + p2 * front.p + bc.inlet_weight_vapour * bc.p_air
    if p > bc.pressure:  # pure steam is the most that air can be: more of it drives itself out of the cavity
        p, p1, p2 = bc.pressure, 0.0, 0.0
    g1, g2 = b1 * (back.p - p), b2 * (front.p - p)
    H1 = moist_air.vapour_enthalpy(back.T if g1 > 0.0 else T)
    H2 = moist_air.vapour_enthalpy(front.T if g2 > 0.0 else T)

    return Cavity(
        Inflow(
            -(q1 + radiation), -g1, 0.0, -(q1 + radiation + g1 * H1),
            _slopes(-(h1 * (1.0 - T1) + radiation_back), -b1 * (1.0 - p1), H1, back),
        ),
        Inflow(
            -(q2 - radiation), -g2, 0.0, -(q2 - radiation + g2 * H2),
            _slopes(-(h2 * (1.0 - T2) + radiation_front), -b2 * (1.0 - p2), H2, front),
        ),
        _slopes(h1 * T2 + radiation_front, b1 * p2, H1, front),
        _slopes(h2 * T1 + radiation_back, b2 * p1, H2, back),
        q1, q2, radiation, T, p,
    )  # fmt: skip


@jit
def no_cavity():
    """Return the exchange of a wall without a cavity: none."""
    slopes = Slopes(0.0, 0.0, 0.0, 0.0)
    nothing = Inflow(0.0, 0.0, 0.0, 0.0, slopes)
    return Cavity(nothing, nothing, slopes, slopes, 0.0, 0.0, 0.0, 0.0, 0.0)


@jit
def _slopes(heat_T, vapour_p, h, surface):
    """Return the slopes, in the state of a surface, of heat and of vapour that carries h [J/kg]."""
    by_T, by_u = vapour_p * surface.p_T, vapour_p * surface.p_u
    return Slopes(heat_T + by_T * h, by_u * h, by_T, by_u)


@jit
def record(flux, from_outdoors, from_room, by_leak, by_rain, in_cavity):
    """Write the flux record of a line, (FLUX_COUNT,)."""
    flux[OUT_VAPOUR] = from_outdoors.vapour
    flux[OUT_RAIN] = from_outdoors.liquid
    flux[OUT_HEAT] = from_outdoors.energy
    flux[ROOM_VAPOUR] = from_room.vapour
    flux[ROOM_HEAT] = from_room.heat
    flux[LEAK_VAPOUR] = by_leak.vapour
    flux[LEAK_HEAT] = by_leak.heat
    flux[RAIN_BEHIND] = by_rain.liquid
    flux[BACK_VAPOUR] = -in_cavity.back.vapour
    flux[FRONT_VAPOUR] = -in_cavity.front.vapour
    flux[BACK_HEAT] = in_cavity.convection_back
    flux[FRONT_HEAT] = in_cavity.convection_front
    # for the balance of the air: what the wall lost, not what the exchange with the air comes to
    flux[BACK_ENERGY] = -in_cavity.back.energy - in_cavity.radiation
    flux[FRONT_ENERGY] = -in_cavity.front.energy + in_cavity.radiation
    flux[AIR_T] = in_cavity.T
    flux[AIR_P] = in_cavity.p
    flux[ENERGY_IN] = from_outdoors.energy + from_room.energy + by_leak.energy + by_rain.energy
    flux[ENERGY_IN] += in_cavity.back.energy + in_cavity.front.energy
