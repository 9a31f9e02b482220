"""Water content of wood, percent by mass, as 30-day mean of the layer.

Choices. 20 % is the safety limit of the trade, well under fibre saturation near 30 %, where decay sets in. Backup wall:
fail above the limit, review from 18 % on. Wood claddings stand in the weather: a review item at most.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Finding, is_wall_layer, number, place, when, worst_place, year_mean
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_MONTH = 30 * 24  # h


def water_content(ds: xr.Dataset) -> np.ndarray:
    """Return the water content by mass of every layer, (time, segment, layer) [kg/kg]."""
    dry = np.asarray(ds["layer_thickness"].values * ds["layer_density"].values, float)
    return np.asarray(ds["water"].values, float) / dry


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for the wood of the wall and one for that of the cladding, where there is any."""
    time = ds["time"].values
    wood = np.asarray(ds["layer_wood"].values, bool) & ~np.asarray(ds["layer_membrane"].values, bool)
    inside = is_wall_layer(ds)
    limit, review = limits["wood_moisture"], min(limits["wood_moisture_review"], limits["wood_moisture"])
    made = []
    for key, title, chosen in (
        ("wood_moisture", "Water content of wood in the wall", wood & inside),
        ("wood_moisture_cladding", "Water content of wood cladding", wood & ~inside),
    ):
        layers = np.flatnonzero(chosen)
        if not layers.size:
            continue
        content = water_content(ds)[:, :, layers]
        mean = year_mean(content, _MONTH)
        at, segment, which = worst_place(mean)
        value = float(mean[at, segment, which])
        top = float(content[:, segment, which].max())
        above = content[:, segment, which] > limit
        if key == "wood_moisture":
            status = "fail" if value > limit else "review" if value > review else "pass"
        else:
            status = "review" if value > limit else "pass"
        where = place(ds, "layer", int(layers[which]), segment)
        text = (
            f"The wettest 30 days of {where} average {number(100 * value, 1)} % water by mass "
            f"(limit {number(100 * limit)} %); the highest hour is {number(100 * top, 1)} %."
        )
        made.append(
            Finding(
                key, title, where, 100 * value, 100 * limit, "% by mass", status,
                when(time, mean[:, segment, which] > review, at), float(above.sum()),
                f"{source('wood_moisture', limits)}; 30-day mean: own choice", text, value / limit,
            )
        )  # fmt: skip
    return made
