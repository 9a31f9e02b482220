"""Wind pressure coefficients at the openings, by wind angle and height; symmetric in the angle.

With the wall average at both vents there is no driving pressure: the difference between the heights drives. It comes
from a wind tunnel (`PROFILE`), or from the wall file. It is the least certain input of the airflow; every report also
shows `constants.CP_DIFFERENCE_BAND`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cavity.wallfile.model import Opening, Site

CP_HEAD_ON = 0.6  # -, Swami & Chandra 1987, FSEC-CR-163-86 (read)
# Boundary-layer wind tunnel, open country, 1:100, gabled building, eaves 12.2 m, roof slope 6:12, windward gable wall
# along its centre line (18.0 m high there); open aerodynamic data base of a national institute (read): fraction of the
# wall height, then mean and rms of the coefficient for wind on the wall and at 45 degrees. Leeward the mean differs by
# less than 0.03 over the height, rms 0.06 to 0.08. Only this line was at hand: no source carries corner zones.
PROFILE = (
    (0.07, 0.873, 0.27, 0.413, 0.17),
    (0.21, 0.791, 0.25, 0.378, 0.16),
    (0.32, 0.805, 0.26, 0.390, 0.17),
    (0.42, 0.882, 0.28, 0.420, 0.18),
    (0.56, 0.941, 0.30, 0.426, 0.19),
    (0.65, 0.976, 0.31, 0.447, 0.20),
    (0.73, 0.967, 0.32, 0.426, 0.20),
    (0.81, 0.914, 0.32, 0.393, 0.20),
    (0.90, 0.778, 0.30, 0.315, 0.20),
    (0.98, 0.352, 0.23, 0.078, 0.19),
)
LEEWARD_RMS = 0.07  # -, the same source: 0.06 to 0.08
# The wall average is positive up to about 60 degrees, and beyond 100 degrees the pressure varies little over the wall
# (ASHRAE Fundamentals, airflow around buildings, read): a difference given by the user is reduced to a fifth between
# (the fifth is our own assumption).
FADE_ANGLES = (60.0, 100.0)
FADE_REST = 0.2
# Flat roof at the wall, low-rise, exposed; Liddament 1986 / 1996 (AIVC), memory
ROOF_EDGE = ((0.0, -0.8), (45.0, -0.7), (90.0, -0.6), (135.0, -0.5), (180.0, -0.4))


def face_pressure_coefficient(wind_angle: float | np.ndarray, side_ratio: float = 1.0) -> np.ndarray:
    """Return the pressure coefficient averaged over the wall of a low building.

    Parameters
    ----------
    wind_angle : float or array
        Between wind and wall normal, 0 = head on; sign does not matter, folded into 0-180. [degree]
    side_ratio : float
        Width of this wall over width of the adjacent wall. [1]

    Returns
    -------
    array
        Wall average on the dynamic pressure at roof height. [1]

    Notes
    -----
    The sign of the 0.131 term differs between two texts; plus gives the known order of leeward suction (long wall
    stronger) and is used. G^2 factor 0.07.

    References
    ----------
    Swami & Chandra 1987, FSEC-CR-163-86 and 1988, ASHRAE Trans. 94 (read).
    """
    a = np.radians(folded(wind_angle))
    g = np.log(side_ratio)
    inside = (
        1.248
        - 0.703 * np.sin(a / 2)
        - 1.175 * np.sin(a) ** 2
        + 0.131 * np.sin(2 * a * g) ** 3
        + 0.769 * np.cos(a / 2)
        + 0.07 * g**2 * np.sin(a / 2) ** 2
        + 0.717 * np.cos(a / 2) ** 2
    )
    return CP_HEAD_ON * np.log(inside)


def folded(wind_angle: float | np.ndarray) -> np.ndarray:
    """Return any angle folded into 0-180, the same for left and right [degree]."""
    a = np.mod(np.asarray(wind_angle, dtype=float), 360.0)
    return np.minimum(a, 360.0 - a)


def difference_factor(wind_angle: float | np.ndarray) -> np.ndarray:
    """Return the factor on a given difference by wind angle [1]: 1 up to 60, 0.2 from 100 degrees.

    Parameters
    ----------
    wind_angle : float or array
        Between wind and wall normal. [degree]
    """
    return np.interp(folded(wind_angle), FADE_ANGLES, (1.0, FADE_REST))


def profile(fraction: float | np.ndarray, wind_angle: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and rms of the pressure coefficient along the centre line of the wall in the wind tunnel.

    Linear between the measured angles; from 90 degrees on the mean is that of the leeward wall, -0.05 at any height.
    Constant below the lowest and above the highest tap.

    Parameters
    ----------
    fraction : float or array
        Height over that of the wall, 0-1. [1]
    wind_angle : float or array
        Between wind and wall normal, of a compatible shape. [degree]

    Returns
    -------
    tuple of array
        Mean and rms on the dynamic pressure at roof height. [1]

    References
    ----------
    See `PROFILE`.
    """
    heights, on, on_rms, at_45, at_45_rms = np.array(PROFILE).T
    angle = folded(wind_angle)
    w0 = np.interp(angle, (0.0, 45.0), (1.0, 0.0))
    w45 = np.interp(angle, (0.0, 45.0, 90.0), (0.0, 1.0, 0.0))
    rest = 1.0 - w0 - w45
    mean = w0 * np.interp(fraction, heights, on) + w45 * np.interp(fraction, heights, at_45) - 0.05 * rest
    rms = w0 * np.interp(fraction, heights, on_rms) + w45 * np.interp(fraction, heights, at_45_rms) + LEEWARD_RMS * rest
    return mean, rms


