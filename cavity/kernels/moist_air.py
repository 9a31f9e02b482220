"""Moist air: saturation over water and ice, dew point, density, viscosity, conductivity, latent heat.

Key: T temperature [K], p vapour pressure [Pa], P atmospheric pressure [Pa]. Tables are interpolated from CoolProp
between -60 and 100 degC; outside, the last interval is continued.
"""

from __future__ import annotations

import math

import numpy as np

from cavity._jit import jit
from cavity.constants import (
    EVAPORATION_HEAT,
    ICE_POINT,
    R_AIR,
    R_VAPOUR,
    STANDARD_PRESSURE,
    VAPOUR_DIFFUSIVITY,
    VAPOUR_HEAT,
    WATER_HEAT,
)
from cavity.kernels import lanes
from cavity.kernels.moist_air_table import FIRST_KELVIN, LOG_SATURATION, TRANSPORT

LOG_SATURATION_CUBIC = np.array(LOG_SATURATION)  # coefficients of the cubic on each kelvin
_TRANSPORT = np.array(TRANSPORT)
_LAST = len(LOG_SATURATION) - 1
_PER_ZERO = 1.0 / ICE_POINT
_PERMEABILITY_AT_ZERO = VAPOUR_DIFFUSIVITY * STANDARD_PRESSURE / (R_VAPOUR * ICE_POINT)  # times the air pressure
_LOWEST_PRESSURE = 1e-3  # Pa, floor of the dew-point search: -100 degC, drier than any air on earth


@jit
def table_position(T):
    """Return the position of T [K] in the tables, in kelvins from their first."""
    return T - FIRST_KELVIN


@jit
def interval(x):
    """Return the interval of the tables in which position x is, or the nearest one."""
    k = np.floor(x)
    # written so that what is not a number finds the first
    k = k if k > 0.0 else 0.0
    return k if k < _LAST else float(_LAST)


@jit
def log_saturation(T):
    """Return (log of the saturation pressure in Pa, its slope [1/K]) at T [K], over ice below 0 degC (E1)."""
    x = table_position(T)
    k = int(interval(x))
    c = LOG_SATURATION_CUBIC[k]
    return lanes.cubic(c[0], c[1], c[2], c[3], x - k)


@jit
def saturation(T):
    """Return (saturation pressure [Pa], its slope [Pa/K]) at T [K], over ice below 0 degC."""
    logarithm, slope = log_saturation(T)
    p = math.exp(logarithm)
    return p, p * slope


@jit
def dew_point(p):
    """Return the temperature [K] at which vapour of pressure p [Pa] saturates (frost point below 0 degC)."""
    p = max(p, _LOWEST_PRESSURE)
    y = math.log(p)
    # Magnus form inverted (ISO 13788 annex E), then Newton on the table: three steps reach round-off
    z = y - math.log(610.5)
    T = ICE_POINT + (237.3 * z / (17.269 - z) if z > 0.0 else 265.5 * z / (21.875 - z))
    for _ in range(3):
        logarithm, slope = log_saturation(T)
        T -= (logarithm - y) / slope
    return T


@jit
def density(T, p, P):
    """Return the density of moist air [kg/m3], ideal mixture (E2)."""
    return (P - p) / (R_AIR * T) + p / (R_VAPOUR * T)


@jit
def permeability_at_zero(P):
    """Return the vapour permeability of still air at 0 degC [kg/(m s Pa)] (E5)."""
    return _PERMEABILITY_AT_ZERO / P


@jit
def relative_permeability(T):
    """Return (vapour permeability of still air at T [K] by that at 0 degC, its slope [1/K]) (E5).

    Schirmer (from memory): D = 2.306e-5 (T/273.15)^1.81 P0/P, P0 = 101325 Pa. The power 0.81 that is left is its
    binomial series: within 1e-5 from -50 to 80 degC.
    """
    x = T * _PER_ZERO - 1.0
    value = 1.0 + x * (0.81 + x * (-0.07695 + x * (0.030523 - x * 0.016711)))
    return value, (0.81 + x * (-0.1539 + x * (0.091569 - x * 0.066844))) * _PER_ZERO


@jit
def air_permeability(T, P):
    """Return the vapour permeability of still air [kg/(m s Pa)] (E5)."""
    return permeability_at_zero(P) * relative_permeability(T)[0]


@jit
def viscosity(T):
    """Return the dynamic viscosity of moist air [Pa s] (E3)."""
    return _transport(T, 0)


@jit
def conductivity(T):
    """Return the thermal conductivity of moist air [W/(m K)] (E3)."""
    return _transport(T, 1)


@jit
def _transport(T, column):
    x = T - FIRST_KELVIN
    k = int(x)
    if k < 0:
        k = 0
    elif k > _LAST - 1:
        k = _LAST - 1
    x -= k
    return _TRANSPORT[k, column] * (1.0 - x) + _TRANSPORT[k + 1, column] * x


@jit
def vapour_enthalpy(T):
    """Return the enthalpy of water vapour [J/kg], liquid water at 0 degC being zero (E4)."""
    return EVAPORATION_HEAT + VAPOUR_HEAT * (T - ICE_POINT)


@jit
def evaporation_heat(T):
    """Return the latent heat of evaporation of liquid water [J/kg]."""
    return EVAPORATION_HEAT + (VAPOUR_HEAT - WATER_HEAT) * (T - ICE_POINT)


@jit
def saturation_array(T, out):
    """Write the saturation pressure [Pa] of each T [K] of a flat array into out."""
    for i in range(T.size):
        out[i] = saturation(T[i])[0]


@jit
def dew_point_array(p, out):
    """Write the dew point [K] of each vapour pressure [Pa] of a flat array into out."""
    for i in range(p.size):
        out[i] = dew_point(p[i])
