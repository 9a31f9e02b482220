"""Solve one wall without a cavity under given boundary conditions: for published cases and for single walls.

The hourly loop of `simulate` uses the same residual and Jacobian; here the caller chooses the time steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.constants import STANDARD_PRESSURE
from cavity.errors import ConvergenceError
from cavity.kernels import boundaries, potential, wall_section
from cavity.kernels import wall as kernel
from cavity.units import COLDEST, HOTTEST, check_range

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from cavity.wall.grid import Line

_TOLERANCE = 1e-5  # W/m2 in any row; the remaining residual is carried to the next step
_MOST_UPDATES = 30
_MOST_HALVINGS = 30


@dataclass(frozen=True)
class History:
    """State of a wall at the requested times.

    Parameters
    ----------
    time : array, (moments,)
        Time since the start. [s]
    temperature : array, (moments, nodes)
        Node temperatures, surfaces included. [K]
    humidity : array, (moments, nodes)
        Relative humidity, 0-1. [1]
    water : array, (moments, nodes)
        Water content of cells; 0 at surfaces. [kg/m3]
    total : array, (moments,)
        Water in the whole wall, films included. [kg/m2]
    entered : array, (moments,)
        Water that entered through both surfaces since the start. [kg/m2]
    flux : array, (moments, FLUX_COUNT)
        Flux record of the last step before each moment, see `kernels.boundaries`.
    """

    time: NDArray[np.float64]
    temperature: NDArray[np.float64]
    humidity: NDArray[np.float64]
    water: NDArray[np.float64]
    total: NDArray[np.float64]
    entered: NDArray[np.float64]
    flux: NDArray[np.float64]


def surroundings(
    *,
    outdoor: float,
    indoor: float,
    vapour_outdoor: float = 0.0,
    vapour_indoor: float = 0.0,
    heat_outside: float = 0.0,
    heat_inside: float = 0.0,
    vapour_outside: float = 0.0,
    vapour_inside: float = 0.0,
    absorbed_radiation: float = 0.0,
    rain: float = 0.0,
) -> boundaries.BoundaryConditions:
    """Return the boundary conditions on both surfaces of a wall; a coefficient of zero closes a surface.

    Parameters
    ----------
    outdoor, indoor : float, keyword only
        Air temperatures. [K]
    vapour_outdoor, vapour_indoor : float, keyword only
        Vapour pressures of the air. [Pa]
    heat_outside, heat_inside : float, keyword only
        Surface heat transfer coefficients, radiation included. [W/(m2 K)]
    vapour_outside, vapour_inside : float, keyword only
        Surface vapour transfer coefficients. [s/m]
    absorbed_radiation : float, keyword only
        Heat absorbed by the exterior surface. [W/m2]
    rain : float, keyword only
        Water reaching the exterior surface. [kg/(m2 s)]

    Returns
    -------
    BoundaryConditions
        For `march`; its step is set there.
    """
    check_range("surroundings, outdoor", outdoor, "K", COLDEST, HOTTEST)
    check_range("surroundings, indoor", indoor, "K", COLDEST, HOTTEST)
    return boundaries.BoundaryConditions(
        T_out=outdoor, p_out=vapour_outdoor, h_out=heat_outside, beta_out=vapour_outside,
        absorbed_radiation=absorbed_radiation, emissivity=0.0, rain=rain, T_in=indoor, p_in=vapour_indoor,
        h_in=heat_inside, beta_in=vapour_inside, T_air=outdoor, p_air=vapour_outdoor, inlet_weight_heat=0.0,
        inlet_weight_vapour=0.0, h_cladding=0.0, h_wall=0.0, emissivity_cavity=0.0, leak=0.0,
        leak_node=0, rain_in=0.0, rain_node=0, pressure=STANDARD_PRESSURE, dt=1.0,
    )  # fmt: skip


def march(
    line: Line,
    conditions: boundaries.BoundaryConditions | Callable[[float], boundaries.BoundaryConditions],
    *,
    temperature: ArrayLike,
    humidity: ArrayLike,
    moments: ArrayLike,
    first_step: float = 1.0,
    growth: float = 0.01,
    longest: float = np.inf,
) -> History:
    """Solve heat and moisture in one wall from a start state to each of the requested times.

    Backward Euler, first order. The step is a fraction of the elapsed time, which suits a sudden change at the start;
    it is halved where the solver does not converge.

    Parameters
    ----------
    line : Line
        From `grid.build_solid_line`.
    conditions : BoundaryConditions or callable
        Boundary conditions, or a function of the time at the end of a step [s] that returns them.
    temperature : array_like, scalar or (nodes,), keyword only
        Start temperature. [K]
    humidity : array_like, scalar or (nodes,), keyword only
        Start relative humidity, 0-1. [1]
    moments : array_like, (moments,), keyword only
        Increasing times. [s]
    first_step, longest : float, keyword only
        Smallest and largest step. [s]
    growth : float, keyword only
        Step as a fraction of the elapsed time. [1]

    Returns
    -------
    History

    Raises
    ------
    InputError
        If a temperature is not in kelvin or a humidity is not a fraction.
    ConvergenceError
        If a step fails even when halved thirty times.
    """
    check_range("march, temperature", temperature, "K", COLDEST, HOTTEST)
    check_range("march, humidity", humidity, "1", 0.0, 1.0)
    nodes = line.nodes
    grid = line.grid
    T = np.full(nodes, temperature, dtype=float) if np.ndim(temperature) == 0 else np.array(temperature, dtype=float)
    phi = np.broadcast_to(np.asarray(humidity, dtype=float), (nodes,))
    u = np.array([potential.of_humidity(value, at) for value, at in zip(phi, T, strict=True)])
    work = wall_section.work_arrays(grid)
    kernel.evaluate(grid, T, u, work)
    W, E = wall_section.read(work, wall_section.WATER), wall_section.read(work, wall_section.ENTHALPY)
    flux, runoff, shed = np.zeros(boundaries.FLUX_COUNT), np.zeros(nodes), np.zeros(nodes)
    times = np.atleast_1d(np.asarray(moments, dtype=float))
    rows: list[tuple[Any, ...]] = []
    now, entered, step = 0.0, 0.0, first_step
    for time in times:
        while now < time * (1.0 - 1e-12):
            step = min(max(first_step, growth * now), longest, time - now)
            for _ in range(_MOST_HALVINGS):
                edge = (conditions(now + step) if callable(conditions) else conditions)._replace(dt=step)
                T_new, u_new = T.copy(), u.copy()
                status, _, worst = kernel.step(
                    grid, edge, T_new, u_new, W, E, work, flux, runoff, shed, _TOLERANCE, _MOST_UPDATES
                )
                # a NaN residual would pass the comparison with the limit
                if status == 0 and np.isfinite(T_new).all() and np.isfinite(W + E).all():
                    break
                step *= 0.5
            else:
                raise ConvergenceError(
                    f"no convergence {now:.6g} s after the start: residual {worst:.3g} W/m2, limit {_TOLERANCE:g}, "
                    f"step {step:.3g} s; try a smaller first step or smaller cells"
                )
            T, u = T_new, u_new
            now += step
            entered += step * float(
                flux[boundaries.OUT_VAPOUR] + flux[boundaries.OUT_RAIN] + flux[boundaries.ROOM_VAPOUR]
            )
        humidity_now = np.array([potential.humidity(a, b)[0] for a, b in zip(u, T, strict=True)])
        content = np.divide(W, grid.thickness, out=np.zeros(nodes), where=grid.thickness > 0.0)
        rows.append((T.copy(), humidity_now, content, np.float64(W.sum()), np.float64(entered), flux.copy()))
    return History(times, *(np.array(column) for column in zip(*rows, strict=True)))
