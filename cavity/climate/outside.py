"""Convection at the exterior surface: one law for the hourly wall, the steady look and the climate page."""

from __future__ import annotations

import numpy as np


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
