"""The monthly method of ISO 13788: condensate and drying inside the wall by month, and the temperature factor f_Rsi.

A steady method next to the hourly model. It has diffusion and steady conduction only: no capillary transport, no
storage in the materials, no sun, rain, night sky or air flow, except that the layers outside a well-ventilated cavity
are omitted.
"""

from __future__ import annotations

import calendar
import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import HOUR, ISO_AIR_PERMEABILITY, RUN_OFF
from cavity.units import COLDEST, HOTTEST, check_range
from cavity.wall import uvalue
from cavity.wall.indoor import indoor_climate, iso_13788_room, monthly_means
from cavity.wall.saturation import dew_point, saturation_pressure
from cavity.wall.storage import from_humidity, membrane_sd
from cavity.wallfile.model import takes_wall

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray
    from xarray import Dataset

    from cavity.wallfile.model import Case, Layer

AIR_LAYER_SD = 0.01  # m, s_d of an air layer, ISO 13788, from memory
MOULD_SURFACE = 0.25  # m2 K/W, R_si for the mould check on opaque surfaces, ISO 13788, from memory
MOULD_HUMIDITY = 0.8  # monthly mean relative humidity at the surface above which mould may grow, ISO 13788
LARGEST_PART = 0.25  # m2 K/W, layers of more resistance are subdivided, ISO 13788, from memory
TIGHT = 1e5  # m, largest s_d, for a vapour-tight layer; ISO 10456 gives aluminium foil 1500 m
DAYS = np.array((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31), dtype=float)
DIFFERENCES = (
    "The monthly method takes the mean of a month: clear nights, sunny hours and rain do not appear in it.",
    "Condensate stays at its plane: materials store no moisture, and there is no capillary transport.",
    "Vapour resistances are dry-cup values all year; the hourly run follows each material's humidity.",
    "A well-ventilated cavity is replaced by outdoor air at its monthly mean; the hourly run computes the cavity air, "
    "which at night can be colder and by day warmer than outdoors.",
    "Air leakage, driving rain that passes the cladding and built-in moisture are not part of the monthly method.",
)


LEAST_GAIN = 5e-4  # kg/m2, annual gain that counts as accumulation: it is printed as 1 g/m2
_MOST_YEARS = 60  # thousands of random walls needed nine at most
_CLOSED = 1e-6  # kg/m2, annual gain that counts as zero: 1 mg, a thousandth of the last printed digit


@dataclass(frozen=True)
class CondensateYear:
    """Twelve months of condensate at the planes of a wall, from the start month on.

    Parameters
    ----------
    month : array, (12,)
        Calendar months, 0 is January, in the order of the calculation.
    change : array, (12, planes)
        Condensate gained in the month, negative where it dries. [kg/m2]
    accumulated : array, (12, planes)
        Condensate at the end of the month. [kg/m2]
    temperature : array, (12, planes)
        Temperature of the planes. [K]
    carried : array, (planes,)
        Condensate at the start of the first month. It is above 0 where planes dry out one after the other, so that the
        year repeats although the wall is never free of condensate. [kg/m2]
    """

    month: NDArray[np.int64]
    change: NDArray[np.float64]
    accumulated: NDArray[np.float64]
    temperature: NDArray[np.float64]
    carried: NDArray[np.float64]

    @property
    def peak(self) -> float:
        """Largest condensate of all planes together at the end of a month [kg/m2]."""
        return float(self.accumulated.sum(axis=1).max(initial=0.0))

    @property
    def residue(self) -> float:
        """Gain of condensate of all planes over the twelve months, 0 where it is below half a gram [kg/m2]."""
        gained = float((self.accumulated[-1] - self.carried).sum())
        return gained if gained > LEAST_GAIN else 0.0


