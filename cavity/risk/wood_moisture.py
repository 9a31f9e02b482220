"""Moisture content of wood, percent by mass, as 30-day mean of the layer; and the humidity in its pores by day.

Choices. 20 % is the safety limit of the trade, well under fibre saturation near 30 %, where decay sets in. Backup wall:
fail above the limit, review from 18 % on. Wood claddings are exposed to the weather: a review item at most. The mean of
a layer hides a wet skin, hence also the curve of WTA 6-8: the daily mean humidity in the pores of the outer
centimetre of wood should not exceed 95 % at 0 degC, falling in a straight line to 86 % at 30 degC. That centimetre is
estimated by a straight line between both surfaces of the layer, so this is a review item only. Days below 0 degC do not
count, above 30 degC 86 % stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import (
    MONTH,
    Finding,
    at_face,
    at_layer,
    is_wall_layer,
    ratio_of,
    when,
    worst_place,
    year_mean,
)
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_SKIN = 0.010  # m of wood that the curve of WTA 6-8 is for


def water_content(ds: xr.Dataset) -> np.ndarray:
    """Return the moisture content by mass of every layer, (time, segment, layer) [kg/kg]."""
    dry = np.asarray(ds["layer_thickness"].values * ds["layer_density"].values, float)
    return np.asarray(ds["water"].values, float) / dry


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for the wood of the wall and one for that of the cladding, where there is any."""
    time = ds["time"].values
    wood = np.asarray(ds["layer_wood"].values, bool) & ~np.asarray(ds["layer_membrane"].values, bool)
    inside = is_wall_layer(ds)
    limit, review = limits["wood_moisture"], min(limits["wood_moisture_review"], limits["wood_moisture"])
    rows = []
    for key, zone in (("wood_moisture", wood & inside), ("wood_moisture_cladding", wood & ~inside)):
        layers = np.flatnonzero(zone)
        if not layers.size:
            continue
        content = water_content(ds)[:, :, layers]
        mean = year_mean(content, MONTH)
        hour, segment, which = worst_place(mean)
        value = float(mean[hour, segment, which])
        top = float(content[:, segment, which].max())
        above = content[:, segment, which] > limit
        if key == "wood_moisture":
            status = "fail" if value > limit else "review" if value > review else "pass"
        else:
            status = "review" if value > limit else "pass"
        rows.append(
            Finding(
                key, value, limit, "kg/kg", status, ratio_of(value, limit, status),
                f"{source('wood_moisture', limits)}; 30-day mean: own choice",
                **at_layer(ds, int(layers[which]), segment), hours=float(above.sum()),
                **when(time, mean[:, segment, which] > review, hour), facts={"highest": top},
            )
        )  # fmt: skip
    return [*rows, *_pores(ds)]


def pore_limit(celsius: np.ndarray) -> np.ndarray:
    """Return the daily mean humidity that the pores of wood should not exceed, of [degC]. [-] (E71).

    95 % at 0 degC to 86 % at 30 degC, straight between; 1 below 0 degC, where rot does not advance. WTA 6-8:2016, from
    memory.
    """
    return np.where(celsius < 0.0, 1.0, 0.95 - 0.09 * np.clip(celsius, 0.0, 30.0) / 30.0)


def _pores(ds: xr.Dataset) -> list[Finding]:
    """Return one finding: the day on which a skin of wood in the wall comes nearest to the curve, or exceeds it."""
    wood = np.asarray(ds["layer_wood"].values, bool) & ~np.asarray(ds["layer_membrane"].values, bool)
    outer, inner = ([str(name) for name in ds[key].values] for key in ("face_outer", "face_inner"))
    days = ds.sizes["time"] // 24
    skins = []  # surface, the other surface of the layer, weight of the other
    for layer in np.flatnonzero(wood & is_wall_layer(ds)):
        name = str(ds["layer"].values[layer])
        here, there = inner.index(name), outer.index(name)
        weight = min(0.5 * _SKIN / float(ds["layer_thickness"].values[layer]), 0.5)
        skins += [(here, there, weight), (there, here, weight)]
    if not skins or not days:
        return []
    near, far = [skin[0] for skin in skins], [skin[1] for skin in skins]
    weights = np.array([skin[2] for skin in skins])

    def daily(name: str) -> np.ndarray:
        values = np.asarray(ds[name].values[: 24 * days], float)
        skin = values[:, :, near] * (1.0 - weights) + values[:, :, far] * weights
        return skin.reshape(days, 24, *skin.shape[1:]).mean(axis=1)

    humid, celsius = daily("relative_humidity"), daily("temperature") - ICE_POINT
    allowed = pore_limit(celsius)
    excess = np.where(celsius < 0.0, 0.0, humid / allowed)
    day, segment, which = worst_place(excess)
    value, limit = float(humid[day, segment, which]), float(allowed[day, segment, which])
    above = excess[:, segment, which] > 1.0
    time = ds["time"].values[: 24 * days]
    return [
        Finding(
            "wood_pores", value, limit, "1", "review" if above.any() else "pass", float(excess[day, segment, which]),
            "WTA 6-8:2016 (95 % at 0 degC to 86 % at 30 degC), from memory; outer centimetre by a straight line: own "
            "choice",
            **at_face(ds, near[which], segment), hours=24.0 * above.sum(),
            **when(time, np.repeat(above, 24), 24 * day),
            facts={"temperature": float(celsius[day, segment, which]) + ICE_POINT, "days_above": int(above.sum())},
        )
    ]  # fmt: skip
