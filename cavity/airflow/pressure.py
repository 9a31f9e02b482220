"""Wind pressure coefficients at the openings, by wind angle and height; symmetric in the angle.

Two vents at one face-averaged coefficient give no drive at all, so the difference between base and head is what
matters, and it is the least certain input of the airflow: `DIFFERENCE_BAND` stands beside it in every report.
Gusts are left out: exchange by fluctuating pressure has no published formula for narrow cavities that we could confirm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cavity.wallfile.model import Opening, Site

CP_HEAD_ON = 0.6  # -, Swami & Chandra 1987, FSEC-CR-163-86 (read)
# Cp(base) - Cp(head): a user input with a low, mid and high value; no confirmed measurement (assumption)
DIFFERENCE_BAND = (0.05, 0.1, 0.3)
# The face mean is positive to about 60 degrees, and beyond 100 degrees the pressure varies little over the face (ASHRAE
# Fundamentals, airflow around buildings, read): the vertical difference fades from all to a fifth of it (the fifth is
# our own assumption for "little").
FADE_ANGLES = (60.0, 100.0)
FADE_REST = 0.2
# Flat roof beside the wall in question, low-rise, exposed; Liddament 1986 / 1996 (AIVC), memory
ROOF_EDGE = ((0.0, -0.8), (45.0, -0.7), (90.0, -0.6), (135.0, -0.5), (180.0, -0.4))


def face_pressure_coefficient(wind_angle: float | np.ndarray, side_ratio: float = 1.0) -> np.ndarray:
    """Return the pressure coefficient averaged over the face of a low building.

    Parameters
    ----------
    wind_angle : float or array
        Between wind and wall normal, 0 = head on; sign does not matter, folded into 0-180. [degree]
    side_ratio : float
        Width of this wall over width of the adjacent wall. [1]

    Returns
    -------
    array
        Face mean on the dynamic pressure at roof height. [1]

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
    """Return any angle folded into 0-180, left and right alike [degree]."""
    a = np.mod(np.asarray(wind_angle, dtype=float), 360.0)
    return np.minimum(a, 360.0 - a)


def difference_share(wind_angle: float | np.ndarray) -> np.ndarray:
    """Return the share of the windward vertical difference that is left at an angle [1]; 1 to 60, 0.2 from 100 degrees.

    Parameters
    ----------
    wind_angle : float or array
        Between wind and wall normal. [degree]
    """
    return np.interp(folded(wind_angle), FADE_ANGLES, (1.0, FADE_REST))


def height_shift(site: Site, height: float) -> float:
    """Return what the windward coefficient at a height differs from the face mean [1].

    The explicit profile wins; else the difference base less head runs in a straight line over the building height.

    Parameters
    ----------
    site : Site
        Building height, base height, profile or difference.
    height : float
        Above the base of the wall. [m]
    """
    share = min(max((site.base_height + height) / site.building_height, 0.0), 1.0)
    if site.pressure_profile:
        pairs = sorted(site.pressure_profile)
        return float(np.interp(share, [p[0] for p in pairs], [p[1] for p in pairs]))
    return site.pressure_difference * (0.5 - share)


def pressure_coefficients(site: Site, openings: Sequence[Opening], wind_angle: float | np.ndarray) -> np.ndarray:
    """Return the pressure coefficient of every opening at every wind angle.

    Parameters
    ----------
    site : Site
        Widths, heights, vertical difference.
    openings : sequence of Opening
        In any order; `exposure` chooses face, soffit (takes the pressure of the wall beside it, as ASCE 7 does,
        memory), roof edge (suction of the flat roof beside the wall) or the opening's own table.
    wind_angle : array, (time,)
        Between wind and wall normal. [degree]

    Returns
    -------
    array, (time, opening)
        On the dynamic pressure at roof height, site terrain. [1]
    """
    angle = np.atleast_1d(np.asarray(wind_angle, dtype=float))
    face = face_pressure_coefficient(angle, site.wall_width / site.side_width)
    share = difference_share(angle)
    out = np.empty((angle.size, len(openings)))
    for j, opening in enumerate(openings):
        if opening.exposure == "table" or opening.pressure_table:
            out[:, j] = _from_table(opening.pressure_table, angle)
        elif opening.exposure == "roof edge":
            out[:, j] = _from_table(ROOF_EDGE, angle) + (opening.pressure_shift or 0.0)
        else:
            shift = opening.pressure_shift
            if shift is None:
                shift = height_shift(site, opening.height)
            out[:, j] = face + share * shift
    return out


def _from_table(table: Sequence[tuple[float, float]], angle: np.ndarray) -> np.ndarray:
    """Interpolate; a table without negative angles or angles above 180 is taken as the same left and right."""
    pairs = sorted(table)
    angles = np.array([p[0] for p in pairs])
    values = np.array([p[1] for p in pairs])
    if angles.min() >= 0.0 and angles.max() <= 180.0:
        return np.interp(folded(angle), angles, values)
    return np.interp(angle, angles, values, period=360.0)


def wind_pressure(coefficient: np.ndarray, density: np.ndarray, speed: np.ndarray) -> np.ndarray:
    """Return Cp rho U^2 / 2 [Pa].

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
