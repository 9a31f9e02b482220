"""Mould index by the published VTT model, judged as ASHRAE Standard 160-2016 does: below 3.

Choices. The last simulated year is repeated (default 3 times) from a clean surface; the decline is that of materials
on which mould hardly recedes (0.1, as ASHRAE 160 asks where nothing else is known). Wall side: fail at the limit,
review one step below it or when at its present rise it would meet the limit within ten years, and at the room face
from 1 on, as people breathe there (all own choice). Cladding side: information, for it is exposed to the weather and
the air of the room does not reach it. Humidity below 0 degC does not matter: no growth. Frost counts as unfavourable,
like drought.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import Finding, first_wall_face, number, place, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

# k1 below 1, k1 above 1, A, B, C, least humidity %, wood term W: Ojanen et al. 2010, from memory
CLASSES: dict[str, tuple[float, ...]] = {
    "very sensitive": (1.0, 2.0, 1.0, 7.0, 2.0, 80.0, 0.0),
    "sensitive": (0.578, 0.386, 0.3, 6.0, 1.0, 80.0, 1.0),
    "medium resistant": (0.072, 0.097, 0.0, 5.0, 1.5, 85.0, 1.0),
    "resistant": (0.033, 0.014, 0.0, 3.0, 1.0, 85.0, 1.0),
}
_AHEAD = 10.0  # years to look ahead where the index still rises
_ROOM_REVIEW = 1.0  # index at the room face from which to review: growth has begun


def mould_index(
    temperature: np.ndarray,
    relative_humidity: np.ndarray,
    sensitivity: list[str],
    *,
    decline: float = 0.1,
    years: int = 1,
) -> tuple[np.ndarray, np.ndarray]:
    """Mould index of several faces over a year that is repeated.

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
    from cavity.kernels import mould as kernel

    celsius = np.ascontiguousarray(np.asarray(temperature, float) - ICE_POINT)
    humid = np.ascontiguousarray(100.0 * np.asarray(relative_humidity, float))
    classes = np.array([CLASSES[name] for name in sensitivity], float).reshape(-1, 7)
    index = np.zeros(celsius.shape)
    peak = np.zeros((years, celsius.shape[1]))
    kernel.mould_index(celsius, humid, classes, float(decline), int(years), index, peak)
    return index, peak


def by_face(ds: xr.Dataset, limits: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return the index of the last repeated year, (time, segment, face), and yearly peaks, (year, segment, face)."""
    shape = ds["temperature"].shape
    sensitivity = [str(name) for name in ds["face_mould_class"].values] * shape[1]
    years = round(limits["mould_years"])
    index, peak = mould_index(
        ds["temperature"].values.reshape(shape[0], -1),
        ds["relative_humidity"].values.reshape(shape[0], -1),
        sensitivity,
        decline=limits["mould_decline"],
        years=years,
    )
    return index.reshape(shape), peak.reshape(years, *shape[1:])


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return three findings: inside and at the outer face of the wall, at the room face, and on the cladding side."""
    time = ds["time"].values
    index, peak = by_face(ds, limits)
    start, room = first_wall_face(ds), ds.sizes["face"] - 1
    limit = limits["mould_index"]
    origin = (
        f"{source('mould_index', limits)}; model: Hukka & Viitanen 1999, Ojanen et al. 2010, coefficients from memory"
    )
    made = []
    for key, title, first, last, review in (
        ("mould", "Mould index in the wall", start, room, min(limits["mould_index_review"], limit)),
        ("mould_room", "Mould index at the room face", room, room + 1, min(_ROOM_REVIEW, limit)),
        ("mould_cladding", "Mould index on the cladding side", 0, start, limit),
    ):
        segment, face = worst_place(peak[-1, :, first:last])
        face += first
        value = float(peak[-1, segment, face])
        at = int(np.argmax(index[:, segment, face]))
        rise = value - float(peak[-2, segment, face]) if len(peak) > 1 else 0.0
        soon = value + _AHEAD * rise >= limit
        if key == "mould_cladding":
            status = "information"
        else:
            status = "fail" if value >= limit else "review" if value >= review or soon else "pass"
        grows = index[:, segment, face] > np.roll(index[:, segment, face], 1)
        where = place(ds, "face", face, segment)
        sensitivity = str(ds["face_mould_class"].values[face])
        if value < 0.01:
            text = f"No mould grows at {where} ({sensitivity} material)."
        else:
            text = (
                f"The mould index reaches {number(value, 1)} of 6 at {where} ({sensitivity} material) in {len(peak)} "
                f"such years (limit {number(limit, 1)}{', visible growth' if limit == 3.0 else ''})"
            )
            text += f" and still rises by {number(rise, 1)} a year." if rise >= 0.05 else "."
        made.append(
            Finding(
                key, title, where, value, limit, "", status, when(time, grows, at) if value >= 0.01 else "",
                float(grows.sum()), origin, text, value / limit,
            )
        )  # fmt: skip
    return made
