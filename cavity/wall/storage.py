"""Material functions of the hourly wall model on one grid: water content, vapour resistance and liquid flux potential.

The moisture unknown of the wall kernels is u = -ln(p_suc / SUCTION_SCALE), so that relative humidity at 20 degC is
exp(-exp(-u)): u = -2.5 is dry, u = 3 is 95 %, u = 12 is capillary water in pores of 0.17 mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import SATURATED, SUCTION_SCALE
from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from cavity.wallfile.model import Layer, Material

GRID_LOWER = -2.5
GRID_UPPER = 18.0
GRID_STEP = 0.05

_FULL_FRACTION = 0.999  # of the free saturation, reached at SATURATED
_BLEND = 0.75  # in u, width of the transition from the sorption isotherm to the capillary range
_LAST_HUMIDITY = 0.9999  # sorption points above it are capillary water and are not used
_DRY_CUP, _WET_CUP = 0.25, 0.75  # mean humidity of the 0/50 and 50/93 cups of ISO 12572
_ESTIMATE_FACTOR = 3.8  # D_w = 3.8 (A/w_f)2 1000^(w/w_f - 1), Kuenzel 1995, from memory
_ESTIMATE_RANGE = 1000.0  # same
_REDISTRIBUTION = 0.1  # D_w without contact to liquid water, at free saturation; Kuenzel 1995, from memory (medium)
_FADE_HUMIDITY = 0.8  # below it D_w falls in proportion to w: cup values include the transport in the dry range


@dataclass(frozen=True)
class MaterialTables:
    """Material functions on the grid of u, between the points a monotone cubic through values and slopes.

    Parameters
    ----------
    water : array, (grid,)
        Water content. [kg/m3]
    water_slope : array, (grid,)
        Derivative of `water` by u. [kg/m3]
    mu : array, (grid,)
        Vapour diffusion resistance factor, may be infinite. [1]
    potential : array, (grid,)
        Liquid flux potential: liquid flux = -d(potential)/dx. [kg/(m s)]
    potential_slope : array, (grid,)
        Derivative of `potential` by u. [kg/(m s)]
    """

    water: NDArray[np.float64]
    water_slope: NDArray[np.float64]
    mu: NDArray[np.float64]
    potential: NDArray[np.float64]
    potential_slope: NDArray[np.float64]


def suction_grid() -> NDArray[np.float64]:
    """Return the grid of u of all material tables, uniform from -2.5 to 18 in steps of 0.05 [1]."""
    return GRID_LOWER + GRID_STEP * np.arange(round((GRID_UPPER - GRID_LOWER) / GRID_STEP) + 1, dtype=np.float64)


def from_humidity(relative_humidity: ArrayLike) -> NDArray[np.float64]:
    """Return u at this relative humidity and 20 degC.

    Parameters
    ----------
    relative_humidity : array_like
        Relative humidity above 0 and below 1. [1]

    Returns
    -------
    array
        u = -ln(-ln(relative humidity)). [1]
    """
    return -np.log(-np.log(np.asarray(relative_humidity, dtype=float)))


def to_humidity(u: ArrayLike) -> NDArray[np.float64]:
    """Return relative humidity at 20 degC, the inverse of `from_humidity` (u and result [1])."""
    return np.exp(-np.exp(-np.asarray(u, dtype=float)))


def material_tables(material: Material, grid: NDArray[np.float64], *, redistribution: bool = False) -> MaterialTables:
    """Return the tables of a material of the materials table.

    Water content follows a monotone cubic through the measured sorption points (adsorption, no hysteresis; a point
    below the previous one is raised to it), then a van Genuchten curve from the last point to 99.9 % of free saturation
    at u = 12. A material without capillary suction has no capillary range: its isotherm continues to 100 % with the
    slope of its last two points, and further condensate is held as a film. Liquid diffusivity comes from the table of
    the material, else from the water absorption coefficient. Below the water content at 80 % relative humidity it falls
    in proportion to the water content, because the cup values already include the transport there (our own assumption).

    Parameters
    ----------
    material : Material
        One row of the materials table.
    grid : array, (grid,)
        Values of u, uniform and increasing. [1]
    redistribution : bool, keyword only
        True: no contact with liquid water, the estimated diffusivity is a tenth; measured ones are used as given.

    Returns
    -------
    MaterialTables

    Raises
    ------
    InputError
        If the material holds water but no sorption point below 99 % of its free saturation is given.

    References
    ----------
    H. M. Kuenzel, Simultaneous heat and moisture transport in building components, 1995 (D_w from A, and the tenth):
    from memory. M. Th. van Genuchten, Soil Sci. Soc. Am. J. 44, 1980. ISO 12572 (cups).
    """
    grid = np.ascontiguousarray(grid, dtype=float)
    mu = _vapour_resistance(material.mu_table, material.mu_dry, material.mu_wet, to_humidity(grid))
    if material.free_saturation <= 0.0:
        return MaterialTables(np.zeros_like(grid), np.zeros_like(grid), mu, np.zeros_like(grid), np.zeros_like(grid))
    capillary = material.absorption > 0.0 or bool(material.diffusivity)
    water = _water_content(material, grid, capillary)
    slope = monotone_slopes(grid, water)
    if not capillary:
        return MaterialTables(water, slope, mu, np.zeros_like(grid), np.zeros_like(grid))
    # no gradient from a saturated pore to a film at the layer: a film has no suction, whatever its thickness
    full = np.minimum(water, np.interp(SATURATED, grid, water))
    potential, diffusivity = _liquid_potential(material, grid, full, 1.0 if not redistribution else _REDISTRIBUTION)
    return MaterialTables(water, slope, mu, potential, _limited(diffusivity * slope, grid, potential))


def tables_from_functions(
    water_of_suction: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    conductivity_of_water: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None,
    mu_of_water: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    grid: NDArray[np.float64],
) -> MaterialTables:
    """Return the tables of a material given by functions of suction, as in EN 15026 and the HAMSTAD cases.

    Parameters
    ----------
    water_of_suction : callable
        Water content [kg/m3] as a decreasing function of suction [Pa].
    conductivity_of_water : callable or None
        Liquid conductivity K [s] of water content [kg/m3]; liquid flux = K d(p_suc)/dx. None: no liquid flow.
    mu_of_water : callable
        Vapour diffusion resistance factor [1] of water content [kg/m3].
    grid : array, (grid,)
        Values of u, uniform and increasing. [1]

    Returns
    -------
    MaterialTables
        The potential is the integral of K over suction, zero at the dry end of the grid.
    """
    grid = np.ascontiguousarray(grid, dtype=float)
    step = grid[1] - grid[0]
    # d(water)/du by a central difference: error 1e-8 relative for a curve smooth over a tenth in u
    small = 1e-4
    water = water_of_suction(_suction(grid))
    slope = (water_of_suction(_suction(grid + small)) - water_of_suction(_suction(grid - small))) / (2 * small)
    mu = mu_of_water(water)
    if conductivity_of_water is None:
        return MaterialTables(water, _limited(slope, grid, water), mu, np.zeros_like(grid), np.zeros_like(grid))

    def density(u: NDArray[np.float64]) -> NDArray[np.float64]:
        """Derivative of the potential: K dp_suc = K p_suc du (suction decreases with u, so the potential increases)."""
        suction = _suction(u)
        return conductivity_of_water(water_of_suction(suction)) * suction

    # Gauss-Legendre with 5 points in each interval: exact to round-off where K is smooth over 0.05 in u
    node, weight = np.polynomial.legendre.leggauss(5)
    inner = density(grid[:-1, None] + 0.5 * step * (node + 1.0)) @ weight * 0.5 * step
    potential = np.concatenate(([0.0], np.cumsum(inner)))
    return MaterialTables(water, _limited(slope, grid, water), mu, potential, _limited(density(grid), grid, potential))


def membrane_sd(layer: Layer, grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the equivalent air layer thickness of a membrane on the grid.

    Parameters
    ----------
    layer : Layer
        A layer with `sd`, or with `sd_table` of (relative humidity, s_d [m]); the table takes precedence.
    grid : array, (grid,)
        Values of u. [1]

    Returns
    -------
    array, (grid,)
        s_d, logarithmic between the points of a table and flat outside. [m]
    """
    humidity = to_humidity(grid)
    if layer.sd_table:
        return _log_between(layer.sd_table, humidity)
    return np.full(humidity.shape, float(layer.sd or 0.0))


