"""What a node of the wall holds and how it resists flow, by its temperature and potential.

Key: T temperature [K], x = T - 273.15; u potential [-], a = -ln(relative humidity); d thickness [m], w water content
[kg/m3], W water and m film [kg/m2], E enthalpy [J/m2]. A name that ends in _T or _u is a slope.
"""

from __future__ import annotations

import math

import numpy as np

from cavity._jit import jit
from cavity.constants import FUSION_HEAT, ICE_HEAT, ICE_POINT, SUCTION_SCALE, WATER_DENSITY, WATER_HEAT
from cavity.kernels import film, lanes, potential
from cavity.kernels.potential import PER_STEP, U_LOW
from cavity.kernels.wall_section import (
    AIR_LAYER,
    AIR_LAYER_U,
    BY_WATER,
    CONDUCTIVITY,
    DRY_HEAT,
    ENTHALPY,
    ENTHALPY_T,
    ENTHALPY_U,
    FILM_SCALE,
    FILM_START,
    FRACTION,
    ICE_EXCESS,
    ICE_FRACTION,
    ICE_INNER_CUBIC,
    ICE_INTERVAL,
    ICE_THETA_CUBIC,
    ICE_WATER_CUBIC,
    INNER,
    INNER_CUBIC,
    INNER_T,
    INNER_U,
    KELVIN_FRACTION,
    LANES,
    LIQUID,
    LIQUID_T,
    LIQUID_U,
    MINUS_LOG_RH,
    MU_CUBIC,
    NO_ICE,
    POTENTIAL,
    RESISTANCE,
    RESISTANCE_U,
    SATURATION_CUBIC,
    SPAN,
    TEMPERATURE,
    THETA_CUBIC,
    THICKNESS,
    U_LIQUID,
    U_LIQUID_T,
    U_LIQUID_U,
    VAPOUR,
    VAPOUR_T,
    VAPOUR_U,
    WATER,
    WATER_CUBIC,
    WATER_U,
    cubic_of,
    load_cubics,
    load_ice_cubics,
)

MIN_CAPACITY = 1e-6  # kg/m3 per unit of u, water capacity of materials that hold none
SKIN = 5e-8  # kg/m2 per unit of u, adsorbed by any surface, a molecule deep: its row is never empty
U_OVERFULL = 14.0  # potential above which a capillary cell takes water beyond its retention curve, to be drained
_ICE_SUCTION = WATER_DENSITY * FUSION_HEAT / SUCTION_SCALE
_LEAST = math.exp(-3.0)  # e^(u - u_ice) below which ice would take less than 1e-9 from u
_FREEZING = ICE_POINT - 1e-6  # K, from which water in pores freezes
ICE_BLEND = 0.15  # in u, width over which pore water turns to ice: numerically smooth, 0.3 K at -2 degC


@jit
def vapour_pressure(log_saturation, log_saturation_T, a, T):
    """Return the vapour pressure [Pa] and its slopes in T and u (E1, E7)."""
    p = lanes.exp(log_saturation - a)
    return p, p * (log_saturation_T + a * (1.0 / T)), p * a


@jit
def water_content(by_curve, by_curve_u, u):
    """Return (w, its slope in u): by the storage curve, with terms so that no row is empty and it can overflow."""
    over = max(u - U_OVERFULL, 0.0)
    return by_curve + MIN_CAPACITY * (u - U_LOW) + over * over, by_curve_u + MIN_CAPACITY + 2.0 * over


@jit
def film_and_skin(u, scale, start):
    """Return (m, its slope in u): the film (E38) and what any node adsorbs."""
    m, m_u = film.mass(u, scale, start)
    return m + SKIN * (u - U_LOW), m_u + SKIN


@jit
def enthalpy(T, d, w, w_u, m, m_u, dry_heat):
    """Return (E, its slope in T, in u) without ice in pores (E44); dry_heat [J/(m2 K)]."""
    x = T - ICE_POINT
    h, h_T = film.enthalpy(T)
    moist_heat = dry_heat + d * w * WATER_HEAT
    return moist_heat * x + m * h, moist_heat + m * h_T, d * w_u * WATER_HEAT * x + m_u * h


