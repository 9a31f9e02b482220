"""Dew-point margin and hours of condensation at each face and interface.

Choices. Dew on the outer face is weather: always a pass. Faces of the cavity (back of cladding, outer face of the
wall) meet dew on clear nights in any temperate climate: a review item above a tenth of the year; the amount is judged
by the film and condensate criteria. Inside the wall and at the room face any condensation is a review item; harm is
judged by condensate, residue and mould, since ISO 13788 allows condensation that dries out. No face fails on hours
alone. Where metal rails pass a layer, their cold spots are judged like faces inside the wall; how much water gathers
there is not computed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Finding, first_wall_face, number, place, when
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

# A porous layer holds its water below saturation: RH 99 % is a margin of 0.15 K at 10 degC (Clausius-Clapeyron:
# R_v T^2 / L x 0.01). At an interface water counts as condensed from there on; own choice.
INTERFACE_MARGIN = 0.15  # K


def condensing(ds: xr.Dataset) -> np.ndarray:
    """Return the hours of condensation, (time, segment, face): margin below 0 at faces, 0.15 K at interfaces."""
    threshold = np.where(np.asarray(ds["face_kind"].values) == "interface", INTERFACE_MARGIN, 0.0)
    return np.asarray(ds["dew_point_margin"].values) < threshold


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for each face, interface and spot of rails: lowest dew-point margin, hours of condensation."""
    time = ds["time"].values
    margin = np.asarray(ds["dew_point_margin"].values, float)
    wet = condensing(ds)
    hours = wet.sum(axis=0)  # (segment, face)
    start = first_wall_face(ds)
    made = []
    for face in range(ds.sizes["face"]):
        lowest = margin[:, :, face].min(axis=0)
        segment = int(np.lexsort((lowest, -hours[:, face]))[0])  # most hours, then lowest margin
        count = float(hours[segment, face])
        at = int(np.argmin(margin[:, segment, face]))
        least = float(margin[at, segment, face])
        role = str(ds["face_role"].values[face])
        allowed = limits["dew_hours"]
        if face == 0:
            status, ratio = "pass", 0.5 * min(count / allowed, 1.0)
            origin = "dew outdoors is weather; common practice, no source"
            judged = "dew on the outside of a cladding is weather and is not judged"
        elif face <= start:
            status, ratio = ("review" if count > allowed else "pass"), count / allowed
            origin = f"hours: {source('dew_hours', limits)}"
            judged = f"some dew is normal in a ventilated cavity; review above {number(allowed)} h"
        else:
            status = "review" if count else "pass"
            ratio = 1.0 + count / len(time) if count else max(0.0, 1.0 - least / 5.0)  # 5 K: severity scale only
            origin = "ISO 13788:2012 (condensation allowed if it dries out), from memory"
            judged = "its amount and drying are judged by condensate and residue" if count else "no water forms here"
        if count:
            text = f"Water condenses at {place(ds, 'face', face, segment)} in {number(count)} h of the year"
        else:
            text = f"Never below the dew point at {place(ds, 'face', face, segment)}"
        text += f" (lowest margin {number(least, 1)} K; {judged})."
        title = f"Dew-point margin, {role}" if role != "interface" else "Dew-point margin inside the wall"
        made.append(
            Finding(
                "dew_point", title, place(ds, "face", face, segment), least, 0.0, "K", status,
                when(time, wet[:, segment, face], at), count, origin, text, ratio,
            )
        )  # fmt: skip
    return [*made, *_at_rails(ds)]


def _at_rails(ds: xr.Dataset) -> list[Finding]:
    """One finding for each cold spot of metal rails through a layer; none where the wall has no such rails."""
    if "rail_dew_point_margin" not in ds:
        return []
    time = ds["time"].values
    margin = np.asarray(ds["rail_dew_point_margin"].values, float)
    made = []
    for spot in range(ds.sizes["rail_spot"]):
        wet = margin[:, :, spot] < 0.0
        segment = int(np.lexsort((margin[:, :, spot].min(axis=0), -wet.sum(axis=0)))[0])
        count = float(wet[:, segment].sum())
        at = int(np.argmin(margin[:, segment, spot]))
        least = float(margin[at, segment, spot])
        where = place(ds, "rail_spot", spot, segment)
        if count:
            text = f"Water condenses at the {where}, in {number(count)} h of the year"
        else:
            text = f"Never below the dew point at the {where}"
        factor = number(ds["rail_factor"].values[spot], 2)
        text += f" (lowest margin {number(least, 1)} K, temperature factor about {factor}: an estimate by the zone "
        text += "method, no substitute for a two-dimensional calculation)."
        made.append(
            Finding(
                "dew_point", "Dew-point margin at the rails", where, least, 0.0, "K", "review" if count else "pass",
                when(time, wet[:, segment], at), count,
                "temperature: ASHRAE Fundamentals ch. 27 (zone method), from memory, own use of it; ISO 13788:2012 "
                "(condensation allowed if it dries out), from memory",
                text, 1.0 + count / len(time) if count else max(0.0, 1.0 - least / 5.0),  # 5 K: severity scale only
            )
        )  # fmt: skip
    return made
