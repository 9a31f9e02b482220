"""Hourly boundary conditions of a wall: exterior film, sun and sky, wind, rain, the room, and leaking room air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.climate.humid import table_saturation_pressure
from cavity.climate.on_wall import sky_fraction
from cavity.climate.outside import outside_coefficient
from cavity.constants import HOUR

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import ArrayLike, NDArray

    from cavity.airflow.column import ColumnAir
    from cavity.kernels import year_arrays
    from cavity.wall.grid import Line
    from cavity.wallfile.model import Wall

# m, still air with the vapour resistance of the interior surface, by direction of heat flow; EN 15026 draft (CEN/TC 89
# WI 29.3)
ROOM_VAPOUR_LAYER = {"up": 0.004, "horizontal": 0.008, "down": 0.03}
# Permeance of the leaks that wet a wall [m3/(m2 h Pa)] by the air permeability q50 of the envelope [m3/(m2 h)]:
# Kuenzel et al. 2012, from memory and doubtful, the text was not at hand
_LEAK_BY_Q50 = ((0.0, 0.0), (1.0, 0.004), (3.0, 0.007), (5.0, 0.010))


def leak_permeance(q50: float) -> float:
    """Return the permeance of the leaks that wet the wall with indoor air.

    Parameters
    ----------
    q50 : float
        Air permeability of the envelope: flow at 50 Pa per area of the envelope, as measured. [m3/(m2 s)]

    Returns
    -------
    float
        Flow per pressure; linear from zero through the published points and beyond the last. It is 10 to 20 % of
        q50 / 50 Pa: most leaks are short and wide, so that their surfaces are warm and stay dry.
        [m3/(m2 s Pa)]

    References
    ----------
    H. M. Kuenzel, D. Zirkelbach, B. Schafaczek, Modelling the effect of air leakage in hygrothermal envelope
    simulation, 2012: 0.004, 0.007 and 0.010 m3/(m2 h Pa) at q50 of 1, 3 and 5 m3/(m2 h), from memory and doubtful:
    the paper was not at hand, and recalled values differ by a factor of 1.5 to 1.9.

    Examples
    --------
    >>> round(3600 * leak_permeance(3 / 3600), 4)
    0.007
    """
    per_hour = HOUR * q50
    points, values = zip(*_LEAK_BY_Q50, strict=True)
    if per_hour > points[-1]:
        slope = (values[-1] - values[-2]) / (points[-1] - points[-2])
        return (values[-1] + slope * (per_hour - points[-1])) / HOUR
    return float(np.interp(per_hour, points, values)) / HOUR


def density_of(T: NDArray[np.float64], p: Any, pressure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the density of moist air [kg/m3] from temperature [K], vapour pressure and air pressure [Pa]; arrays."""
    from cavity.constants import R_AIR, R_VAPOUR

    return (pressure - p) / (R_AIR * T) + p / (R_VAPOUR * T)


