"""One line through cladding, cavity and backup wall: residual and exact-by-hand Jacobian of heat and water.

Unknowns at each node: temperature T [K] and moisture potential u = -ln(p_suc / SUCTION_SCALE) [-], so that the relative
humidity is exp(-exp(-u) 293.15/T) (Kelvin). Every face and interface is a node without thickness that may hold a film;
a membrane is the link between two such nodes. Order: outer face, cladding cells, back of cladding, outer face of wall,
backup cells, room face; the cavity air is eliminated into the link between the two middle faces, so the system stays
block-tridiagonal. Liquid flow uses the flux potential theta(u) = integral of K dp_suc of the cell's material: exact for
steady flow inside a material, with continuous suction where materials touch.

Key: W water stored [kg/m2], E enthalpy stored [J/m2] (dry matter and water at 0 degC are zero), d cell thickness [m],
p vapour pressure [Pa], g water flux [kg/(m2 s)], q heat flux [W/m2], positive inwards; dt step [s].
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from cavity._jit import jit
from cavity.constants import (
    DRY_AIR_HEAT,
    EVAPORATION_HEAT,
    FUSION_HEAT,
    ICE_HEAT,
    ICE_POINT,
    LEWIS_VAPOUR,
    R_VAPOUR,
    STEFAN_BOLTZMANN,
    SUCTION_SCALE,
    VAPOUR_HEAT,
    WATER_DENSITY,
    WATER_HEAT,
    WATER_TO_AIR,
)
from cavity.kernels import balance, block, film, moist_air

# the potential grid of all material tables; each interval holds the four coefficients of a cubic
U_LOW, U_STEP, U_COUNT = -2.5, 0.05, 411  # up to u = 18
COLDEST, HOTTEST = 180.0, 420.0  # K, a search that leaves this range has lost its way
FLOOR = 1e-6  # kg/m3 per unit of u, water capacity of materials that hold none
ICE_BLEND = 0.15  # in u, width over which pore water turns to ice: numerically smooth, 0.3 K at -2 degC
OVERFLOW = 14.0  # potential above which a cell takes water beyond its retention curve, to be drained
ROW = EVAPORATION_HEAT  # scale of the water rows, so that both rows are in W/m2
WATER, MU, THETA, TABLE_COLUMNS = 0, 4, 8, 12  # first coefficient of each function; that coefficient is its value
_PER_STEP = 1.0 / U_STEP
_PER_ZERO = 1.0 / 273.15
_DELTA_ZERO = 2.26e-5 * 101325.0 / (R_VAPOUR * 273.15)
DRY_LINK, WET_LINK, CAVITY = 0, 1, 2  # kinds of link: vapour only, vapour and liquid, the cavity


class Grid(NamedTuple):
    """A line cut into nodes; shared by all segments. n nodes, n - 1 links."""

    thickness: np.ndarray  # (n,) m; 0: a face
    left: np.ndarray  # (n,) row of the tables on the outer side of the node
    right: np.ndarray  # (n,) row of the tables on the inner side; cells have one row for both
    heat: np.ndarray  # (n,) J/(m2 K), dry
    conductivity: np.ndarray  # (n,) W/(m K), dry, rails included
    moisture_conductivity: np.ndarray  # (n,) W/(m K) per kg/m3
    film: np.ndarray  # (n,) 1: a face that can hold a film
    capacity: np.ndarray  # (n,) kg/m2, all pores full; faces: what they hold before water runs off
    link: np.ndarray  # (n-1,) DRY_LINK | WET_LINK | CAVITY
    per_distance: np.ndarray  # (n-1,) 1/m, between the centres of the two nodes where liquid passes, else 0
    membrane_R: np.ndarray  # (n-1,) m2 K/W, thermal resistance of the link's membrane
    membrane_sd: np.ndarray  # (n-1,) m, constant s_d of the link's membrane
    membrane_table: np.ndarray  # (n-1,) row of sd_tables, or -1
    sd_tables: np.ndarray  # (k, U_COUNT) m over the potential grid
    tables: np.ndarray  # (materials, U_COUNT, TABLE_COLUMNS)
    cladding_back: int  # node of the back of the cladding, -1: no cavity
    freezing: int  # 1: water in pores freezes by its suction


class Edge(NamedTuple):
    """What acts on one line during one step."""

    T_out: float  # K
    p_out: float  # Pa
    h_out: float  # W/(m2 K), convection
    beta_out: float  # s/m
    gain: float  # W/m2, absorbed sun and longwave
    emissivity: float  # outer face
    rain: float  # kg/(m2 s)
    T_in: float  # K, room
    p_in: float  # Pa, room
    h_in: float  # W/(m2 K), convection and radiation
    beta_in: float  # s/m
    T_air: float  # K, air entering the segment
    p_air: float  # Pa
    C_heat: float  # W/(m2 K), capacity flow of the air per wall area
    C_vapour: float  # kg/(m2 s Pa)
    h_cladding: float  # W/(m2 K), cavity side
    h_wall: float
    emissivity_cavity: float  # exchange emissivity of the two faces
    leak: float  # kg/(m2 s), room air reaching leak_node
    leak_node: int
    seep: float  # kg/(m2 s), rain that passes the cladding
    seep_node: int
    pressure: float  # Pa
    dt: float  # s


class Work(NamedTuple):
    """Scratch arrays of one line, from `work_arrays`."""

    node: np.ndarray  # (n, NODE_COLUMNS) state functions of every node, see below
    inside: np.ndarray  # (n, 14) what the links give to each row: blocks below, own, above; inflow of energy and water
    system: np.ndarray  # (n, 14) the linear system: blocks below, own and above, right-hand side
    net: np.ndarray  # (n, 2) W/m2 and kg/(m2 s) into the node, surroundings included


# columns of Work.node
VAPOUR, VAPOUR_T, VAPOUR_U = 0, 1, 2  # vapour pressure and its slopes in T and u
HELD, HELD_U = 3, 4  # W by the storage curve
HEAT, HEAT_T, HEAT_U = 5, 6, 7  # E
RESISTANCE, RESISTANCE_U = 8, 17  # thermal, of half a cell [m2 K/W]
AIR_LAYER, AIR_LAYER_U = 9, 10  # diffusion resistance d mu / 2 of half a cell, as air layer [m]
LIQUID, LIQUID_T, LIQUID_U = 11, 12, 13  # flux potential seen from the outer side [kg/(m s)]
INNER, INNER_T, INNER_U = 14, 15, 16  # the same seen from the inner side; differs where two materials touch
NODE_COLUMNS = 18
# columns of Work.inside and Work.system: 2 x 2 blocks (heat row, water row; T, u) and two ends
BELOW, OWN, ABOVE, RIGHT = 0, 4, 8, 12
SYSTEM_COLUMNS = 14


def work_arrays(nodes: int, *lines: int) -> Work:
    """Return the scratch arrays of a line with this number of nodes, or of several lines as leading dimension."""
    columns = (NODE_COLUMNS, SYSTEM_COLUMNS, SYSTEM_COLUMNS, 2)
    return Work(*(np.zeros((*lines, nodes, count)) for count in columns))


# positions in the flux record of a line
OUT_VAPOUR, OUT_RAIN, BACK_VAPOUR, FACE_VAPOUR, ROOM_VAPOUR, LEAK_WATER, SEEP_WATER = 0, 1, 2, 3, 4, 5, 6
OUT_HEAT, BACK_HEAT, FACE_HEAT, ROOM_HEAT, LEAK_HEAT = 7, 8, 9, 10, 11
AIR_T, AIR_P, OUTLET_T, OUTLET_P, ENERGY_IN = 12, 13, 14, 15, 16
FLUX_COUNT = 17


@jit
def table_value(tables, m, u, column):
    """Return (value, slope) of one function of one material at u; flat outside the grid."""
    x = (u - U_LOW) * _PER_STEP
    if x <= 0.0:
        return tables[m, 0, column], 0.0
    if x >= U_COUNT - 1:
        return tables[m, U_COUNT - 1, column], 0.0
    k = int(x)
    return cubic(tables, m, k, x - k, column)


@jit
def cubic(tables, m, k, s, column):
    """Return (value, slope in u) of one function of one material at share s of interval k."""
    c1, c2, c3 = tables[m, k, column + 1], tables[m, k, column + 2], tables[m, k, column + 3]
    return tables[m, k, column] + s * (c1 + s * (c2 + s * c3)), (c1 + s * (2.0 * c2 + 3.0 * s * c3)) * _PER_STEP


@jit
def humidity(u, T):
    """Return (relative humidity, -ln of it) at potential u and temperature T [K]."""
    a = math.exp(-u) * 293.15 / T
    return math.exp(-a), a


@jit
def potential_of_humidity(phi, T):
    """Return the potential u of relative humidity phi at T [K]."""
    a = -math.log(min(max(phi, 1e-6), 1.0 - 1e-8))
    return -math.log(a * T / 293.15)


@jit
def air_permeability(T, P):
    """Return the vapour permeability of still air [kg/(m s Pa)].

    Schirmer (from memory): D = 2.26e-5 (T/273.15)^1.81 P0/P.

    The power 0.81 that is left is its binomial series: within 1e-5 from -50 to 80 degC.
    """
    return _DELTA_ZERO / P * _warmer_air(T)[0]


@jit
def _warmer_air(T):
    """Return (permeability of air at T [K] relative to that at 0 degC, its slope [1/K])."""
    x = T * _PER_ZERO - 1.0
    value = 1.0 + x * (0.81 + x * (-0.07695 + x * (0.030523 - x * 0.016711)))
    return value, (0.81 + x * (-0.1539 + x * (0.091569 - x * 0.066844))) * _PER_ZERO


@jit
def membrane_sd(grid, i, u_mean):
    """Return (s_d value of the membrane on link i [m], its slope) at the mean potential of its two sides; 0 without."""
    row = grid.membrane_table[i]
    if row < 0:
        return grid.membrane_sd[i], 0.0
    x = (u_mean - U_LOW) * _PER_STEP
    if x <= 0.0:
        return grid.sd_tables[row, 0], 0.0
    if x >= U_COUNT - 1:
        return grid.sd_tables[row, U_COUNT - 1], 0.0
    k = int(x)
    rise = grid.sd_tables[row, k + 1] - grid.sd_tables[row, k]
    return grid.sd_tables[row, k] + rise * (x - k), rise * _PER_STEP


@jit
def _iced(tables, m, theta, theta_u, u_liquid, by_u, by_T, share, share_T):
    """Return (flux potential, slope in u, slope in T) where ice holds part of the pores."""
    low, low_u = table_value(tables, m, u_liquid, THETA)
    return (
        theta + share * (low - theta),
        theta_u + share * (low_u * by_u - theta_u),
        share_T * (low - theta) + share * low_u * by_T,
    )


@jit
def evaluate(grid, T, u, w):
    """Fill w.node with the state functions of every node."""
    node = w.node
    freezing_pressure = WATER_DENSITY * FUSION_HEAT / SUCTION_SCALE
    for i in range(T.size):
        Ti, ui, d, m = T[i], u[i], grid.thickness[i], grid.left[i]
        x = Ti - ICE_POINT
        per_T = 1.0 / Ti
        a = math.exp(-ui) * 293.15 * per_T  # -ln(relative humidity), Kelvin
        ln_ps, ln_slope = moist_air.log_saturation(Ti)
        p = math.exp(ln_ps - a)
        node[i, VAPOUR] = p
        node[i, VAPOUR_T] = p * (ln_slope + a * per_T)
        node[i, VAPOUR_U] = p * a
        # water held with less suction than ice exerts at this temperature is frozen (Clausius-Clapeyron)
        u_liquid, by_u, by_T = ui, 1.0, 0.0
        frozen = False
        share = share_T = 0.0
        if grid.freezing and x < -1e-6:
            log_ratio = math.log(ICE_POINT * per_T)
            z = (ui + math.log(freezing_pressure * log_ratio)) / ICE_BLEND
            if z > -30.0:
                # smooth lesser of u and the potential of ice; the ice it leaves forms over half a kelvin, as in films:
                # Newton would cycle at a kink, and has no slope at a jump
                frozen = True
                part = 1.0 / (1.0 + math.exp(-z))
                u_liquid = ui - ICE_BLEND * (z if z > 30.0 else math.log1p(math.exp(z)))
                by_u = 1.0 - part
                by_T = part / (Ti * log_ratio)
                share = film.frozen_share(Ti)
                share_T = -1.0 / film.FREEZING_RANGE if share < 1.0 else 0.0
        if d == 0.0:
            W = W_u = h = h_T = 0.0
            if grid.film[i]:
                W, W_u = film.mass(ui)
                h, h_T = film.enthalpy(Ti)
            node[i, HELD] = W
            node[i, HELD_U] = W_u
            node[i, HEAT] = W * h
            node[i, HEAT_T] = W * h_T
            node[i, HEAT_U] = W_u * h
            node[i, AIR_LAYER] = 0.0
            node[i, AIR_LAYER_U] = 0.0
            node[i, RESISTANCE] = 0.0
            node[i, RESISTANCE_U] = 0.0
            theta, theta_u = table_value(grid.tables, m, ui, THETA)
            theta_T = 0.0
            if frozen:
                theta, theta_u, theta_T = _iced(grid.tables, m, theta, theta_u, u_liquid, by_u, by_T, share, share_T)
            inner, inner_u, inner_T = theta, theta_u, theta_T
            if grid.right[i] != m:
                inner, inner_u = table_value(grid.tables, grid.right[i], ui, THETA)
                inner_T = 0.0
                if frozen:
                    inner, inner_u, inner_T = _iced(
                        grid.tables, grid.right[i], inner, inner_u, u_liquid, by_u, by_T, share, share_T
                    )
            node[i, LIQUID], node[i, LIQUID_T], node[i, LIQUID_U] = theta, theta_T, theta_u
            node[i, INNER], node[i, INNER_T], node[i, INNER_U] = inner, inner_T, inner_u
            continue
        place = (ui - U_LOW) * _PER_STEP
        if 0.0 < place < U_COUNT - 1:
            k = int(place)
            place -= k
            W, W_u = cubic(grid.tables, m, k, place, WATER)
            theta, theta_u = cubic(grid.tables, m, k, place, THETA)
            mu, mu_u = cubic(grid.tables, m, k, place, MU)
        else:
            W, W_u = table_value(grid.tables, m, ui, WATER)
            theta, theta_u = table_value(grid.tables, m, ui, THETA)
            mu, mu_u = table_value(grid.tables, m, ui, MU)
        W_u += FLOOR  # metals and foils hold no water, yet their row must not be empty
        W += FLOOR * (ui - U_LOW)
        if ui > OVERFLOW:
            W += (ui - OVERFLOW) ** 2
            W_u += 2.0 * (ui - OVERFLOW)
        E_T = grid.heat[i] + d * W * WATER_HEAT
        E = E_T * x
        E_u = d * W_u * WATER_HEAT * x
        theta_T = 0.0
        if frozen:
            liquid, liquid_u = table_value(grid.tables, m, u_liquid, WATER)
            free = max(W - liquid - FLOOR * (u_liquid - U_LOW), 0.0)
            liquid_u += FLOOR
            h_ice = (ICE_HEAT - WATER_HEAT) * x - FUSION_HEAT
            E += d * share * free * h_ice
            E_T += d * ((share_T * free - share * liquid_u * by_T) * h_ice + share * free * (ICE_HEAT - WATER_HEAT))
            E_u += d * share * (W_u - liquid_u * by_u) * h_ice
            theta, theta_u, theta_T = _iced(grid.tables, m, theta, theta_u, u_liquid, by_u, by_T, share, share_T)
        node[i, HELD] = W * d
        node[i, HELD_U] = W_u * d
        node[i, HEAT] = E
        node[i, HEAT_T] = E_T
        node[i, HEAT_U] = E_u
        per_conductivity = 1.0 / (grid.conductivity[i] + grid.moisture_conductivity[i] * W)
        node[i, RESISTANCE] = 0.5 * d * per_conductivity
        node[i, RESISTANCE_U] = -node[i, RESISTANCE] * per_conductivity * grid.moisture_conductivity[i] * W_u
        node[i, AIR_LAYER] = 0.5 * d * mu
        node[i, AIR_LAYER_U] = 0.5 * d * mu_u
        node[i, LIQUID] = node[i, INNER] = theta
        node[i, LIQUID_T] = node[i, INNER_T] = theta_T
        node[i, LIQUID_U] = node[i, INNER_U] = theta_u


@jit
def look_inside(grid, T, u, P, w):
    """Fill w.node and w.inside: all that depends on the state of the line and the pressure P [Pa] alone."""
    evaluate(grid, T, u, w)
    n = T.size
    node, inside = w.node, w.inside
    delta_zero = _DELTA_ZERO / P
    # what the links have given so far to the row in hand
    own0 = own1 = own2 = own3 = energy = water = 0.0
    inside[0, BELOW] = inside[0, BELOW + 1] = inside[0, BELOW + 2] = inside[0, BELOW + 3] = 0.0
    for i in range(n - 1):
        j = i + 1
        kind = grid.link[i]
        e = e_Ti = e_Tj = e_ui = e_uj = g = g_Ti = g_Tj = g_ui = g_uj = 0.0
        if kind != CAVITY:
            conductance = 1.0 / (node[i, RESISTANCE] + node[j, RESISTANCE] + grid.membrane_R[i])
            Ti, Tj = T[i], T[j]
            warmer, slope = _warmer_air(0.5 * (Ti + Tj))
            delta = delta_zero * warmer
            sd, sd_u = membrane_sd(grid, i, 0.5 * (u[i] + u[j]))
            per_sd = 1.0 / (node[i, AIR_LAYER] + node[j, AIR_LAYER] + sd)
            G = delta * per_sd
            g = G * (node[i, VAPOUR] - node[j, VAPOUR])
            lean = 0.5 * slope / warmer * g
            g_Ti = G * node[i, VAPOUR_T] + lean
            g_Tj = -G * node[j, VAPOUR_T] + lean
            g_ui = G * node[i, VAPOUR_U] - g * per_sd * (node[i, AIR_LAYER_U] + 0.5 * sd_u)
            g_uj = -G * node[j, VAPOUR_U] - g * per_sd * (node[j, AIR_LAYER_U] + 0.5 * sd_u)
            h = moist_air.vapour_enthalpy(Ti if g > 0.0 else Tj)
            q = conductance * (Ti - Tj)
            e = q + g * h
            e_Ti = conductance + g_Ti * h + max(g, 0.0) * VAPOUR_HEAT
            e_Tj = -conductance + g_Tj * h + min(g, 0.0) * VAPOUR_HEAT
            e_ui = g_ui * h - q * conductance * node[i, RESISTANCE_U]
            e_uj = g_uj * h - q * conductance * node[j, RESISTANCE_U]
            if kind == WET_LINK:
                per_D = grid.per_distance[i]
                gl = (node[i, INNER] - node[j, LIQUID]) * per_D
                l_ui = node[i, INNER_U] * per_D
                l_uj = -node[j, LIQUID_U] * per_D
                hl = WATER_HEAT * ((Ti if gl > 0.0 else Tj) - ICE_POINT)
                l_Ti = node[i, INNER_T] * per_D
                l_Tj = -node[j, LIQUID_T] * per_D
                g += gl
                g_Ti += l_Ti
                g_Tj += l_Tj
                e_Ti += l_Ti * hl + max(gl, 0.0) * WATER_HEAT
                e_Tj += l_Tj * hl + min(gl, 0.0) * WATER_HEAT
                g_ui += l_ui
                g_uj += l_uj
                e += gl * hl
                e_ui += l_ui * hl
                e_uj += l_uj * hl
            g_Ti *= ROW
            g_Tj *= ROW
            g_ui *= ROW
            g_uj *= ROW
        inside[i, OWN] = own0 + e_Ti
        inside[i, OWN + 1] = own1 + e_ui
        inside[i, OWN + 2] = own2 + g_Ti
        inside[i, OWN + 3] = own3 + g_ui
        inside[i, ABOVE] = e_Tj
        inside[i, ABOVE + 1] = e_uj
        inside[i, ABOVE + 2] = g_Tj
        inside[i, ABOVE + 3] = g_uj
        inside[i, RIGHT] = energy - e
        inside[i, RIGHT + 1] = water - g
        inside[j, BELOW] = -e_Ti
        inside[j, BELOW + 1] = -e_ui
        inside[j, BELOW + 2] = -g_Ti
        inside[j, BELOW + 3] = -g_ui
        own0, own1, own2, own3, energy, water = -e_Tj, -e_uj, -g_Tj, -g_uj, e, g
    i = n - 1
    inside[i, OWN], inside[i, OWN + 1], inside[i, OWN + 2], inside[i, OWN + 3] = own0, own1, own2, own3
    inside[i, ABOVE] = inside[i, ABOVE + 1] = inside[i, ABOVE + 2] = inside[i, ABOVE + 3] = 0.0
    inside[i, RIGHT], inside[i, RIGHT + 1] = energy, water


@jit
def assemble(grid, edge, T, u, W_old, E_old, w, flux):
    """Fill residual and Jacobian of one line for one implicit step; return (worst heat row, worst water row) [W/m2].

    W_old, E_old are the stores after the last step by the books (fluxes added up), so that a residual left by the last
    step is carried into this one and no balance error can build up.
    """
    look_inside(grid, T, u, edge.pressure, w)
    return surround(grid, edge, T, W_old, E_old, w, flux)


@jit
def surround(grid, edge, T, W_old, E_old, w, flux):
    """Join what `look_inside` found with stores and surroundings; fills and returns what `assemble` does."""
    n = T.size
    node, inside, system, net = w.node, w.inside, w.system, w.net
    per_dt = 1.0 / edge.dt
    for i in range(n):
        for k in range(RIGHT):
            system[i, k] = inside[i, k]
        system[i, OWN] += node[i, HEAT_T] * per_dt
        system[i, OWN + 1] += node[i, HEAT_U] * per_dt
        system[i, OWN + 3] += node[i, HELD_U] * per_dt * ROW
        net[i, 0] = inside[i, RIGHT]
        net[i, 1] = inside[i, RIGHT + 1]
    P = edge.pressure

    # outdoors
    face, row = node[0], system[0]
    beta = edge.beta_out
    g = beta * (edge.p_out - face[VAPOUR])
    h = moist_air.vapour_enthalpy(edge.T_out if g > 0.0 else T[0])
    radiated = edge.emissivity * STEFAN_BOLTZMANN * T[0] ** 4
    h_rain = WATER_HEAT * max(edge.T_out - ICE_POINT, 0.0)
    q = edge.h_out * (edge.T_out - T[0]) + edge.gain - radiated + g * h + edge.rain * h_rain
    net[0, 0] += q
    net[0, 1] += g + edge.rain
    row[OWN] += edge.h_out + 4.0 * radiated / T[0]
    _add_vapour(row, OWN, beta, face, h)
    flux[OUT_VAPOUR] = g
    flux[OUT_RAIN] = edge.rain
    flux[OUT_HEAT] = q
    energy = q

    # the room
    k = n - 1
    face, row = node[k], system[k]
    g = edge.beta_in * (edge.p_in - face[VAPOUR])
    h = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T[k])
    q = edge.h_in * (edge.T_in - T[k])
    net[k, 0] += q + g * h
    net[k, 1] += g
    row[OWN] += edge.h_in
    _add_vapour(row, OWN, edge.beta_in, face, h)
    flux[ROOM_VAPOUR] = g
    flux[ROOM_HEAT] = q
    energy += q + g * h

    # room air that leaks to a plane, and rain that passes the cladding
    flux[LEAK_WATER] = flux[LEAK_HEAT] = 0.0
    if edge.leak > 0.0:
        k = edge.leak_node
        face, row = node[k], system[k]
        G = edge.leak * WATER_TO_AIR / P
        g = G * (edge.p_in - face[VAPOUR])
        h = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T[k])
        q = edge.leak * DRY_AIR_HEAT * (edge.T_in - T[k])
        net[k, 0] += q + g * h
        net[k, 1] += g
        row[OWN] += edge.leak * DRY_AIR_HEAT
        _add_vapour(row, OWN, G, face, h)
        flux[LEAK_WATER] = g
        flux[LEAK_HEAT] = q
        energy += q + g * h
    flux[SEEP_WATER] = edge.seep
    if edge.seep > 0.0:
        net[edge.seep_node, 1] += edge.seep
        net[edge.seep_node, 0] += edge.seep * h_rain
        energy += edge.seep * h_rain

    # the cavity between the two middle faces
    i = grid.cladding_back
    if i >= 0:
        j = i + 1
        back, front = node[i], node[j]
        h1, h2 = edge.h_cladding, edge.h_wall
        mean, outlet = balance.exchange(h1, h2, T[i], T[j], edge.T_air, edge.C_heat)
        # share of the equilibrium state in the mean state, for the Jacobian
        own = 1.0 - (balance.mean_share((h1 + h2) / edge.C_heat) if edge.C_heat > 0.0 else 0.0)
        m1, m2 = own * h1 / (h1 + h2), own * h2 / (h1 + h2)
        eps = edge.emissivity_cavity * STEFAN_BOLTZMANN
        radiation = eps * (T[i] ** 4 - T[j] ** 4)
        q1 = h1 * (T[i] - mean)
        q2 = h2 * (T[j] - mean)
        b1, b2 = LEWIS_VAPOUR * h1, LEWIS_VAPOUR * h2
        p_mean, p_outlet = balance.exchange(b1, b2, back[VAPOUR], front[VAPOUR], edge.p_air, edge.C_vapour)
        own = 1.0 - (balance.mean_share((b1 + b2) / edge.C_vapour) if edge.C_vapour > 0.0 else 0.0)
        v1, v2 = own * b1 / (b1 + b2), own * b2 / (b1 + b2)
        g1 = b1 * (back[VAPOUR] - p_mean)
        g2 = b2 * (front[VAPOUR] - p_mean)
        H1 = moist_air.vapour_enthalpy(T[i] if g1 > 0.0 else mean)
        H2 = moist_air.vapour_enthalpy(T[j] if g2 > 0.0 else mean)
        net[i, 0] -= q1 + radiation + g1 * H1
        net[j, 0] -= q2 - radiation + g2 * H2
        net[i, 1] -= g1
        net[j, 1] -= g2
        ri, rj = 4.0 * eps * T[i] ** 3, 4.0 * eps * T[j] ** 3
        row = system[i]
        row[OWN] += h1 * (1.0 - m1) + ri
        _add_vapour(row, OWN, b1 * (1.0 - v1), back, H1)
        row[ABOVE] += -h1 * m2 - rj
        _add_vapour(row, ABOVE, -b1 * v2, front, H1)
        row = system[j]
        row[OWN] += h2 * (1.0 - m2) + rj
        _add_vapour(row, OWN, b2 * (1.0 - v2), front, H2)
        row[BELOW] += -h2 * m1 - ri
        _add_vapour(row, BELOW, -b2 * v1, back, H2)
        flux[BACK_VAPOUR] = g1
        flux[FACE_VAPOUR] = g2
        flux[BACK_HEAT] = q1
        flux[FACE_HEAT] = q2
        flux[AIR_T] = mean
        flux[AIR_P] = p_mean
        flux[OUTLET_T] = outlet
        flux[OUTLET_P] = p_outlet
        energy -= q1 + q2 + g1 * H1 + g2 * H2
    flux[ENERGY_IN] = energy

    worst_E = worst_W = 0.0
    for i in range(n):
        r = (node[i, HEAT] - E_old[i]) * per_dt - net[i, 0]
        s = ((node[i, HELD] - W_old[i]) * per_dt - net[i, 1]) * ROW
        system[i, RIGHT] = -r
        system[i, RIGHT + 1] = -s
        # written so that a value that is not a number becomes the worst and stays it
        if not abs(r) <= worst_E:
            worst_E = abs(r)
        if not abs(s) <= worst_W:
            worst_W = abs(s)
    return worst_E, worst_W


@jit
def _add_vapour(row, block, conductance, face, h):
    """Add the slopes of a vapour flow [kg/(s m2 Pa) times pressure] that carries h [J/kg] to one block of a row."""
    by_T, by_u = conductance * face[VAPOUR_T], conductance * face[VAPOUR_U]
    row[block] += by_T * h
    row[block + 1] += by_u * h
    row[block + 2] += by_T * ROW
    row[block + 3] += by_u * ROW


@jit
def trust_at(iteration):
    """Return the share of the full region of trust after this many updates: whole for ten, then shrinking."""
    return 1.0 if iteration < 10 else 0.85 ** (iteration - 9)


@jit
def update(T, u, w, trust):
    """Apply one Newton update within a region of trust; return 0, or 1 when the system is singular or not finite.

    trust 1 allows 30 K and 1.5 in u at each node; a smaller share ends the cycles between two sides of a phase change.
    """
    if block.solve(w.system):
        return 1
    for i in range(T.size):
        dT, du = w.system[i, RIGHT], w.system[i, RIGHT + 1]
        if not (math.isfinite(dT) and math.isfinite(du)):
            return 1
        T[i] = min(HOTTEST, max(COLDEST, T[i] + min(30.0 * trust, max(-30.0 * trust, dT))))
        u[i] += min(1.5 * trust, max(-1.5 * trust, du))
        u[i] = min(40.0, max(U_LOW + 0.01, u[i]))
    return 0


@jit
def commit(grid, dt, T, u, W, E, net, runoff):
    """Add the fluxes of an accepted step to the stores; water above a node's capacity drains, into runoff (n,) [kg/m2].

    Returns the enthalpy carried away by the drained water [J/m2].
    """
    drained_heat = 0.0
    for i in range(T.size):
        W[i] += dt * net[i, 1]
        E[i] += dt * net[i, 0]
        excess = W[i] - grid.capacity[i]
        if excess > 0.0 and u[i] > film.START:
            # what leaves is liquid at the temperature of what stays; frost does not run
            if grid.thickness[i] == 0.0 and film.frozen_share(T[i]) >= 1.0:
                continue
            h = WATER_HEAT * (T[i] - ICE_POINT)
            W[i] -= excess
            E[i] -= excess * h
            runoff[i] += excess
            drained_heat += excess * h
            if grid.film[i]:
                u[i] = film.potential(W[i])
    return drained_heat


@jit
def step(grid, edge, T, u, W, E, w, flux, runoff, tolerance, most):
    """Take one implicit step of a line whose surroundings are given; return (status, iterations, worst residual).

    For walls without a cavity and for published cases; the hourly loop couples several lines with the air instead.
    Status 0: done and committed; 1: no convergence, T and u are spoilt, stores untouched.
    """
    worst = 0.0
    for iteration in range(most):
        a, b = assemble(grid, edge, T, u, W, E, w, flux)
        worst = max(a, b)
        if worst <= tolerance:
            flux[ENERGY_IN] -= commit(grid, edge.dt, T, u, W, E, w.net, runoff) / edge.dt
            return 0, iteration, worst
        if update(T, u, w, trust_at(iteration)):
            return 1, iteration, worst
    return 1, most, worst
