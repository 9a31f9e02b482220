"""Freeze-thaw cycles above critical saturation: how often a porous layer freezes while its pores are too full.

A cycle is a fall of a surface of the layer below the freezing temperature, with the layer above its critical
saturation, after the surface has been above 0 degC. Choices. Fagerlund: above critical saturation a single frost harms,
below it many do none, so one cycle is the limit. Layers of the wall fail, claddings are a review item: the layer's mean
saturation hides a wet skin, so a cladding in driving rain should be of a frost-resistant grade in any case.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import Finding, at_layer, is_wall_layer, neighbours, run_through, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr


def freezings(temperature: np.ndarray, freezing: float) -> np.ndarray:
    """Return the hours in which a new frost begins.

    Parameters
    ----------
    temperature : array, (time,)
        Of the surface. [K]
    freezing : float
        Temperature at which the pore water freezes; it thaws above 0 degC. [K]

    Returns
    -------
    array of bool, (time,)
        True in the first hour of each frost that follows a thaw.
    """
    cold, warm = temperature < freezing, temperature > ICE_POINT
    if not cold.any() or not warm.any():
        return np.zeros(temperature.size, bool)
    mark = np.where(cold, 1, np.where(warm, 0, -1))
    last = np.maximum.accumulate(np.where(mark >= 0, np.arange(mark.size), 0))
    frozen = mark[last] == 1
    return frozen & ~np.concatenate([frozen[:1], frozen[:-1]])


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for the cladding and one for the wall, where a layer holds water."""
    time = ds["time"].values
    temperature = np.asarray(ds["temperature"].values, float)
    full = np.asarray(ds["layer_max_water"].values, float)
    water = np.asarray(ds["water"].values, float)
    beside: dict[int, list[int]] = {}
    for face in range(ds.sizes["face"]):
        for layer in neighbours(ds, face):
            beside.setdefault(layer, []).append(face)
    inside = is_wall_layer(ds)
    critical, limit = limits["freeze_saturation"], limits["freeze_cycles"]
    rows = []
    for key, zone in (("frost", inside), ("frost_cladding", ~inside)):
        layers = [int(i) for i in np.flatnonzero(zone & (full > 0.0)) if int(i) in beside]
        if not layers:
            continue
        cycles = np.zeros((ds.sizes["segment"], len(layers)))
        saturation = water[:, :, layers] / full[layers]
        events: dict[tuple[int, int], np.ndarray] = {}
        for n, layer in enumerate(layers):
            for segment in range(ds.sizes["segment"]):
                soaked = saturation[:, segment, n] > critical
                if not soaked.any():
                    events[segment, n] = soaked
                    continue
                frosts = [
                    run_through(ds, lambda t: freezings(t, limits["freeze_temperature"]), temperature[:, segment, face])
                    & soaked
                    for face in beside[layer]
                ]
                events[segment, n] = max(frosts, key=np.count_nonzero)
                cycles[segment, n] = np.count_nonzero(events[segment, n])
        # most cycles; where there are none, the layer that comes nearest to the critical saturation
        segment, n = worst_place(cycles + 1e-3 * saturation.max(axis=0))
        value = float(cycles[segment, n])
        status = "pass" if value < limit else "review" if key == "frost_cladding" else "fail"
        rows.append(
            Finding(
                key, value, limit, "1", status, value / limit,  # what never happens is not near its limit
                f"{source('freeze_saturation', limits)}; count: {source('freeze_cycles', limits)}",
                **at_layer(ds, layers[n], segment), hours=float((saturation[:, segment, n] > critical).sum()),
                **when(time, events[segment, n]),
                facts={"critical": critical, "highest": float(saturation[:, segment, n].max())},
            )
        )  # fmt: skip
    return rows
