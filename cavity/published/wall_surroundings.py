"""Rooms, surface layers and properties of water that the wall takes from publications, and flows it omits."""

from __future__ import annotations

import numpy as np

from cavity.climate.outside import outside_coefficient
from cavity.climate.rain import driving_rain
from cavity.constants import (
    EVAPORATION_HEAT,
    FUSION_HEAT,
    ICE_POINT,
    LEWIS_VAPOUR,
    R_VAPOUR,
    STANDARD_PRESSURE,
    STEFAN_BOLTZMANN,
    WATER_TO_AIR,
)
from cavity.kernels import boundaries, moist_air
from cavity.published.case import ANALYTICAL, HAND, MEMORY, READ, Case, not_run, value_case
from cavity.wall import indoor, solve, storage
from cavity.wall.grid import build_solid_line
from cavity.wallfile.materials import material
from cavity.wallfile.model import Layer, Material, Site

_ASHRAE_1 = "ASHRAE Handbook - Fundamentals, ch. 1"
SOLID_WOOD = ("spruce", "softwood", "softwood cladding", "white pine", "hardwood", "cross-laminated timber")
_DRAFT = "draft of EN 15026 (CEN/TC 89 WI 29.3:2003), read in a secondary source (course notes, B. Marteinsson)"


def cases() -> tuple[Case, ...]:
    """Return the cases, computed."""
    return (*steam(), *rooms(), *faces(), *wood(), *wetting(), *left_out())


def steam() -> tuple[Case, ...]:
    """Return latent heat, saturated air and slow diffusion against the handbook."""
    rows = [
        value_case(
            f"heat of evaporation, {celsius} degC",
            source=f"{_ASHRAE_1}, table 3",
            tag=READ,
            inputs="hourly model: straight line from 0 degC",
            units="kJ/kg",
            expected=expected,
            computed=1e-3 * moist_air.evaporation_heat(ICE_POINT + celsius),
            rtol=1e-3,  # the line omits how the heats of vapour and water change
        )
        for celsius, expected in ((0, 2500.93), (20, 2453.55), (30, 2429.84))
    ]
    rows.append(
        value_case(
            "heat of sublimation, 0 degC",
            source=f"{_ASHRAE_1}, table 3",
            tag=READ,
            inputs="evaporation and fusion",
            units="kJ/kg",
            expected=2834.4,
            computed=1e-3 * (EVAPORATION_HEAT + FUSION_HEAT),
            rtol=1e-3,
        )
    )
    for celsius, expected in ((-10, 0.0016062), (0, 0.0037900), (20, 0.014761), (40, 0.049145)):
        full = moist_air.saturation(ICE_POINT + celsius)[0]
        rows.append(
            value_case(
                f"humidity ratio of saturated air, {celsius} degC",
                source=f"{_ASHRAE_1}, table 2",
                tag=READ,
                inputs="ideal mixture at 101325 Pa",
                units="kg/kg",
                expected=expected,
                computed=WATER_TO_AIR * full / (STANDARD_PRESSURE - full),
                rtol=0.006,  # real air holds 0.4 to 0.5 % more: enhancement factor, omitted
            )
        )
    full = float(moist_air.saturation(ICE_POINT + 20.0)[0])
    rows.append(
        value_case(
            "volume of saturated air a kilogram of dry air, 20 degC",
            source=f"{_ASHRAE_1}, table 2",
            tag=READ,
            inputs="density of the hourly model, 101325 Pa",
            units="m3/kg",
            expected=0.8498,
            computed=(1.0 + WATER_TO_AIR * full / (STANDARD_PRESSURE - full))
            / moist_air.density(ICE_POINT + 20.0, full, STANDARD_PRESSURE),
            rtol=1e-3,  # compressibility and enhancement of real air
        )
    )
    diffusivity = moist_air.air_permeability(293.15, STANDARD_PRESSURE) * R_VAPOUR * 293.15  # m2/s, of the hourly model
    rows.append(
        value_case(
            "evaporation through 100 mm of stagnant air (Stefan), 20 degC",
            source="R. B. Bird, W. E. Stewart, E. N. Lightfoot, Transport Phenomena, from memory",
            tag=ANALYTICAL,
            inputs="half saturated air above; D P / (R_v T L) ln((P - p0) / (P - ps)) with the model's own D",
            units="kg/(m2 s)",
            expected=diffusivity
            * STANDARD_PRESSURE
            / (R_VAPOUR * 293.15 * 0.1)
            * float(np.log((STANDARD_PRESSURE - 0.5 * full) / (STANDARD_PRESSURE - full))),
            computed=_still_air(full),
            rtol=0.02,  # Fick's law omits the drift of the air itself: 1.8 % at 20 degC
        )
    )
    return tuple(rows)


