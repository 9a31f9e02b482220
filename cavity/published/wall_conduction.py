"""The hourly wall model against closed forms: sudden, convective and periodic heating, vapour uptake, water suction."""

from __future__ import annotations

import dataclasses
import functools
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.constants import HOUR, ICE_POINT, STANDARD_PRESSURE, SUCTION_SCALE
from cavity.kernels import boundaries, moist_air
from cavity.published.case import ANALYTICAL, MEMORY, READ, Case, value_case
from cavity.wall import solve, storage
from cavity.wall.grid import build_solid_line
from cavity.wallfile.model import Layer, Material

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from cavity.wall.grid import Line

DAY = 24.0 * HOUR
_CARSLAW = "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 1959, from memory"
FIXED = 1e6  # W/(m2 K), in effect a fixed surface temperature: 1e-4 K off at 100 W/m2
_UNIT = Material(  # diffusivity 1e-6 m2/s, no water
    "unit", "unit", density=1000.0, conductivity=1.0, specific_heat=1000.0, mu_dry=1e6, mu_wet=1e6, source="closed form"
)

# name, thickness m, conductivity W/(m K) from the cold side on, and the temperatures printed for its interfaces, degC
LAYERS = (("mortar", 0.02, 1.40), ("concrete", 0.18, 1.95), ("EPS", 0.10, 0.036), ("plaster", 0.025, 1.20))
LAYERED = (-4.7, -4.6, -3.8, 18.8, 18.9)


def cases() -> tuple[Case, ...]:
    """Return the closed-form cases, run."""
    return (*sudden(), *convective(), *periodic(), *layered(), *vapour_uptake(), *suction())


def half_space(first: float = 0.0005, growth: float = 1.04, depth: float = 2.0) -> Line:
    """Return a thick slab of diffusivity 1e-6 m2/s: first cell [m], growth of cells [1], depth [m]."""
    sizes: Any = first * growth ** np.arange(
        int(np.ceil(np.log(1.0 + depth * (growth - 1.0) / first) / np.log(growth)))
    )
    return build_solid_line((Layer("slab", _UNIT, float(sizes.sum())),), sizes=(sizes,))


@functools.cache
def half_space_run(coefficient: float, refine: float = 1.0) -> tuple[Line, solve.History]:
    """Run the half space at 20 degC for an hour behind air suddenly 10 K warmer.

    Parameters
    ----------
    coefficient : float
        Of the surface. [W/(m2 K)]
    refine : float
        2 halves every cell and every step. [1]
    """
    line = half_space(0.0005 / refine, 1.04 ** (1.0 / refine))
    around = solve.surroundings(outdoor=303.15, indoor=293.15, heat_outside=coefficient)
    run = solve.march(
        line, around, temperature=293.15, humidity=0.5, moments=HOUR, first_step=0.1 / refine, growth=0.01 / refine
    )
    return line, run


def erfc_error(refine: float) -> float:
    """Return the largest error of `half_space_run` with a held surface over its first 0.25 m, over the step [1]."""
    from scipy.special import erfc

    line, run = half_space_run(FIXED, refine)
    shown = line.position < 0.25
    exact = erfc(line.position[shown] / (2.0 * np.sqrt(1e-6 * HOUR)))
    return float(np.abs((run.temperature[0, shown] - 293.15) / 10.0 - exact).max())


def sudden() -> tuple[Case, ...]:
    """Return the half space whose surface is suddenly 10 K warmer."""
    line, run = half_space_run(FIXED)
    fraction = (np.interp(0.05, line.position, run.temperature[0]) - 293.15) / 10.0
    inputs = "diffusivity 1e-6 m2/s, 1 W/(m K), surface +10 K, after 1 h"
    return (
        value_case(
            "erfc: temperature 50 mm deep",
            source=_CARSLAW,
            tag=ANALYTICAL,
            inputs=inputs,
            units="1",
            expected=0.55569,
            computed=fraction,
            rtol=0.005,  # steps of 1 % of the elapsed time
        ),
        value_case(
            "erfc: heat flow at the surface",
            source=_CARSLAW,
            tag=ANALYTICAL,
            inputs=inputs,
            units="W/m2",
            expected=94.03,
            computed=run.flux[0, boundaries.OUT_HEAT],
            rtol=0.005,
        ),
    )