def leak_flow(
    wall: Wall,
    outdoor: NDArray[np.float64],
    indoor: NDArray[np.float64],
    pressure: NDArray[np.float64],
    *,
    vapour_outdoor: ArrayLike = 0.0,
    vapour_indoor: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Return the indoor air that leaks into the wall in each hour (E56).

    With q50, the flow is `leak_permeance` times the stack pressure at the top of the connected indoor air, half its
    height above the neutral level. Inward flow in warm hours and wind are neglected.

    Parameters
    ----------
    wall : Wall
        With `wetting.leak_flow`, or `wetting.leak_q50` and `wetting.leak_height`.
    outdoor, indoor : array, (time,)
        Air temperatures. [K]
    pressure : array, (time,)
        Atmospheric pressure. [Pa]
    vapour_outdoor, vapour_indoor : array_like, (time,), keyword only
        Vapour pressure of the air; moist air is lighter. [Pa]

    Returns
    -------
    array, (time,)
        Leaking air. [kg/(m2 s)]

    References
    ----------
    H. M. Kuenzel, D. Zirkelbach, B. Schafaczek, Modelling the effect of air leakage in hygrothermal envelope
    simulation, 2012: method from memory.
    """
    from cavity.constants import GRAVITY

    wetting = wall.wetting
    if wetting.leak_layer is None:
        return np.zeros(len(outdoor))
    if not wetting.leak_q50:
        return np.full(len(outdoor), wetting.leak_flow)
    height = wetting.leak_height or wall.site.building_height
    inside = density_of(indoor, np.asarray(vapour_indoor), pressure)
    stack = (density_of(outdoor, np.asarray(vapour_outdoor), pressure) - inside) * GRAVITY * 0.5 * height
    return leak_permeance(wetting.leak_q50) * inside * np.maximum(stack, 0.0)


def forcing(
    wall: Wall,
    air: ColumnAir,
    line: Line,
    outside: xr.Dataset,
    room_T: NDArray[np.float64],
    room_phi: NDArray[np.float64],
) -> year_arrays.Forcing:
    """Return the hourly boundary conditions of a wall: absorbed radiation (E10), wind (E18), room (E54).

    Parameters
    ----------
    wall : Wall
        The wall.
    air : ColumnAir
        With the openings that the wind acts on.
    line : Line
        With the nodes that receive leaking air and penetrating rain.
    outside : xarray.Dataset, (time,)
        From `climate.on_wall`.
    room_T, room_phi : array, (time,)
        Room air: temperature and relative humidity. [K], [1]

    Returns
    -------
    Forcing
        Arrays (time,), wind (time, opening). [SI]
    """
    from cavity.airflow.pressure import gust_pressure, pressure_coefficients, wind_pressure
    from cavity.constants import ISO_AIR_PERMEABILITY, STEFAN_BOLTZMANN
    from cavity.kernels import year_arrays
    from cavity.wall.uvalue import INNER_SURFACE, heat_flow_direction

    def column(name: str) -> NDArray[np.float64]:
        return np.ascontiguousarray(outside[name].to_numpy(), dtype=float)

    T_out, p_out, pressure = column("temperature_outdoor"), column("vapour_pressure_outdoor"), column("pressure")
    speed, angle, rain = column("wind_speed_site"), column("wind_angle"), column("driving_rain")
    direction = heat_flow_direction(wall.tilt)
    sky = sky_fraction(wall.tilt)
    view = sky * column("sky_temperature") ** 4 + (1.0 - sky) * T_out**4
    gain = wall.solar_absorptance * column("sun_on_wall") + wall.emissivity * STEFAN_BOLTZMANN * view
    density = density_of(T_out, p_out, pressure)
    wind = wind_pressure(pressure_coefficients(wall.site, air.openings, angle), density, speed)
    p_in = room_phi * table_saturation_pressure(room_T)
    rain_in = wall.wetting.rain_penetration * rain
    leak = leak_flow(wall, T_out, room_T, pressure, vapour_outdoor=p_out, vapour_indoor=p_in)
    return year_arrays.Forcing(
        T_out=T_out,
        p_out=p_out,
        pressure=pressure,
        absorbed_radiation=gain,
        h_out=np.asarray(outside_coefficient(speed)),
        wind=np.ascontiguousarray(wind, dtype=float).reshape(len(T_out), len(air.openings)),
        speed=speed,
        gust=gust_pressure(wall.site, air.openings, angle, density, speed),
        rain=rain - rain_in,
        rain_in=rain_in,
        T_in=np.ascontiguousarray(room_T, dtype=float),
        p_in=np.ascontiguousarray(p_in, dtype=float),
        leak=leak,
        emissivity=wall.emissivity,
        h_in=1.0 / INNER_SURFACE[direction],  # convection and radiation together
        beta_in=ISO_AIR_PERMEABILITY / ROOM_VAPOUR_LAYER[direction],
        leak_node=plane_node(wall, line, wall.wetting.leak_layer or 0),
        rain_node=plane_node(wall, line, wall.wetting.rain_penetration_layer),
    )


def plane_node(wall: Wall, line: Line, layer: int) -> int:
    """Return the node of the exterior surface of a backup layer, which receives rain or leaking air.

    Parameters
    ----------
    wall : Wall
        The wall.
    line : Line
        The line through it.
    layer : int
        Index of the layer in the backup wall, outside to inside.

    Returns
    -------
    int
        Node of the line.
    """
    name = wall.backup[layer].name
    return next(face.node for face in line.faces if face.inner == name)