def _still_air(full: float) -> float:
    """Vapour through a 100 mm layer of resistance factor 1 from saturated to half saturated air [kg/(m2 s)]."""
    air = Material(
        "air", "air", 1.2, 1e3, 1000.0, 1.0, 1.0, "published case"
    )  # conductive, so that it stays at 20 degC
    line = build_solid_line((Layer("air", air, 0.1),))
    around = solve.surroundings(
        outdoor=293.15, indoor=293.15, vapour_outdoor=0.5 * full, vapour_indoor=full, heat_outside=1e4, heat_inside=1e4,
        vapour_outside=1e-3, vapour_inside=1e-3,
    )  # fmt: skip
    run = solve.march(line, around, temperature=293.15, humidity=0.7, moments=1e7, first_step=10.0, growth=1.0)
    return -float(run.flux[0, boundaries.OUT_VAPOUR])


def rooms() -> tuple[Case, ...]:
    """Return room climates by EN 15026, ASHRAE 160 and the ISO 13788 classes at single temperatures."""
    rows = []
    for load, expected in (("normal", 0.45), ("high", 0.55)):
        T, phi = indoor.en_15026(ICE_POINT + 5.0, load=load)
        rows += [
            value_case(
                f"room of EN 15026 at 5 degC outdoors, {load} load",
                source="EN 15026:2007 Annex C, from memory; worked by hand",
                tag=HAND,
                inputs="daily mean 5 degC",
                units="1",
                expected=expected,
                computed=phi,
                atol=1e-12,
            ),
            value_case(
                f"room of EN 15026 at 15 degC outdoors, {load} load: temperature",
                source="EN 15026:2007 Annex C, from memory; worked by hand",
                tag=HAND,
                inputs="daily mean 15 degC",
                units="degC",
                expected=22.5,
                computed=indoor.en_15026(ICE_POINT + 15.0, load=load)[0] - ICE_POINT,
                atol=1e-9,
                note=f"At 5 degC outdoors the room has {float(T) - ICE_POINT:.1f} degC.",
            ),
        ]
    for celsius, warm, humid in ((-15.0, 21.1, 0.40), (5.0, 21.1, 0.55), (20.0, 22.8, 0.70), (25.0, 23.9, 0.70)):
        T, phi = indoor.ashrae_160_simplified(ICE_POINT + celsius)
        for what, units, expected, computed in (
            ("temperature", "degC", warm, T - ICE_POINT),
            ("relative humidity", "1", humid, phi),
        ):
            rows.append(
                value_case(
                    f"room of ASHRAE 160, simplified, at {celsius:g} degC outdoors: {what}",
                    source="ANSI/ASHRAE Standard 160, from memory; worked by hand",
                    tag=HAND,
                    inputs="mean of 24 hours",
                    units=units,
                    expected=expected,
                    computed=computed,
                    atol=1e-9,
                )
            )
    _, phi = indoor.ashrae_160_intermediate(
        ICE_POINT - 5.0, 300.0, bedrooms=3, air_changes=0.2, volume=500.0
    )  # 1.6e-4 kg/s over 0.0278 m3/s: 783.4 Pa; 1083.4 Pa over 2500.7 Pa at 21.1 degC
    rows.append(
        value_case(
            "room of ASHRAE 160, intermediate: three bedrooms, 0.2 air changes of 500 m3",
            source="ANSI/ASHRAE Standard 160, from memory; worked by hand",
            tag=HAND,
            inputs="-5 degC, 300 Pa outdoors",
            units="1",
            expected=0.4333,
            computed=phi,
            rtol=2e-3,  # saturation pressure by another formula
        )
    )
    rows += [
        value_case(
            f"vapour excess of the room, class {number}, at {celsius:g} degC outdoors",
            source="ISO 13788:2012 Annex A, from memory",
            tag=MEMORY,
            inputs="upper bound of the class",
            units="Pa",
            expected=expected,
            computed=indoor.vapour_excess(ICE_POINT + celsius, number),
            atol=1e-9,
        )
        for number, celsius, expected in ((1, -5.0, 270.0), (2, 0.0, 540.0), (3, 10.0, 405.0), (4, 0.0, 1080.0))
    ]
    return tuple(rows)


