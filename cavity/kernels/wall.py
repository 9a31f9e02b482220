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
    WATER_DENSITY,
    WATER_HEAT,
    WATER_TO_AIR,
)
from cavity.kernels import balance, block, film, moist_air

# the potential grid of all material tables; tables hold value and slope, cubic in between
U_LOW, U_STEP, U_COUNT = -2.5, 0.05, 411  # up to u = 18
COLDEST, HOTTEST = 180.0, 420.0  # K, a search that leaves this range has lost its way
FLOOR = 1e-6  # kg/m3 per unit of u, water capacity of materials that hold none
ICE_BLEND = 0.15  # in u, width over which pore water turns to ice: numerically smooth, 0.3 K at -2 degC
OVERFLOW = 14.0  # potential above which a cell takes water beyond its retention curve, to be drained
ROW = EVAPORATION_HEAT  # scale of the water rows, so that both rows are in W/m2
WATER, WATER_SLOPE, MU, MU_SLOPE, THETA, THETA_SLOPE = 0, 1, 2, 3, 4, 5
_PER_STEP = 1.0 / U_STEP
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
    membrane_R: np.ndarray  # (n-1,) m2 K/W, thermal resistance of the link's membrane
    membrane_sd: np.ndarray  # (n-1,) m, constant s_d of the link's membrane
    membrane_table: np.ndarray  # (n-1,) row of sd_tables, or -1
    sd_tables: np.ndarray  # (k, U_COUNT) m over the potential grid
    tables: np.ndarray  # (materials, U_COUNT, 6)
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
    """Scratch arrays of one thread."""

    p: np.ndarray  # (n,) vapour pressure
    p_T: np.ndarray  # (n,) its slope in T
    p_u: np.ndarray  # (n,) its slope in u
    W: np.ndarray  # (n,) water by the storage curve
    W_u: np.ndarray  # (n,)
    E: np.ndarray  # (n,)
    E_T: np.ndarray  # (n,)
    E_u: np.ndarray  # (n,)
    R: np.ndarray  # (n,) thermal resistance of half a cell [m2 K/W]
    mu: np.ndarray  # (n,) diffusion resistance d mu / 2 of half a cell, as air layer [m]
    mu_u: np.ndarray  # (n,)
    theta: np.ndarray  # (n,) liquid flux potential seen from the outer side [kg/(m s)]
    theta_u: np.ndarray  # (n,)
    inner: np.ndarray  # (n,) the same seen from the inner side; differs where two materials touch
    inner_u: np.ndarray  # (n,)
    theta_T: np.ndarray  # (n,) slopes in temperature, where ice limits the liquid
    inner_T: np.ndarray  # (n,)
    net_E: np.ndarray  # (n,) W/m2 into the node
    net_W: np.ndarray  # (n,) kg/(m2 s) into the node
    lower: np.ndarray  # (n, 4)
    diagonal: np.ndarray  # (n, 4)
    upper: np.ndarray  # (n, 4)
    rhs: np.ndarray  # (n, 2)


# positions in the flux record of a line
OUT_VAPOUR, OUT_RAIN, BACK_VAPOUR, FACE_VAPOUR, ROOM_VAPOUR, LEAK_WATER, SEEP_WATER = 0, 1, 2, 3, 4, 5, 6
OUT_HEAT, BACK_HEAT, FACE_HEAT, ROOM_HEAT, LEAK_HEAT = 7, 8, 9, 10, 11
AIR_T, AIR_P, OUTLET_T, OUTLET_P, ENERGY_IN = 12, 13, 14, 15, 16
FLUX_COUNT = 17


@jit
def table_value(tables, m, u, column):
    """Return (value, slope) of one column of one table row by cubic Hermite interpolation; flat outside the grid."""
    x = (u - U_LOW) * _PER_STEP
    if x <= 0.0:
        return tables[m, 0, column], 0.0
    if x >= U_COUNT - 1:
        return tables[m, U_COUNT - 1, column], 0.0
    k = int(x)
    return cubic(tables, m, k, x - k, column)