@jit
def half_resistance(d, w, w_u, dry, by_water):
    """Return (thermal resistance of half a cell [m2 K/W], its slope in u) (E45); conductivity dry + by_water w."""
    per_conductivity = 1.0 / (dry + by_water * w)
    R = 0.5 * d * per_conductivity
    return R, -R * per_conductivity * by_water * w_u


@jit
def log_ice_point_by(T):
    """Return ln(273.15 K / T), T from 180 K to 0 degC, by its series, within 1e-8."""
    y = (ICE_POINT - T) / (ICE_POINT + T)
    return 2.0 * y * (1.0 + y * y * (1.0 / 3.0 + y * y * (0.2 + y * y * (1.0 / 7.0 + y * y * (1.0 / 9.0)))))


@jit
def liquid_potential(u, T, excess):
    """Return (u of the water that stays liquid in pores, its slopes in T and u) (E51), T below 0 degC.

    Water held with less suction than ice exerts at this temperature is frozen (Clausius-Clapeyron): the smooth lesser
    of u and u_ice. excess: (u - u_ice) / ICE_BLEND.
    """
    rest = lanes.exp(-min(abs(excess), 40.0))
    part = (1.0 if excess > 0.0 else rest) / (1.0 + rest)
    u_liquid = u - ICE_BLEND * (max(excess, 0.0) + lanes.log_one_plus(rest))
    return u_liquid, part / (T * log_ice_point_by(T)), 1.0 - part


@jit
def eval_row(section, w, row):
    """Fill a row of w.cell with the functions of the states that are there (E38 to E45)."""
    load_cubics(section, w, row)
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    for k in range(LANES):
        T, u, a, d = cell[k + TEMPERATURE], cell[k + POTENTIAL], cell[k + MINUS_LOG_RH], cell[k + THICKNESS]
        fraction = cell[k + FRACTION]
        saturation, saturation_T = cubic_of(cell, k + SATURATION_CUBIC, cell[k + KELVIN_FRACTION])
        p, p_T, p_u = vapour_pressure(saturation, saturation_T, a, T)
        cell[k + VAPOUR], cell[k + VAPOUR_T], cell[k + VAPOUR_U] = p, p_T, p_u
        curve, curve_x = cubic_of(cell, k + WATER_CUBIC, fraction)
        content, content_u = water_content(curve, curve_x * PER_STEP, u)
        m, m_u = film_and_skin(u, cell[k + FILM_SCALE], cell[k + FILM_START])
        cell[k + WATER], cell[k + WATER_U] = d * content + m, d * content_u + m_u
        E, E_T, E_u = enthalpy(T, d, content, content_u, m, m_u, cell[k + DRY_HEAT])
        cell[k + ENTHALPY], cell[k + ENTHALPY_T], cell[k + ENTHALPY_U] = E, E_T, E_u
        R, R_u = half_resistance(d, content, content_u, cell[k + CONDUCTIVITY], cell[k + BY_WATER])
        cell[k + RESISTANCE], cell[k + RESISTANCE_U] = R, R_u
        mu, mu_x = cubic_of(cell, k + MU_CUBIC, fraction)
        cell[k + AIR_LAYER], cell[k + AIR_LAYER_U] = 0.5 * d * mu, 0.5 * d * mu_x * PER_STEP
        theta, theta_x = cubic_of(cell, k + THETA_CUBIC, fraction)
        cell[k + LIQUID], cell[k + LIQUID_T], cell[k + LIQUID_U] = theta, 0.0, theta_x * PER_STEP
        theta, theta_x = cubic_of(cell, k + INNER_CUBIC, fraction)
        cell[k + INNER], cell[k + INNER_T], cell[k + INNER_U] = theta, 0.0, theta_x * PER_STEP
    if section.freezing and _find_ice(w, row):
        _freeze(section, w, row)