def faces() -> tuple[Case, ...]:
    """Return surface coefficients for heat and vapour against other published ones."""
    rows = [
        value_case(
            "exterior surface resistance at 4 m/s",
            source="ISO 6946:2017, table of surface resistances: R_se 0.04",
            tag=READ,
            inputs="4 + 4 v with emissivity 0.9 at 10 degC",
            units="m2 K/W",
            expected=0.04,
            computed=1.0 / (float(outside_coefficient(4.0)) + 0.9 * 4.0 * STEFAN_BOLTZMANN * 283.15**3),
            atol=0.005,  # printed digits
        )
    ]
    for speed in (1.0, 4.0, 8.0):
        ours = float(outside_coefficient(speed))
        juerges = 5.8 + 3.95 * speed if speed <= 5.0 else 7.1 * speed**0.78
        notes = 5.0 + 4.5 * speed - 0.14 * speed**2
        lee = 5.0 + 1.5 * speed
        for name, expected, note in (
            ("Juerges, McAdams", juerges, ""),
            ("a formula of a secondary source (course notes), windward", notes, ""),
            (
                "a formula of a secondary source (course notes), leeward",
                lee,
                "ISO 6946 makes no difference of windward and leeward.",
            ),
        ):
            rows.append(
                value_case(
                    f"convection outside, {speed:g} m/s, against {name}",
                    source=f"{name}, from memory; ours: ISO 6946 Annex C, 4 + 4 v, from memory",
                    tag=MEMORY,
                    inputs="hourly and steady model",
                    units="W/(m2 K)",
                    expected=expected,
                    computed=ours,
                    rtol=0.2,  # published laws of a coefficient that changes from wall to wall
                    strict=False,
                    note=note,
                )
            )
        rows.append(
            value_case(
                f"vapour resistance of the air outside, {speed:g} m/s, against the draft of EN 15026",
                source=f"1/(67 + 90 v) m of still air, {_DRAFT}",
                tag=READ,
                inputs="hourly model: 7e-9 h",
                units="m",
                expected=1.0 / (67.0 + 90.0 * speed),
                computed=moist_air.air_permeability(283.15, STANDARD_PRESSURE) / (LEWIS_VAPOUR * ours),
                rtol=0.6,  # the draft implies half the transfer that the analogy of heat and vapour gives
                strict=False,
                note="Millimetres of still air against the 0.2 m of a breather membrane: negligible in a wall.",
            )
        )
    rows.append(
        value_case(
            "vapour transfer over heat transfer at a surface, against HAMSTAD 5",
            source="C.-E. Hagentoft et al., J. Thermal Env. & Bldg Sci. 27(4), 2004, inputs from memory",
            tag=MEMORY,
            inputs="1.838e-7 over 25 and 5.882e-8 over 8",
            units="(s/m)/(W/(m2 K))",
            expected=7.35e-9,
            computed=LEWIS_VAPOUR,
            rtol=0.06,  # two roundings of the same analogy
        )
    )
    # h / (rho cp) Le^(2/3) over R_v T: 3 W/(m2 K) gives 2.8 mm/s, by hand with 1.2 kg/m3, 1006 J/(kg K), Le 0.85
    rows.append(
        value_case(
            "vapour transfer by the analogy of Lewis, 3 W/(m2 K)",
            source="textbook, worked by hand",
            tag=HAND,
            inputs="Lewis number 0.85, 10 degC",
            units="mm/s",
            expected=2.8,
            computed=1e3 * LEWIS_VAPOUR * 3.0 * R_VAPOUR * 283.15,
            rtol=0.03,  # two digits
        )
    )
    full = float(moist_air.saturation(ICE_POINT + 7.0)[0])
    damp = float(moist_air.saturation(ICE_POINT + 9.0)[0])
    rows.append(
        value_case(
            "dew on a panel at 7 degC in air with a dew point of 9 degC",
            source="worked by hand with the analogy of Lewis",
            tag=HAND,
            inputs="3 W/(m2 K)",
            units="g/(m2 h)",
            expected=10.8,
            computed=3.6e6 * LEWIS_VAPOUR * 3.0 * (damp - full),
            rtol=0.04,  # hand figure to three digits from a coefficient to two
        )
    )
    return tuple(rows)


