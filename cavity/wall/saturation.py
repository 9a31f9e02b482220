"""Saturation pressure and dew point by ISO 13788 Annex E, for the methods of that standard.

The hourly model uses the saturation pressure of the moist-air kernels; between -20 and 40 degC the two differ by less
than 0.6 % (over ice) and 0.2 % (over water).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.units import COLDEST, HOTTEST, check_range

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

_TRIPLE = 610.5  # Pa, saturation pressure at 0 degC, rounded in the standard
# (factor, offset degC) of p = 610.5 exp(factor t / (offset + t)), ISO 13788:2012 Annex E, from memory
_WATER = (17.269, 237.3)
_ICE = (21.875, 265.5)


def saturation_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the saturation pressure of water vapour, over ice below 0 degC, by ISO 13788.

    Parameters
    ----------
    temperature : array_like
        Temperature, meaningful between 233 and 353 K. [K]

    Returns
    -------
    array
        Saturation pressure. [Pa]

    References
    ----------
    ISO 13788:2012, Annex E, from memory.

    Examples
    --------
    >>> round(float(saturation_pressure(293.15)), 2)
    2336.95
    """
    check_range("saturation_pressure, temperature", temperature, "K", COLDEST, HOTTEST)
    celsius = np.asarray(temperature, dtype=float) - ICE_POINT
    factor = np.where(celsius >= 0.0, _WATER[0], _ICE[0])
    offset = np.where(celsius >= 0.0, _WATER[1], _ICE[1])
    return _TRIPLE * np.exp(factor * celsius / (offset + celsius))


def dew_point(vapour_pressure: ArrayLike) -> NDArray[np.float64]:
    """Return the dew point by ISO 13788, below 0 degC the frost point.

    Parameters
    ----------
    vapour_pressure : array_like
        Vapour pressure, above zero. [Pa]

    Returns
    -------
    array
        Dew or frost point. [K]

    References
    ----------
    ISO 13788:2012, Annex E, from memory.

    Examples
    --------
    >>> round(float(dew_point(0.5 * saturation_pressure(293.15))) - 273.15, 3)
    9.269
    """
    ratio = np.log(np.asarray(vapour_pressure, dtype=float) / _TRIPLE)
    factor = np.where(ratio >= 0.0, _WATER[0], _ICE[0])
    offset = np.where(ratio >= 0.0, _WATER[1], _ICE[1])
    return offset * ratio / (factor - ratio) + ICE_POINT
