"""Surface coefficients, outside by wind, inside by direction of heat flow, for all methods."""

from __future__ import annotations

import numpy as np

INNER_SURFACE = {"up": 0.10, "horizontal": 0.13, "down": 0.17}  # m2 K/W, ISO 6946 R_si by direction of heat flow


def outside_coefficient(speed: float | np.ndarray) -> float | np.ndarray:
    """Return the convective coefficient of the exterior surface, 4 + 4 v [W/(m2 K)] (E12).

    The same on the windward and the leeward wall, as in the standard. Calm air: 4 W/(m2 K).

    Parameters
    ----------
    speed : float or array
        Wind at the surface; here the wind at roof height on the site. [m/s]

    References
    ----------
    ISO 6946:2017 Annex C, from memory. At 4 m/s, emissivity 0.9, 10 degC: the R_se of its tables, 0.04 m2 K/W.
    """
    return 4.0 + 4.0 * np.asarray(speed, dtype=float)


def heat_flow_direction(tilt: float) -> str:
    """Return the direction of heat flow out of a heated room: horizontal within 30 degrees, else up or down.

    Parameters
    ----------
    tilt : float
        Slope from horizontal: 90 for a wall, smaller angles lean back like a roof. [degree]

    Returns
    -------
    str
        "up", "horizontal" or "down".

    References
    ----------
    ISO 6946:2007, clause 5.2, from memory.
    """
    if tilt < 60.0:
        return "up"
    return "down" if tilt > 120.0 else "horizontal"