def height_shift(site: Site, height: float, wind_angle: float | np.ndarray = 0.0) -> np.ndarray:
    """Return the difference of the coefficient at a height from the wall average [1].

    From the profile of the wall file, else from its `cp_difference` as a straight line over the building height, else
    from the profile of the wind tunnel. Heights count over the whole building.

    Parameters
    ----------
    site : Site
        Building height, base height, profile or difference.
    height : float
        Above the base of the wall. [m]
    wind_angle : float or array
        Between wind and wall normal. [degree]
    """
    fraction = _fraction(site, height)
    if site.cp_profile:
        pairs = sorted(site.cp_profile)
        windward = float(np.interp(fraction, [p[0] for p in pairs], [p[1] for p in pairs]))
        return difference_factor(wind_angle) * windward
    if site.cp_difference is not None:
        return difference_factor(wind_angle) * site.cp_difference * (0.5 - fraction)
    at_height, _ = profile(fraction, wind_angle)
    return at_height - _profile_mean(wind_angle)


def gust_pressure(
    site: Site, openings: Sequence[Opening], wind_angle: np.ndarray, density: np.ndarray, speed: np.ndarray
) -> np.ndarray:
    """Return the standard deviation of the pressure difference of the lowest and the highest opening [Pa]: an estimate.

    The wind tunnel gives the fluctuation at each tap, not the correlation of two; it is assumed to decrease as
    exp(-distance / building height) (our own assumption).

    Parameters
    ----------
    site : Site
        Building and base height.
    openings : sequence of Opening
        Low to high.
    wind_angle : array, (time,)
        Between wind and wall normal. [degree]
    density : array, (time,)
        Outdoor air. [kg/m3]
    speed : array, (time,)
        Wind at roof height on the site. [m/s]
    """
    if len(openings) < 2:
        return np.zeros(np.shape(speed))
    ends = (_fraction(site, openings[0].height), _fraction(site, openings[-1].height))
    low, high = (profile(end, wind_angle)[1] for end in ends)
    correlation = np.exp(-abs(ends[1] - ends[0]))
    rms = np.sqrt(np.maximum(low**2 + high**2 - 2.0 * correlation * low * high, 0.0))
    return rms * 0.5 * np.asarray(density) * np.square(speed)


def _fraction(site: Site, height: float) -> float:
    """Return a height [m] as a fraction of the building height [1]."""
    return min(max((site.base_height + height) / site.building_height, 0.0), 1.0)


def _profile_mean(wind_angle: float | np.ndarray) -> np.ndarray:
    """Return the mean of the wind-tunnel profile over the height [1]."""
    edges = np.array([0.0, *[row[0] for row in PROFILE], 1.0])
    angle = np.asarray(wind_angle, dtype=float)[..., np.newaxis]
    return np.trapezoid(profile(edges, angle)[0], edges, axis=-1)


def pressure_coefficients(
    site: Site, openings: Sequence[Opening], wind_angle: float | Sequence[float] | np.ndarray
) -> np.ndarray:
    """Return the pressure coefficient of every opening at every wind angle (E17).

    Parameters
    ----------
    site : Site
        Widths, heights, vertical difference.
    openings : sequence of Opening
        In any order; `exposure` chooses face, soffit (with the pressure of the adjacent wall, as in ASCE 7, memory),
        roof edge (suction of the flat roof at the wall) or the table of the opening.
    wind_angle : array, (time,)
        Between wind and wall normal. [degree]

    Returns
    -------
    array, (time, opening)
        On the dynamic pressure at roof height, site terrain. [1]
    """
    angle = np.atleast_1d(np.asarray(wind_angle, dtype=float))
    average = face_pressure_coefficient(angle, site.wall_width / site.side_width)
    out = np.empty((angle.size, len(openings)))
    for j, opening in enumerate(openings):
        if opening.exposure == "table" or opening.cp_table:
            out[:, j] = _from_table(opening.cp_table, angle)
        elif opening.exposure == "roof edge":
            out[:, j] = _from_table(ROOF_EDGE, angle) + (opening.cp_shift or 0.0)
        else:
            if opening.cp_shift is None:
                out[:, j] = average + height_shift(site, opening.height, angle)
            else:
                out[:, j] = average + difference_factor(angle) * opening.cp_shift
    return out


def _from_table(table: Sequence[tuple[float, float]], angle: np.ndarray) -> np.ndarray:
    """Interpolate; a table with angles from 0 to 180 only is the same for left and right."""
    pairs = sorted(table)
    angles = np.array([p[0] for p in pairs])
    values = np.array([p[1] for p in pairs])
    if angles.min() >= 0.0 and angles.max() <= 180.0:
        return np.interp(folded(angle), angles, values)
    return np.interp(angle, angles, values, period=360.0)


def wind_pressure(coefficient: np.ndarray, density: np.ndarray, speed: np.ndarray) -> np.ndarray:
    """Return Cp rho U^2 / 2 [Pa] (E18).

    Parameters
    ----------
    coefficient : array, (time, opening)
        From `pressure_coefficients`. [1]
    density : array, (time,)
        Outdoor air. [kg/m3]
    speed : array, (time,)
        Wind at roof height on the site. [m/s]
    """
    head = 0.5 * np.asarray(density, dtype=float) * np.square(speed)
    return np.asarray(coefficient) * np.atleast_1d(head)[:, np.newaxis]