@dataclass(frozen=True)
class Monthly:
    """Result of the monthly method for one wall, climate and set of openings.

    Parameters
    ----------
    planes : tuple of str
        Interfaces and subdivisions of layers, outside to inside.
    year : CondensateYear
        Condensate by month.
    temperature_outdoor, temperature_indoor : array, (12,)
        January to December. [K]
    vapour_pressure_outdoor, vapour_pressure_indoor : array, (12,)
        January to December. [Pa]
    temperature_factor : float
        Temperature factor f_Rsi of the undisturbed interior surface. [1]
    temperature_factor_needed : array, (12,)
        Least factor that keeps the interior surface at or below 80 % relative humidity; NaN where the room is not
        warmer than outdoors. [1]
    u_value : UValue
        By ISO 6946.
    notes : tuple of str
        Verdict and limits of the method as sentences.
    """

    planes: tuple[str, ...]
    year: CondensateYear
    temperature_outdoor: NDArray[np.float64]
    temperature_indoor: NDArray[np.float64]
    vapour_pressure_outdoor: NDArray[np.float64]
    vapour_pressure_indoor: NDArray[np.float64]
    temperature_factor: float
    temperature_factor_needed: NDArray[np.float64]
    u_value: uvalue.UValue
    notes: tuple[str, ...]


def vapour_profile(
    positions: NDArray[np.float64],
    saturation: NDArray[np.float64],
    outside: float,
    inside: float,
    wet: NDArray[np.bool_] | None = None,
) -> NDArray[np.float64]:
    """Return the steady vapour pressure through a wall, at most saturation: the taut string of the Glaser method.

    Parameters
    ----------
    positions : array, (planes + 2,)
        s_d from outside to each plane, both surfaces included, increasing. [m]
    saturation : array, (planes + 2,)
        Saturation pressure there. [Pa]
    outside, inside : float
        Vapour pressures of the air on either side. [Pa]
    wet : array of bool, (planes + 2,), optional
        Planes with condensate: saturated even where the string would be lower.

    Returns
    -------
    array, (planes + 2,)
        Vapour pressure. [Pa]
    """
    points = np.array(saturation, dtype=float)
    points[0] = min(outside, points[0])
    points[-1] = min(inside, points[-1])
    anchors = np.zeros(points.size, dtype=bool) if wet is None else np.array(wet, dtype=bool)
    anchors[[0, -1]] = True
    corners = [0]
    for end in np.flatnonzero(anchors)[1:]:
        begin = len(corners)  # the string is straightened back to the last anchor only
        for index in range(corners[-1] + 1, end + 1):
            while len(corners) > begin and _above(positions, points, corners[-2], corners[-1], index):
                corners.pop()
            corners.append(index)
    return np.interp(positions, positions[corners], points[corners])


def _above(positions: NDArray[np.float64], points: NDArray[np.float64], first: int, middle: int, last: int) -> bool:
    """Whether the middle point lies on or above the line through the two others: the string then omits it."""
    run = (positions[middle] - positions[first]) / (positions[last] - positions[first])
    return points[middle] >= points[first] + run * (points[last] - points[first])


