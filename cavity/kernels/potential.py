"""The moisture potential u, the humidity it stands for, and tables of the material functions of u.

u = -ln(p_suc / SUCTION_SCALE) [-] is the unknown of the water balance; the relative humidity is exp(-exp(-u) 293.15/T)
(Kelvin). Tables hold one cubic on each interval of u; tables (materials, U_COUNT, TABLE_COLUMNS).
"""

from __future__ import annotations

import math

from cavity._jit import jit
from cavity.kernels import lanes, moist_air

U_LOW, U_STEP, U_COUNT = -2.5, 0.05, 411  # up to u = 18
U_SATURATED = 36.0  # potential from which vapour is saturated to the last digit
PER_STEP = 1.0 / U_STEP
# first of the four coefficients of each function: w [kg/m3], mu [-], Theta [kg/(m s)]; that coefficient is its value
WATER_CONTENT, MU, THETA, TABLE_COLUMNS = 0, 4, 8, 12
_LAST = U_COUNT - 1.0


@jit
def minus_log_rh(u, T):
    """Return -ln(relative humidity) at potential u and temperature T [K] (E7)."""
    return lanes.exp(-min(u, U_SATURATED)) * 293.15 / T


@jit
def humidity(u, T):
    """Return (relative humidity, -ln of it) at potential u and temperature T [K] (E7)."""
    a = minus_log_rh(u, T)
    return math.exp(-a), a


@jit
def of_humidity(phi, T):
    """Return the potential of relative humidity phi at T [K], the inverse of E7."""
    a = -math.log(min(max(phi, 1e-6), 1.0 - 1e-8))
    return -math.log(a * T / 293.15)


@jit
def vapour_pressure(u, T):
    """Return the vapour pressure [Pa] at potential u and temperature T [K] (E1, E7)."""
    return lanes.exp(moist_air.log_saturation(T)[0] - minus_log_rh(u, T))


@jit
def table_position(u):
    """Return where u is in the tables, in steps; at their ends where it is beyond them."""
    x = (u - U_LOW) * PER_STEP
    # written so that what is not a number finds the first
    x = x if x > 0.0 else 0.0
    return x if x < _LAST else _LAST


@jit
def table_value(tables, m, u, column):
    """Return (value, slope in u) of one function of material m at u; flat outside the table."""
    x = table_position(u)
    k = int(x)
    c = tables[m, k]
    value, slope = lanes.cubic(c[column], c[column + 1], c[column + 2], c[column + 3], x - k)
    return value, slope * PER_STEP