@jit
def _find_ice(w, row):
    """Write ICE_EXCESS of the nodes of a row; return whether pore water freezes in any of them."""
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    freezes = False
    for k in range(w.left.shape[1]):
        cell[k + ICE_EXCESS] = NO_ICE
        T = cell[k + TEMPERATURE]
        porous = cell[k + THICKNESS] > 0.0 or cell[k + LIQUID] != 0.0 or cell[k + INNER] != 0.0
        if T < _FREEZING and porous:
            suction = _ICE_SUCTION * log_ice_point_by(T)  # of ice, by the scale: e^(-u_ice)
            if suction * 293.15 >= _LEAST * cell[k + MINUS_LOG_RH] * T:  # e^(u - u_ice), without a logarithm
                cell[k + ICE_EXCESS] = (cell[k + POTENTIAL] + math.log(suction)) / ICE_BLEND
                freezes = True
    return freezes


@jit
def _freeze(section, w, row):
    """Let the pore water of the nodes of a row freeze (E51, E52).

    Ice forms over half a kelvin, as in films: Newton would cycle at a kink, and has no slope at a jump.
    """
    cell = w.cell[row * SPAN : (row + 1) * SPAN]
    for k in range(LANES):
        T, u = min(cell[k + TEMPERATURE], _FREEZING), cell[k + POTENTIAL]
        u_liquid, by_T, by_u = liquid_potential(u, T, cell[k + ICE_EXCESS])
        cell[k + U_LIQUID], cell[k + U_LIQUID_T], cell[k + U_LIQUID_U] = u_liquid, by_T, by_u
        y = potential.table_position(u_liquid)
        interval = np.floor(y)
        cell[k + ICE_INTERVAL], cell[k + ICE_FRACTION] = interval, y - interval
    load_ice_cubics(section, w, row)
    for k in range(LANES):
        T, u, d, fraction = cell[k + TEMPERATURE], cell[k + POTENTIAL], cell[k + THICKNESS], cell[k + ICE_FRACTION]
        u_liquid, by_T, by_u = cell[k + U_LIQUID], cell[k + U_LIQUID_T], cell[k + U_LIQUID_U]
        f = film.frozen_fraction(T) if cell[k + ICE_EXCESS] != NO_ICE else 0.0
        f_T = -1.0 / film.FREEZING_RANGE if f > 0.0 and f < 1.0 else 0.0
        # flow: ice does not
        low, low_x = cubic_of(cell, k + ICE_THETA_CUBIC, fraction)
        full, full_u = cell[k + LIQUID], cell[k + LIQUID_U]
        cell[k + LIQUID], cell[k + LIQUID_T], cell[k + LIQUID_U] = _partly(
            full, full_u, low, low_x * PER_STEP, f, f_T, by_T, by_u
        )
        low, low_x = cubic_of(cell, k + ICE_INNER_CUBIC, fraction)
        full, full_u = cell[k + INNER], cell[k + INNER_U]
        cell[k + INNER], cell[k + INNER_T], cell[k + INNER_U] = _partly(
            full, full_u, low, low_x * PER_STEP, f, f_T, by_T, by_u
        )
        # enthalpy: without the film, whose ice is in its own enthalpy
        liquid, liquid_x = cubic_of(cell, k + ICE_WATER_CUBIC, fraction)
        liquid_u = liquid_x * PER_STEP + MIN_CAPACITY
        m, m_u = film_and_skin(u, cell[k + FILM_SCALE], cell[k + FILM_START])
        free = max(cell[k + WATER] - m - d * (liquid + MIN_CAPACITY * (u_liquid - U_LOW)), 0.0)
        h_ice = (ICE_HEAT - WATER_HEAT) * (T - ICE_POINT) - FUSION_HEAT
        cell[k + ENTHALPY] += f * free * h_ice
        by_ice = (f_T * free - d * f * liquid_u * by_T) * h_ice
        cell[k + ENTHALPY_T] += by_ice + f * free * (ICE_HEAT - WATER_HEAT)
        cell[k + ENTHALPY_U] += f * (cell[k + WATER_U] - m_u - d * liquid_u * by_u) * h_ice


@jit
def _partly(full, full_u, low, low_u, f, f_T, by_T, by_u):
    """Return a flux potential and its slopes in T and u of which the fraction f has fallen from full to low (E52)."""
    return full + f * (low - full), f_T * (low - full) + f * low_u * by_T, full_u + f * (low_u * by_u - full_u)
