"""Drying of a wetting event: one layer wetted at the start of the year, with the vents as drawn and with them shut."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from cavity.errors import Fault, InputError
from cavity.risk import Finding
from cavity.risk.drying import drying, excess
from cavity.study.compare import cores

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Layer, Wall

AMOUNT = 0.5  # kg/m2 of water brought in, about a litre on two square metres; common practice, no source
_FULLEST = 0.9  # the event is made smaller where it would fill the layer's pores further than this


@dataclass(frozen=True)
class WettingEvent:
    """What became of a wetting event.

    Parameters
    ----------
    layer : str
        Layer wetted.
    amount : float
        Water brought in. [kg/m2]
    as_drawn, shut : array, (time,)
        Water of the event still in the wall, hour by hour from the event on, with the vents as drawn and shut. [kg/m2]
    finding : Finding
        The drying criterion.
    """

    layer: str
    amount: float
    as_drawn: np.ndarray
    shut: np.ndarray
    finding: Finding


def shut(wall: Wall) -> Wall:
    """Return the wall with all its openings closed."""
    closed = tuple(
        replace(chosen, openings=tuple(replace(each, free_area=0.0) for each in chosen.openings))
        for chosen in wall.opening_sets
    )
    return replace(wall, opening_sets=closed)


def wettable(wall: Wall) -> Layer | None:
    """Return the outermost layer of the backup wall that holds water; None if there is none."""
    return next((layer for layer in wall.backup if not layer.is_membrane and layer.material.max_saturation > 0.0), None)


def wetting_event(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    amount: float = AMOUNT,
    workers: int | None = None,
) -> WettingEvent:
    """Wet the outermost layer of the backup wall that holds water, and see how long it takes to dry.

    Four runs of one year: wetted or not, vents as drawn or shut. The difference of a pair is the event's own water.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set, depth, column : keyword only
        The case, as for `simulate`. [depth: m]
    amount : float, keyword only
        Water brought in at the start of the wall's start month; less where the layer cannot hold it. [kg/m2]
    workers : int, keyword only
        Threads; None: one for each core.

    Returns
    -------
    WettingEvent

    Raises
    ------
    InputError
        If no layer of the backup wall holds water, or the amount is not above 0.
    """
    from cavity.simulate import simulate

    layer = wettable(wall)
    faults = []
    if layer is None:
        faults.append(
            Fault("wetting event", "no layer of the backup wall holds water", "", "a layer with a sorption curve")
        )
    if not amount > 0.0:
        faults.append(Fault("wetting event, amount", "must be above 0", f"{amount:g} kg/m2", "such as 0.5 kg/m2"))
    if layer is None or faults:
        raise InputError(*faults)
    base = replace(wall, run=replace(wall.run, max_years=1))

    def run(one: Wall) -> xr.Dataset:
        return simulate(one, weather, opening_set=opening_set, depth=depth, column=column)

    with ThreadPoolExecutor(workers or cores()) as pool:
        dry, dry_shut = pool.map(run, (base, shut(base)))
        before = float(dry["water_at_start"].sel(layer=layer.name).mean())
        room = _FULLEST * layer.material.max_saturation * layer.thickness - before
        if room <= 0.0:
            raise InputError(
                Fault("wetting event", f"{layer.name} is full of water at the start", f"{before:.3g} kg/m2",
                      "a drier start", "lower run.start_humidity or run.construction_wet")
            )  # fmt: skip
        brought = min(amount, room)
        content = (before + brought) / layer.thickness
        rest = tuple(pair for pair in wall.run.construction_wet if pair[0] != layer.name)
        wetted = replace(base, run=replace(base.run, construction_wet=(*rest, (layer.name, content))))
        wet, wet_shut = pool.map(run, (wetted, shut(wetted)))
    # the water curve is tabulated: what was really brought in is read off the runs
    brought = float((wet["water_at_start"] - dry["water_at_start"]).sum("layer").mean())
    left = excess(wet, dry, start_month=wall.run.start_month)
    left_shut = excess(wet_shut, dry_shut, start_month=wall.run.start_month)
    found = drying(left, left_shut, brought, limits=dict(wall.limits))
    return WettingEvent(layer.name, brought, left, left_shut, replace(found, where=layer.name))