def wood() -> tuple[Case, ...]:
    """Return the water content of solid wood against the hygroscopic equilibrium of the wood handbook."""
    grid = storage.suction_grid()
    rows = []
    for name in SOLID_WOOD:
        row = material(name)
        water = storage.material_tables(row, grid).water
        rows += [
            value_case(
                f"water content of {name} at {100 * humidity:.0f} %",
                source="web table after W. T. Simpson, FPL-RN-0268, 21 degC",
                tag=READ,
                inputs="materials table as the hourly model reads it",
                units="kg/kg",
                expected=expected,
                computed=float(np.interp(storage.from_humidity(humidity), grid, water)) / row.density,
                atol=0.0071,  # printed digits, and 1 K between table and equation
            )
            for humidity, expected in ((0.50, 0.09), (0.65, 0.12), (0.80, 0.16), (0.87, 0.19), (0.97, 0.25))
        ]
    return tuple(rows)


def wetting() -> tuple[Case, ...]:
    """Return the leak past the cladding by ASHRAE 160."""
    site = Site(rain_method="ASHRAE 160", rain_exposure="medium", rain_deposition=0.35, building_height=6.0)
    load = driving_rain(np.array([5.0 / 3600.0]), np.array([5.0]), np.array([0.0]), tilt=90.0, site=site)
    return (
        value_case(
            "rain penetration: 1 % of what reaches it",
            source="ANSI/ASHRAE Standard 160, from memory; worked by hand",
            tag=HAND,
            inputs="wind 5 m/s, rain 5 mm/h, medium exposure, below a steep roof",
            units="g/(m2 h)",
            expected=17.5,
            computed=1e3 * 3600.0 * 0.01 * float(load[0]),
            rtol=1e-9,
        ),
    )


def left_out() -> tuple[Case, ...]:
    """Return what is published and not computed by this program, with the reason."""
    return (
        not_run(
            "air flowing through a porous layer: temperature, vapour and heat at its surfaces",
            source="closed form with the Peclet number, textbook: 20.252 W/m2 at 1e-3 kg/(m2 s) through 200 mm of 0.04",
            tag=ANALYTICAL,
            why="This program lets room air reach one plane of a wall, not flow through its layers",
        ),
        not_run(
            "insulation with water in it: 3 to 5 % more heat flow for each per cent by volume",
            source="ASHRAE Handbook - Fundamentals, ch. 25",
            tag=READ,
            why="Cellular plastics hold no water in the materials table; a wall file can give `moisture_conductivity`",
        ),
        not_run(
            "water retained on a membrane after drainage: 30 to 150 g/m2",
            source="Straube & Smegal 2007 and 2009, unsure",
            tag=MEMORY,
            why="What a surface holds is an input (film_limit), not a result",
        ),
        not_run(
            "drying of a brick-clad wall at 0, 5 and 10 air changes",
            source="Richards, thesis: more ventilation dries faster and lowers the humidity of the cavity",
            tag=READ,
            why="Only the abstract was at hand, without a rate",
        ),
        not_run(
            "equivalent permeance of ventilation drying",
            source="Schumacher, Shi, Davidovic, Burnett, Straube 2003; Burnett et al. 2004",
            tag=READ,
            why="Only the definition and the limits are at hand, no measured figure",
        ),
    )
