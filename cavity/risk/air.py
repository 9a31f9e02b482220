"""What the air in the cavity did: direction, drive, where pressure is lost, vents for the drawing.

From the result Dataset alone, whatever its leading dimensions are (hours of a year, or the matrix of a quick look).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.risk.finding import number

if TYPE_CHECKING:
    import xarray as xr

NEARLY_STILL = 0.01  # m/s, slower than this counts as nearly still (own choice: a room height in five minutes)


@dataclass(frozen=True)
class Compartment:
    """One thermal segment: air change rate in 1/h (mean, 5 %, 50 %, 95 % of the hours) and shares of the hours [1]."""

    name: str
    bottom: float  # m
    top: float  # m
    mean: float
    low: float
    median: float
    high: float
    upward: float
    downward: float
    still: float


@dataclass(frozen=True)
class PartLoss:
    """One part of the air path: share of all pressure lost [1] and mean loss [Pa]."""

    name: str
    kind: str
    height: float  # m
    share: float
    mean: float


@dataclass(frozen=True)
class Drive:
    """Stack against wind, between the lowest and the highest opening: shares of the summed sizes [1], means in Pa."""

    stack_share: float
    wind_share: float
    opposed: float  # share of the hours in which the two work against each other
    stack_mean: float  # signed, positive upwards
    wind_mean: float


@dataclass(frozen=True)
class Vent:
    """One line of the vent schedule: free vent area in mm2 per metre of wall, and how it is made up."""

    name: str
    height: float  # m
    kind: str
    area: float  # mm2/m, mesh taken off
    make_up: str


def _last(ds: xr.Dataset, name: str, dim: str) -> np.ndarray:
    """Return a variable as (all else flattened, dim)."""
    array = ds[name].transpose(..., dim).values
    return array.reshape(-1, array.shape[-1])


def pieces(ds: xr.Dataset) -> tuple[tuple[float, float, tuple[int, ...]], ...]:
    """Return the pieces of the column with one air change rate each, low to high: bottom [m], top [m], segments.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_change_rate`.
    """
    rate = _last(ds, "air_change_rate", "segment")
    found: list[tuple[float, float, tuple[int, ...]]] = []
    for s in range(rate.shape[1]):
        bottom, top = float(ds["segment_bottom"].values[s]), float(ds["segment_top"].values[s])
        if found and np.array_equal(rate[:, s], rate[:, found[-1][2][-1]]):
            found[-1] = (found[-1][0], top, (*found[-1][2], s))
        else:
            found.append((bottom, top, (s,)))
    return tuple(found)


def compartments(ds: xr.Dataset) -> tuple[Compartment, ...]:
    """Return air change rate and direction of every segment, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_change_rate` and `air_speed`.

    Returns
    -------
    tuple of Compartment
        One per segment.
    """
    rate, speed = _last(ds, "air_change_rate", "segment"), _last(ds, "air_speed", "segment")
    found = []
    for s, name in enumerate(ds["segment"].values):
        low, median, high = np.percentile(rate[:, s], [5, 50, 95])
        up, down = float(np.mean(speed[:, s] >= NEARLY_STILL)), float(np.mean(speed[:, s] <= -NEARLY_STILL))
        found.append(
            Compartment(
                str(name),
                float(ds["segment_bottom"].values[s]),
                float(ds["segment_top"].values[s]),
                float(rate[:, s].mean()),
                float(low),
                float(median),
                float(high),
                up,
                down,
                max(1.0 - up - down, 0.0),
            )
        )
    return tuple(found)


def drive(ds: xr.Dataset) -> Drive:
    """Return how the drive is shared between stack and wind.

    Parameters
    ----------
    ds : xarray.Dataset
        With `stack_pressure` and `wind_pressure`.

    Returns
    -------
    Drive
        Shares are 0 where there is no drive at all.
    """
    stack, wind = (np.asarray(ds[name].values, dtype=float).ravel() for name in ("stack_pressure", "wind_pressure"))
    total = float(np.abs(stack).sum() + np.abs(wind).sum())
    share = float(np.abs(stack).sum()) / total if total > 0.0 else 0.0
    return Drive(
        share,
        1.0 - share if total > 0.0 else 0.0,
        float(np.mean(stack * wind < 0.0)),
        float(stack.mean()),
        float(wind.mean()),
    )


def losses(ds: xr.Dataset) -> tuple[PartLoss, ...]:
    """Return where the pressure is lost, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `part_pressure`.

    Returns
    -------
    tuple of PartLoss
        Shares add up to 1, or are all 0 where nothing flows.
    """
    values = _last(ds, "part_pressure", "part")
    totals = values.sum(axis=0)
    whole = float(totals.sum())
    return tuple(
        PartLoss(
            str(name),
            str(ds["part_kind"].values[i]),
            float(ds["part_height"].values[i]),
            float(totals[i]) / whole if whole > 0.0 else 0.0,
            float(values[:, i].mean()),
        )
        for i, name in enumerate(ds["part"].values)
    )


def _family(part: PartLoss) -> str:
    """Return the name without its height: rails of one kind are told together."""
    return re.sub(r" at -?\d+(\.\d+)? m( \(\d+\))?$", "", part.name) if part.kind in ("rail", "barrier") else part.name


def choke_sentence(ds: xr.Dataset) -> str:
    """Return in one sentence which part chokes the cavity.

    Parameters
    ----------
    ds : xarray.Dataset
        With `part_pressure`.
    """
    parts = losses(ds)
    if not any(part.share > 0.0 for part in parts):
        return "No air passes: fewer than two open vents are joined by an open cavity."
    groups: dict[str, list[PartLoss]] = {}
    for part in parts:
        groups.setdefault(_family(part), []).append(part)
    name, members = max(groups.items(), key=lambda item: sum(part.share for part in item[1]))
    share = sum(part.share for part in members)
    worst = max(members, key=lambda part: part.share)
    if worst.kind == "channel":
        return f"{number(100 * share)} % of the pressure is lost as friction in the {name}."
    if len(members) == 1:
        height = "" if re.search(r" at -?\d", worst.name) else f" at {worst.height:.2f} m"
        return f"{number(100 * share)} % of the pressure is lost at the {worst.name}{height}."
    if worst.share > 1.5 * share / len(members):
        return (
            f"{number(100 * share)} % of the pressure is lost at the {len(members)} gaps of the {name}, "
            f"{number(100 * worst.share)} % at that at {worst.height:.2f} m alone."
        )
    return (
        f"{number(100 * share)} % of the pressure is lost at the {len(members)} gaps of the {name}, "
        f"about {number(100 * share / len(members))} % at each."
    )


def still_sentence(ds: xr.Dataset) -> str:
    """Return a sentence that names the segments through which no air passes, or "" if there are none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_change_rate`.
    """
    rate = _last(ds, "air_change_rate", "segment").max(axis=0)
    dead = [i for i in range(len(rate)) if rate[i] == 0.0]
    if not dead:
        return ""
    pieces: list[list[float]] = []
    for i in dead:
        bottom, top = float(ds["segment_bottom"].values[i]), float(ds["segment_top"].values[i])
        if pieces and abs(pieces[-1][1] - bottom) < 1e-6:
            pieces[-1][1] = top
        else:
            pieces.append([bottom, top])
    spans = ", ".join(f"{a:.2f} to {b:.2f} m" for a, b in pieces)
    return f"No air passes from {spans}: that piece has no vent of its own on both ends, its air stands still."


def vent_schedule(ds: xr.Dataset) -> tuple[Vent, ...]:
    """Return the vents for a drawing, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `opening_area`; `wall_json` in the attributes, where present, tells slots from single holes and meshes.

    Returns
    -------
    tuple of Vent
        One per opening.
    """
    described = _described(ds)
    found = []
    for i, name in enumerate(ds["opening"].values):
        area = 1e6 * float(ds["opening_area"].values[i])
        height, kind = float(ds["opening_height"].values[i]), str(ds["opening_kind"].values[i])
        found.append(Vent(str(name), height, kind, area, _make_up(described.get((str(name), height), {}), area)))
    return tuple(found)


def _described(ds: xr.Dataset) -> dict[tuple[str, float], dict]:
    import json

    try:
        sets = json.loads(ds.attrs["wall_json"])["opening_sets"]
    except (KeyError, ValueError):
        return {}
    chosen = next((one for one in sets if one.get("name") == ds.attrs.get("opening_set")), {})
    return {(one["name"], float(one["height"])): one for one in chosen.get("openings", [])}


def _make_up(opening: dict, area: float) -> str:
    """Return how the free area is made up: slot along the wall, or length of slot, and what closes part of it."""
    if area <= 0.0:
        return "closed"
    gross = float(opening.get("free_area", 0.0)) or area * 1e-6
    clear = float(opening.get("clear_height", 0.0)) or gross
    text = f"{number(1e3 * clear, 1)} mm along the whole wall"
    if clear > 0.0 and gross < 0.999 * clear:
        text = f"{number(1e3 * gross / clear)} mm of {number(1e3 * clear, 1)} mm slot in every metre"
    porosity = float(opening.get("porosity", 1.0))
    if porosity < 1.0:
        text += f", {number(100 * porosity)} % of it open"
    return text
