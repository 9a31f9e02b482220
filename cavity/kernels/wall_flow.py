"""Heat, vapour and liquid between two neighbouring nodes of the wall.

Liquid flow uses the flux potential theta(u) = integral of K dp_suc of the cell's material: exact for steady flow inside
a material, with continuous suction where materials touch.

Key: q heat flux [W/m2], g vapour and f liquid [kg/(m2 s)], positive inwards. The first node is i, the next j; g_Ti is
the slope of g in the temperature of i.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from cavity._jit import jit
from cavity.constants import ICE_POINT, VAPOUR_HEAT, WATER_HEAT
from cavity.kernels import lanes, moist_air
from cavity.kernels.wall_section import (
    FAR,
    FLOW_E,
    FLOW_W,
    INNER,
    LANES,
    LIQUID,
    MEMBRANE_SD,
    MEMBRANE_SD_NEXT_U,
    MEMBRANE_SD_U,
    MINUS_LOG_RH,
    NEAR,
    SPAN,
    Slopes,
    link_of,
    node_of,
    put_slopes,
)


class Flow(NamedTuple):
    """Energy and water that pass a link, with their slopes in the states of both its nodes."""

    energy: float  # W/m2
    water: float  # kg/(m2 s)
    near: Slopes
    far: Slopes


@jit
def flow(i, j, link, delta_zero):
    """Return the flow from node i to node j over their link (E45 to E47); delta_zero: `permeability_at_zero`."""
    conductance = link.is_open / (i.resistance + j.resistance + link.resistance)
    q = conductance * (i.T - j.T)
    # vapour; the slopes of s_d are those in u, and humidity goes with u + ln T
    relative, relative_T = moist_air.relative_permeability(0.5 * (i.T + j.T))
    per_sd = 1.0 / (i.air_layer + j.air_layer + link.sd)
    G = link.is_open * delta_zero * relative * per_sd
    g = G * (i.p - j.p)
    by_mean_T = 0.5 * relative_T / relative * g
    by_sd_i, by_sd_j = g * per_sd * link.sd_u, g * per_sd * link.sd_next_u
    g_Ti = G * i.p_T + by_mean_T - by_sd_i / i.T
    g_Tj = -G * j.p_T + by_mean_T - by_sd_j / j.T
    g_ui = G * i.p_u - g * per_sd * i.air_layer_u - by_sd_i
    g_uj = -G * j.p_u - g * per_sd * j.air_layer_u - by_sd_j
    h = moist_air.vapour_enthalpy(i.T if g > 0.0 else j.T)
    # liquid
    f = (i.theta - j.theta) * link.per_distance
    f_Ti, f_Tj = i.theta_T * link.per_distance, -j.theta_T * link.per_distance
    f_ui, f_uj = i.theta_u * link.per_distance, -j.theta_u * link.per_distance
    h_l = WATER_HEAT * ((i.T if f > 0.0 else j.T) - ICE_POINT)
    # each carries the enthalpy of the node it comes from
    carried_i = max(g, 0.0) * VAPOUR_HEAT + max(f, 0.0) * WATER_HEAT
    carried_j = min(g, 0.0) * VAPOUR_HEAT + min(f, 0.0) * WATER_HEAT
    near = Slopes(
        conductance + g_Ti * h + f_Ti * h_l + carried_i,
        g_ui * h + f_ui * h_l - q * conductance * i.resistance_u,
        g_Ti + f_Ti,
        g_ui + f_ui,
    )
    far = Slopes(
        -conductance + g_Tj * h + f_Tj * h_l + carried_j,
        g_uj * h + f_uj * h_l - q * conductance * j.resistance_u,
        g_Tj + f_Tj,
        g_uj + f_uj,
    )
    return Flow(q + g * h + f * h_l, g + f, near, far)


@jit
def flow_row(w, row, delta_zero):
    """Fill a row of w.cell with the flows over the links to the next nodes and their slopes."""
    cell = w.cell[row * SPAN : (row + 2) * SPAN]
    for k in range(LANES):
        passing = flow(node_of(cell, k, INNER), node_of(cell, k + SPAN, LIQUID), link_of(cell, k), delta_zero)
        cell[k + FLOW_E], cell[k + FLOW_W] = passing.energy, passing.water
        put_slopes(cell, k + NEAR, passing.near)
        put_slopes(cell, k + FAR, passing.far)


@jit
def membrane_sd(permeance, phi, phi_next):
    """Return (s_d [m], its slopes by the relative humidities of both sides) of a humidity-dependent membrane (E49).

    1/s_d is the mean of the permeance over the humidities between the two sides: steady flow through a film whose
    permeance follows its local humidity. permeance: see WallSection1D, of one membrane.
    """
    value, rate, _ = _permeance(permeance, phi)
    value_next, rate_next, _ = _permeance(permeance, phi_next)
    apart = phi - phi_next
    if abs(apart) > 1e-5:
        mean = (value - value_next) / apart
        slope, slope_next = (rate - mean) / apart, (mean - rate_next) / apart
    else:  # the difference would be round-off; the error of the middle is 1e-10 here
        _, mean, bend = _permeance(permeance, 0.5 * (phi + phi_next))
        slope = slope_next = 0.5 * bend
    sd = 1.0 / mean
    return sd, -sd * sd * slope, -sd * sd * slope_next


@jit
def _permeance(permeance, phi):
    """Return (integral of 1/s_d over humidity from 0 to phi [1/m], 1/s_d, its slope)."""
    per_step = float(permeance.shape[0])
    x = phi * per_step
    k = min(max(int(x), 0), permeance.shape[0] - 1)
    x -= k
    c = permeance[k]
    value, rate = lanes.cubic(c[0], c[1], c[2], c[3], x)
    return value, rate * per_step, (2.0 * c[2] + 6.0 * x * c[3]) * per_step * per_step


@jit
def set_membranes(section, w):
    """Write the s_d of humidity-dependent membranes and its slopes in u into the cells."""
    cell = w.cell
    for i in w.tabled:
        at, a, b = w.offset[i], cell[w.offset[i] + MINUS_LOG_RH], cell[w.offset[i + 1] + MINUS_LOG_RH]
        phi, phi_next = math.exp(-a), math.exp(-b)
        sd, slope, slope_next = membrane_sd(section.permeance[section.membrane_table[i]], phi, phi_next)
        cell[at + MEMBRANE_SD] = sd
        cell[at + MEMBRANE_SD_U], cell[at + MEMBRANE_SD_NEXT_U] = slope * phi * a, slope_next * phi_next * b
