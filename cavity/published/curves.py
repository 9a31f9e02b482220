"""Figures of the wall and hourly cases that have a curve: computed as a line, expected as points of the same colour."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.airflow import pressure
from cavity.constants import ICE_POINT, STANDARD_PRESSURE
from cavity.kernels import moist_air
from cavity.published import airflow_heated, hourly_convergence, risk_mould, wall_conduction, wall_moisture, wall_steady
from cavity.wall import uvalue
from cavity.wall.saturation import saturation_pressure
from cavity.wallfile.model import Opening, Site

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

_COLOURS = ("temperature", "air", "humidity", "stack", "mould", "wind")


@dataclass(frozen=True)
class Series:
    """One line or set of points: label, x, y, number of its colour, "line", "dash" or "points", half bar of a range."""

    label: str
    x: ArrayLike
    y: ArrayLike
    colour: int = 0
    kind: str = "line"
    bar: ArrayLike | None = None


def wall_figures() -> list[dict[str, Any]]:
    """Return the figures of the wall cases with id, title and caption, as `report.page.write_page` takes them."""
    return [
        en_15026_water(), en_15026_temperature(), en_15026_collapse(), hamstad_2(), hamstad_5(), half_space(), daily(),
        layered(), vapour_uptake(), suction(), glaser(), condensate(), saturation(), permeability(), air_layers(),
    ]  # fmt: skip


def hourly_figures() -> list[dict[str, Any]]:
    """Return the figures of the convergence study, as `wall_figures` does."""
    return [halving(), refinement()]


def airflow_figures() -> list[dict[str, Any]]:
    """Return the figures of the air path, as `wall_figures` does."""
    return [chimney(), heated_plates(), wind_profile()]


def risk_figures() -> list[dict[str, Any]]:
    """Return the figures of the criteria, as `wall_figures` does."""
    return [mould()]


def _figure(
    name: str, title: str, caption: str, series: Sequence[Series], x: str, y: str, **axes: dict[str, Any]
) -> dict[str, Any]:
    import plotly.graph_objects as go

    from cavity.report.palette import LIGHT, style

    figure = go.Figure()
    for curve in series:
        colour = LIGHT[_COLOURS[curve.colour]]
        figure.add_scatter(
            x=np.asarray(curve.x).tolist(),
            y=np.asarray(curve.y, dtype=float).tolist(),
            name=curve.label,
            mode="markers" if curve.kind == "points" else "lines",
            marker={"size": 8, "symbol": "diamond-open", "color": colour, "line": {"width": 1.6, "color": colour}},
            line={"color": colour, "dash": "dash" if curve.kind == "dash" else "solid"},
            error_y=None
            if curve.bar is None
            else {"type": "data", "array": np.asarray(curve.bar, dtype=float).tolist()},
        )
    figure.update_layout(
        **style(
            height=420,
            margin={"l": 56, "r": 18, "t": 54 + 20 * (len(series) // 4), "b": 46},  # legend below the page's buttons
            xaxis={"title": {"text": x}, **axes.get("xaxis", {})},
            yaxis={"title": {"text": y}, **axes.get("yaxis", {})},
        )
    )
    return {"id": f"curve-{name}", "title": title, "caption": caption, "figure": figure}


# --------------------------------------------------------------------------------------------------- EN 15026 Annex A
_REFERENCE = "Points: reference computed once from the functions of the standard with another solver"


def chimney() -> dict[str, Any]:
    """Measured heated cavity: flow against the excess of its surfaces."""
    excess = np.linspace(2.0, 42.0, 21)
    series = []
    for number, (depth, flows) in enumerate(airflow_heated.MEASURED.items()):
        label = f"{1e3 * depth:g} mm"
        ours = [1e3 * airflow_heated.chimney(depth, float(value)).flow for value in excess]
        series.append(Series(f"computed, {label}", excess, ours, number))
        series.append(Series(f"measured, {label}", airflow_heated.EXCESS, 1e3 * np.array(flows), number, "points"))
    return _figure(
        "verify-chimney",
        "Heated cavity: model against measurement",
        "Cavity 2 m high, both surfaces above the air by the same excess, slot of 0.4 m at the foot, window in series. "
        f"Points: {airflow_heated.BOUCHAIR}. A resolved computation of one case gave 0.77 of the measured flow.",
        series,
        "Surfaces above the air [K]",
        "Air flow [g/(s m)]",
    )


def heated_plates() -> dict[str, Any]:
    """Heated plates open at both ends: Nusselt number against the channel Rayleigh number, laminar cases."""
    series = []
    for number, both in enumerate((True, False)):
        label = "both plates warm" if both else "one plate warm"
        el = np.logspace(0, 5.5, 60)
        curve = ((576.0 if both else 144.0) / el**2 + 2.873 / el**0.5) ** -0.5
        points = []
        for depth in airflow_heated.DEPTHS:
            for height in airflow_heated.HEIGHTS:
                for difference in airflow_heated.DIFFERENCES:
                    ours = airflow_heated.channel(height, depth, difference, both)
                    if ours.reynolds < airflow_heated.LAMINAR:
                        plain = airflow_heated.composite(height, depth, difference, both=both)
                        at = airflow_heated.rayleigh(height, depth, difference)
                        nusselt = ((576.0 if both else 144.0) / at**2 + 2.873 / at**0.5) ** -0.5
                        points.append((at, nusselt * ours.heat / plain))
        at, ours = np.array(sorted(points)).T
        series.append(Series(f"composite, {label}", el, curve, number))
        series.append(Series(f"computed, {label}", at, ours, number, "points"))
    log = {"type": "log", "dtick": 1, "exponentformat": "power"}
    return _figure(
        "verify-plates",
        "Heated plates open at both ends",
        "Heat on the excess over the air that enters. Lines: composites of Bar-Cohen & Rohsenow 1984; points: ours, 10 "
        "to 200 mm, 1 to 12 m, 2 to 40 K, where the flow is laminar.",
        series,
        "Channel Rayleigh number (Elenbaas number)",
        "Nusselt number on the depth",
        xaxis=log,
        yaxis=log,
    )


def wind_profile() -> dict[str, Any]:
    """Wind pressure over the height of the wall: the profile against the straight line it replaced."""
    site, straight = Site(building_height=18.0), Site(building_height=18.0, cp_difference=0.1)
    heights = np.linspace(0.0, 18.0, 91)
    vents = [Opening(f"{z}", float(z), "slot", 0.01) for z in heights]
    series = []
    for number, angle in enumerate((0.0, 45.0, 180.0)):
        cp = pressure.pressure_coefficients(site, vents, [angle])[0]
        tap = np.array(pressure.PROFILE)
        series.append(Series(f"computed, {angle:g}°", heights / 18.0, cp - cp[6], number))
        if angle < 90.0:
            column = 1 if angle == 0.0 else 3
            series.append(Series(f"measured, {angle:g}°", tap[:, 0], tap[:, column] - tap[0, column], number, "points"))
    line = pressure.pressure_coefficients(straight, vents, [0.0])[0]
    series.append(Series("cp_difference = 0.1, 0°", heights / 18.0, line - line[6], 3, "dash"))
    return _figure(
        "verify-wind",
        "Wind pressure over the height of the wall",
        "C_p minus that near the base; wind on the wall, at 45° and from behind. Points: wind tunnel, gable wall 18 m.",
        series,
        "Fraction of the wall height",
        "C_p minus C_p at 0.07 of the height",
    )


def en_15026_water() -> dict[str, Any]:
    """Return the water profiles of EN 15026 Annex A."""
    run = wall_moisture.en_15026_run()
    shown = run.position < 0.155
    series = []
    for index, days in enumerate(wall_moisture.EN_DAYS):
        position, water = np.transpose(wall_moisture.EN_WATER[days])
        series += [
            Series(f"{days} d", 1000.0 * run.position[shown], run.water[index][shown], index),
            Series(f"{days} d, reference", 1000.0 * position, water, index, "points", 0.025 * water),
        ]
    return _figure(
        "en-15026-water",
        "EN 15026 Annex A: water",
        f"Half space at 20 °C, 50 %, its surface suddenly at 30 °C, 95 %. {_REFERENCE}; bars: the 2.5 % that the "
        "standard accepts, from memory.",
        series,
        "Depth [mm]",
        "Water content [kg/m³]",
    )


def en_15026_temperature() -> dict[str, Any]:
    """Return the temperature profiles of EN 15026 Annex A."""
    run = wall_moisture.en_15026_run()
    shown = run.position < 12.0
    series = []
    for index, days in enumerate(wall_moisture.EN_DAYS):
        position, warm = np.transpose(wall_moisture.EN_TEMPERATURE[days])
        series += [
            Series(f"{days} d", run.position[shown], run.temperature[index][shown] - ICE_POINT, index),
            Series(f"{days} d, reference", position, warm, index, "points", 0.025 * warm),
        ]
    return _figure(
        "en-15026-temperature",
        "EN 15026 Annex A: temperature",
        f"The same run. {_REFERENCE}; bars: 2.5 %.",
        series,
        "Depth [m]",
        "Temperature [°C]",
    )


def en_15026_collapse() -> dict[str, Any]:
    """Return the water profiles of EN 15026 over depth by root of time."""
    run = wall_moisture.en_15026_run()
    series = []
    for index, days in enumerate(wall_moisture.EN_DAYS):
        root = np.sqrt(days)
        shown = run.position < 0.018 * root
        position, water = np.transpose(wall_moisture.EN_WATER[days])
        series += [
            Series(f"{days} d", 1000.0 * run.position[shown] / root, run.water[index][shown], index),
            Series(f"{days} d, reference", 1000.0 * position / root, water, index, "points"),
        ]
    return _figure(
        "en-15026-collapse",
        "EN 15026 Annex A: one curve over x/√t",
        "In a half space whose surface is held constant, profiles of all times are one curve over depth by root of "
        f"time. The three lines differ by at most {wall_moisture.collapse(run):.2f} kg/m³.",
        series,
        "Depth / √time [mm/√d]",
        "Water content [kg/m³]",
    )


# ----------------------------------------------------------------------------------------------------------- HAMSTAD
def hamstad_2() -> dict[str, Any]:
    """Return the water profiles of HAMSTAD 2."""
    line, run = wall_moisture.hamstad_2_run()
    inside = line.layer_of_node >= 0
    places = np.arange(0.01, 0.195, 0.01)
    series = []
    for index, hours in enumerate(wall_moisture.H2_HOURS):
        exact = [wall_moisture.hamstad_2_series(float(position), hours * wall_moisture.HOUR) for position in places]
        series += [
            Series(f"{hours} h", 1000.0 * line.position[inside], run.water[index][inside], index),
            Series(f"{hours} h, exact", 1000.0 * places, exact, index, "points"),
        ]
    return _figure(
        "hamstad-2",
        "HAMSTAD 2: a wet layer dries to both sides",
        "200 mm at 20 °C from 95 % to 45 % outside and 65 % inside, constant diffusivity (inputs from memory). Points: "
        "the exact Fourier series.",
        series,
        "Depth from outside [mm]",
        "Water content [kg/m³]",
    )


def hamstad_5() -> dict[str, Any]:
    """Return the humidity profile of HAMSTAD 5."""
    line, run = wall_moisture.hamstad_5_run()
    low, high = 100.0 * np.array([band for _, band in wall_moisture.H5_BANDS]).T
    places = [1000.0 * position for position, _ in wall_moisture.H5_BANDS]
    hand = 100.0 * wall_moisture.hamstad_5_surface()
    return _figure(
        "hamstad-5",
        "HAMSTAD 5: capillary insulation inside a brick wall",
        "Relative humidity after 60 days at 0 °C, 80 % outside and 20 °C, 60 % inside. Bars: ranges recalled from a "
        "plot, an order of magnitude. The hand calculation at the interior surface shows that the range there is too "
        "dry.",
        [
            Series("computed", 1000.0 * line.position, 100.0 * run.humidity[0], 2),
            Series("remembered range", places, 0.5 * (low + high), 3, "points", 0.5 * (high - low)),
            Series("steady conduction, by hand", [420.0], [hand], 0, "points"),
        ],
        "Depth from outside [mm]",
        "Relative humidity [%]",
    )


# ------------------------------------------------------------------------------------------------------ closed forms
def half_space() -> dict[str, Any]:
    """Return the profiles of a half space after an hour: fixed and convective surface."""
    from scipy.special import erfc, erfcx

    depth = np.arange(0.0, 0.26, 0.02)
    time, diffusivity = wall_conduction.HOUR, 1e-6
    xi = depth / (2.0 * np.sqrt(diffusivity * time))
    b = 10.0 * np.sqrt(diffusivity * time)  # h root(a t) / lambda, with 10 W/(m2 K) and 1 W/(m K)
    # exp(h x / lambda + b2) erfc(xi + b), without overflow
    convective = erfc(xi) - erfcx(xi + b) * np.exp(-(xi**2))
    series = []
    for index, (name, coefficient, exact) in enumerate(
        (("fixed surface", wall_conduction.FIXED, erfc(xi)), ("through 10 W/(m² K)", 10.0, convective))
    ):
        line, run = wall_conduction.half_space_run(coefficient)
        shown = line.position < 0.27
        series += [
            Series(name, 1000.0 * line.position[shown], (run.temperature[0][shown] - 293.15) / 10.0, index),
            Series(f"{name}, exact", 1000.0 * depth, exact, index, "points"),
        ]
    return _figure(
        "half-space",
        "Sudden warming: fixed and convective surface",
        "Half space of diffusivity 1e-6 m²/s, 1 W/(m K), one hour after 10 K. Points: Carslaw & Jaeger 1959, from "
        "memory.",
        series,
        "Depth [mm]",
        "Fraction of the step [-]",
    )


def daily() -> dict[str, Any]:
    """Return the sixth day of the half space under a daily wave at three depths."""
    line, run = wall_conduction.periodic_run()
    hour = run.time / 3600.0 - 120.0
    penetration = np.sqrt(1e-6 * wall_conduction.DAY / np.pi)
    series = []
    for index, depth in enumerate((0.0, 0.1, 0.2)):
        wave = [np.interp(depth, line.position, row) - 293.15 for row in run.temperature]
        angle = 2.0 * np.pi * hour[::4] / 24.0 - depth / penetration
        series += [
            Series(f"{1000 * depth:.0f} mm", hour, wave, index),
            Series(
                f"{1000 * depth:.0f} mm, exact", hour[::4], 10.0 * np.exp(-depth / penetration) * np.sin(angle), index,
                "points",
            ),
        ]  # fmt: skip
    return _figure(
        "daily",
        "A daily wave on its way into the wall",
        "Sixth day of a half space whose surface temperature swings by ±10 K, steps of 2 min. Points: damping and lag "
        "of the periodic solution (Carslaw & Jaeger 1959, from memory).",
        series,
        "Time [h]",
        "Temperature minus the mean [K]",
    )


def layered() -> dict[str, Any]:
    """Return the steady temperatures of a layered wall."""
    places, temperature = wall_conduction.layered_run()
    return _figure(
        "layered",
        "Steady temperatures of a layered wall",
        "Mortar, concrete, EPS and plaster between −5 and 20 °C. Points: printed to 0.1 K in a secondary source (B. "
        "Marteinsson, course notes, ch. 2, example 1).",
        [
            Series("computed", 1000.0 * places, temperature - ICE_POINT),
            Series("printed", 1000.0 * places, wall_conduction.LAYERED, 0, "points", [0.05] * len(places)),
        ],
        "Depth from outside [mm]",
        "Temperature [°C]",
    )


def vapour_uptake() -> dict[str, Any]:
    """Return the water profile of vapour uptake at constant diffusivity."""
    from scipy.special import erfc

    line, run, diffusivity = wall_conduction.vapour_uptake_run()
    inside = (line.layer_of_node >= 0) & (line.position < 0.4)
    depth = np.arange(0.0, 0.4, 0.025)
    exact = 40.0 * (0.4 + 0.2 * erfc(depth / (2.0 * np.sqrt(diffusivity * wall_conduction.UPTAKE_TIME))))
    return _figure(
        "vapour-uptake",
        "Vapour taken up by a half space",
        "Straight isotherm and constant permeability, surface from 40 to 60 %, after 10 days. Points: Crank 1975, from "
        "memory.",
        [
            Series("computed", 1000.0 * line.position[inside], run.water[0, inside], 1),
            Series("exact", 1000.0 * depth, exact, 1, "points"),
        ],
        "Depth [mm]",
        "Water content [kg/m³]",
    )


def suction() -> dict[str, Any]:
    """Return the suction of a brick under heavy rain over root of time."""
    times, taken = wall_conduction.suction_run()
    root = np.sqrt(times / 60.0)
    return _figure(
        "suction",
        "Brick under heavy rain",
        "Uptake by the diffusivity made of the absorption coefficient, 0.10 kg/(m² √s) (Künzel 1995, from memory). "
        "Points: the coefficient itself; the formula's 3.8 is a fit and gives it back to 5 %.",
        [
            Series("computed", root, taken, 1),
            Series("0.10 kg/(m² √s)", root[2::3], 0.10 * np.sqrt(times[2::3]), 1, "points"),
        ],
        "√time [√min]",
        "Water taken up [kg/m²]",
    )


# ------------------------------------------------------------------------------------------------ steady and monthly
def glaser() -> dict[str, Any]:
    """Return the pressures of the dew-point example of the ASHRAE handbook."""
    places, _temperature, full, profile = wall_steady.wetting_run()
    straight = full[[0, -1]] * np.array([0.5, 0.4])
    return _figure(
        "glaser",
        "Dew-point example: pressures through a wall",
        "Vapour pressure may nowhere exceed saturation: the straight line is pulled down at the inner surface of the "
        "sheathing, where water condenses. Points: printed in ASHRAE Fundamentals, ch. 27, example 8.",
        [
            Series("saturation", places, full, 0),
            Series("saturation, printed", places, wall_steady.WETTING_SATURATION, 0, "points"),
            Series("without condensation", places[[0, -1]], straight, 1, "dash"),
            Series("without condensation, printed", places, wall_steady.WETTING_FIRST, 1, "points"),
            Series("vapour pressure", places, profile, 2),
            Series("saturated surface, printed", [places[3]], [478.0], 2, "points"),
        ],
        "s_d from outside [m]",
        "Pressure [Pa]",
    )


def condensate() -> dict[str, Any]:
    """Return the condensate by month of a timber frame for three humidity classes."""
    order = (np.arange(10) + 9) % 12
    names = [calendar.month_abbr[int(month) + 1] for month in order]
    series = []
    for index, (humidity_class, held) in enumerate(wall_steady.MONTHS_HELD.items()):
        year = wall_steady.condensate_run(humidity_class)
        by_month = np.zeros(12)
        by_month[year.month] = 1000.0 * year.accumulated.sum(axis=1)
        series += [
            Series(f"class {humidity_class}", names, by_month[order], index),
            Series(f"class {humidity_class}, by hand", names, held, index, "points"),
        ]
    return _figure(
        "condensate",
        "Monthly method: a year of condensate",
        "Timber frame with a 2 m retarder in the climate of the standard's example (from memory), ISO 13788 humidity "
        "classes. Points: worked month by month with the standard's method.",
        series,
        "",
        "Condensate at the month's end [g/m²]",
    )


def saturation() -> dict[str, Any]:
    """Return how far published saturation pressures are from those of the hourly model."""
    celsius = np.arange(-20.0, 40.5, 0.5)

    def ours(at: ArrayLike) -> np.ndarray:
        return np.array([moist_air.saturation(ICE_POINT + celsius)[0] for celsius in np.atleast_1d(at)])

    at, printed = np.transpose(wall_steady.ASHRAE_TABLE_3)
    formula = saturation_pressure(ICE_POINT + celsius)
    return _figure(
        "saturation",
        "Saturation pressure: others minus ours",
        "Ours is a table made from CoolProp (IAPWS). Points: ASHRAE Fundamentals, ch. 1, table 3 (read). Line: the "
        "formula of ISO 13788 Annex E (from memory), used by the monthly method.",
        [
            Series("ISO 13788 Annex E", celsius, 100.0 * (formula / ours(celsius) - 1.0), 1),
            Series("ASHRAE table 3", at, 100.0 * (printed / ours(at) - 1.0), 0, "points"),
        ],
        "Temperature [°C]",
        "Difference [%]",
    )


def permeability() -> dict[str, Any]:
    """Return the vapour permeability of air by two laws."""
    celsius = np.arange(-20.0, 41.0, 1.0)
    ours = [moist_air.air_permeability(ICE_POINT + degrees, STANDARD_PRESSURE) for degrees in celsius]
    return _figure(
        "permeability",
        "Vapour permeability of still air",
        "Ours is Schirmer's law. Points: the form of DIN 52615 read in a secondary source (course notes); dashed: the "
        "constant of ISO 13788 for all temperatures. The law of DIN 52615 is 1.5 % above ours throughout.",
        [
            Series("ours", celsius, 1e12 * np.array(ours), 1),
            Series(
                "DIN 52615", celsius[::10], 1e12 * 2.0e-7 * (ICE_POINT + celsius[::10]) ** 0.81 / STANDARD_PRESSURE, 0,
                "points",
            ),
            Series("ISO 13788, constant", celsius[[0, -1]], [200.0, 200.0], 3, "dash"),
        ],
        "Temperature [°C]",
        "Permeability [10⁻¹² kg/(m s Pa)]",
    )  # fmt: skip


def air_layers() -> dict[str, Any]:
    """Return the resistance of unventilated air layers by thickness."""
    thickness = np.linspace(3.0, 60.0, 58)
    series = []
    for index, direction in enumerate(("horizontal", "up", "down")):
        resistance = [
            uvalue.air_layer_resistance(millimetres / 1000.0, 0.9, 0.9, direction=direction)
            for millimetres in thickness
        ]
        printed = [(at, value) for way, at, value in wall_steady.AIR_LAYERS if way == direction]
        at, value = np.transpose(printed)
        series += [
            Series(f"heat flow {direction}", thickness, resistance, index),
            Series(f"{direction}, printed", at, value, index, "points", [0.005] * len(at)),
        ]
    return _figure(
        "air-layers",
        "Unventilated air layers",
        "Emissivity 0.9 on both surfaces. Points: ISO 6946 table 2, printed to 0.01, read in a secondary source "
        "(course notes).",
        series,
        "Thickness [mm]",
        "Resistance [m² K/W]",
    )


# ------------------------------------------------------------------------------------------------------- convergence
def halving() -> dict[str, Any]:
    """Return how much humidity moves in how many hours when cells or steps of the hourly run are halved."""
    runs = hourly_convergence.changes()
    base = runs["as it is"]["relative_humidity"]
    percent = np.concatenate((np.linspace(0.0, 90.0, 19), np.linspace(91.0, 99.0, 9), [99.5, 99.9, 99.99, 100.0]))
    series = [
        Series(
            name,
            percent,
            100.0 * np.maximum(np.percentile(np.abs(run["relative_humidity"] - base), percent), 1e-7),
            index,
        )
        for index, (name, run) in enumerate((name, run) for name, run in runs.items() if name != "as it is")
    ]
    limit = 100.0 * hourly_convergence.LIMIT
    return _figure(
        "halving",
        "Halved cells and steps: change of relative humidity",
        "Starter wall, thirty days of a fictitious late winter, every surface, segment and hour, ordered by the size "
        "of the change. Dashed: 0.5 %, the target.",
        [*series, Series("aim", [0.0, 100.0], [limit, limit], 3, "dash")],
        "Percentage of all values with a smaller change [%]",
        "Change [% relative humidity]",
        yaxis={"type": "log", "range": [-6.0, 0.5], "dtick": 1, "exponentformat": "power"},
    )


def refinement() -> dict[str, Any]:
    """Return the error of two closed forms with cells and steps halved again and again."""
    factors = (0.5, 1.0, 2.0, 4.0)
    errors = np.array([wall_conduction.erfc_error(factor) for factor in factors])
    slope = errors[-1] * np.array(factors[-1]) / np.array(factors)
    return _figure(
        "refinement",
        "Halved again and again: error of the erfc case",
        "Largest error of temperature in the first 0.25 m one hour after the step, cells and steps refined together. "
        "Dashed: first order, as the backward steps of this check have; the hourly run uses second-order steps.",
        [
            Series("computed", factors, errors, 1),
            Series("runs", factors, errors, 1, "points"),
            Series("first order", factors, slope, 3, "dash"),
        ],
        "Refinement (1: as verified above)",
        "Error [fraction of the step]",
        xaxis={"type": "log", "tickvals": list(factors), "ticktext": [f"{factor:g}" for factor in factors]},
        yaxis={"type": "log", "exponentformat": "power"},
    )


# ---------------------------------------------------------------------------------------------------------- criteria
def mould() -> dict[str, Any]:
    """Return the mould index over a year of constant climate."""
    days = np.arange(0, 365, 4)
    series = []
    for index, (sensitivity, celsius, humidity, expected) in enumerate(risk_mould.INDEX[:6]):
        index_of_day = np.concatenate(([0.0], risk_mould.index_run(sensitivity, celsius, humidity)))[24 * days]
        name = f"{sensitivity}, {celsius} °C, {humidity} %"
        series += [
            Series(name, days, index_of_day, index),
            Series(f"{name}, expected", risk_mould.DAYS, expected, index, "points"),
        ]
    return _figure(
        "mould",
        "Mould index in constant climate",
        "From a clean surface. Points: computed by hand once from the published equations (Hukka & Viitanen 1999, "
        "Ojanen et al. 2010, from memory) apart from this program.",
        series,
        "Time [d]",
        "Mould index [-]",
    )
