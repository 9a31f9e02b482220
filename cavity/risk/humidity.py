"""Relative humidity on the wall side: 30-day mean, and hours above 80, 90 and 95 %.

Choices. The 30-day mean of 80 % at 5-40 degC was the criterion of ASHRAE 160-2009. The 2016 edition replaced it by the
mould index because it condemned walls that do well, so it is information here and decides nothing. The hours by class
are given for comparison; no published limit for them is known to us. Surfaces between materials that resist mould
(membranes, metal, glass) are omitted where there are others: the outer surface of a membrane has the humidity of the
air outdoors.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import MONTH, Finding, at_face, first_wall_face, when, worst_place, year_mean
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

CLASSES = (0.80, 0.90, 0.95)


def class_hours(ds: xr.Dataset) -> np.ndarray:
    """Return the hours above 80, 90 and 95 % relative humidity, (class, segment, face). [h]."""
    humid = np.asarray(ds["relative_humidity"].values)
    return np.stack([(humid > level).sum(axis=0) for level in CLASSES])


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding: the largest 30-day mean humidity at 5-40 degC; hours by class in its sentence."""
    time = ds["time"].values
    start = first_wall_face(ds)
    humid = np.asarray(ds["relative_humidity"].values[:, :, start:], float)
    mean = year_mean(humid, MONTH)
    celsius = year_mean(ds["temperature"].values[:, :, start:], MONTH) - ICE_POINT
    counted = np.where((celsius >= 5.0) & (celsius <= 40.0), mean, 0.0)
    prone = np.asarray(ds["face_mould_class"].values[start:]) != "resistant"
    if prone.any():
        counted = np.where(prone, counted, 0.0)
    hour, segment, face = worst_place(counted)
    value, limit = float(counted[hour, segment, face]), limits["humidity_mean"]
    above = counted[:, segment, face] > limit
    hours = class_hours(ds)[:, segment, start + face]
    return [
        Finding(
            "humidity", value, limit, "1", "information", value / limit,
            f"{source('humidity_mean', limits)}; replaced by the mould index in 2016, so information only",
            **at_face(ds, start + face, segment), hours=float(above.sum()), **when(time, above, hour),
            facts={f"hours_{100 * level:.0f}": int(count) for level, count in zip(CLASSES, hours, strict=True)},
        )
    ]  # fmt: skip