def condensate_year(
    resistances: ArrayLike,
    diffusion: ArrayLike,
    *,
    outer_surface: float,
    inner_surface: float,
    temperature_outdoor: ArrayLike,
    vapour_outdoor: ArrayLike,
    temperature_indoor: ArrayLike,
    vapour_indoor: ArrayLike,
) -> CondensateYear:
    """Return condensate and drying by month at every plane between the given parts of a wall.

    The year starts dry, with a month of condensation that follows one without; condensate is carried from month to
    month. Where a year has several such months, the start is one that ends dry. Where none does, further years are
    computed from the best of them. If they repeat, the repeating year is returned with the condensate it carries over;
    if not, condensate accumulates, and the first year is returned. So the verdict does not depend on the start. Where a
    plane dries out within a month, the rest of the month runs without it (with one plane, this is the sum of the
    standard).

    Parameters
    ----------
    resistances : array_like, (parts,)
        Thermal resistance of each part, outside to inside, without surfaces. [m2 K/W]
    diffusion : array_like, (parts,)
        s_d of each part. [m]
    outer_surface, inner_surface : float, keyword only
        Surface resistances. [m2 K/W]
    temperature_outdoor, temperature_indoor : array_like, (12,), keyword only
        Monthly means, January first. [K]
    vapour_outdoor, vapour_indoor : array_like, (12,), keyword only
        Monthly means, January first. [Pa]

    Returns
    -------
    CondensateYear
        Over the parts - 1 planes.

    References
    ----------
    ISO 13788:2012 clause 6, from memory.
    """
    check_range("condensate_year, temperature_outdoor", temperature_outdoor, "K", COLDEST, HOTTEST)
    check_range("condensate_year, temperature_indoor", temperature_indoor, "K", COLDEST, HOTTEST)
    thermal = np.concatenate(([outer_surface], outer_surface + np.cumsum(np.asarray(resistances, dtype=float))))
    total = thermal[-1] + inner_surface
    positions = np.concatenate(([0.0], np.cumsum(np.clip(np.asarray(diffusion, dtype=float), 1e-6, TIGHT))))
    cold, warm = np.asarray(temperature_outdoor, dtype=float), np.asarray(temperature_indoor, dtype=float)
    outside, inside = np.asarray(vapour_outdoor, dtype=float), np.asarray(vapour_indoor, dtype=float)
    temperature = cold[:, None] + (warm - cold)[:, None] * thermal / total
    saturation = saturation_pressure(temperature)

    rates = functools.partial(_rates, positions, saturation, outside, inside)
    dry = np.zeros(positions.size, dtype=bool)
    condenses = [bool((rates(month, dry) > 0.0).any()) for month in range(12)]
    starts = [month for month in range(12) if condenses[month] and not condenses[month - 1]] or [0]

    carried = np.zeros(positions.size)
    years = [_twelve_months(rates, start, carried) for start in starts]
    best = int(np.argmin([accumulated[-1].sum() for _, accumulated in years]))
    start, (change, accumulated) = starts[best], years[best]
    begin, gain, ratio = accumulated[-1], np.zeros(positions.size), 0.0
    for _ in range(_MOST_YEARS if begin.sum() > _CLOSED else 0):
        again = _twelve_months(rates, start, begin)
        end = again[1][-1]
        before, gain = gain, end - begin
        if np.abs(gain).max() < _CLOSED:
            carried, (change, accumulated) = begin, again
            break
        if np.abs(gain - before).max() < 1e-3 * _CLOSED:  # the same gain year after year: it accumulates
            break
        # gains shrink by a constant ratio each year: take the limit of the geometric series (Aitken)
        previous, ratio = ratio, gain.sum() / before.sum() if before.any() else 0.0
        settles = 0.0 < ratio < 0.9999 and abs(ratio - previous) < 1e-3
        begin = np.maximum(end + gain * ratio / (1.0 - ratio), 0.0) if settles else end
    months = (start + np.arange(12)) % 12
    inner = slice(1, -1)
    return CondensateYear(
        months, change[:, inner], accumulated[:, inner], temperature[months][:, inner], carried[inner]
    )