PERMEANCE_STEPS = 200  # of relative humidity: error of the mean permeance below 1e-6, see the tests


def membrane_permeance(layer: Layer) -> NDArray[np.float64]:
    """Return the integral of a membrane's permeance 1/s_d over relative humidity, from 0 to 1.

    Parameters
    ----------
    layer : Layer
        With `sd_table` of (relative humidity, s_d [m]); s_d is logarithmic between its points, constant outside.

    Returns
    -------
    array, (PERMEANCE_STEPS, 4)
        Coefficients of a cubic on each step of relative humidity; its variable runs from 0 to 1 in the step. [1/m]
    """
    step = 1.0 / PERMEANCE_STEPS
    phi = np.linspace(0.0, 1.0, PERMEANCE_STEPS + 1)
    node, weight = np.polynomial.legendre.leggauss(5)
    inner = 1.0 / _log_between(layer.sd_table, phi[:-1, None] + 0.5 * step * (node + 1.0)) @ weight * 0.5 * step
    total = np.concatenate(([0.0], np.cumsum(inner)))
    rate = step / _log_between(layer.sd_table, phi)
    return np.stack(
        (total[:-1], rate[:-1], 3.0 * inner - 2.0 * rate[:-1] - rate[1:], rate[:-1] + rate[1:] - 2.0 * inner), axis=1
    )


