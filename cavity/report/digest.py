"""What a report says of every case, taken from its Dataset in one reading.

The Datasets of a large comparison are on disk and fill megabytes: `about` keeps what has no time in memory, and
`digest` the few numbers of the hours that tables of all cases show. Who needs the hours themselves reads them for the
few cases that are explored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cavity.constants import HOUR
from cavity.report import series


def about(case: Any) -> Any:
    """Return the Dataset of a case without its hours: attributes, coordinates and variables without time."""
    light = getattr(case, "about", None)
    return case.dataset if light is None else light


@dataclass(frozen=True)
class Digest:
    """Numbers of the hours of one case.

    Parameters
    ----------
    rate : float
        Median air change rate of the column. [1/h]
    upward : float
        Fraction of the hours with upward flow. [1]
    film_peak : float
        Largest film on the surfaces of the cavity. [kg/m2]
    least_air : tuple of float and str
        Lowest median air change rate of a compartment [1/h], and its name where there are several.
    water : dict
        From `hourly_water`; empty where the weather is shorter than a year.
    heat : dict
        From `season_heat`; likewise.
    """

    rate: float
    upward: float
    film_peak: float
    least_air: tuple[float, str]
    water: dict[str, float]
    heat: dict[str, float]


def digest(case: Any) -> Digest:
    """Return the numbers of the hours of a case; its Dataset is read once, however often they are asked for.

    Parameters
    ----------
    case : JudgedCase
        Of a comparison.

    Returns
    -------
    Digest
    """
    stored = vars(case)
    source = stored.get("dataset")  # another Dataset put in its place is read again
    if "_digest" not in stored or stored["_digest"][0] is not source:
        stored["_digest"] = (source, _read(case.dataset))
    return stored["_digest"][1]


def _read(ds: Any) -> Digest:
    whole = bool(ds.attrs.get("monthly"))
    return Digest(
        float(np.median(series.air_changes(ds))),
        float((series.upward(ds) > 0).mean()) if "air_speed" in ds else 0.0,
        film_peak(ds) if "film" in ds else 0.0,
        least_air(ds),
        hourly_water(ds) if whole else {},
        season_heat(ds) if whole else {},
    )


def least_air(ds: Any) -> tuple[float, str]:
    """Return the lowest median air change rate among the compartments [1/h], and its name where there are several."""
    if "compartment_air_change_rate" not in ds or ds.sizes["compartment"] < 2:
        return float(np.median(series.air_changes(ds))), ""
    medians = np.median(np.asarray(ds["compartment_air_change_rate"].values, float), axis=0)
    least = int(np.argmin(medians))
    return float(medians[least]), str(ds["compartment"].values[least])


def film_peak(ds: Any) -> float:
    """Return the largest film on a cavity surface [kg/m2]."""
    faces = [str(name) for name in ds["film_face"].values]
    pick = [index for index, name in enumerate(faces) if name in {"back of cladding", "outer face of wall"}]
    return float(np.asarray(ds["film"].values, float)[:, :, pick].max()) if pick else 0.0


def hourly_water(ds: Any) -> dict[str, Any]:
    """Return what the hourly run says of water, of the segment where it is worst.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of one case.

    Returns
    -------
    dict
        swing: difference of most and least water in the backup wall over the year; gain: from start to end of the last
        year, at most; film: largest film on the faces of the cavity [kg/m2]; layer: the backup layer with the largest
        swing; wet_hours: hours in which vapour condenses at an interface behind the cavity; rain does not count.
    """
    from cavity.risk.dew_point import dew

    backup = np.flatnonzero(ds["layer_part"].values == "backup")
    water = np.asarray(ds["water"].values, float)[:, :, backup]  # (time, segment, layer)
    first = list(ds["face_role"].values).index("outer face of wall")
    total = water.sum(axis=2) + np.asarray(ds["face_film"].values, float)[:, :, first:].sum(axis=2)
    by_layer = (water.max(axis=0) - water.min(axis=0)).max(axis=0)
    faces = [n for n, name in enumerate(ds["film_face"].values) if name in ("back of cladding", "outer face of wall")]
    film = float(np.asarray(ds["film"].values, float)[:, :, faces].max()) if faces else 0.0
    inside = [
        n
        for n, (kind, outer) in enumerate(zip(ds["face_kind"].values, ds["face_outer"].values, strict=True))
        if kind == "interface" and outer in set(ds["layer"].values[backup])
    ]
    wet = dew(ds)[:, :, inside]
    ends = np.asarray(ds["water_end_of_year"].values, float)[:, :, backup].sum(axis=2)
    before = ends[-2] if len(ends) > 1 else np.asarray(ds["water_at_start"].values, float)[:, backup].sum(axis=1)
    return {
        "swing": float((total.max(axis=0) - total.min(axis=0)).max()),
        "gain": float((ends[-1] - before).max()),
        "film": film,
        "layer": str(ds["layer"].values[backup[int(np.argmax(by_layer))]]),
        "wet_hours": int(wet.any(axis=2).sum(axis=0).max()) if inside else 0,
    }


def season_heat(ds: Any) -> dict[str, float]:
    """Return the heat that leaves and enters the room through the hourly wall in winter and summer.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of one case, whole hours of a year.

    Returns
    -------
    dict
        winter_loss, winter_gain, summer_loss, summer_gain, all positive. [J/m2]
    """
    month = ds["time"].values.astype("datetime64[M]").astype(int) % 12
    outdoor = np.asarray(ds["temperature_outdoor"].values, float)
    mean = np.array([outdoor[month == k].mean() if (month == k).any() else np.inf for k in range(12)])
    start = int(np.argmin([np.roll(mean, -k)[:6].sum() for k in range(12)]))
    winter = np.isin(month, (start + np.arange(6)) % 12)
    height = np.asarray(ds["segment_top"].values - ds["segment_bottom"].values, float)
    flux = np.asarray(ds["heat_flux_indoor"].values, float)
    out, into = (np.maximum(sign * flux, 0.0) @ height / height.sum() for sign in (-1.0, 1.0))
    return {
        f"{name}_{kind}": HOUR * float(flow[hours].sum())
        for name, hours in (("winter", winter), ("summer", ~winter))
        for kind, flow in (("loss", out), ("gain", into))
    }