@jit
def cubic(tables, m, k, s, column):
    """Return (value, slope) of one column in interval k of the grid at its share s."""
    a = tables[m, k, column]
    b = tables[m, k + 1, column]
    da = tables[m, k, column + 1] * U_STEP
    db = tables[m, k + 1, column + 1] * U_STEP
    c2 = 3.0 * (b - a) - 2.0 * da - db
    c3 = 2.0 * (a - b) + da + db
    return a + s * (da + s * (c2 + s * c3)), (da + s * (2.0 * c2 + 3.0 * s * c3)) * _PER_STEP


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
    x = T / 273.15 - 1.0
    return _DELTA_ZERO / P * (1.0 + x * (0.81 + x * (-0.07695 + x * (0.030523 - x * 0.016711))))


@jit
def membrane_sd(grid, i, u_mean):
    """Return the s_d value of the membrane on link i [m] at the mean potential of its two sides; 0 without one."""
    row = grid.membrane_table[i]
    if row < 0:
        return grid.membrane_sd[i]
    x = (u_mean - U_LOW) * _PER_STEP
    if x <= 0.0:
        return grid.sd_tables[row, 0]
    if x >= U_COUNT - 1:
        return grid.sd_tables[row, U_COUNT - 1]
    k = int(x)
    s = x - k
    return grid.sd_tables[row, k] * (1.0 - s) + grid.sd_tables[row, k + 1] * s


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
    """Fill the work arrays with the state functions of every node."""
    freezing_pressure = WATER_DENSITY * FUSION_HEAT / SUCTION_SCALE
    for i in range(T.size):
        Ti, ui, d, m = T[i], u[i], grid.thickness[i], grid.left[i]
        x = Ti - ICE_POINT
        phi, a = humidity(ui, Ti)
        ps, ps_T = moist_air.saturation(Ti)
        p = phi * ps
        w.p[i] = p
        w.p_T[i] = phi * ps_T + p * a / Ti
        w.p_u[i] = p * a
        # water held with less suction than ice exerts at this temperature is frozen (Clausius-Clapeyron)
        u_liquid, by_u, by_T = ui, 1.0, 0.0
        frozen = False
        share = share_T = 0.0
        if grid.freezing and x < -1e-6:
            log_ratio = math.log(ICE_POINT / Ti)
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
            if grid.film[i]:
                W, W_u = film.mass(ui)
                h, h_T = film.enthalpy(Ti)
            else:
                W = W_u = h = h_T = 0.0
            w.W[i] = W
            w.W_u[i] = W_u
            w.E[i] = W * h
            w.E_T[i] = W * h_T
            w.E_u[i] = W_u * h
            w.mu[i] = 0.0
            w.mu_u[i] = 0.0
            w.R[i] = 0.0
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
            w.theta[i], w.theta_u[i], w.theta_T[i] = theta, theta_u, theta_T
            w.inner[i], w.inner_u[i], w.inner_T[i] = inner, inner_u, inner_T
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
        E = grid.heat[i] * x + d * W * WATER_HEAT * x
        E_T = grid.heat[i] + d * W * WATER_HEAT
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
        w.W[i] = W * d
        w.W_u[i] = W_u * d
        w.E[i] = E
        w.E_T[i] = E_T
        w.E_u[i] = E_u
        w.mu[i] = 0.5 * d * mu
        w.mu_u[i] = 0.5 * d * mu_u
        w.R[i] = 0.5 * d / (grid.conductivity[i] + grid.moisture_conductivity[i] * W)
        w.theta[i] = w.inner[i] = theta
        w.theta_u[i] = w.inner_u[i] = theta_u
        w.theta_T[i] = w.inner_T[i] = theta_T