def _suction(u: NDArray[np.float64]) -> NDArray[np.float64]:
    return SUCTION_SCALE * np.exp(-u)


def _log_between(points: tuple[tuple[float, float], ...], at: NDArray[np.float64]) -> NDArray[np.float64]:
    x, values = np.array(sorted(points), dtype=float).T
    return np.exp(np.interp(at, x, np.log(np.maximum(values, 1e-12))))  # a zero resistance has no logarithm


def _vapour_resistance(
    table: tuple[tuple[float, float], ...], dry: float, wet: float, humidity: NDArray[np.float64]
) -> NDArray[np.float64]:
    if table:
        return _log_between(table, humidity)
    permeability = np.interp(humidity, (_DRY_CUP, _WET_CUP), (1.0 / dry, 1.0 / wet))
    with np.errstate(divide="ignore"):  # a foil is vapour tight: its resistance factor is infinite
        return 1.0 / permeability


def _water_content(material: Material, grid: NDArray[np.float64], capillary_active: bool) -> NDArray[np.float64]:
    from scipy.interpolate import PchipInterpolator

    full = material.free_saturation
    points = sorted(
        (humidity, water)
        for humidity, water in material.sorption
        if 0.0 < humidity <= _LAST_HUMIDITY and water < 0.99 * full
    )
    if not points:
        raise InputError(
            Fault(
                f"material {material.name}",
                "holds water, but no sorption point is usable",
                f"free saturation {full:g} kg/m3, {len(material.sorption)} sorption points",
                "at least one (relative humidity, water content) pair below free saturation",
                "give the sorption isotherm, or set free_saturation to 0 for a material without water",
            )
        )
    humidity, water = np.array(points).T
    water = np.maximum.accumulate(water)
    if not capillary_active:
        before = (humidity[-2], water[-2]) if len(humidity) > 1 else (0.0, 0.0)
        rise = (water[-1] - before[1]) / (humidity[-1] - before[0])
        damp = min(float(water[-1] + rise * (1.0 - humidity[-1])), full)
        isotherm = PchipInterpolator(np.concatenate(([0.0], humidity, [1.0])), np.concatenate(([0.0], water, [damp])))
        return np.maximum.accumulate(np.clip(isotherm(to_humidity(grid)), 0.0, full))
    last = float(from_humidity(humidity[-1]))
    capillary = _van_genuchten(last, float(water[-1]) / full)
    beyond = last + _BLEND
    # the isotherm includes the first capillary point, so that its slope there already increases
    isotherm = PchipInterpolator(
        np.concatenate(([0.0], humidity, [float(to_humidity(beyond))])),
        np.concatenate(([0.0], water, [full * float(capillary(np.array(beyond)))])),
    )
    lower, upper = grid[grid < last - 1e-9], grid[grid > beyond + 1e-9]
    nodes = np.concatenate((lower, [last, beyond], upper))
    values = np.concatenate(
        (isotherm(to_humidity(lower)), [water[-1]], full * capillary(np.concatenate(([beyond], upper))))
    )
    # the slope of the isotherm can vanish at zero; round-off must not make it decrease
    return np.maximum.accumulate(np.clip(PchipInterpolator(nodes, values)(grid), 0.0, full))


