"""Film on the back of the cladding: whether dew stays there and dries, or runs down to the base of the cavity.

Choices. Dew or frost on the back of a thin cladding is expected; it is harmless while it stays below the film a
vertical face holds. Above that it runs to the base, for which the drained cavity is made: information, as long as the
column has an opening there. Without one the water has no way out: a review item, never a fail (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.condensate import DRY_FILM
from cavity.risk.finding import HOUR, Finding, number, place, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_BASE_ZONE = 0.3  # m above the base of the column; our own choice


def base_runoff(ds: xr.Dataset, face: str) -> float:
    """Return the water that runs off one film face to the base in the year, per metre of wall length. [kg/m]."""
    height = np.asarray(ds["segment_top"].values - ds["segment_bottom"].values, float)
    rate = np.asarray(ds["runoff"].sel(film_face=face).values, float)  # (time, segment)
    return float((rate * height).sum() * HOUR)


def has_drain(ds: xr.Dataset) -> bool:
    """Return whether the column has an opening within 0.3 m of its base, where water that ran down can leave."""
    lowest = np.asarray(ds["opening_height"].values, float)[np.asarray(ds["opening_area"].values, float) > 0.0]
    return bool(lowest.size) and float(lowest.min()) <= float(ds.attrs["column_bottom"]) + _BASE_ZONE


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
    runs = ran > 1e-3  # 1 g/m: less than a drop each metre
    drained = has_drain(ds)
    status = "review" if runs and not drained else "information"
    where = place(ds, "film_face", face, segment)
    if peak <= DRY_FILM:
        text = "No water stands on the back of the cladding."
    else:
        text = f"The back of the cladding carries up to {number(1e3 * peak)} g/m² of water or frost, on {days} days"
        text += f", frozen in {number(frost)} h" if frost else ""
        text += (
            f"; it dries there and nothing runs off (a surface holds {number(1e3 * limit)} g/m²)."
            if not runs
            else f"; {number(ran, 2)} litres run to the base of each metre of wall, which must drip clear."
            if drained
            else f"; {number(ran, 2)} litres run to the base of each metre of wall, where no opening lets them out."
        )
    return [
        Finding(
            "film", "Film on the back of the cladding", where, 1e3 * peak, 1e3 * limit, "g/m²", status,
            when(time, wet, at) if peak > DRY_FILM else "", float(wet.sum()), source("film", limits), text,
            max(peak / limit if limit > 0.0 else float(peak > DRY_FILM), 1.0 if runs else 0.0),
        )
    ]  # fmt: skip