@jit
def assemble(grid, edge, T, u, W_old, E_old, w, flux):
    """Fill residual and Jacobian of one line for one implicit step; return (worst heat row, worst water row) [W/m2].

    W_old, E_old are the stores after the last step by the books (fluxes added up), so that a residual left by the last
    step is carried into this one and no balance error can build up.
    """
    evaluate(grid, T, u, w)
    n = T.size
    dt = edge.dt
    w.lower[:] = 0.0
    w.upper[:] = 0.0
    for i in range(n):
        w.net_E[i] = 0.0
        w.net_W[i] = 0.0
        w.diagonal[i, 0] = w.E_T[i] / dt
        w.diagonal[i, 1] = w.E_u[i] / dt
        w.diagonal[i, 2] = 0.0
        w.diagonal[i, 3] = w.W_u[i] / dt * ROW
    P = edge.pressure
    for i in range(n - 1):
        j = i + 1
        if grid.link[i] == CAVITY:
            continue
        conductance = 1.0 / (w.R[i] + w.R[j] + grid.membrane_R[i])
        Tm = 0.5 * (T[i] + T[j])
        delta = air_permeability(Tm, P)
        sd = w.mu[i] + w.mu[j] + membrane_sd(grid, i, 0.5 * (u[i] + u[j]))
        per_sd = 1.0 / sd
        G = delta * per_sd
        gv = G * (w.p[i] - w.p[j])
        g_Ti = G * w.p_T[i]
        g_Tj = -G * w.p_T[j]
        g_ui = G * w.p_u[i] - gv * per_sd * w.mu_u[i]
        g_uj = -G * w.p_u[j] - gv * per_sd * w.mu_u[j]
        h = moist_air.vapour_enthalpy(T[i] if gv > 0.0 else T[j])
        e = conductance * (T[i] - T[j]) + gv * h
        e_Ti = conductance + g_Ti * h
        e_Tj = -conductance + g_Tj * h
        e_ui = g_ui * h
        e_uj = g_uj * h
        g = gv
        if grid.link[i] == WET_LINK:
            per_D = 2.0 / (grid.thickness[i] + grid.thickness[j])
            gl = (w.inner[i] - w.theta[j]) * per_D
            l_ui = w.inner_u[i] * per_D
            l_uj = -w.theta_u[j] * per_D
            hl = WATER_HEAT * ((T[i] if gl > 0.0 else T[j]) - ICE_POINT)
            l_Ti = w.inner_T[i] * per_D
            l_Tj = -w.theta_T[j] * per_D
            g += gl
            g_Ti += l_Ti
            g_Tj += l_Tj
            e_Ti += l_Ti * hl
            e_Tj += l_Tj * hl
            g_ui += l_ui
            g_uj += l_uj
            e += gl * hl
            e_ui += l_ui * hl
            e_uj += l_uj * hl
        w.net_E[i] -= e
        w.net_E[j] += e
        w.net_W[i] -= g
        w.net_W[j] += g
        w.diagonal[i, 0] += e_Ti
        w.diagonal[i, 1] += e_ui
        w.diagonal[i, 2] += g_Ti * ROW
        w.diagonal[i, 3] += g_ui * ROW
        w.upper[i, 0] += e_Tj
        w.upper[i, 1] += e_uj
        w.upper[i, 2] += g_Tj * ROW
        w.upper[i, 3] += g_uj * ROW
        w.diagonal[j, 0] -= e_Tj
        w.diagonal[j, 1] -= e_uj
        w.diagonal[j, 2] -= g_Tj * ROW
        w.diagonal[j, 3] -= g_uj * ROW
        w.lower[j, 0] -= e_Ti
        w.lower[j, 1] -= e_ui
        w.lower[j, 2] -= g_Ti * ROW
        w.lower[j, 3] -= g_ui * ROW

    # outdoors
    beta = edge.beta_out
    g = beta * (edge.p_out - w.p[0])
    h = moist_air.vapour_enthalpy(edge.T_out if g > 0.0 else T[0])
    radiated = edge.emissivity * STEFAN_BOLTZMANN * T[0] ** 4
    h_rain = WATER_HEAT * max(edge.T_out - ICE_POINT, 0.0)
    q = edge.h_out * (edge.T_out - T[0]) + edge.gain - radiated + g * h + edge.rain * h_rain
    w.net_E[0] += q
    w.net_W[0] += g + edge.rain
    w.diagonal[0, 0] += edge.h_out + 4.0 * radiated / T[0] + beta * w.p_T[0] * h
    w.diagonal[0, 1] += beta * w.p_u[0] * h
    w.diagonal[0, 2] += beta * w.p_T[0] * ROW
    w.diagonal[0, 3] += beta * w.p_u[0] * ROW
    flux[OUT_VAPOUR] = g
    flux[OUT_RAIN] = edge.rain
    flux[OUT_HEAT] = q
    energy = q

    # the room
    k = n - 1
    g = edge.beta_in * (edge.p_in - w.p[k])
    h = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T[k])
    q = edge.h_in * (edge.T_in - T[k])
    w.net_E[k] += q + g * h
    w.net_W[k] += g
    w.diagonal[k, 0] += edge.h_in + edge.beta_in * w.p_T[k] * h
    w.diagonal[k, 1] += edge.beta_in * w.p_u[k] * h
    w.diagonal[k, 2] += edge.beta_in * w.p_T[k] * ROW
    w.diagonal[k, 3] += edge.beta_in * w.p_u[k] * ROW
    flux[ROOM_VAPOUR] = g
    flux[ROOM_HEAT] = q
    energy += q + g * h

    # room air that leaks to a plane, and rain that passes the cladding
    flux[LEAK_WATER] = flux[LEAK_HEAT] = 0.0
    if edge.leak > 0.0:
        k = edge.leak_node
        G = edge.leak * WATER_TO_AIR / P
        g = G * (edge.p_in - w.p[k])
        h = moist_air.vapour_enthalpy(edge.T_in if g > 0.0 else T[k])
        q = edge.leak * DRY_AIR_HEAT * (edge.T_in - T[k])
        w.net_E[k] += q + g * h
        w.net_W[k] += g
        w.diagonal[k, 0] += edge.leak * DRY_AIR_HEAT + G * w.p_T[k] * h
        w.diagonal[k, 1] += G * w.p_u[k] * h
        w.diagonal[k, 2] += G * w.p_T[k] * ROW
        w.diagonal[k, 3] += G * w.p_u[k] * ROW
        flux[LEAK_WATER] = g
        flux[LEAK_HEAT] = q
        energy += q + g * h
    flux[SEEP_WATER] = edge.seep
    if edge.seep > 0.0:
        w.net_W[edge.seep_node] += edge.seep
        w.net_E[edge.seep_node] += edge.seep * h_rain
        energy += edge.seep * h_rain

    # the cavity between the two middle faces
    i = grid.cladding_back
    if i >= 0:
        j = i + 1
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
        p_mean, p_outlet = balance.exchange(b1, b2, w.p[i], w.p[j], edge.p_air, edge.C_vapour)
        own = 1.0 - (balance.mean_share((b1 + b2) / edge.C_vapour) if edge.C_vapour > 0.0 else 0.0)
        v1, v2 = own * b1 / (b1 + b2), own * b2 / (b1 + b2)
        g1 = b1 * (w.p[i] - p_mean)
        g2 = b2 * (w.p[j] - p_mean)
        H1 = moist_air.vapour_enthalpy(T[i] if g1 > 0.0 else mean)
        H2 = moist_air.vapour_enthalpy(T[j] if g2 > 0.0 else mean)
        w.net_E[i] -= q1 + radiation + g1 * H1
        w.net_E[j] -= q2 - radiation + g2 * H2
        w.net_W[i] -= g1
        w.net_W[j] -= g2
        ri, rj = 4.0 * eps * T[i] ** 3, 4.0 * eps * T[j] ** 3
        gi_i, gi_j = b1 * (1.0 - v1), -b1 * v2  # slopes of g1 in p_i, p_j
        gj_i, gj_j = -b2 * v1, b2 * (1.0 - v2)
        w.diagonal[i, 0] += h1 * (1.0 - m1) + ri + gi_i * w.p_T[i] * H1
        w.diagonal[i, 1] += gi_i * w.p_u[i] * H1
        w.diagonal[i, 2] += gi_i * w.p_T[i] * ROW
        w.diagonal[i, 3] += gi_i * w.p_u[i] * ROW
        w.upper[i, 0] += -h1 * m2 - rj + gi_j * w.p_T[j] * H1
        w.upper[i, 1] += gi_j * w.p_u[j] * H1
        w.upper[i, 2] += gi_j * w.p_T[j] * ROW
        w.upper[i, 3] += gi_j * w.p_u[j] * ROW
        w.diagonal[j, 0] += h2 * (1.0 - m2) + rj + gj_j * w.p_T[j] * H2
        w.diagonal[j, 1] += gj_j * w.p_u[j] * H2
        w.diagonal[j, 2] += gj_j * w.p_T[j] * ROW
        w.diagonal[j, 3] += gj_j * w.p_u[j] * ROW
        w.lower[j, 0] += -h2 * m1 - ri + gj_i * w.p_T[i] * H2
        w.lower[j, 1] += gj_i * w.p_u[i] * H2
        w.lower[j, 2] += gj_i * w.p_T[i] * ROW
        w.lower[j, 3] += gj_i * w.p_u[i] * ROW
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
        r = (w.E[i] - E_old[i]) / dt - w.net_E[i]
        s = ((w.W[i] - W_old[i]) / dt - w.net_W[i]) * ROW
        w.rhs[i, 0] = -r
        w.rhs[i, 1] = -s
        # written so that a value that is not a number becomes the worst and stays it
        if not abs(r) <= worst_E:
            worst_E = abs(r)
        if not abs(s) <= worst_W:
            worst_W = abs(s)
    return worst_E, worst_W