def convective() -> tuple[Case, ...]:
    """Return the half space warmed through a surface coefficient."""
    line, run = half_space_run(10.0)
    return tuple(
        value_case(
            f"convective surface: temperature {1000 * position:.0f} mm deep",
            source=_CARSLAW,
            tag=ANALYTICAL,
            inputs="as above, air +10 K, 10 W/(m2 K), after 1 h",
            units="1",
            expected=expected,
            computed=(np.interp(position, line.position, run.temperature[0]) - 293.15) / 10.0,
            rtol=0.005,
        )
        for position, expected in ((0.0, 0.43220), (0.05, 0.20004))
    )


@functools.cache
def periodic_run() -> tuple[Line, solve.History]:
    """Run the half space six days under a daily wave of its surface, 10 K each way; the sixth each half hour."""
    line = half_space(0.002, 1.06, 1.5)

    def around(time: float) -> boundaries.BoundaryConditions:
        outdoor = 293.15 + 10.0 * np.sin(2.0 * np.pi * time / DAY)
        return solve.surroundings(outdoor=outdoor, indoor=293.15, heat_outside=FIXED)

    # the sixth day: the start has faded to exp(-pi n) per period
    moments = 5.0 * DAY + DAY * np.arange(1, 49) / 48.0
    return line, solve.march(
        line, around, temperature=293.15, humidity=0.5, moments=moments, first_step=120.0, longest=120.0
    )


def periodic() -> tuple[Case, ...]:
    """Return the half space under a daily wave of the surface temperature: damping and lag 0.1 m deep."""
    line, run = periodic_run()
    wave = np.array([np.interp(0.1, line.position, row) - 293.15 for row in run.temperature]) / 10.0
    angle = 2.0 * np.pi * run.time / DAY
    amplitude = 2.0 * np.mean(wave * np.exp(-1j * angle)) * 1j
    common: dict[str, Any] = {
        "source": _CARSLAW,
        "tag": ANALYTICAL,
        "inputs": "daily wave of the surface, 0.1 m deep, steps of 2 min",
    }
    return (
        value_case("periodic: amplitude", units="1", expected=0.54717, computed=abs(amplitude), rtol=0.005, **common),
        value_case(
            "periodic: lag",
            units="h",
            expected=2.3033,
            computed=-np.angle(amplitude) * 24.0 / (2.0 * np.pi),
            rtol=0.01,  # half a step of 2 min is 0.7 % of the lag
            **common,
        ),
    )


