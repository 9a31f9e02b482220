"""Condensate: how much gathers before it dries, on the faces of the wall and at interfaces inside it.

Choices. On a face, condensate is the net vapour condensed since the face was last dry, so rain on the face does not
count and condensate that has run off does. At an interface the wall model holds water in the layers: condensate is what
both layers gained while the interface stood saturated (from 99 % until below 97 %). ISO 13788 warns above 0.2 kg/m2,
DIN 4108-3 allows 0.5 kg/m2 at a layer that does not absorb and 1.0 kg/m2 elsewhere; a layer that holds no water (metal,
foil, membrane) counts as not absorbing. Wood is judged by its water content besides.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import HOUR, Finding, first_wall_face, neighbours, number, place, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

DRY_FILM = 1e-4  # kg/m2; below 0.1 g/m2 a face counts as dry, far below the 0.2 kg/m2 limit
_ENTER, _LEAVE = 0.99, 0.97  # RH at which an interface counts as saturated, and as no longer


def on_face(film: np.ndarray, condensation: np.ndarray) -> np.ndarray:
    """Net vapour condensed since the face was last dry.

    Parameters
    ----------
    film : array, (time, ...)
        Film at the end of each hour. [kg/m2]
    condensation : array, (time, ...)
        Vapour condensing, negative when evaporating. [kg/(m2 s)]

    Returns
    -------
    array, (time, ...)
        Condensate at the end of each hour, the year taken as a cycle. [kg/m2]

    Notes
    -----
    Own definition, after the running sum M_a of ISO 13788. A face that is never dry counts from 1 January on.
    """
    hours = film.shape[0]
    total = np.cumsum(np.concatenate([condensation, condensation]) * HOUR, axis=0)
    dry = np.concatenate([film, film]) <= DRY_FILM
    index = np.arange(2 * hours).reshape((-1,) + (1,) * (film.ndim - 1))
    last_dry = np.maximum.accumulate(np.where(dry, index, -1), axis=0)
    begin = np.where(last_dry >= 0, np.take_along_axis(total, np.maximum(last_dry, 0), axis=0), 0.0)
    return np.maximum(total - begin, 0.0)[hours:]


def at_interface(relative_humidity: np.ndarray, water: np.ndarray) -> np.ndarray:
    """Water gained by the layers at an interface while it stands saturated, (time,) [kg/m2].

    Parameters
    ----------
    relative_humidity : array, (time,)
        At the interface. [-]
    water : array, (time,)
        In both layers together, at the end of each hour. [kg/m2]

    Returns
    -------
    array, (time,)
        Gain since the hour before saturation, 0 outside such times. [kg/m2]
    """
    hours = relative_humidity.size
    gained = np.zeros(hours)
    if not np.any(relative_humidity >= _ENTER):
        return gained
    humid = np.concatenate([relative_humidity, relative_humidity])
    held = np.concatenate([water, water])
    # hysteresis: state after the last hour that was clearly saturated or clearly not
    mark = np.where(humid >= _ENTER, 1, np.where(humid < _LEAVE, 0, -1))
    last = np.maximum.accumulate(np.where(mark >= 0, np.arange(mark.size), 0))
    saturated = mark[last] == 1
    begins = np.flatnonzero(saturated & ~np.concatenate([[False], saturated[:-1]]))
    start = np.zeros(mark.size, int)
    start[begins] = np.maximum(begins - 1, 0)
    start = np.maximum.accumulate(start)
    return np.where(saturated, np.maximum(held - held[start], 0.0), 0.0)[hours:]


def _status(value: float, warn: float, limit: float) -> str:
    return "fail" if value > limit else "review" if value > warn else "pass"


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return two findings: the worst face of the wall, and the worst interface inside it."""
    time = ds["time"].values
    made = []
    roles = [str(name) for name in ds["film_face"].values]
    faces = [index for index, name in enumerate(roles) if name in ("outer face of wall", "room face")]
    film = np.asarray(ds["film"].values, float)[:, :, faces]
    amount = on_face(film, np.asarray(ds["condensation"].values, float)[:, :, faces])
    at, segment, which = worst_place(amount)
    peak = float(amount[at, segment, which])
    warn, limit = limits["condensate_runoff"], limits["condensate_smooth"]
    where = place(ds, "film_face", faces[which], segment)
    wet = amount[:, segment, which] > DRY_FILM
    never_dry = bool(np.all(film[:, segment, which] > DRY_FILM))
    status = "fail" if never_dry and peak > warn else _status(peak, warn, limit)
    if peak <= DRY_FILM:
        text = "No dew gathers on the faces of the wall."
    else:
        text = f"Up to {number(1e3 * peak)} g/m² of dew gathers on {where} before it dries"
        text += " and the face never dries in the year" if never_dry else ""
        text += f" (run-off is possible above {number(1e3 * warn)} g/m², {number(1e3 * limit)} g/m² is the limit)."
    made.append(
        Finding(
            "condensate_face", "Condensate on faces of the wall", where, 1e3 * peak, 1e3 * limit, "g/m²", status,
            when(time, wet, at) if peak > DRY_FILM else "", float(wet.sum()),
            f"{source('condensate_runoff', limits)}; {source('condensate_smooth', limits)}", text,
            max(peak / limit, 1.0 if status == "fail" else 0.0),
        )
    )  # fmt: skip

    humid = np.asarray(ds["relative_humidity"].values, float)
    water = np.asarray(ds["water"].values, float)
    holds = np.asarray(ds["layer_max_water"].values, float) > 0.0
    best: tuple[float, str, float, np.ndarray, int] | None = None
    for face in range(first_wall_face(ds) + 1, ds.sizes["face"] - 1):
        beside = neighbours(ds, face)
        limit = limits["condensate_absorbent"] if all(holds[beside]) else limits["condensate_smooth"]
        for segment in range(ds.sizes["segment"]):
            gained = at_interface(humid[:, segment, face], water[:, segment, beside].sum(axis=-1))
            peak = float(gained.max())
            if best is None or peak / limit > best[0] / best[2]:
                best = (peak, place(ds, "face", face, segment), limit, gained, int(np.argmax(gained)))
    if best is not None:
        peak, where, limit, gained, at = best
        wet = gained > DRY_FILM
        status = _status(peak, warn, limit)
        if peak > DRY_FILM:
            text = (
                f"The layers at {where} take up to {number(1e3 * peak)} g/m² of water while it is saturated there "
                f"(limit {number(1e3 * limit)} g/m²)."
            )
        else:
            text = "No interface inside the wall gathers condensate."
        made.append(
            Finding(
                "condensate_inside", "Condensate inside the wall", where, 1e3 * peak, 1e3 * limit, "g/m²", status,
                when(time, wet, at) if peak > DRY_FILM else "", float(wet.sum()),
                f"{source('condensate_runoff', limits)}; DIN 4108-3, from memory", text, peak / limit,
            )
        )  # fmt: skip
    return made
