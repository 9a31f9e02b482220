"""Random valid walls through stretches of weather: the solver must neither fail nor leave physical limits.

    python tests/benchmarks/walls.py                            5 000 walls, ten days to two months each
    python tests/benchmarks/walls.py --tries 300 --seed 7 --kind "cold store"
    python tests/benchmarks/walls.py --only 123                 one of them again, with its message in full

Each wall is made from its number and the seed alone. All materials of the table, all fictitious climates as given and
changed (10 K colder or warmer, rain just above freezing followed by frost, all rain on an inner plane), rooms from
-30 to 30 degC, closed cavities, still and open ones, films from none to 1 kg/m2. Printed: how many were tried and
failed, by kind.
"""

from __future__ import annotations

import collections
import functools
import json
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np

import cavity
from cavity.climate.humid import table_dew_point, table_saturation_pressure
from cavity.errors import ConvergenceError
from cavity.variables import TABLE
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.materials import material, materials
from cavity.wallfile.model import Indoor, Layer, Opening, OpeningSet, Rail, Wetting

ROOT = Path(__file__).parents[2]
MEMBRANES = [name for name in materials() if material(name).sd is not None or material(name).sd_table]
SOLIDS = [name for name in materials() if name not in MEMBRANES and "air layer" not in name]
THIN = ("steel", "aluminium", "zinc", "copper", "glass", "vinyl", "galvanized", "stainless")
CLADDINGS = [name for name in SOLIDS if "wool" not in name and name not in ("cellulose", "EPS", "XPS")]
INSULATION = [name for name in SOLIDS if material(name).conductivity < 0.06]
SHEATHING = [
    "OSB",
    "plywood",
    "gypsum sheathing",
    "cement board",
    "fibre cement",
    "steel",
    "concrete",
    "wood fibreboard",
]
CLIMATES = sorted(path.stem for path in (ROOT / "climates").glob("*.epw"))
KINDS = ("any", "frame", "masonry", "brick in frost", "steel sheathing", "cold store", "leaky")
CHANGES = ("as it is", "as it is", "colder", "warmer", "rain and frost", "still")


@functools.cache
def base() -> Any:
    """The starter wall, from which what is not random is taken."""
    return parse_wall(starter(), "starter.toml")


@functools.cache
def climate(name: str) -> Any:
    """One of the fictitious climates."""
    return cavity.read_weather(ROOT / "climates" / f"{name}.epw")


