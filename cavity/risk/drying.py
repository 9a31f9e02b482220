"""Drying after a wetting event: how long until the water added has dried, with the vents as drawn and closed.

Two pairs of runs are needed: the wall wetted at the start and the same wall not wetted, once as drawn and once closed.
The difference of each pair is the event's own water, whatever the weather does to the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Finding, ratio_of
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


def daily(left: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the curve of drying as it is drawn and read: days after the event, and daily means of the water left.

    Parameters
    ----------
    left : array, (time,)
        Water of the event still in the wall at the end of each hour. [kg/m2]

    Returns
    -------
    days : array, (day,)
        Middle of each day, 0.5, 1.5 ... [d]
    means : array, (day,)
        [kg/m2]
    """
    count = len(left) // 24
    means = np.asarray(left, float)[: 24 * count].reshape(count, 24).mean(axis=1)
    return np.arange(count) + 0.5, means


def days_until(left: np.ndarray, fraction: float, amount: float) -> float:
    """Return the days until no more than `fraction` of `amount` is left for good; inf if never. [d].

    Read off the curve of daily means, straight from one to the next: what a reader sees in the drawing.
    """
    days, means = daily(left)
    limit = fraction * amount
    above = np.flatnonzero(means > limit)
    if not above.size:
        return 0.0
    last = above[-1]
    if last == len(means) - 1:
        return float("inf")
    return float(days[last] + (means[last] - limit) / (means[last] - means[last + 1]))


def drying(
    as_drawn: np.ndarray, closed: np.ndarray, amount: float, *, limits: Mapping[str, float] | None = None
) -> Finding:
    """Judge the drying of a wetting event.

    Parameters
    ----------
    as_drawn, closed : array, (time,)
        Water of the event still in the wall, from `excess`, with the vents as drawn and closed. [kg/m2]
    amount : float
        Water added. [kg/m2]
    limits : mapping, keyword only
        Thresholds set by the user.

    Returns
    -------
    Finding
        90 % drying time; beyond the limit a review item, and a fail when the year does not suffice.
    """
    thresholds = resolve(limits)
    limit = thresholds["drying_days"]
    days, days_closed = days_until(as_drawn, 0.1, amount), days_until(closed, 0.1, amount)
    half = days_until(as_drawn, 0.5, amount)
    followed = as_drawn.size / 24.0
    status = "fail" if not np.isfinite(days) else "review" if days > limit else "pass"
    value = days if np.isfinite(days) else followed
    return Finding(
        "drying", value, limit, "d", status, ratio_of(value, limit, status), source("drying_days", thresholds),
        hours=24.0 * value,
        facts={
            "amount": amount, "half": half, "nine_tenths": days, "closed": days_closed, "followed": followed,
        },
    )  # fmt: skip
