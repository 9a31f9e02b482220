"""Water or frost held as a film on a surface.

A film is storage of the surface in the potential u = -ln(suction / scale) that drives water in the layers: none below
a start, then growing with the square of the distance. Condensation, absorption by the layer
behind, evaporation and frost then need no switching between wet and dry. On a surface that does not draw water the film
starts at u = 7 (99.91 % relative humidity); water under suction does not leave a pore, so on a capillary layer it
starts where that layer is full.

Key: u potential [-], T temperature [K], m film mass [kg/m2], c scale of the film [kg/m2].
"""

from __future__ import annotations

import math

from cavity._jit import jit
from cavity.constants import FUSION_HEAT, ICE_HEAT, ICE_POINT, SATURATED, WATER_HEAT

START = 7.0  # potential at which a film begins: 0.09 % below saturation, under any sensor's accuracy
FULL = SATURATED  # the same on a capillary layer, which is full there: 0.0006 % below saturation
SCALE = 0.004  # kg/m2: 100 g/m2 five above the start
FREEZING_RANGE = 0.5  # K below 0 degC over which the film freezes, numerically smooth


@jit
def mass(u, scale, start):
    """Return (film mass [kg/m2], its slope in u); scale [kg/m2] is SCALE, or 0 where no film can be (E38)."""
    x = max(u - start, 0.0)
    return scale * x * x, 2.0 * scale * x


@jit
def potential(m, start):
    """Return the potential at which a film of mass m [kg/m2] is in equilibrium."""
    return start + math.sqrt(max(m, 0.0) / SCALE)


@jit
def frozen_fraction(T):
    """Return the frozen fraction of a film at T [K] (E39)."""
    return min(1.0, max(0.0, (ICE_POINT - T) / FREEZING_RANGE))


@jit
def enthalpy(T):
    """Return (specific enthalpy of film water [J/kg], its slope [J/(kg K)]); liquid at 0 degC is zero (E40)."""
    x = T - ICE_POINT
    f = frozen_fraction(T)
    value = (1.0 - f) * WATER_HEAT * x + f * (ICE_HEAT * x - FUSION_HEAT)
    slope = (1.0 - f) * WATER_HEAT + f * ICE_HEAT
    forming = ((ICE_HEAT - WATER_HEAT) * x - FUSION_HEAT) / FREEZING_RANGE
    return value, slope - (forming if f > 0.0 and f < 1.0 else 0.0)
