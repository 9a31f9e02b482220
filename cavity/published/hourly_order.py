"""Observed orders of convergence: coupled heat and vapour against an exact solution, films against their own equations.

Coupled: a slab whose small periodic exchange with air on both sides is linear, so that each eigenvector of the coupled
diffusion has a closed form (Henry 1939). Films: the hourly run of a case of sheets only, whose temperatures and films
are six ordinary differential equations, written here from docs/theory.md and integrated to 1e-8.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.constants import (
    DRY_AIR_HEAT,
    EVAPORATION_HEAT,
    HOUR,
    ICE_POINT,
    LEWIS_VAPOUR,
    STANDARD_PRESSURE,
    STEFAN_BOLTZMANN,
    VAPOUR_HEAT,
    WATER_HEAT,
    WATER_TO_AIR,
)
from cavity.kernels import boundaries, cavity_air, moist_air, potential, wall_section
from cavity.kernels import wall as kernel
from cavity.published.case import ANALYTICAL, Case, value_case
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.model import Column, Layer, Material, Opening, OpeningSet

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr
    from numpy.typing import NDArray

    from cavity.wallfile import model

_HENRY = "P. S. H. Henry, Diffusion in absorbing media, Proc. R. Soc. A 171, 1939, from memory; eigenvectors here"
_THEORY = "own equations of docs/theory.md, integrated to 1e-8"

# ---- coupled heat and vapour -----------------------------------------------------------------------------------------
_SLAB = Material(
    "slab", "slab", density=300.0, conductivity=0.08, specific_heat=1500.0, mu_dry=6.0, mu_wet=6.0,
    sorption=((0.2, 10.0), (0.4, 20.0), (0.6, 30.0), (0.8, 40.0)), free_saturation=200.0, max_saturation=200.0,
    source="fictitious material: straight isotherm, no liquid flow",
)  # fmt: skip
_THICKNESS = 0.04  # m
_SLOPE = 50.0  # kg/m3 per unit of relative humidity, of that isotherm
_T, _PHI = 293.15, 0.5  # mean state
_PERIOD = 6.0 * HOUR
_OUT = (15.0, 1e-7)  # W/(m2 K), s/m
_ROOM = (8.0, 2.5e-8)
_WAVE = (1e-3, 0.02, 1.0)  # K, Pa, rad: outdoor air; the pressure lags. Small: squares of it do not count
_GAMMA = 1.0 - math.sqrt(0.5)  # of the hourly run's steps


@functools.cache
def _exact() -> tuple[float, NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128]]:
    """Return (mean vapour pressure, roots k, eigenvectors, amplitudes) of the exact solution.

    Unknowns temperature and relative humidity: M dX/dt = K d2X/dx2 by E4, E5, E7, E42, E43 at the mean state.
    """
    saturated, slope = moist_air.saturation(_T)
    p = _PHI * saturated
    # at constant u the humidity follows the temperature, but water is a function of u: 1 % of the terms, kept. d(phi)
    # here is that of u at 20 degC, which is the mean temperature
    p_T = _PHI * slope + p * math.log(1.0 / _PHI) / _T
    p_phi = saturated
    water, h = _SLOPE * _PHI, EVAPORATION_HEAT + VAPOUR_HEAT * (_T - ICE_POINT)
    x = _T - ICE_POINT
    G = moist_air.air_permeability(_T, STANDARD_PRESSURE) / _SLAB.mu_dry
    M = np.array([[_SLAB.density * _SLAB.specific_heat + water * WATER_HEAT, _SLOPE * WATER_HEAT * x], [0.0, _SLOPE]])
    K = np.array([[_SLAB.conductivity + G * p_T * h, G * p_phi * h], [G * p_T, G * p_phi]])
    squares, V = np.linalg.eig(2j * np.pi / _PERIOD * np.linalg.solve(K, M))
    k = np.sqrt(squares)

    def surface(heat: float, vapour: float) -> NDArray[np.float64]:
        return np.array([[heat + vapour * h * p_T, vapour * h * p_phi], [vapour * p_T, vapour * p_phi]])

    # X = V (a e^(-k x) + b e^(-k (L - x))); what enters at each surface is what its air gives
    far, KV = np.exp(-k * _THICKNESS), K @ V
    out, room = surface(*_OUT) @ V, surface(*_ROOM) @ V
    system = np.block([[KV * k + out, -KV * (k * far) + out * far], [-KV * (k * far) + room * far, KV * k + room]])
    dp = _WAVE[1] * np.exp(-1j * _WAVE[2])
    drive = np.array([_OUT[0] * _WAVE[0] + _OUT[1] * h * dp, _OUT[1] * dp, 0.0, 0.0])
    return p, k, V, np.linalg.solve(system, drive)


def exact(x: NDArray[np.float64], time: float) -> NDArray[np.float64]:
    """Return the exact departure of temperature [K] and relative humidity [1] from the mean, (2, points).

    Parameters
    ----------
    x : array, (points,)
        Depth in the slab. [m]
    time : float
        [s]
    """
    _, k, V, amplitude = _exact()
    shape = amplitude[:2] * np.exp(-np.outer(x, k)) + amplitude[2:] * np.exp(-np.outer(_THICKNESS - x, k))
    return ((shape @ V.T) * np.exp(2j * np.pi * time / _PERIOD)).real.T


def _around(time: float, dt: float) -> boundaries.BoundaryConditions:
    from cavity.wall import solve

    p, angle = _exact()[0], 2.0 * np.pi * time / _PERIOD
    return solve.surroundings(
        outdoor=_T + _WAVE[0] * math.cos(angle), vapour_outdoor=p + _WAVE[1] * math.cos(angle - _WAVE[2]),
        indoor=_T, vapour_indoor=p, heat_outside=_OUT[0], vapour_outside=_OUT[1], heat_inside=_ROOM[0],
        vapour_inside=_ROOM[1],
    )._replace(dt=dt)  # fmt: skip


@functools.cache
def coupled_error(refine: float, steps: int) -> tuple[float, float]:
    """Return the largest error of temperature and of relative humidity after one period, over their amplitudes [1].

    Parameters
    ----------
    refine : float
        2 halves every cell. [1]
    steps : int
        Of the kind that the hourly run takes, in the period of six hours. [1]
    """
    from cavity.wall.grid import build_solid_line

    line = build_solid_line((Layer("slab", _SLAB, _THICKNESS),), refine=refine)
    grid, n = line.grid, line.nodes
    start = exact(line.position, 0.0)
    T = _T + start[0]
    u = -np.log(-np.log(_PHI + start[1]))  # at 20 degC
    w = wall_section.work_arrays(grid)
    kernel.evaluate(grid, T, u, w)
    W, E = wall_section.read(w, wall_section.WATER), wall_section.read(w, wall_section.ENTHALPY)
    flux, runoff, shed = np.zeros(boundaries.FLUX_COUNT), np.zeros(n), np.zeros(n)
    wall_section.set_stores(w, W, E)
    dt = _PERIOD / steps
    for step in range(steps):
        for at, passes in ((_GAMMA, 1.0 - _GAMMA), (1.0, _GAMMA)):
            edge = _around((step + at) * dt, _GAMMA * dt)
            for update in range(20):
                kernel.eval_state(grid, STANDARD_PRESSURE, w)
                if max(kernel.assemble_boundaries(grid, edge, w, flux, 1e-9, 1.0)) <= 1e-9:
                    break
                kernel.update(w, update)
            else:
                raise ArithmeticError("the coupled slab did not converge")
            kernel.advance(w, passes * dt)
        kernel.commit(grid, w, T, u, W, E, runoff, shed)
    end = exact(line.position, _PERIOD)
    computed = np.array([T - _T, np.exp(-np.exp(-u)) - _PHI])
    error, size = np.abs(computed - end).max(axis=1), np.abs(end).max(axis=1)
    return float(error[0] / size[0]), float(error[1] / size[1])


# ---- growth and drying of films --------------------------------------------------------------------------------------
_SHEET = Material(
    "sheet", "sheet", density=2700.0, conductivity=1e5, specific_heat=900.0, mu_dry=1e9, mu_wet=1e9,
    source="fictitious material: the same temperature through its thickness, airtight",
)  # fmt: skip
_PANEL, _BACKUP = 0.003, 0.012  # m
_DEPTH, _HEIGHT, _VENT, _CLEAR = 0.03, 3.0, 0.02, 0.02  # m, m, m2/m, m: cavity and the one vent at its base
_EMISSIVITY = 0.9
_START, _SKIN = 7.0, 5e-8  # potential at which a film starts, kg/m2 per unit of potential on any surface (E38)
_HOURS = 30  # from noon: a clear night, the morning after, until the evening


def dew_weather() -> xr.Dataset:
    """Return fictitious weather of 30 hours from noon: damp air, a clear night, no rain and no direct sun; (time,)."""
    import xarray as xr

    from cavity.wall.saturation import saturation_pressure

    hour = np.arange(_HOURS)
    day = 2.0 * np.pi * (hour + 12.5 - 15.0) / 24.0
    temperature = ICE_POINT + 12.0 + 5.0 * np.cos(day)
    humidity = 0.86 - 0.13 * np.cos(day)
    sky = temperature - 14.0 + 8.0 * np.cos(2.0 * np.pi * (hour + 12.5 - 13.0) / 24.0)
    columns = {
        "temperature_outdoor": temperature,
        "relative_humidity_outdoor": humidity,
        "vapour_pressure_outdoor": humidity * saturation_pressure(temperature),
        "wind_speed": 2.0 + np.cos(day),
        "infrared_horizontal": STEFAN_BOLTZMANN * sky**4,
    } | dict.fromkeys(("global_horizontal", "direct_normal", "diffuse_horizontal", "rain"), 0.0 * hour)
    columns |= {"pressure": np.full(_HOURS, STANDARD_PRESSURE), "wind_direction": np.full(_HOURS, 225.0)}
    start = np.datetime64("2001-04-01T12", "h")
    return xr.Dataset(
        {name: ("time", values) for name, values in columns.items()},
        coords={"time": (start + hour.astype("timedelta64[h]")).astype("datetime64[ns]")},
        attrs={
            "name": "fictitious clear night", "latitude": 50.0, "longitude": 0.0, "utc_offset": 0.0, "elevation": 0.0,
            "has_rain": 1, "warnings": "[]",
        },
    )  # fmt: skip


def _sheets() -> model.Case:
    """Return the case of two sheets with a cavity that has one vent."""
    wall = parse_wall(starter(), "starter wall")
    vent = Opening("base", 0.0, "slot", _VENT, clear_height=_CLEAR)
    wall = dataclasses.replace(
        wall,
        cladding=(Layer("panel", _SHEET, _PANEL),),
        backup=(Layer("backup", _SHEET, _BACKUP),),
        rails=(),
        barriers=(),
        columns=(Column("whole", 0.0, _HEIGHT),),
        opening_sets=(OpeningSet("base alone", (vent,)),),
        emissivity=_EMISSIVITY,
        cavity=dataclasses.replace(
            wall.cavity, depth=_DEPTH, emissivity_cladding=_EMISSIVITY, emissivity_wall=_EMISSIVITY,
            single_vent_exchange=1.0, film_limit=0.1,
        ),
        indoor=dataclasses.replace(
            wall.indoor, model="constant", temperature=(ICE_POINT + 14.0,), relative_humidity=(0.5,)
        ),
        wetting=dataclasses.replace(wall.wetting, rain_penetration=0.0, rain_penetration_layer=0, leak_layer=None),
        run=dataclasses.replace(wall.run, segments=1, max_years=1, start_month=4, start_humidity=0.7),
    )  # fmt: skip
    return wall.case()


@functools.cache
def film_run(refine: int) -> xr.Dataset:
    """Return the hourly run of the two sheets, its steps divided by `refine`."""
    from cavity.hourly.run import simulate_case

    return simulate_case(_sheets(), dew_weather(), refine_steps=refine)


def _mass(u: NDArray[np.float64]) -> NDArray[np.float64]:
    return 0.004 * np.maximum(u - _START, 0.0) ** 2 + _SKIN * (u - potential.U_LOW)


def _start() -> NDArray[np.float64]:
    """Return temperatures of both sheets [K] and potentials of the four surfaces from which the run starts."""
    from cavity.hourly.assembly import assemble

    run = assemble(_sheets(), dew_weather())
    grid, state = run.line.grid, run.state
    sheet = np.arange(run.line.nodes) > grid.cladding_back
    T = [np.average(state.T[0, part], weights=grid.thickness[part]) for part in (~sheet, sheet)]
    return np.array([*T, *state.u[0, run.readings.film]])


@functools.cache
def films_by_hand() -> NDArray[np.float64]:
    """Return the water on both surfaces of the panel at the end of each hour [kg/m2], (hour, 2), by a code of its own.

    Unknowns: temperatures of panel and backup, potentials of exterior surface, back of the panel, front of the backup
    and interior surface (E30, E32, E37 to E40, E53, E54); the air of the cavity stores nothing. Warmer than 0 degC,
    below the limit.
    """
    from scipy.integrate import solve_ivp

    ds = film_run(1)
    sky = 0.5 * math.sqrt(0.5)  # of an upright wall (E9)
    eps = _EMISSIVITY * STEFAN_BOLTZMANN
    between = STEFAN_BOLTZMANN / (2.0 / _EMISSIVITY - 1.0)
    P, T_room = STANDARD_PRESSURE, ICE_POINT + 14.0
    p_room = 0.5 * moist_air.saturation(T_room)[0]
    capacity = _SHEET.density * _SHEET.specific_heat
    series = [ds[name].values for name in (
        "temperature_outdoor", "vapour_pressure_outdoor", "sky_temperature", "wind_speed_site")]  # fmt: skip

    def enthalpy(T: float) -> float:
        return EVAPORATION_HEAT + VAPOUR_HEAT * (T - ICE_POINT)

    def pressure(u: float, T: float) -> float:
        return moist_air.saturation(T)[0] * math.exp(-math.exp(-u) * 293.15 / T)

    def rates(
        _: float, y: NDArray[np.float64], T_out: float, p_out: float, T_sky: float, wind: float
    ) -> NDArray[np.float64]:
        T1, T2 = y[0], y[1]
        p0, p1, p2, p3 = (pressure(u, T) for u, T in zip(y[2:], (T1, T1, T2, T2), strict=True))
        outside = 4.0 + 4.0 * wind
        g0 = LEWIS_VAPOUR * outside * (p_out - p0)
        q0 = outside * (T_out - T1) + g0 * enthalpy(T_out if g0 > 0.0 else T1)
        q0 += eps * (sky * T_sky**4 + (1.0 - sky) * T_out**4 - T1**4)
        h = cavity_air.h_still(T1, T2, _DEPTH, _HEIGHT, P)
        air = 0.5 * (T1 + T2)
        for _ in range(30):  # the exchange through the vent depends on the air that it makes
            mixing = moist_air.density(T_out, p_out, P) * cavity_air.single_vent(
                _VENT / _HEIGHT, _CLEAR, wind, air, T_out
            )
            before, c = air, mixing * DRY_AIR_HEAT
            air = (h * (T1 + T2) + c * T_out) / (2.0 * h + c)
            if abs(air - before) < 1e-12:
                break
        beta, v = LEWIS_VAPOUR * h, mixing * WATER_TO_AIR / P
        p_air = (beta * (p1 + p2) + v * p_out) / (2.0 * beta + v)
        g1, g2 = beta * (p1 - p_air), beta * (p2 - p_air)
        radiation = between * (T1**4 - T2**4)
        q1 = h * (T1 - air) + radiation + g1 * enthalpy(T1 if g1 > 0.0 else air)
        q2 = h * (T2 - air) - radiation + g2 * enthalpy(T2 if g2 > 0.0 else air)
        g3 = 2e-10 / 0.008 * (p_room - p3)
        q3 = (T_room - T2) / 0.13 + g3 * enthalpy(T_room if g3 > 0.0 else T2)
        gained = np.array([g0, -g1, -g2, g3])
        m = _mass(y[2:])
        heated = np.array([q0 - q1, q3 - q2]) - WATER_HEAT * (y[:2] - ICE_POINT) * (gained[::2] + gained[1::2])
        store = capacity * np.array([_PANEL, _BACKUP]) + WATER_HEAT * (m[::2] + m[1::2])
        return np.concatenate((heated / store, gained / (0.008 * np.maximum(y[2:] - _START, 0.0) + _SKIN)))

    y = _start()
    rows = []
    for hour in zip(*series, strict=True):
        solution = solve_ivp(rates, (0.0, HOUR), y, method="LSODA", args=hour, rtol=1e-8, atol=1e-9)
        y = solution.y[:, -1]
        rows.append(_mass(y[2:4]))
    return np.array(rows)


def film_error(refine: int) -> tuple[float, float]:
    """Return the error of the films of the panel, root of the mean square over the hours from midnight on [kg/m2].

    Parameters
    ----------
    refine : int
        The steps of the run are divided by it.

    Returns
    -------
    tuple of float
        Exterior surface, back of the panel.
    """
    film = film_run(refine)["film"].isel(segment=0, film_face=[0, 1]).values
    error = np.sqrt(((film - films_by_hand())[6:] ** 2).mean(axis=0))
    return float(error[0]), float(error[1])


# ---- rows ------------------------------------------------------------------------------------------------------------
CELLS = (2, 4, 8)  # divisors of the usual cells, at FINE_STEPS
STEPS = (24, 48, 96)  # in the period, at FINE_CELLS; the hourly run takes 6
FINE_CELLS, FINE_STEPS = 32, 400
FILM_STEPS = (1, 2, 4, 8, 16)  # divisors of the usual steps


def order(errors: Sequence[float], factors: Sequence[float]) -> float:
    """Return the observed order of convergence [1]: minus the slope of log error over log factor.

    Parameters
    ----------
    errors, factors : sequence of float
        Errors of runs whose steps or cells are divided by the factors.
    """
    return -float(np.polyfit(np.log(factors), np.log(errors), 1)[0])


def _listed(errors: Sequence[float], scale: float = 1.0) -> str:
    return ", ".join(f"{scale * value:.1e}" for value in errors)


def cases() -> tuple[Case, ...]:
    """Return orders and errors of the coupled slab and of the films."""
    slab: dict[str, Any] = {
        "source": _HENRY,
        "tag": ANALYTICAL,
        "inputs": f"slab of {1e3 * _THICKNESS:g} mm, isotherm {_SLOPE:g} kg/m3, mu {_SLAB.mu_dry:g}; outdoor "
        "temperature and vapour pressure swing in 6 h, room steady; after one period",
        "units": "1",
    }
    rows = []
    for k, name in enumerate(("temperature", "relative humidity")):
        title = f"coupled heat and vapour, {name}"
        in_space = [coupled_error(cells, FINE_STEPS)[k] for cells in CELLS]
        in_time = [coupled_error(FINE_CELLS, steps)[k] for steps in STEPS]
        usual = coupled_error(1, 6)[k]
        for what, errors, factors in (("space", in_space, CELLS), ("time", in_time, STEPS)):
            note = f"Errors over the amplitude: {_listed(errors)}."
            slope = order(errors, factors)
            rows.append(
                value_case(f"{title}: order in {what}", expected=2.0, computed=slope, atol=0.2, note=note, **slab)
            )
        title += ": error with usual cells and hourly steps, over the amplitude"
        rows.append(value_case(title, expected=0.0, computed=usual, atol=0.03, **slab))
    films: dict[str, Any] = {
        "source": _THEORY,
        "tag": ANALYTICAL,
        "inputs": f"hourly run, sheets of {1e3 * _PANEL:g} and {1e3 * _BACKUP:g} mm, one vent, {_HOURS} h with a clear "
        "night; dew grows from midnight on and dries in the morning",
    }
    largest = films_by_hand().max(axis=0)
    for k, face in enumerate(("exterior surface", "back of the panel")):
        errors = [film_error(steps)[k] for steps in FILM_STEPS]
        note = f"Not even: a film begins and ends within a step. Errors, g/m2: {_listed(errors, 1e3)}."
        slope = order(errors, FILM_STEPS)
        rows.append(
            value_case(
                f"film on the {face}: order in time",
                units="1",
                expected=1.7,
                computed=slope,
                atol=0.4,
                note=note,
                **films,
            )
        )
        title = f"film on the {face}: error with usual steps, root mean square of the hours"
        note = f"The film grows to {1e3 * largest[k]:.2g} g/m2."
        room = 0.03 * float(largest[k])
        rows.append(value_case(title, units="kg/m2", expected=0.0, computed=errors[0], atol=room, note=note, **films))
    return tuple(rows)
