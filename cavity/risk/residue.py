"""Annual moisture accumulation: water the wall keeps from one year to the next.

Choices. ISO 13788 allows condensate if it has dried by the end of the year. The last simulated year is compared
with the one before (or with the start, if there is one year only), layer by layer and film by film. A gain that more
than halves each year is a wall that settles (a review item); one that does not is growth, called growth, and fails.
Losses are drying and pass. A gain in the only year may come from a dry start: a review item.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import Fact, Finding, at_face, at_layer, first_wall_face, is_wall_layer, ratio_of, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr


_ROUND_OFF = 1e-9  # kg/m2, a microgram: less than the stores are known to


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding: the layer or interface of the wall that gains most from the last year but one to the last."""
    layers = np.flatnonzero(is_wall_layer(ds))
    end = np.asarray(ds["water_end_of_year"].values, float)
    end = np.concatenate([np.asarray(ds["water_at_start"].values, float)[None], end])[:, :, layers]
    places = [("layer", int(layer)) for layer in layers]
    start, last = first_wall_face(ds), ds.sizes["face"] - 1
    films = np.asarray(ds["film_end_of_year"].values, float)[:, :, start + 1 : last]
    films = np.concatenate([np.zeros_like(films[:1]), films])  # walls begin without films
    end = np.concatenate([end, films], axis=2)  # (year, segment, layer and interface)
    places += [("face", face) for face in range(start + 1, last)]
    limit = limits["residue"]
    origin = f"ISO 13788:2012 (nothing may remain after a year), from memory; {source('residue', limits)}"
    years = len(end) - 1
    gain = end[-1] - end[-2]
    segment, which = worst_place(gain)
    value = float(gain[segment, which])
    value = value if abs(value) > _ROUND_OFF else 0.0
    before = float((end[-2] - end[-3])[segment, which]) if years > 1 else 0.0
    settles = before > 0.0 and value < 0.5 * before
    facts: dict[str, Fact] = {"years": years, "held": float(end[-1, segment, which])}
    if value <= limit:
        status, outcome = "pass", "steady"
    elif settles:
        status, outcome = "review", "settles"
        facts["still"] = value * value / (before - value)  # sum of the geometric series that continues both gains
    elif years == 1:
        status, outcome = "review", "one year"
    else:
        status, outcome = "fail", "growth"
    dim, index = places[which]
    return [
        Finding(
            "residue", value, limit, "kg/m2", status,
            # settling or not known: just under the limit
            ratio_of(value, limit, status) if status != "review" else 0.99,
            origin, **(at_layer if dim == "layer" else at_face)(ds, index, segment),
            facts=facts | {"outcome": outcome},
        )
    ]  # fmt: skip