def _van_genuchten(last: float, fraction: float) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Fraction of free saturation by u through (last, fraction) and (SATURATED, _FULL_FRACTION) (E48)."""
    from scipy.optimize import brentq

    # isotherms may start at zero: 1e-6 keeps the logarithm finite
    first, second = -np.log(max(fraction, 1e-6)), -np.log(_FULL_FRACTION)

    def log_term(logarithm: float, power: float) -> float:
        """ln((a p)^n) that gives this -ln(fraction)."""
        exponent = logarithm * power / (power - 1.0)
        return exponent if exponent > 30.0 else float(np.log(np.expm1(exponent)))

    # increases with the power from minus to plus infinity: one root
    power = brentq(
        lambda n: n * (SATURATED - last) - log_term(first, n) + log_term(second, n), 1.0 + 1e-9, 1e3, xtol=1e-12
    )
    start = log_term(first, power)

    def fraction_at(u: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.exp((1.0 / power - 1.0) * np.logaddexp(0.0, start - power * (u - last)))

    return fraction_at


def _liquid_potential(
    material: Material, grid: NDArray[np.float64], water: NDArray[np.float64], factor: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Integral of the liquid diffusivity over water content, and the diffusivity, on the grid (E47, E50)."""
    from scipy.integrate import cumulative_trapezoid
    from scipy.interpolate import CubicHermiteSpline

    full = material.free_saturation
    if material.diffusivity:
        table = tuple(sorted(material.diffusivity))
        fade = next((content for content, _ in table if content > 0.0), full)
    else:
        fade = float(np.interp(from_humidity(_FADE_HUMIDITY), grid, water))
        scale = factor * _ESTIMATE_FACTOR * (material.absorption / full) ** 2

    def diffusivity(w: NDArray[np.float64]) -> NDArray[np.float64]:
        above = np.maximum(w, fade)
        if material.diffusivity:
            value = _log_between(tuple((content, max(d, 1e-30)) for content, d in table), above)
        else:
            value = scale * _ESTIMATE_RANGE ** (above / full - 1.0)
        return value * np.minimum(1.0, w / fade) if fade > 0.0 else value

    # 4000 intervals: trapezoid error (6.9 / 4000)^2 / 12 = 2.5e-7; the dry end has additional points
    fine = np.unique(np.concatenate((full * np.linspace(0.0, 1.0, 4001), fade * np.linspace(0.0, 1.0, 201))))
    value = diffusivity(fine)
    integral = CubicHermiteSpline(fine, cumulative_trapezoid(value, fine, initial=0.0), value)
    return np.maximum.accumulate(integral(water)), diffusivity(water)


def monotone_slopes(grid: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the slopes of the monotone cubic through the points (units of `values`; grid of u [1])."""
    from scipy.interpolate import PchipInterpolator

    return np.ascontiguousarray(PchipInterpolator(grid, values).derivative()(grid))


def _limited(slope: NDArray[np.float64], grid: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the slopes, limited to 0 and three times the smaller adjacent secant: then the cubic is monotone.

    F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17, 1980 (sufficient condition).
    """
    secant = np.diff(values) / np.diff(grid)
    bound = 3.0 * np.minimum(np.concatenate((secant[:1], secant)), np.concatenate((secant, secant[-1:])))
    return np.clip(slope, 0.0, np.maximum(bound, 0.0))
