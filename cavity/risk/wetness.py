"""Time of wetness of metal by ISO 9223: hours above 80 % relative humidity and above 0 degC.

Choices. Rails, brackets and fasteners are in the cavity air: their time of wetness is that of the air there, compared
with that of the outdoor air. In a higher class than outdoors and above 5500 h (tau 5) a review item: a coating that
suits outdoors may not do; else information. Metal in the cavity never fails, as corrosion also depends on salt and
sulphur, which no weather file gives. Metal on the wall side (foil, studs as layers): review above 2500 h (tau 4), fail
above the limit for the cavity, as it cannot be inspected.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import Fact, Finding, at_face, at_segment, first_sheltered_face, ratio_of, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_CLASSES = ((10.0, "τ1"), (250.0, "τ2"), (2500.0, "τ3"), (5500.0, "τ4"), (np.inf, "τ5"))  # ISO 9223:1992, from memory


def wet(temperature: np.ndarray, relative_humidity: np.ndarray) -> np.ndarray:
    """Return the hours that count as wet by ISO 9223, of temperature [K] and relative humidity [-]; array of bool."""
    return (np.asarray(relative_humidity) > 0.80) & (np.asarray(temperature) > ICE_POINT)


def wetness_class(hours: float) -> str:
    """Return the class of ISO 9223:1992 for the wet hours of a year. [h]."""
    return next(name for top, name in _CLASSES if hours <= top)


def _beyond_outdoors(hours: float, outdoors: float, limit: float) -> str:
    """Return "review" where metal is wet beyond the limit and in a higher class than outdoors, else "information"."""
    return "review" if hours > limit and wetness_class(hours) != wetness_class(outdoors) else "information"


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return findings for fixings in the cavity, metal of the cladding and metal of the wall, where there is any."""
    time = ds["time"].values
    days = len(time) / 24.0
    outdoors = float(wet(ds["temperature_outdoor"].values, ds["relative_humidity_outdoor"].values).sum())
    origin = "ISO 9223 (RH > 80 %, T > 0 °C; abstract read, classes from memory)"
    rows = []

    air = wet(ds["cavity_temperature"].values, ds["cavity_relative_humidity"].values)
    hours = air.sum(axis=0)
    segment = int(np.argmax(hours))
    value, limit = float(hours[segment]), limits["wetness_cavity"]
    status = _beyond_outdoors(value, outdoors, limit)
    known: dict[str, Fact] = {"days": days, "outdoors": outdoors, "class_outdoors": wetness_class(outdoors)}
    rows.append(
        Finding(
            "wetness", value, limit, "h", status, value / limit, f"{origin}; {source('wetness_cavity', limits)}",
            spot="cavity air", **at_segment(ds, segment), hours=value, **when(time, air[:, segment]),
            facts=known | {"class": wetness_class(value)},
        )
    )  # fmt: skip

    metal = np.asarray(ds["face_metal"].values, bool)
    start = first_sheltered_face(ds)
    # the exterior surface is exposed to rain and is not judged; the back of a metal cladding is
    zones = (
        ("wetness_cladding", metal & (np.arange(metal.size) < start)),
        ("wetness_wall", metal & (np.arange(metal.size) >= start)),
    )
    for key, zone in zones:
        faces = np.flatnonzero(zone & (np.arange(metal.size) > 0))
        if not faces.size:
            continue
        count = wet(ds["temperature"].values[:, :, faces], ds["relative_humidity"].values[:, :, faces])
        hours = count.sum(axis=0)
        segment, which = worst_place(hours)
        value = float(hours[segment, which])
        inside = key == "wetness_wall"
        review = limits["wetness_wall" if inside else "wetness_cavity"]
        limit = max(review, limits["wetness_cavity"])
        if inside:
            status = "pass" if value <= review else "fail" if value > limit else "review"
        else:
            status = _beyond_outdoors(value, outdoors, limit)
        rows.append(
            Finding(
                key, value, limit, "h", status, ratio_of(value, limit, status),
                f"{origin}; {source('wetness_wall' if inside else 'wetness_cavity', limits)}",
                **at_face(ds, int(faces[which]), segment), hours=value, **when(time, count[:, segment, which]),
                facts=known | {"class": wetness_class(value), "review": review},
            )
        )  # fmt: skip
    return rows
