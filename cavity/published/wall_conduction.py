"""The hourly wall model against closed forms: sudden, convective and periodic heating, vapour uptake, water suction."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT, STANDARD_PRESSURE, SUCTION_SCALE
from cavity.kernels import moist_air
from cavity.kernels import wall as kernel
from cavity.published.case import COMPUTED, MEMORY, READ, Case, value_case
from cavity.wall import solve, storage
from cavity.wall.grid import build_solid_line
from cavity.wallfile.model import Layer, Material

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from cavity.wall.grid import Line

HOUR = 3600.0
_CARSLAW = "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 1959, from memory"
_FIXED = 1e6  # W/(m2 K), stands for a fixed surface temperature: 1e-4 K off at 100 W/m2
_UNIT = Material(  # diffusivity 1e-6 m2/s, no water
    "unit", "unit", density=1000.0, conductivity=1.0, specific_heat=1000.0, mu_dry=1e6, mu_wet=1e6, source="closed form"
)


def cases() -> tuple[Case, ...]:
    """Return the closed-form cases, run."""
    return (*sudden(), *convective(), *periodic(), *layered(), *vapour_uptake(), *suction())


def half_space(first: float = 0.0005, growth: float = 1.04, depth: float = 2.0) -> Line:
    """Return a thick slab of diffusivity 1e-6 m2/s: first cell [m], growth of cells [1], depth [m]."""
    sizes = first * growth ** np.arange(int(np.ceil(np.log(1.0 + depth * (growth - 1.0) / first) / np.log(growth))))
    return build_solid_line((Layer("slab", _UNIT, float(sizes.sum())),), sizes=(sizes,))


def sudden() -> tuple[Case, ...]:
    """Return the half space whose face is suddenly 10 K warmer."""
    line = half_space()
    around = solve.surroundings(outdoor=303.15, indoor=293.15, heat_outside=_FIXED)
    found = solve.march(line, around, temperature=293.15, humidity=0.5, moments=HOUR, first_step=0.1)
    share = (np.interp(0.05, line.position, found.temperature[0]) - 293.15) / 10.0
    inputs = "diffusivity 1e-6 m2/s, 1 W/(m K), face +10 K, after 1 h"
    return (
        value_case(
            "erfc: temperature 50 mm deep",
            source=_CARSLAW,
            tag=COMPUTED,
            inputs=inputs,
            units="1",
            expected=0.55569,
            computed=share,
            rtol=0.005,  # steps of 1 % of the time gone by
        ),
        value_case(
            "erfc: heat flow at the face",
            source=_CARSLAW,
            tag=COMPUTED,
            inputs=inputs,
            units="W/m2",
            expected=94.03,
            computed=found.flux[0, kernel.OUT_HEAT],
            rtol=0.005,
        ),
    )


def convective() -> tuple[Case, ...]:
    """Return the half space warmed through a surface coefficient."""
    line = half_space()
    around = solve.surroundings(outdoor=303.15, indoor=293.15, heat_outside=10.0)
    found = solve.march(line, around, temperature=293.15, humidity=0.5, moments=HOUR, first_step=0.1)
    return tuple(
        value_case(
            f"convective face: temperature {1000 * place:.0f} mm deep",
            source=_CARSLAW,
            tag=COMPUTED,
            inputs="as above, air +10 K, 10 W/(m2 K), after 1 h",
            units="1",
            expected=expected,
            computed=(np.interp(place, line.position, found.temperature[0]) - 293.15) / 10.0,
            rtol=0.005,
        )
        for place, expected in ((0.0, 0.43220), (0.05, 0.20004))
    )


def periodic() -> tuple[Case, ...]:
    """Return the half space under a daily wave of the face temperature: damping and lag 0.1 m deep."""
    line = half_space(0.002, 1.06, 1.5)
    period = 24.0 * HOUR

    def around(time: float) -> kernel.Edge:
        outdoor = 293.15 + 10.0 * np.sin(2.0 * np.pi * time / period)
        return solve.surroundings(outdoor=outdoor, indoor=293.15, heat_outside=_FIXED)

    # the sixth day: the start has faded to exp(-pi n) per period
    moments = 5.0 * period + period * np.arange(1, 49) / 48.0
    found = solve.march(
        line, around, temperature=293.15, humidity=0.5, moments=moments, first_step=120.0, longest=120.0
    )
    wave = np.array([np.interp(0.1, line.position, row) - 293.15 for row in found.temperature]) / 10.0
    angle = 2.0 * np.pi * moments / period
    amplitude = 2.0 * np.mean(wave * np.exp(-1j * angle)) * 1j
    common = {"source": _CARSLAW, "tag": COMPUTED, "inputs": "daily wave of the face, 0.1 m deep, steps of 2 min"}
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


def layered() -> tuple[Case, ...]:
    """Return the steady temperatures through a wall of four layers."""
    rows = (("mortar", 0.02, 1.40), ("concrete", 0.18, 1.95), ("EPS", 0.10, 0.036), ("plaster", 0.025, 1.20))
    layers = tuple(
        Layer(name, dataclasses.replace(_UNIT, name=name, conductivity=conductivity), thickness)
        for name, thickness, conductivity in rows
    )
    line = build_solid_line(layers)
    around = solve.surroundings(outdoor=268.15, indoor=293.15, heat_outside=1.0 / 0.04, heat_inside=1.0 / 0.13)
    found = solve.march(
        line, around, temperature=280.0, humidity=0.5, moments=1e9, first_step=100.0, growth=1.0
    )  # thirty years: steady
    # temperature is straight over thermal resistance, so an interface is read by its resistance from outside
    half = 0.5 * line.grid.thickness / line.grid.conductivity
    depth = np.concatenate(([0.0], np.cumsum(half[:-1] + half[1:])))
    between = np.interp(
        np.cumsum([0.0] + [thickness / value for _, thickness, value in rows]), depth, found.temperature[0]
    )
    places = np.cumsum([0.0] + [thickness for _, thickness, _ in rows])
    return tuple(
        value_case(
            f"steady layers: temperature {1000 * place:.0f} mm from outside",
            source="B. Marteinsson, course notes, University of Iceland, ch. 2, example 1",
            tag=READ,
            inputs="plaster 25 mm, EPS 100 mm, concrete 180 mm, mortar 20 mm; 20 and -5 degC",
            units="degC",
            expected=expected,
            computed=value - ICE_POINT,
            atol=0.06,  # printed digits
        )
        for place, value, expected in zip(places, between, (-4.7, -4.6, -3.8, 18.8, 18.9), strict=True)
    )


def vapour_uptake() -> tuple[Case, ...]:
    """Return the half space that takes up vapour at constant permeability and a straight isotherm."""

    def water(suction: NDArray[np.float64]) -> NDArray[np.float64]:
        return 40.0 * np.exp(-suction / SUCTION_SCALE)  # 40 kg/m3 times relative humidity at 20 degC

    mu = kernel.air_permeability(293.15, STANDARD_PRESSURE) / 2e-10
    tables = storage.tables_from_functions(water, None, lambda w: mu + 0.0 * w, storage.suction_grid())
    # a copper-like conductivity and face coefficients keep it isothermal
    slab = dataclasses.replace(_UNIT, conductivity=1e4, free_saturation=40.0, max_saturation=80.0)
    sizes = 0.0005 * 1.04 ** np.arange(120)
    line = build_solid_line((Layer("slab", slab, float(sizes.sum())),), (tables,), (sizes,))
    full = float(moist_air.saturation(293.15)[0])
    around = solve.surroundings(
        outdoor=293.15, indoor=293.15, vapour_outdoor=0.6 * full, heat_outside=_FIXED, heat_inside=_FIXED,
        vapour_outside=1e-3,
    )  # fmt: skip
    time = 10.0 * 24.0 * HOUR
    found = solve.march(line, around, temperature=293.15, humidity=0.4, moments=time)
    inside = line.layer_of_node >= 0
    diffusivity = 2e-10 * full / 40.0
    place = 2.0 * np.sqrt(diffusivity * time) * 0.5
    from scipy.special import erfc

    common = {
        "source": "J. Crank, The Mathematics of Diffusion, 1975, from memory",
        "tag": COMPUTED,
        "inputs": "2e-10 kg/(m s Pa), 40 kg/m3, 20 degC, face from 40 to 60 %, 10 d",
        "rtol": 0.005,  # steps of 1 % of the time gone by
    }
    return (
        value_case(
            "vapour uptake: water at 0.5 of the depth 2 root(Dt)",
            units="kg/m3",
            expected=40.0 * (0.4 + 0.2 * float(erfc(0.5))),
            computed=np.interp(place, line.position[inside], found.water[0, inside]),
            **common,
        ),
        value_case(
            "vapour uptake: total",
            units="kg/m2",
            expected=2.0 * 8.0 * np.sqrt(diffusivity * time / np.pi),
            computed=found.entered[0],
            **common,
        ),
    )


def suction() -> tuple[Case, ...]:
    """Return the uptake of a dry slab under heavy rain, by the diffusivity made of its absorption coefficient."""
    brick = Material(
        "brick", "brick", 1800.0, 0.6, 1000.0, 10.0, 10.0, "closed form", sorption=((0.5, 2.0), (0.9, 5.0)),
        free_saturation=200.0, max_saturation=300.0, absorption=0.10,
    )  # fmt: skip
    sizes = 0.0002 * 1.03 ** np.arange(150)
    line = build_solid_line((Layer("brick", brick, float(sizes.sum())),), sizes=(sizes,))
    # rain far above what the wall can take after the first seconds; the rest runs off
    around = solve.surroundings(outdoor=293.15, indoor=293.15, heat_outside=_FIXED, heat_inside=_FIXED, rain=0.05)
    found = solve.march(line, around, temperature=293.15, humidity=0.3, moments=HOUR, first_step=0.05)
    grid = storage.suction_grid()
    start = np.interp(storage.from_humidity(0.3), grid, storage.material_tables(brick, grid).water)
    inside = line.layer_of_node >= 0
    return (
        value_case(
            "suction: absorption coefficient got back from one hour of heavy rain",
            source="H. M. Kuenzel, 1995: D_w = 3.8 (A/w_f)2 1000^(w/w_f - 1), from memory",
            tag=MEMORY,
            inputs="A 0.10 kg/(m2 s0.5), w_f 200 kg/m3, start at 30 %",
            units="kg/(m2 s0.5)",
            expected=0.10,
            # water of the cells: the film on the face is not taken up
            computed=float((found.water[0, inside] - start) @ sizes) / np.sqrt(HOUR),
            rtol=0.05,  # 3.8 is itself a fit; integrating (w_f + w) D over w (Parlange) asks for 3.73
        ),
    )
