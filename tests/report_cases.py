"""An invented comparison for the report tests: synthetic Datasets, their wall, findings by the real criteria."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from dataset_factory import make_dataset

from cavity import risk
from cavity.risk.drying import drying
from cavity.wallfile import model
from cavity.wallfile.recorded import to_json

NASTY = '<script>alert("wall")</script> & Söhne'
SETS = ("slots 10 mm", 'mesh "fine" <b>')
DEPTHS = (0.02, 0.04)


def make_wall(name: str = NASTY) -> model.Wall:
    """Return the wall of the synthetic Datasets with a window, rails and a barrier."""

    def layer(title: str, thickness: float, **membrane: Any) -> model.Layer:
        material = model.Material(title, title, 650.0, 0.13, 1600.0, 50.0, 30.0, "ISO 10456:2007, from memory")
        return model.Layer(title, material, thickness, **membrane)

    openings = tuple(
        model.OpeningSet(
            text,
            (
                model.Opening("base slot", 0.0, "slot", 0.01),
                model.Opening("head slot", 3.0, "mesh", 0.01, porosity=0.4),
            ),
        )
        for text in SETS
    )
    return model.Wall(
        name,
        (layer("fibre cement board", 0.008),),
        model.Cavity(0.02),
        (
            layer("air barrier", 0.0005, sd=0.02),
            layer("OSB", 0.012),
            layer("mineral wool", 0.16),
            layer("vapour retarder", 0.0002, sd_table=((0.0, 10.0), (1.0, 0.3))),
            layer("gypsum board", 0.0125),
        ),
        (model.Column("plain", 0.0, 3.0), model.Column("sill", 0.0, 0.9), model.Column("lintel", 2.1, 3.0)),
        openings,
        DEPTHS,
        orientation=225.0,
        rails=(model.Rail("hat rail", (0.6, 1.2, 1.8), 0.05, 1.2),),
        barriers=(model.Barrier("fire stop", 2.7, 0.002),),
        description="An invented wall, and <i>nothing</i> else.",
        invented=True,
        text='name = "x"  # </script>\n',
    )


def make_case(
    opening_set: str = SETS[0],
    depth: float = DEPTHS[0],
    climate: str = "Invented Coast",
    *,
    name: str = NASTY,
    **kw: Any,
) -> SimpleNamespace:
    """Return one case with two-way flow in the cavity."""
    wall = make_wall(name)
    ds = make_dataset(wall_name=wall.name, opening_set=opening_set, depth=depth, climate_name=climate, **kw)
    hours = ds.sizes["time"]
    sign = np.where(np.arange(hours) % 24 < 9, -1.0, 1.0)  # downwards in the small hours
    rate = 1.0 + SETS.index(opening_set) if opening_set in SETS else 1.0
    for name in ("air_change_rate", "compartment_air_change_rate"):
        ds[name] = ds[name] * rate
    ds["air_speed"] = abs(ds["air_speed"]) * sign[:, None]
    ds["opening_flow"] = abs(ds["opening_flow"]) * sign[:, None] * np.array([1.0, -1.0])
    ds.attrs["wall_json"] = to_json(wall)
    ds.attrs["wall_text"] = wall.text
    return SimpleNamespace(
        wall_name=wall.name,
        climate_name=climate,
        opening_set=opening_set,
        depth=depth,
        dataset=ds,
        findings=risk.judge(ds),
        event=make_event(20.0 * rate if depth < 0.03 else 60.0),
    )


def make_event(days: float) -> SimpleNamespace:
    """Return a wetting event that falls to a tenth in `days`, with the vents closed in 200 days; 90 days of it."""
    hours = np.arange(1, 90 * 24 + 1)
    left = [0.5 * 0.1 ** (hours / (24.0 * slow)) for slow in (days, 200.0)]
    return SimpleNamespace(layer="OSB", amount=0.5, as_drawn=left[0], closed=left[1], finding=drying(*left, 0.5))


def make_comparison(*, hours: int = 24 * 70, climates: tuple[str, ...] = ("Invented Coast",), name: str = NASTY) -> Any:
    """Return a comparison of two opening sets by two depths in the given climates; only the first has rain."""
    cases = [
        make_case(text, depth, climate, name=name, hours=hours, rain=number == 0, seed=number + 1,
                  damp=(0.8, 0.0)[number_set] * (1.0 if depth < 0.03 else 0.4))
        for number, climate in enumerate(climates)
        for number_set, text in enumerate(SETS)
        for depth in DEPTHS
    ]  # fmt: skip
    return SimpleNamespace(cases=cases, wall=make_wall(name), climates=climates, created="2026-03-01 12:00 UTC")
