"""Mould index by the published VTT model, judged as ASHRAE Standard 160-2016 does: it shall not exceed 3.

Choices. The last simulated year is repeated from a clean surface until the yearly peak of a place settles: until it
rises by less than 0.01 from one year to the next, at most `mould_years` times (30). The settled peak is judged; one
that has not settled by then is called "still rising" and is at least a review item. The decline is that of materials
on which mould hardly recedes (0.1, as ASHRAE 160 asks where nothing else is known). Wall side: fail above the limit.
Review inside the wall from 2 on and at the interior surface from 1 on: the levels below which the authors of the model
see no need to act (Viitanen, Krus, Ojanen, Eitner, Zirkelbach, Energy Procedia 78, 2015). Cladding side, and the cavity
side of a membrane that is the outermost layer of the wall: information, for it is outside the plane that keeps the
weather out and the air of the room does not reach it. Humidity below 0 degC does not matter: no
growth. Frost counts as unfavourable, like drought. Weather shorter than a year is followed once.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import (
    WHOLE_YEAR,
    Fact,
    Finding,
    at_face,
    first_sheltered_face,
    ratio_of,
    repeats,
    when,
    worst_place,
)
from cavity.risk.limits import source
from cavity.units import COLDEST, HOTTEST, check_range

if TYPE_CHECKING:
    import xarray as xr

# k1 below 1, k1 above 1, A, B, C, least humidity %, wood term W: Ojanen et al. 2010, from memory
CLASSES: dict[str, tuple[float, ...]] = {
    "very sensitive": (1.0, 2.0, 1.0, 7.0, 2.0, 80.0, 0.0),
    "sensitive": (0.578, 0.386, 0.3, 6.0, 1.0, 80.0, 1.0),
    "medium resistant": (0.072, 0.097, 0.0, 5.0, 1.5, 85.0, 1.0),
    "resistant": (0.033, 0.014, 0.0, 3.0, 1.0, 85.0, 1.0),
}
SETTLED = 0.01  # rise of the yearly peak, a tenth of the digit shown, below which it has settled; own choice


class Repeated(NamedTuple):
    """The index over a year repeated until its peak settles.

    Parameters
    ----------
    index : array, (hour, ...)
        In the last year run, at the end of each hour. [-]
    peak : array, (...)
        Largest index of the last year run. [-]
    rise : array, (...)
        By which it exceeds that of the year before; 0 where the year was run once. [-]
    years : array, (...)
        How often the year was run. [-]
    """

    index: np.ndarray  # type: ignore[assignment]  # of the tuple: not used
    peak: np.ndarray
    rise: np.ndarray
    years: np.ndarray

    @property
    def rising(self) -> np.ndarray:
        """Places whose peak has not settled, (...) of bool."""
        return self.rise >= SETTLED


def mould_index(
    temperature: np.ndarray,
    relative_humidity: np.ndarray,
    sensitivity: list[str],
    *,
    decline: float = 0.1,
    years: int = 1,
) -> tuple[np.ndarray, np.ndarray]:
    """Mould index of several surfaces over a year that is repeated.

    Parameters
    ----------
    temperature : array, (hour, face)
        Of the surface. [K]
    relative_humidity : array, (hour, face)
        At the surface. [-]
    sensitivity : list of str, (face,)
        Names of `CLASSES`.
    decline : float, keyword only
        Relative decline in unfavourable hours: 1 pine, 0.5 significant, 0.25 relatively low, 0.1 almost none. [-]
    years : int, keyword only
        How often the series is repeated. [-]

    Returns
    -------
    index : array, (hour, face)
        In the last year, at the end of each hour. [-]
    peak : array, (year, face)
        Largest index of each year. [-]

    References
    ----------
    Hukka & Viitanen, Wood Sci. Technol. 33 (1999) 475-485; Ojanen et al., Buildings XI, 2010. From memory.
    """
    index, peak, _ = _run(temperature, relative_humidity, sensitivity, decline, years, 0.0)
    return index, peak


def repeated(
    temperature: np.ndarray,
    relative_humidity: np.ndarray,
    sensitivity: list[str],
    *,
    decline: float = 0.1,
    most: int = 30,
) -> Repeated:
    """Mould index of several surfaces over a year that is repeated until the yearly peak settles.

    Parameters
    ----------
    temperature : array, (hour, face)
        Of the surface. [K]
    relative_humidity : array, (hour, face)
        At the surface. [-]
    sensitivity : list of str, (face,)
        Names of `CLASSES`.
    decline : float, keyword only
        Relative decline in unfavourable hours. [-]
    most : int, keyword only
        How often the series is repeated at most. [-]

    Returns
    -------
    Repeated
        Each surface after as many years as it takes.
    """
    index, peak, years = _run(temperature, relative_humidity, sensitivity, decline, most, SETTLED)
    last = peak[-1]
    before = np.take_along_axis(peak, np.maximum(years - 2, 0)[None], axis=0)[0]
    return Repeated(index, last, np.where(years > 1, last - before, 0.0), years)


def _run(
    temperature: np.ndarray,
    relative_humidity: np.ndarray,
    sensitivity: list[str],
    decline: float,
    most: int,
    settle: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    from cavity.kernels import mould as kernel

    check_range("mould index, temperature", temperature, "K", COLDEST, HOTTEST)
    check_range("mould index, relative_humidity", relative_humidity, "1", 0.0, 1.05)
    celsius = np.ascontiguousarray(np.asarray(temperature, float) - ICE_POINT)
    humid = np.ascontiguousarray(100.0 * np.asarray(relative_humidity, float))
    classes = np.array([CLASSES[name] for name in sensitivity], float).reshape(-1, 7)
    index = np.zeros(celsius.shape)
    peak = np.zeros((int(most), celsius.shape[1]))
    taken = np.zeros(celsius.shape[1], np.int64)
    work = np.zeros((len(celsius), 2))
    kernel.mould_index(celsius, humid, classes, float(decline), int(most), float(settle), index, peak, taken, work)
    return index, peak, taken


def by_face(ds: xr.Dataset, limits: Mapping[str, float]) -> Repeated:
    """Return the index at every face, (time, segment, face), with its settled peaks, (segment, face)."""
    shape = ds["temperature"].shape
    sensitivity = [str(name) for name in ds["face_mould_class"].values] * shape[1]
    settled = repeated(
        ds["temperature"].values.reshape(shape[0], -1),
        ds["relative_humidity"].values.reshape(shape[0], -1),
        sensitivity,
        decline=limits["mould_decline"],
        most=repeats(ds, limits),
    )
    return Repeated(settled.index.reshape(shape), *(values.reshape(shape[1:]) for values in settled[1:]))


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return three findings: in the wall with its exterior surface, at its interior surface, on the cladding."""
    time = ds["time"].values
    growth = by_face(ds, limits)
    start, room = first_sheltered_face(ds), ds.sizes["face"] - 1
    limit = limits["mould_index"]
    model = "model: Hukka & Viitanen 1999, Ojanen et al. 2010, coefficients from memory"
    whole = len(time) >= WHOLE_YEAR
    rows = []
    for key, first, last, level in (
        ("mould", start, room, "mould_index_review"),
        ("mould_room", room, room + 1, "mould_room_review"),
        ("mould_cladding", 0, start, ""),
    ):
        # the largest settled peak; one that still rises ranks before an equal one that does not
        segment, face = worst_place(growth.peak[:, first:last] + 1e-6 * growth.rising[:, first:last])
        face += first
        value, rise = float(growth.peak[segment, face]), float(growth.rise[segment, face])
        rising, years = bool(growth.rising[segment, face]), int(growth.years[segment, face])
        index = growth.index[:, segment, face]
        hour = int(np.argmax(index))
        any_rising = bool(growth.rising[:, first:last].any())
        if not level:
            status = "information"
        elif value > limit:
            status = "fail"
        else:
            status = "review" if value >= min(limits[level], limit) or any_rising else "pass"
        grows = index > np.roll(index, 1)
        facts: dict[str, Fact] = {
            "sensitivity": str(ds["face_mould_class"].values[face]), "rise": rise, "years": years, "whole_year": whole,
        }  # fmt: skip
        origin = source("mould_index", limits)
        if level:
            facts["review"] = min(limits[level], limit)
            origin += f"; review: {source(level, limits)}"
        rows.append(
            Finding(
                key, value, limit, "1", status, ratio_of(value, limit, status), f"{origin}; {model}",
                **at_face(ds, face, segment), hours=float(grows.sum()), rising=rising,
                **(when(time, grows, hour) if value >= 0.01 else {}), facts=facts,
            )
        )  # fmt: skip
    return rows
