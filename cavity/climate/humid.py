"""Vapour pressure from the humidity in weather files.

Meteorological practice (WMO) gives dew point and relative humidity over liquid water at every temperature; some weather
files give both over ice below 0 degC. The project uses relative humidity over ICE below 0 degC. So the vapour pressure
is computed first, with the surface of the file, and limited to saturation.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT

if TYPE_CHECKING:
    from collections.abc import Callable

# ASHRAE Fundamentals ch. 1, eq. 6 (liquid water), Hyland and Wexler 1983; ln(p / Pa), T in K
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)


def water_pressure(temperature: np.ndarray) -> np.ndarray:
    """Return the saturation pressure over liquid water, supercooled below 0 degC.

    Parameters
    ----------
    temperature : array
        Air temperature or dew point. [K]

    Returns
    -------
    array
        Saturation pressure. [Pa]

    References
    ----------
    ASHRAE Handbook Fundamentals, ch. 1 eq. 6 (Hyland and Wexler 1983), used below its lower limit of 0 degC: within
    0.3 % of Murphy and Koop 2005 (from memory) down to -30 degC, which is tested.
    """
    t, c = np.asarray(temperature, dtype=float), _WATER
    return np.exp(c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * c[4])) + c[5] * np.log(t))


def table_saturation_pressure(temperature: np.ndarray) -> np.ndarray:
    """Return the saturation pressure, over ice below 0 degC and over water above, from the table of the kernels.

    Parameters
    ----------
    temperature : array
        Air temperature. [K]

    Returns
    -------
    array
        Saturation pressure, NaN where the temperature is. [Pa]

    References
    ----------
    `cavity.kernels.moist_air`, tables from CoolProp.
    """
    from cavity.kernels import moist_air

    return _from_table(moist_air.saturation_array, temperature, ICE_POINT)


def _from_table(kernel: Callable[[np.ndarray, np.ndarray], None], values: np.ndarray, placeholder: float) -> np.ndarray:
    """Return the table values of a kernel; NaN, which must not index the table, is replaced and restored."""
    arguments = np.asarray(values, dtype=float)
    missing = np.isnan(arguments)
    result = np.empty(arguments.size)
    kernel(np.where(missing, placeholder, arguments).ravel(), result)
    return np.where(missing, np.nan, result.reshape(arguments.shape))


def table_dew_point(vapour_pressure: np.ndarray) -> np.ndarray:
    """Return the dew point, the frost point below 0 degC: the temperature whose saturation pressure is given.

    Parameters
    ----------
    vapour_pressure : array
        Vapour pressure. [Pa]

    Returns
    -------
    array
        Dew point or frost point. [K]

    References
    ----------
    `cavity.kernels.moist_air`, tables from CoolProp.
    """
    from cavity.kernels import moist_air

    return _from_table(moist_air.dew_point_array, vapour_pressure, 1.0)


def dew_point_over_water(vapour_pressure: np.ndarray) -> np.ndarray:
    """Return the dew point over liquid water at every temperature, as in meteorology.

    Parameters
    ----------
    vapour_pressure : array
        Vapour pressure. [Pa]

    Returns
    -------
    array
        Dew point; below 0 degC lower than the frost point of `table_dew_point`. [K]

    References
    ----------
    Inverse of `water_pressure`.
    """
    p = np.maximum(np.asarray(vapour_pressure, dtype=float), 1e-3)
    low, high = np.full(p.shape, 150.0), np.full(p.shape, 350.0)
    for _ in range(45):  # bisection: 200 K / 2**45
        middle = 0.5 * (low + high)
        above = water_pressure(middle) > p
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return 0.5 * (low + high)


def wet_bulb(temperature: np.ndarray, vapour_pressure: np.ndarray, pressure: np.ndarray) -> np.ndarray:
    """Return the wet-bulb temperature of a ventilated wet bulb, its water supercooled below 0 degC.

    Parameters
    ----------
    temperature : array
        Air temperature. [K]
    vapour_pressure, pressure : array
        Vapour pressure and atmospheric pressure. [Pa]

    Returns
    -------
    array
        Wet-bulb temperature. [K]

    References
    ----------
    Psychrometer equation e = e_w(T_w) - A p (T - T_w), A = 6.53e-4 (1 + 9.44e-4 T_w) 1/K with T_w in degC: WMO-No. 8,
    Guide to Instruments, from memory. A test compares it with the wet bulb of psychrolib.
    """
    t, e, p = (np.asarray(values, dtype=float) for values in (temperature, vapour_pressure, pressure))
    low, high = t - 60.0, t.copy()  # the driest air cools a bulb by less than 60 K
    for _ in range(40):  # bisection: 60 K / 2**40
        middle = 0.5 * (low + high)
        psychrometer = 6.53e-4 * (1.0 + 9.44e-4 * (middle - ICE_POINT)) * p
        above = water_pressure(middle) - psychrometer * (t - middle) > e
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return 0.5 * (low + high)


def surface_of_file(temperature: np.ndarray, dew: np.ndarray, humidity: np.ndarray) -> str:
    """Return whether dew point and relative humidity of a file refer to water or to ice below 0 degC.

    With both columns this can be decided: they agree for one of the two surfaces only.

    Parameters
    ----------
    temperature, dew : array, (time,)
        Air temperature and dew point. [K]
    humidity : array, (time,)
        Relative humidity as written. [1]

    Returns
    -------
    str
        ``"water"`` or ``"ice"``; ``"water"``, the WMO convention, with fewer than 20 hours of frost.
    """
    # near 0 degC and near saturation both surfaces give the same
    use = (temperature < ICE_POINT - 1.0) & (dew < temperature - 0.2) & np.isfinite(humidity)
    if use.sum() < 20:
        return "water"
    over_water = water_pressure(dew[use]) / water_pressure(temperature[use])
    over_ice = table_saturation_pressure(dew[use]) / table_saturation_pressure(temperature[use])
    return "ice" if np.mean(abs(over_ice - humidity[use])) < np.mean(abs(over_water - humidity[use])) else "water"


def vapour_from_file(
    temperature: np.ndarray,
    dew: np.ndarray | None,
    humidity: np.ndarray | None,
    *,
    surface: str = "",
) -> tuple[np.ndarray, list[str]]:
    """Return the vapour pressure from the humidity columns of a file, at most saturation, and warnings.

    Relative humidity is preferred, because instruments measure it; where it is missing the dew point is used. With both
    the surface of the file, water or ice, can be decided.

    Parameters
    ----------
    temperature : array, (time,)
        Air temperature. [K]
    dew : array, (time,) or None
        Dew point. [K]
    humidity : array, (time,) or None
        Relative humidity over the file's surface. [1]
    surface : {"", "water", "ice"}, keyword only
        Surface that the file states for hours below 0 degC; empty: by `surface_of_file`.

    Returns
    -------
    array, (time,)
        Vapour pressure, NaN where neither column has a value. [Pa]
    list of str
        Warnings.
    """
    empty = np.full(temperature.shape, np.nan)
    dew = empty if dew is None else dew
    humidity = empty if humidity is None else humidity
    notes: list[str] = []
    surface = surface or surface_of_file(temperature, dew, humidity)
    pressure = water_pressure if surface == "water" else table_saturation_pressure
    from_dew = pressure(dew)
    from_humidity = humidity * pressure(temperature)
    both = np.isfinite(from_dew) & np.isfinite(from_humidity)
    difference = np.abs(dew - table_dew_point(np.where(np.isfinite(from_humidity), from_humidity, 1.0)))
    # 1.5 K: three times what rounding to 1 % RH does to a dew point at 50 % RH
    clash = both & (difference > 1.5) & (humidity > 0.3) & (temperature > ICE_POINT)
    if clash.sum() > 0.01 * temperature.size:
        notes.append(
            f"dew point and relative humidity disagree by more than 1.5 K in {clash.sum()} hours; "
            "the relative humidity is used"
        )
    vapour = np.where(np.isfinite(from_humidity), from_humidity, from_dew)
    limit = table_saturation_pressure(temperature)
    # no warning for 0.5 % of rounding, and for humidity over water (WMO) above ice saturation
    over = vapour > np.where(temperature < ICE_POINT, water_pressure(temperature), limit) * 1.005
    if over.any():
        notes.append(f"{over.sum()} hours had more vapour than saturated air holds; they are set to saturation")
    return np.minimum(vapour, limit), notes