def _rates(
    positions: NDArray[np.float64],
    saturation: NDArray[np.float64],
    outside: NDArray[np.float64],
    inside: NDArray[np.float64],
    month: int,
    wet: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Return the condensation rate at each plane in a month, negative where it dries [kg/(m2 s)]."""
    profile = vapour_profile(positions, saturation[month], outside[month], inside[month], wet)
    outward = ISO_AIR_PERMEABILITY * np.diff(profile) / np.diff(positions)  # flux towards outdoors
    rates = np.zeros(positions.size)
    rates[1:-1] = outward[1:] - outward[:-1]
    # where the string has no corner only round-off is left: 1e-11 of the largest flux, 1e-15 of a pressure over its s_d
    steepest = ISO_AIR_PERMEABILITY * profile.max() / np.diff(positions)
    rounding = 1e-9 * np.abs(outward).max() + 1e-13 * np.maximum(steepest[1:], steepest[:-1])
    rates[1:-1][(np.abs(rates[1:-1]) < rounding) & ~wet[1:-1]] = 0.0
    return rates


def _twelve_months(
    rates: Callable[[int, NDArray[np.bool_]], NDArray[np.float64]], start: int, carried: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return change over and condensate at the end of twelve months from `start` on, (12, planes + 2) [kg/m2]."""
    condensate = carried.copy()
    change, accumulated = np.zeros((12, condensate.size)), np.zeros((12, condensate.size))
    for row in range(12):
        month = (start + row) % 12
        before, left = condensate.copy(), DAYS[month] * 24.0 * HOUR
        while left > 0.0:
            rate = rates(month, condensate > 0.0)
            drying = (rate < 0.0) & (condensate > 0.0)
            span = min(left, float(np.min(condensate[drying] / -rate[drying], initial=np.inf)))
            dried = drying & (condensate <= -rate * span * (1.0 + 1e-12))
            condensate = np.maximum(condensate + rate * span, 0.0)
            condensate[dried] = 0.0
            left -= span
        change[row], accumulated[row] = condensate - before, condensate
    return change, accumulated


def temperature_factor(resistance: float) -> float:
    """Return the temperature factor f_Rsi of the interior surface of a plane wall for the mould check.

    Parameters
    ----------
    resistance : float
        Total resistance without the inner surface. [m2 K/W]

    Returns
    -------
    float
        With R_si = 0.25 m2 K/W. [1]
    """
    return resistance / (resistance + MOULD_SURFACE)


def temperature_factor_needed(
    temperature_outdoor: ArrayLike,
    temperature_indoor: ArrayLike,
    vapour_indoor: ArrayLike,
    *,
    humidity: float = MOULD_HUMIDITY,
) -> NDArray[np.float64]:
    """Return the least temperature factor that keeps the interior surface at or below a relative humidity.

    Parameters
    ----------
    temperature_outdoor, temperature_indoor : array_like
        Air temperatures. [K]
    vapour_indoor : array_like
        Vapour pressure of the room. [Pa]
    humidity : float, keyword only
        Relative humidity at the surface: 0.8 against mould, 1.0 against condensation. [1]

    Returns
    -------
    array
        (theta_si,min - theta_e) / (theta_i - theta_e); NaN where the room is not warmer than outdoors. [1]

    References
    ----------
    ISO 13788:2012 clause 5, from memory.
    """
    check_range("temperature_factor_needed, temperature_outdoor", temperature_outdoor, "K", COLDEST, HOTTEST)
    check_range("temperature_factor_needed, temperature_indoor", temperature_indoor, "K", COLDEST, HOTTEST)
    check_range("temperature_factor_needed, humidity", humidity, "1", 0.01, 1.0)
    cold, warm = np.asarray(temperature_outdoor, dtype=float), np.asarray(temperature_indoor, dtype=float)
    needed = dew_point(np.asarray(vapour_indoor, dtype=float) / humidity)
    difference = warm - cold
    with np.errstate(divide="ignore", invalid="ignore"):  # months without a difference have no factor
        return np.where(difference > 0.1, (needed - cold) / difference, np.nan)


@takes_wall
def monthly(case: Case, weather: Dataset) -> Monthly:
    """Run the monthly method of ISO 13788 on a wall (E72).

    Parameters
    ----------
    case : Case or Wall
        From `Wall.case`; for a wall, with the keywords of `Wall.case`. Openings and depth decide whether cladding and
        cavity count.
    weather : Dataset
        Hourly weather, a whole year; its monthly means are used.

    Returns
    -------
    Monthly

    Raises
    ------
    InputError
        If the weather is not a whole year.
    """
    wall, iso_6946 = case.wall, uvalue.u_value(case)
    time = weather["time"].values
    cold = monthly_means(np.asarray(weather["temperature_outdoor"].values, dtype=float), time)
    outside = monthly_means(np.asarray(weather["vapour_pressure_outdoor"].values, dtype=float), time)
    if wall.indoor.model == "ISO 13788":
        warm, humidity = iso_13788_room(
            cold, outside, humidity_class=wall.indoor.humidity_class, temperature=wall.indoor.temperature
        )
        inside = humidity * saturation_pressure(warm)
    else:
        hourly, humidity = indoor_climate(wall.indoor, weather)
        warm, inside = monthly_means(hourly, time), monthly_means(humidity * saturation_pressure(hourly), time)
    parts = [_part(layer) for layer in wall.backup]
    if iso_6946.ventilation_class != "well ventilated":
        air = uvalue.cavity_resistance(case)
        parts = [*(_part(layer) for layer in wall.cladding), ("cavity", air, AIR_LAYER_SD), *parts]
    names, resistances, diffusion = _subdivided(parts)
    year = condensate_year(
        resistances,
        diffusion,
        outer_surface=iso_6946.outer_surface,
        inner_surface=iso_6946.inner_surface,
        temperature_outdoor=cold,
        vapour_outdoor=outside,
        temperature_indoor=warm,
        vapour_indoor=inside,
    )
    factor = temperature_factor(iso_6946.outer_surface + sum(part[1] for part in parts))
    through = iso_6946.outer_surface + sum(part[1] for part in parts)  # along the studs
    through += sum(
        uvalue.layer_resistance(stud) - uvalue.layer_resistance(layer)
        for stud, layer in zip(uvalue.at_studs(wall).backup, wall.backup, strict=True)
    )
    at_studs = temperature_factor(through) if any(layer.frame for layer in wall.backup) else None
    needed = temperature_factor_needed(cold, warm, inside)
    return Monthly(
        names,
        year,
        cold,
        warm,
        outside,
        inside,
        factor,
        needed,
        iso_6946,
        (
            *_notes(names, year, (factor, at_studs), needed, iso_6946),
            *_rail_notes(uvalue.rail_spots(case), cold, warm, inside),
        ),
    )


def summary(result: Monthly) -> dict[str, object]:
    """Return the result as plain values, for the attributes of an hourly result.

    Parameters
    ----------
    result : Monthly
        From `monthly`.

    Returns
    -------
    dict
        u_value and its parts undisturbed, framed, rails, brackets [W/(m2 K)], resistance [m2 K/W], ventilation_class,
        opening_area [m2/m], peak and residue [kg/m2], plane
        (the wettest, or ""), held (12 sums over all planes at the ends of January to December) [kg/m2],
        temperature_factor and temperature_factor_needed (the largest, or None) [1], notes, differences.
    """
    year = result.year
    by_month = np.zeros(12)
    by_month[year.month] = year.accumulated.sum(axis=1)
    wettest = int(np.argmax(year.accumulated.max(axis=0))) if year.peak > 0.0 else -1
    needed = result.temperature_factor_needed[np.isfinite(result.temperature_factor_needed)]
    return {
        "u_value": result.u_value.u_value,
        "resistance": result.u_value.resistance,
        "undisturbed": result.u_value.undisturbed,
        "framed": result.u_value.framed,
        "rails": result.u_value.rails,
        "brackets": result.u_value.brackets,
        "ventilation_class": result.u_value.ventilation_class,
        "opening_area": result.u_value.opening_area,
        "peak": year.peak,
        "residue": year.residue,
        "plane": result.planes[wettest] if wettest >= 0 else "",
        "held": [float(value) for value in by_month],
        "temperature_factor": result.temperature_factor,
        "temperature_factor_needed": float(needed.max()) if needed.size else None,
        "notes": list(result.notes),
        "differences": list(DIFFERENCES),
    }


def _part(layer: Layer) -> tuple[str, float, float]:
    """Return name, thermal resistance and s_d of a layer; a humidity-dependent membrane at 50 %."""
    if layer.is_membrane:
        return layer.name, 0.0, float(membrane_sd(layer, from_humidity([0.5]))[0])
    material = layer.material
    if material.mu_table:
        dry = math.exp(
            float(np.interp(0.25, [at for at, _ in material.mu_table], [math.log(mu) for _, mu in material.mu_table]))
        )
    else:
        dry = material.mu_dry
    return layer.name, uvalue.layer_resistance(layer), dry * layer.thickness


def _subdivided(
    parts: list[tuple[str, float, float]],
) -> tuple[tuple[str, ...], NDArray[np.float64], NDArray[np.float64]]:
    """Divide parts of large resistance into equal pieces; return the names of the planes, resistances and s_d."""
    names, resistances, diffusion = [], [], []
    previous = ""
    for name, resistance, sd in parts:
        pieces = 1 if name == "cavity" else max(1, math.ceil(resistance / LARGEST_PART - 1e-9))
        for piece in range(pieces):
            if piece:
                names.append(f"{name}, {100 * piece / pieces:.0f} % of its depth")
            elif previous:
                names.append(f"{previous} | {name}")
            resistances.append(resistance / pieces)
            diffusion.append(sd / pieces)
        previous = name
    return tuple(names), np.array(resistances), np.array(diffusion)


def _notes(
    names: tuple[str, ...],
    year: CondensateYear,
    factors: tuple[float, float | None],  # between the studs, and at them where there are any
    needed: NDArray[np.float64],
    iso_6946: uvalue.UValue,
) -> tuple[str, ...]:
    notes = []
    factor, at_studs = factors
    if year.peak <= 0.0:
        notes.append("No condensation inside the wall in any month.")
    else:
        row, plane = np.unravel_index(int(np.argmax(year.accumulated)), year.accumulated.shape)
        notes.append(
            f"Condensate reaches {1000 * year.peak:.0f} g/m2, most of it at {names[plane]} at the end of "
            f"{calendar.month_name[year.month[row] + 1]}."
        )
        if year.residue > 0.0:
            notes.append(f"{1000 * year.residue:.0f} g/m2 are left after twelve months: it accumulates year on year.")
        elif year.carried.any():
            notes.append(
                "Its planes dry out one after the other, never all together: it grows for some years, then repeats as "
                "shown here."
            )
        else:
            notes.append("It dries out within the year.")
        if year.peak > RUN_OFF:
            notes.append("More than 200 g/m2: water may run off a surface that does not absorb (ISO 13788).")
    if np.isfinite(needed).any():
        worst = int(np.nanargmax(needed))
        verdict = "meets" if factor >= needed[worst] else "does not meet"
        notes.append(
            f"Temperature factor f_Rsi {factor:.3f} {verdict} the {needed[worst]:.3f} needed in "
            f"{calendar.month_name[worst + 1]} to keep the undisturbed interior surface at or below 80 % relative "
            "humidity; corners and metal paths are colder."
        )
        if at_studs is not None:
            verdict = "meets" if at_studs >= needed[worst] else "does not meet"
            notes.append(f"At the studs it is {at_studs:.3f}, which {verdict} the same value.")
    if iso_6946.ventilation_class == "well ventilated":
        notes.append("Cladding and cavity are omitted: the cavity is well ventilated (ISO 6946).")
    elif iso_6946.ventilation_class == "slightly ventilated":
        notes.append("The cavity is slightly ventilated; it is counted as an unventilated air layer here.")
    return (*notes, *iso_6946.notes)


def _rail_notes(
    spots: tuple[uvalue.RailSpot, ...],
    cold: NDArray[np.float64],
    warm: NDArray[np.float64],
    inside: NDArray[np.float64],
) -> list[str]:
    """Return the dew-point check at the ends of rails: months in which room air would condense there."""
    notes = []
    for layer in dict.fromkeys(spot.layer for spot in spots):
        spot = next(end for end in spots if end.layer == layer)  # at the inner end; the interior surface comes after
        months = int((cold + spot.factor * (warm - cold) < dew_point(inside)).sum())
        verdict = f"in {months} months room air that reaches it condenses" if months else "room air does not condense"
        notes.append(
            f"Where the rails through {layer} meet {spot.behind} the temperature factor is about "
            f"{spot.factor:.2f} (own estimate after the ASHRAE zone method): {verdict}."
        )
    return notes
