"""Drying of a wetting event: how long until the water brought in has gone, with the vents as drawn and with them shut.

Two pairs of runs are needed: the wall wetted at the start and the same wall not wetted, once as drawn and once shut.
The difference of each pair is the event's own water, whatever the weather does to the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Finding, number
from cavity.risk.limits import resolve, source

if TYPE_CHECKING:
    import xarray as xr


def excess(wetted: xr.Dataset, dry: xr.Dataset, *, start_month: int) -> np.ndarray:
    """Water of the event still in the wall.

    Parameters
    ----------
    wetted, dry : xarray.Dataset
        One-year runs of the same case with and without the event at the start.
    start_month : int, keyword only
        Month in which the runs begin, 1-12.

    Returns
    -------
    array, (time,)
        Mean over the segments of all layers and films, from the start on. [kg/m2]
    """

    def total(ds: xr.Dataset) -> np.ndarray:
        layers = np.asarray(ds["water"].values, float).sum(axis=2)
        return (layers + np.asarray(ds["face_film"].values, float).sum(axis=2)).mean(axis=1)

    month = np.asarray(wetted["time"].values, "datetime64[M]").astype(int) % 12 + 1
    begin = int(np.argmax(month == start_month))
    return np.roll(total(wetted) - total(dry), -begin)


def days_until(left: np.ndarray, share: float, amount: float) -> float:
    """Return the days until no more than `share` of `amount` is left for good, by the hour; inf if never. [d]."""
    above = np.flatnonzero(left > share * amount)
    if not above.size:
        return 0.0
    return float("inf") if above[-1] == left.size - 1 else (above[-1] + 1) / 24.0


def drying(
    as_drawn: np.ndarray, shut: np.ndarray, amount: float, *, limits: Mapping[str, float] | None = None
) -> Finding:
    """Judge the drying of a wetting event.

    Parameters
    ----------
    as_drawn, shut : array, (time,)
        Water of the event still in the wall, from `excess`, with the vents as drawn and shut. [kg/m2]
    amount : float
        Water brought in. [kg/m2]
    limits : mapping, keyword only
        Thresholds set by the user.

    Returns
    -------
    Finding
        Days until a tenth is left; beyond the limit a review item, and a fail when the year does not suffice.
    """
    given = resolve(limits)
    limit = given["drying_days"]
    days, closed = days_until(as_drawn, 0.1, amount), days_until(shut, 0.1, amount)
    half = days_until(as_drawn, 0.5, amount)
    year = as_drawn.size / 24.0

    def spell(value: float) -> str:
        return f"{number(value)} days" if np.isfinite(value) else f"more than {number(year)} days"

    text = (
        f"Of {number(1e3 * amount)} g/m² brought in, half is gone after {spell(half)} and nine tenths after "
        f"{spell(days)} (with vents shut {spell(closed)}; review above {number(limit)} days)."
    )
    status = "fail" if not np.isfinite(days) else "review" if days > limit else "pass"
    value = days if np.isfinite(days) else year
    return Finding(
        "drying", "Drying of a wetting event", "whole wall", value, limit, "d", status, "from the start of the run",
        24.0 * value, source("drying_days", given), text, value / limit,
    )  # fmt: skip
