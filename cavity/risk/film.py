"""Film on the back of the cladding: whether dew stays there and dries, or runs down to the base of the cavity.

Choices. Dew or frost on the back of a thin cladding is expected; it is harmless while it stays below the film a
vertical surface holds. Above that it runs down, for which the drained cavity is made: information, as long as there is
an opening at the base of the column, or, above a barrier, at the base of that compartment. Without one the water has
no way out: a review item, never a fail (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import HOUR
from cavity.risk.condensate import DRY_FILM
from cavity.risk.finding import Fact, Finding, at_segment, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_BASE_ZONE = 0.3  # m above the base of a compartment; our own choice
_NOTICED = 1e-3  # kg/m a year, less than a drop each metre


def base_runoff(ds: xr.Dataset, face: str) -> np.ndarray:
    """Return the water that runs off one film face to the base of each compartment in the year, per metre of wall.

    Parameters
    ----------
    ds : xarray.Dataset
        The result.
    face : str
        Label along `film_face`.

    Returns
    -------
    array, (compartment,)
        [kg/m]
    """
    height = np.asarray(ds["segment_top"].values - ds["segment_bottom"].values, float)
    ran = np.asarray(ds["runoff"].sel(film_face=face).values, float).sum(axis=0) * height * HOUR  # (segment,)
    return np.bincount(np.asarray(ds["segment_compartment"].values, int), ran, minlength=ds.sizes["compartment"])


def has_drain(ds: xr.Dataset) -> np.ndarray:
    """Return whether each compartment has an opening within 0.3 m of its base, (compartment,) of bool."""
    area, height = (np.asarray(ds[name].values, float) for name in ("opening_area", "opening_height"))
    of = np.asarray(ds["opening_compartment"].values, int)
    bottoms = np.asarray(ds["compartment_bottom"].values, float)
    return np.array(
        [bool(np.any((of == c) & (area > 0.0) & (height <= z + _BASE_ZONE))) for c, z in enumerate(bottoms)]
    )


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding: the peak film on the back of the cladding, days with it, and what runs off at the base."""
    time = ds["time"].values
    face = [str(name) for name in ds["film_face"].values].index("back of cladding")
    film = np.asarray(ds["film"].values, float)[:, :, face]
    frozen = np.asarray(ds["frost_share"].values, float)[:, :, face] > 0.0
    at, segment = worst_place(film)
    peak, limit = float(film[at, segment]), limits["film"]
    wet = film[:, segment] > DRY_FILM
    days = np.unique(np.asarray(time[wet], "datetime64[D]")).size
    frost = float((frozen[:, segment] & wet).sum())
    ran = base_runoff(ds, "back of cladding")
    runs = ran > _NOTICED
    caught = np.flatnonzero(runs & ~has_drain(ds))  # compartments from which it cannot leave
    status = "review" if caught.size else "information"
    facts: dict[str, Fact] = {
        "any": peak > DRY_FILM, "days": int(days), "frost_hours": frost, "runs": bool(runs.any()),
        "caught": bool(caught.size), "runoff": float(ran.sum()), "lowest": True, "height": 0.0,
    }  # fmt: skip
    if caught.size:
        part = int(caught[np.argmax(ran[caught])])
        height = float(ds["compartment_bottom"].values[part])
        facts |= {"runoff": float(ran[part]), "lowest": part == 0, "height": height}
    return [
        Finding(
            "film", peak, limit, "kg/m2", status,
            max(peak / limit if limit > 0.0 else float(peak > DRY_FILM), 1.0 if runs.any() else 0.0),
            source("film", limits), face="back of cladding", **at_segment(ds, segment), hours=float(wet.sum()),
            **(when(time, wet, at) if peak > DRY_FILM else {}), facts=facts,
        )
    ]  # fmt: skip
