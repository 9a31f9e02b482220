"""Buoyant flow through a cavity with given surface temperatures: for comparison with heated plates and chimneys.

Network and convection are those of the hourly model; openings are rows of `cavity.kernels.pressure_drop`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cavity.airflow.losses import channel_row
from cavity.constants import DRY_AIR_HEAT, GRAVITY, R_AIR, STANDARD_PRESSURE
from cavity.errors import Fault, InputError
from cavity.kernels import cavity_air, moist_air, network
from cavity.kernels.pressure_drop import RESTRICTION_COLUMNS
from cavity.units import COLDEST, DENSEST, THINNEST, check_range

_ROUNDS = 400  # most iterations of flow and temperature, under-relaxed by 0.5
_CONVERGED = 1e-10  # relative change of the heat at which the iteration stops


@dataclass(frozen=True)
class HeatedFlow:
    """Flow through a heated cavity, per metre of width.

    Parameters
    ----------
    flow : float
        Air, upwards. [kg/(s m)]
    heat : float
        Carried out by the air. [W/m]
    outlet : float
        Temperature at the top. [K]
    reynolds : float
        On twice the depth. [1]
    """

    flow: float
    heat: float
    outlet: float
    reynolds: float


def heated_cavity(
    height: float,
    depth: float,
    *,
    first: float,
    second: float | None,
    inlet: float,
    base: np.ndarray,
    head: np.ndarray,
    entry: float = cavity_air.ABRUPT,
    segments: int = 3,
    pressure: float = STANDARD_PRESSURE,
) -> HeatedFlow:
    """Return the steady buoyant flow between two surfaces of given temperature.

    Parameters
    ----------
    height, depth : float
        Cavity. [m]
    first, second : float or None, keyword only
        Temperature of the surfaces; None: that surface is insulated. [K]
    inlet : float, keyword only
        Air that enters, and outdoors. [K]
    base, head : array, (6,), keyword only
        Rows of the openings at bottom and top, as `losses.opening_row` returns them. [SI]
    entry : float, keyword only
        Mixing behind the base, see `cavity_air.forced_nusselt`. [1]
    segments : int, keyword only
        Pieces of the height. [1]
    pressure : float, keyword only
        Atmospheric pressure. [Pa]

    Returns
    -------
    HeatedFlow

    Raises
    ------
    InputError
        If a number is out of range, or the mean of the surfaces is colder than the inlet.
    """
    check_range("heated_cavity, depth", depth, "m", 1e-5, 1.0)
    check_range("heated_cavity, height", height, "m", 1e-3, 500.0)
    for name, value in (("first", first), ("second", second), ("inlet", inlet)):
        if value is not None:
            check_range(f"heated_cavity, {name}", value, "K", COLDEST, 1500.0)  # hot plates of experiments
    check_range("heated_cavity, pressure", pressure, "Pa", THINNEST, DENSEST)
    check_range("heated_cavity, segments", segments, "", 1, 1000)
    if (first if second is None else 0.5 * (first + second)) < inlet:
        mean = first if second is None else 0.5 * (first + second)
        raise InputError(
            Fault(
                "heated_cavity, first and second", "colder than the air that enters", f"mean {mean:g} K",
                f"above the inlet, {inlet:g} K", "raise the surface temperatures, or lower the inlet",
            )
        )  # fmt: skip
    openings = np.array([base, head], dtype=float).reshape(2, RESTRICTION_COLUMNS)
    link = channel_row(depth, height)[np.newaxis]
    none, no_part, opened = np.zeros((0, RESTRICTION_COLUMNS)), np.zeros(0, dtype=np.int64), np.ones(1, dtype=np.int64)
    flow, work = np.zeros(1), np.zeros((network.WORK_ROWS, 3))
    chain = np.zeros((network.CHAIN_ROWS, 3), dtype=np.int64)
    rho_out, mu = pressure / (R_AIR * inlet), moist_air.viscosity(inlet)
    air = np.full(segments, inlet + 0.1 * (first - inlet))
    other = np.full(segments, inlet if second is None else second)
    piece = height / segments
    q = heat = 0.0
    outlet = inlet
    for turn in range(_ROUNDS):
        rho = pressure / R_AIR * np.mean(1.0 / air)
        flow[0] = q
        network.solve_column(
            openings, link, none, no_part, opened, np.array([(rho_out - rho) * GRAVITY * height]), rho_out,
            np.array([rho]), mu, flow, work, chain,
        )  # fmt: skip
        q = flow[0] if turn == 0 else 0.5 * (q + flow[0])
        entering = inlet
        for s in range(segments):
            v = q / (pressure / (R_AIR * air[s]) * depth)
            h1, h2 = cavity_air.face_coefficients(v, first, other[s], air[s], depth, height, pressure, entry)
            h2 = 0.0 if second is None else h2
            mean, outlet = cavity_air.exchange(h1, h2, first, other[s], entering, q * DRY_AIR_HEAT / piece)
            air[s] = 0.5 * (air[s] + mean)
            if second is None:
                other[s] = air[s]
            entering = outlet
        before, heat = heat, q * DRY_AIR_HEAT * (outlet - inlet)
        if abs(heat - before) <= _CONVERGED * abs(heat):
            break
    return HeatedFlow(q, heat, outlet, 2.0 * q / mu)


def heated_by(power: float, height: float, depth: float, *, inlet: float, **options: Any) -> HeatedFlow:
    """Return the flow where one surface emits a given heat and the other is insulated.

    Parameters
    ----------
    power : float
        Heat emitted by the surface. [W/m]
    height, depth : float
        Cavity. [m]
    inlet : float, keyword only
        Air that enters. [K]
    **options
        base, head, entry, segments, pressure as for `heated_cavity`. [SI]

    Returns
    -------
    HeatedFlow
    """
    from scipy.optimize import brentq

    def missing(excess: float) -> float:
        return heated_cavity(height, depth, first=inlet + excess, second=None, inlet=inlet, **options).heat - power

    excess = brentq(missing, 0.01, 500.0, xtol=1e-6)
    return heated_cavity(height, depth, first=inlet + excess, second=None, inlet=inlet, **options)
