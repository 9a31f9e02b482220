"""Surface coefficients, outside by wind, inside by direction of heat flow: one law for hourly wall and steady look."""

from __future__ import annotations

import numpy as np

INNER_SURFACE = {"up": 0.10, "horizontal": 0.13, "down": 0.17}  # m2 K/W, ISO 6946 R_si by direction of heat flow


def outside_coefficient(speed: float | np.ndarray) -> float | np.ndarray:
    """Return the convective coefficient of the exterior surface, 4 + 4 v [W/(m2 K)] (E12).

    The same on the windward and the leeward wall: the standard tells no difference. Calm air: 4 W/(m2 K).

    Parameters
    ----------
    speed : float or array
        Wind beside the surface; we take that at roof height on the site. [m/s]

    References
    ----------
    ISO 6946:2017 Annex C, from memory. At 4 m/s, emissivity 0.9, 10 degC: the R_se of its tables, 0.04 m2 K/W.
    """
    return 4.0 + 4.0 * np.asarray(speed, dtype=float)


def heat_flow_direction(tilt: float) -> str:
    """Return the direction of heat flow out of a heated room: horizontal within 30 degrees of it, else up or down.

    Parameters
    ----------
    tilt : float
        Slope of the wall from horizontal, 90 is a wall, less leans back like a roof. [degree]

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