@jit
def trust_at(iteration):
    """Return the share of the full region of trust after this many updates: whole for ten, then shrinking."""
    return 1.0 if iteration < 10 else 0.85 ** (iteration - 9)


@jit
def update(T, u, w, trust):
    """Apply one Newton update within a region of trust; return 0, or 1 when the system is singular or not finite.

    trust 1 allows 30 K and 1.5 in u at each node; a smaller share ends the cycles between two sides of a phase change.
    """
    if block.solve(w.lower, w.diagonal, w.upper, w.rhs):
        return 1
    for i in range(T.size):
        dT, du = w.rhs[i, 0], w.rhs[i, 1]
        if not (math.isfinite(dT) and math.isfinite(du)):
            return 1
        T[i] = min(HOTTEST, max(COLDEST, T[i] + min(30.0 * trust, max(-30.0 * trust, dT))))
        u[i] += min(1.5 * trust, max(-1.5 * trust, du))
        u[i] = min(40.0, max(U_LOW + 0.01, u[i]))
    return 0


@jit
def commit(grid, dt, T, u, W, E, net_E, net_W, runoff):
    """Add the fluxes of an accepted step to the stores; water above a node's capacity drains, into runoff (n,) [kg/m2].

    Returns the enthalpy carried away by the drained water [J/m2].
    """
    drained_heat = 0.0
    for i in range(T.size):
        W[i] += dt * net_W[i]
        E[i] += dt * net_E[i]
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
            flux[ENERGY_IN] -= commit(grid, edge.dt, T, u, W, E, w.net_E, w.net_W, runoff) / edge.dt
            return 0, iteration, worst
        if update(T, u, w, trust_at(iteration)):
            return 1, iteration, worst
    return 1, most, worst
