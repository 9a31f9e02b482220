"""Film on the back of the cladding: whether dew stays there and dries, or runs down to the base of the cavity.

Choices. Dew or frost on the back of a thin cladding is expected; it is harmless while it stays below the film a
vertical face holds. Above that it runs to the base, which must then be open and let it drip clear: a review item,
never a fail, because the drained cavity is made for it (common practice, no source).
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


def base_runoff(ds: xr.Dataset, face: str) -> float:
    """Return the water that runs off one film face to the base in the year, per metre of wall length. [kg/m]."""
    height = np.asarray(ds["segment_top"].values - ds["segment_bottom"].values, float)
    rate = np.asarray(ds["runoff"].sel(film_face=face).values, float)  # (time, segment)
    return float((rate * height).sum() * HOUR)


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
    # 1 % of the limit: rounding of the film at its limit; 1 g/m: less than a drop each metre
    status = "review" if peak >= 0.99 * limit or ran > 1e-3 else "pass"
    where = place(ds, "film_face", face, segment)
    if peak <= DRY_FILM:
        text = "No water stands on the back of the cladding."
    else:
        text = f"The back of the cladding carries up to {number(1e3 * peak)} g/m² of water or frost, on {days} days"
        text += f", frozen in {number(frost)} h" if frost else ""
        text += (
            f"; {number(ran, 2)} litres run to the base of each metre of wall, which must be open and drip clear."
            if ran > 1e-3
            else f"; it dries there and nothing runs off ({number(1e3 * limit)} g/m² stay on the face)."
        )
    return [
        Finding(
            "film", "Film on the back of the cladding", where, 1e3 * peak, 1e3 * limit, "g/m²", status,
            when(time, wet, at) if peak > DRY_FILM else "", float(wet.sum()), source("film", limits), text,
            max(peak / limit, 1.0 if status == "review" else 0.0),
        )
    ]  # fmt: skip