def weather(rng: np.random.Generator, hours: int, kind: str) -> tuple[Any, str]:
    """A stretch of a climate, changed or as it is, and what it is called."""
    pick = lambda choices: choices[rng.integers(len(choices))]  # noqa: E731
    name, change = pick(CLIMATES), pick(CHANGES)
    if kind == "brick in frost":
        name, change = "temperate_inland", pick(("colder", "rain and frost", "as it is"))
    whole = climate(name)
    start = int(rng.integers(whole.sizes["time"] - hours))
    ds = whole.isel(time=slice(start, start + hours)).copy(deep=True)
    T = ds["temperature_outdoor"].to_numpy().copy()
    phi = ds["vapour_pressure_outdoor"].to_numpy() / table_saturation_pressure(T)
    sky = ds["infrared_horizontal"].to_numpy() / T**4
    shift = 0.0
    if change in ("colder", "warmer"):
        shift = -10.0 if change == "colder" else 10.0
        T = T + shift
    if change == "rain and frost":
        # a day of rain just above freezing, then two of frost, over again
        day = (np.arange(hours) // 24) % 3
        T = np.where(day == 0, 274.15 + 0.5 * np.sin(np.arange(hours)), np.minimum(T, 273.15) - rng.uniform(1.0, 15.0))
        ds["rain"][:] = np.where(day == 0, rng.uniform(0.2, 5.0) / 3600.0, 0.0)
        ds["wind_direction"][:] = base().orientation
    if change == "still":
        ds["wind_speed"][:] = 0.0
    ds["temperature_outdoor"][:] = T
    ds["vapour_pressure_outdoor"][:] = np.clip(phi, 0.02, 1.0) * table_saturation_pressure(T)
    ds["relative_humidity_outdoor"][:] = np.clip(phi, 0.02, 1.0)
    ds["infrared_horizontal"][:] = sky * T**4
    return ds, f"{name}, {change}, from hour {start}"


def layer(name: str, thickness: float, number: int) -> Layer:
    """A layer of a material of the table."""
    row = material(name)
    if name in MEMBRANES:
        return Layer(f"{name} {number}", row, row.thickness or 0.0003, sd=row.sd, sd_table=row.sd_table)
    return Layer(f"{name} {number}", row, thickness)


def wall(rng: np.random.Generator, kind: str) -> Any:
    """A random wall that a wall file could describe."""
    pick = lambda choices: choices[rng.integers(len(choices))]  # noqa: E731
    maybe = lambda share: rng.random() < share  # noqa: E731
    solid = lambda name: 0.0008 if name.startswith(THIN) else float(10 ** rng.uniform(-2.3, -0.8))  # noqa: E731
    face = pick(CLADDINGS)
    thick = solid(face)
    if kind == "brick in frost":
        face, thick = pick(("clay brick", "clay brick, dense")), rng.uniform(0.09, 0.115)
    names: list[tuple[str, float]]
    if kind == "masonry":
        names = [(pick(INSULATION), rng.uniform(0.04, 0.2)), (pick(("clay brick", "concrete", "aerated concrete",
                 "hollow clay block", "calcium silicate block", "concrete block")), rng.uniform(0.1, 0.3))]  # fmt: skip
    elif kind == "steel sheathing":
        names = [("steel", 0.0008), (pick(INSULATION), rng.uniform(0.04, 0.2))]
        names += [(pick(MEMBRANES), 0.0)] if maybe(0.7) else []
        names += [("gypsum board", 0.0125)] if maybe(0.8) else []
    elif kind in ("any", "cold store") and maybe(0.6):
        names = [(name, solid(name)) for name in (pick(SOLIDS + MEMBRANES) for _ in range(rng.integers(1, 6)))]
    else:
        names = [(pick(MEMBRANES), 0.0)] if maybe(0.5) else []
        names += [(pick(SHEATHING), rng.uniform(0.008, 0.02)), (pick(INSULATION), rng.uniform(0.05, 0.3))]
        names += [(pick(MEMBRANES), 0.0)] if maybe(0.7) else []
        names += [(pick(("gypsum board", "OSB", "steel", "plywood")), 0.0125)] if maybe(0.8) else []
    backup = tuple(layer(name, d if name not in THIN[:1] else 0.0008, k + 1) for k, (name, d) in enumerate(names))
    if all(part.is_membrane for part in backup):
        backup = (*backup, layer("OSB", 0.012, 9))
    areas = (0.0, 2e-4, 1e-3, 0.005, 0.02)
    heights = sorted(rng.uniform(0.0, 6.0, rng.integers(0, 5)))
    if maybe(0.5):
        heights = [0.0, 6.0]
    vents = tuple(
        Opening(f"vent {k}", float(z), "slot", area, clear_height=area)
        for k, z in enumerate(heights) for area in [float(pick(areas))]
    )  # fmt: skip
    rails = (Rail("rail", (1.5, 3.0, 4.5), 0.2, 0.6),) if maybe(0.5) else ()
    room = Indoor(
        model=pick(("EN 15026", "ASHRAE 160")), load=pick(("normal", "high")),
        humidity_shift=float(pick((0.0, 0.0, -0.5, -0.2, 0.2))),
    )  # fmt: skip
    if kind == "cold store" or maybe(0.1):
        low = -30.0 if kind == "cold store" else 0.0
        T = float(pick((-25.0, -18.0, -10.0, 0.0, rng.uniform(low, 5.0)))) if low < 0.0 else rng.uniform(0.0, 30.0)
        room = Indoor(model="constant", temperature=(273.15 + T,), relative_humidity=(rng.uniform(0.2, 0.97),))
    plane = int(rng.integers(len(backup)))
    wetting = Wetting(
        rain_penetration=float(pick((0.0, 0.01, 0.01, 0.1, 1.0))),
        rain_penetration_layer=plane if maybe(0.5) else 0,
        leak_layer=int(rng.integers(len(backup))) if kind == "leaky" or maybe(0.2) else None,
        leak_flow=float(10 ** rng.uniform(-5.5, -3.0)),
    )
    run = replace(base().run, max_years=1, segments=int(rng.integers(1, 5)), start_humidity=rng.uniform(0.3, 0.98))
    return replace(
        base(), cladding=(layer(face, thick, 0),), backup=backup, opening_sets=(OpeningSet("random", vents),),
        rails=rails, indoor=room, wetting=wetting, run=run, name=f"random, {kind}",
        solar_absorptance=rng.uniform(0.1, 0.95), emissivity=float(pick((0.1, 0.9, 0.9))),
        orientation=float(pick((0.0, 90.0, 180.0, 270.0))),
        tilt=float(pick((90.0, 90.0, 90.0, 90.0, 60.0, 120.0))),
        cavity=replace(
            base().cavity, depth=float(pick((0.003, 0.01, 0.02, 0.03, 0.06, 0.2))),
            film_limit=float(pick((0.0, 0.05, 0.1, 0.1, 0.1, 1.0))),
            emissivity_cladding=pick((None, None, 0.05)), emissivity_wall=pick((None, None, 0.05)),
        ),
    )  # fmt: skip


def below_surroundings(ds: Any) -> float:
    """Return by how much any face was colder than everything that acted on the wall since the start [K].

    A face loses heat to air, to sky and surroundings, and by evaporation no further than to the dew point of the air;
    the coldest of these over all hours so far bounds every node (maximum principle). The first hour counts as met.
    """
    air, sky = ds["temperature_outdoor"].to_numpy(), ds["sky_temperature"].to_numpy()
    room = ds["temperature_indoor"].to_numpy()
    dew = table_dew_point(ds["vapour_pressure_outdoor"].to_numpy())
    indoors = table_dew_point(ds["relative_humidity_indoor"].to_numpy() * table_saturation_pressure(room))
    coldest = np.minimum.reduce([air, sky, room, dew, indoors])
    faces = ds["temperature"].to_numpy().min(axis=(1, 2))
    bound = np.minimum.accumulate(np.minimum(coldest, np.where(np.arange(len(air)) == 0, faces, np.inf)))
    return float((bound - faces).max())


def limits_left(ds: Any) -> list[str]:
    """Return which values are no numbers or leave their bounds, and what does not balance; empty: none."""
    found = []
    for name, data in ds.data_vars.items():
        values, row = data.values, TABLE[name]
        if not np.isfinite(values).all():
            found.append(f"{name} is not finite")
        elif values.size and (values.min() < row.lower or values.max() > row.upper):
            found.append(f"{name} from {values.min():.6g} to {values.max():.6g}")
    if (colder := below_surroundings(ds)) > 0.5:  # K, radiation and evaporation counted
        found.append(f"a node {colder:.1f} K colder than all that surrounded the wall so far")
    # what a step may leave by the solver's tolerance is carried on and must not grow
    if float(abs(ds["water_residual"]).max()) > 2e-4:
        found.append(f"water residual {float(abs(ds['water_residual']).max()):.3g} kg/m2")
    errors = {kind: ds.attrs[f"stream_{kind}_error"] for kind in ("heat", "vapour")}
    found += [f"{kind} of the air stream {error:.3g}" for kind, error in errors.items() if error > 1e-6]
    if ds.attrs["energy_balance_error"] > 1e-4:
        found.append(f"energy balance error {ds.attrs['energy_balance_error']:.3g}")
    return found


def case(seed: int, number: int, kinds: tuple[str, ...] = KINDS, hours: int | None = None) -> tuple[Any, Any, str, str]:
    """Return (wall, weather, kind, what it is) of one number."""
    rng = np.random.default_rng([seed, number])
    kind = kinds[number % len(kinds)]
    made = wall(rng, kind)
    length = int(rng.integers(240, 1440))
    air, what = weather(rng, hours or length, kind)
    return made, air, kind, what


def attempt(seed: int, number: int, kinds: tuple[str, ...] = KINDS, hours: int | None = None) -> tuple[str, str, str]:
    """Run one number; return (kind, what it is, fault or nothing)."""
    made, air, kind, what = case(seed, number, kinds, hours)
    start = int(air["time"].to_numpy()[0].astype("datetime64[M]").astype(int) % 12 + 1)
    made = replace(made, run=replace(made.run, start_month=start))
    try:
        fault = "; ".join(limits_left(cavity.simulate(made, air)))
    except ConvergenceError as stopped:
        fault = str(stopped)
    layers = " | ".join(f"{part.material.name} {part.thickness * 1e3:.3g}" for part in made.layers)
    return kind, f"{layers}; room {made.indoor.model}; {what}", fault


@click.command()
@click.option("--tries", default=5000, show_default=True)
@click.option("--first", default=0, show_default=True, help="Number of the first wall.")
@click.option("--seed", default=1, show_default=True)
@click.option("--kind", "kinds", multiple=True, type=click.Choice(KINDS), help="Only these kinds.")
@click.option("--only", type=int, help="One number alone.")
@click.option("--hours", type=int, help="Length of every stretch of weather.")
@click.option("--out", type=click.Path(dir_okay=False), help="JSON file of the failures.")
def main(
    tries: int, first: int, seed: int, kinds: tuple[str, ...], only: int | None, hours: int | None, out: str | None
) -> None:
    """Try random walls; exit with 1 where one fails."""
    tried: collections.Counter[str] = collections.Counter()
    failed: collections.Counter[str] = collections.Counter()
    faults, begin = [], time.perf_counter()
    numbers = [only] if only is not None else range(first, first + tries)
    for number in numbers:
        kind, what, fault = attempt(seed, number, kinds or KINDS, hours)
        tried[kind] += 1
        if fault:
            failed[kind] += 1
            faults.append({"number": number, "kind": kind, "what": what, "fault": fault})
            click.echo(f"{number} ({kind}): {what}\n    {fault}", err=True)
    for kind in tried:
        click.echo(f"{kind:16} tried {tried[kind]:5}  failed {failed[kind]:4}")
    click.echo(f"{'all':16} tried {tried.total():5}  failed {failed.total():4}  ({time.perf_counter() - begin:.0f} s)")
    if out:
        Path(out).write_text(json.dumps(faults, indent=1))
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
