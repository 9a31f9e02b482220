"""Hours of dew at each surface and of condensation at each interface, and the lowest dew-point margin.

Choices. Dew on the cladding, exterior surface or back, is weather and what the cavity is for: information. The exterior
surface of the wall and the interfaces inside it: review from a tenth of the year on; the amounts and their harm are
judged by condensate, accumulation and mould, since ISO 13788 allows condensation that dries out. At the interior
surface and at the cold spots of metal rails review from the first hour, for there it is seen or nothing else judges it.
Nothing fails on hours alone. Hours that rain wets are not dew.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import HOUR
from cavity.risk.condensate import DRY_FILM, Condensate, condensate
from cavity.risk.finding import Finding, at_face, at_segment, first_wall_face, when
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

# A porous layer holds its water below saturation: RH 99 % is a margin of 0.15 K at 10 degC (Clausius-Clapeyron:
# R_v T^2 / L x 0.01). At an interface water counts as condensed from there on; own choice.
INTERFACE_MARGIN = 0.15  # K
DROP = 1e-5  # kg/m2 in an hour; less rain than 0.01 g/m2 is rounding
_FIRST_HOUR = 1.0  # h; where dew is to be reviewed from the first hour on


def dew(ds: xr.Dataset, condensed: Condensate | None = None) -> np.ndarray:
    """Return the hours of dew, (time, segment, face) of bool.

    Parameters
    ----------
    ds : xarray.Dataset
        The result.
    condensed : Condensate, optional
        From `condensate`, where the caller has it.

    Notes
    -----
    Dew is there where the margin is below 0 (below 0.15 K at interfaces), and on the wall side as long as condensate
    remains there. Hours that rain wets are never dew: those in which rain falls on the place, and those in which rain
    brought it at least as much water as vapour did.
    """
    condensed = condensate(ds) if condensed is None else condensed
    threshold = np.where(np.asarray(ds["face_kind"].values) == "interface", INTERFACE_MARGIN, 0.0)
    below = np.asarray(ds["dew_point_margin"].values) < threshold
    rains = np.asarray(ds["film_by_rain"].values, float) * HOUR > DROP
    rains[:, :, 0] |= np.asarray(ds["driving_rain"].values, float)[:, None] * HOUR > DROP
    return (below | (condensed.amount > DRY_FILM)) & ~rains & ~condensed.wetted


def findings(ds: xr.Dataset, limits: Mapping[str, float], condensed: Condensate | None = None) -> list[Finding]:
    """Return one finding for each surface, interface and spot of rails: hours of dew, lowest margin."""
    time = ds["time"].values
    margin = np.asarray(ds["dew_point_margin"].values, float)
    wet = dew(ds, condensed)
    hours = wet.sum(axis=0)  # (segment, face)
    start = first_wall_face(ds)
    rows = []
    for face in range(ds.sizes["face"]):
        lowest = margin[:, :, face].min(axis=0)
        segment = int(np.lexsort((lowest, -hours[:, face]))[0])  # most hours, then lowest margin
        count = float(hours[segment, face])
        hour = int(np.argmin(margin[:, segment, face]))
        least = float(margin[hour, segment, face])
        room = face == ds.sizes["face"] - 1
        allowed = _FIRST_HOUR if room else limits["dew_hours"]
        status = "information" if face < start else "review" if count >= allowed else "pass"
        zone = "cladding" if face < start else "room" if room else "wall"
        origin = {
            "cladding": "dew on the cladding is weather; common practice, no source",
            "room": "ISO 13788:2012 (no condensation on the interior surface), from memory",
            "wall": f"hours: {source('dew_hours', limits)}; ISO 13788:2012 (allowed if it dries out), from memory",
        }[zone]
        rows.append(
            Finding(
                "dew_point", count, allowed, "h", status, count / allowed, origin, **at_face(ds, face, segment),
                hours=count, **when(time, wet[:, segment, face], hour), facts={"margin": least, "zone": zone},
            )
        )  # fmt: skip
    return [*rows, *_at_rails(ds)]


def _at_rails(ds: xr.Dataset) -> list[Finding]:
    """One finding for each cold spot of metal rails through a layer; none where the wall has no such rails."""
    if "rail_dew_point_margin" not in ds:
        return []
    time = ds["time"].values
    margin = np.asarray(ds["rail_dew_point_margin"].values, float)
    rows = []
    for spot in range(ds.sizes["rail_spot"]):
        wet = margin[:, :, spot] < 0.0
        segment = int(np.lexsort((margin[:, :, spot].min(axis=0), -wet.sum(axis=0)))[0])
        count = float(wet[:, segment].sum())
        at = int(np.argmin(margin[:, segment, spot]))
        least = float(margin[at, segment, spot])
        rows.append(
            Finding(
                "dew_point", count, _FIRST_HOUR, "h", "review" if count else "pass", count / _FIRST_HOUR,
                "temperature: ASHRAE Fundamentals ch. 27 (zone method), from memory, own use of it; ISO 13788:2012 "
                "(condensation allowed if it dries out), from memory",
                spot=str(ds["rail_spot"].values[spot]), **at_segment(ds, segment), hours=count,
                **when(time, wet[:, segment], at),
                facts={"margin": least, "factor": float(ds["rail_factor"].values[spot])},
            )
        )  # fmt: skip
    return rows