@functools.cache
def layered_run() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the places [m] and steady temperatures [K] of the interfaces of a wall of four layers."""
    rows = LAYERS
    layers = tuple(
        Layer(name, dataclasses.replace(_UNIT, name=name, conductivity=conductivity), thickness)
        for name, thickness, conductivity in rows
    )
    line = build_solid_line(layers)
    around = solve.surroundings(outdoor=268.15, indoor=293.15, heat_outside=1.0 / 0.04, heat_inside=1.0 / 0.13)
    run = solve.march(
        line, around, temperature=280.0, humidity=0.5, moments=1e9, first_step=100.0, growth=1.0
    )  # thirty years: steady
    # temperature is straight over thermal resistance, so an interface is read by its resistance from outside
    half = 0.5 * line.grid.thickness / line.grid.conductivity
    depth = np.concatenate(([0.0], np.cumsum(half[:-1] + half[1:])))
    between = np.interp(
        np.cumsum([0.0] + [thickness / value for _, thickness, value in rows]), depth, run.temperature[0]
    )
    return np.cumsum([0.0] + [thickness for _, thickness, _ in rows]), between


def layered() -> tuple[Case, ...]:
    """Return the steady temperatures through a wall of four layers."""
    places, between = layered_run()
    return tuple(
        value_case(
            f"steady layers: temperature {1000 * position:.0f} mm from outside",
            source="worked example of a secondary source (B. Marteinsson, course notes, ch. 2, example 1)",
            tag=READ,
            inputs="plaster 25 mm, EPS 100 mm, concrete 180 mm, mortar 20 mm; 20 and -5 degC",
            units="degC",
            expected=expected,
            computed=value - ICE_POINT,
            atol=0.06,  # printed digits
        )
        for position, value, expected in zip(places, between, LAYERED, strict=True)
    )


UPTAKE_TIME = 10.0 * DAY


@functools.cache
def vapour_uptake_run() -> tuple[Line, solve.History, float]:
    """Run the half space that takes up vapour; return its line, its history and the diffusivity of water [m2/s]."""

    def water(suction: NDArray[np.float64]) -> NDArray[np.float64]:
        return 40.0 * np.exp(-suction / SUCTION_SCALE)  # 40 kg/m3 times relative humidity at 20 degC

    mu = moist_air.air_permeability(293.15, STANDARD_PRESSURE) / 2e-10
    tables = storage.tables_from_functions(water, None, lambda w: mu + 0.0 * w, storage.suction_grid())
    # a copper-like conductivity and surface coefficients keep it isothermal
    slab = dataclasses.replace(_UNIT, conductivity=1e4, free_saturation=40.0, max_saturation=80.0)
    sizes: Any = 0.0005 * 1.04 ** np.arange(120)
    line = build_solid_line((Layer("slab", slab, float(sizes.sum())),), (tables,), (sizes,))
    full = float(moist_air.saturation(293.15)[0])
    around = solve.surroundings(
        outdoor=293.15, indoor=293.15, vapour_outdoor=0.6 * full, heat_outside=FIXED, heat_inside=FIXED,
        vapour_outside=1e-3,
    )  # fmt: skip
    run = solve.march(line, around, temperature=293.15, humidity=0.4, moments=UPTAKE_TIME)
    return line, run, 2e-10 * full / 40.0


def vapour_uptake() -> tuple[Case, ...]:
    """Return the half space that takes up vapour at constant permeability and a straight isotherm."""
    line, run, diffusivity = vapour_uptake_run()
    inside = line.layer_of_node >= 0
    position = 2.0 * np.sqrt(diffusivity * UPTAKE_TIME) * 0.5
    from scipy.special import erfc

    common: dict[str, Any] = {
        "source": "J. Crank, The Mathematics of Diffusion, 1975, from memory",
        "tag": ANALYTICAL,
        "inputs": "2e-10 kg/(m s Pa), 40 kg/m3, 20 degC, surface from 40 to 60 %, 10 d",
        "rtol": 0.005,  # steps of 1 % of the elapsed time
    }
    return (
        value_case(
            "vapour uptake: water at 0.5 of the depth 2 root(Dt)",
            units="kg/m3",
            expected=40.0 * (0.4 + 0.2 * float(erfc(0.5))),
            computed=np.interp(position, line.position[inside], run.water[0, inside]),
            **common,
        ),
        value_case(
            "vapour uptake: total",
            units="kg/m2",
            expected=2.0 * 8.0 * np.sqrt(diffusivity * UPTAKE_TIME / np.pi),
            computed=run.entered[0],
            **common,
        ),
    )


@functools.cache
def suction_run() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times [s] and water taken up [kg/m2] by a dry brick under heavy rain over an hour."""
    brick = Material(
        "brick", "brick", 1800.0, 0.6, 1000.0, 10.0, 10.0, "closed form", sorption=((0.5, 2.0), (0.9, 5.0)),
        free_saturation=200.0, max_saturation=300.0, absorption=0.10,
    )  # fmt: skip
    sizes: Any = 0.0002 * 1.03 ** np.arange(150)
    line = build_solid_line((Layer("brick", brick, float(sizes.sum())),), sizes=(sizes,))
    # rain far above what the wall can take after the first seconds; the rest runs off
    around = solve.surroundings(outdoor=293.15, indoor=293.15, heat_outside=FIXED, heat_inside=FIXED, rain=0.05)
    times = HOUR * np.arange(1.0, 25.0) ** 2 / 24.0**2
    run = solve.march(line, around, temperature=293.15, humidity=0.3, moments=times, first_step=0.05)
    grid = storage.suction_grid()
    start = np.interp(storage.from_humidity(0.3), grid, storage.material_tables(brick, grid).water)
    # water of the cells: the film on the surface is not taken up
    return times, (run.water[:, line.layer_of_node >= 0] - start) @ sizes


def suction() -> tuple[Case, ...]:
    """Return the uptake of a dry slab under heavy rain, by the diffusivity made of its absorption coefficient."""
    times, taken = suction_run()
    return (
        value_case(
            "suction: absorption coefficient got back from one hour of heavy rain",
            source="H. M. Kuenzel, 1995: D_w = 3.8 (A/w_f)2 1000^(w/w_f - 1), from memory",
            tag=MEMORY,
            inputs="A 0.10 kg/(m2 s0.5), w_f 200 kg/m3, start at 30 %",
            units="kg/(m2 s0.5)",
            expected=0.10,
            computed=float(taken[-1] / np.sqrt(times[-1])),
            rtol=0.05,  # 3.8 is itself a fit; integrating (w_f + w) D over w (Parlange) asks for 3.73
        ),
    )
