"""What the air in the cavity did, in numbers: direction, drive, where pressure is lost, still pieces, vents.

From the result Dataset alone, whatever its leading dimensions are (hours of a year, or the matrix of a quick look).
Nothing here is judged; `report.air_words` says it in words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.result import wall_of

if TYPE_CHECKING:
    import xarray as xr

NEARLY_STILL = 0.01  # m/s, slower than this counts as nearly still (own choice: a room height in five minutes)


@dataclass(frozen=True)
class Compartment:
    """One compartment: air change rate in 1/h (mean, 5 %, 50 %, 95 % of the hours) and fractions of the hours [1].

    The rate is the air that enters, over the volume; the speed in the cavity gives the direction.
    """

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
    """One part of the air path: fraction of all pressure lost [1] and mean loss [Pa]."""

    name: str
    kind: str
    height: float  # m
    share: float
    mean: float


@dataclass(frozen=True)
class Group:
    """Equal parts together: the rails of one name, the vents of one name, all of the channel, one barrier."""

    name: str
    kind: str
    bottom: float  # m
    top: float  # m
    count: int
    share: float  # of all pressure lost [1]
    worst: PartLoss
    gain: float  # of the air that enters, were the group doubled at the same drive [1]; not a number where not known


@dataclass(frozen=True)
class Drive:
    """Stack against wind, between lowest and highest opening: fractions of the summed sizes [1], means in Pa."""

    stack_share: float
    wind_share: float
    opposed: float  # fraction of the hours in which the two work against each other
    stack_mean: float  # signed, positive upwards
    wind_mean: float


@dataclass(frozen=True)
class Vent:
    """One line of the vent schedule: free area per metre of wall length, how it is made up, and which way it flows."""

    name: str
    height: float  # m
    kind: str
    area: float  # m2/m, mesh taken off
    gross: float  # m2/m, of the hole before any mesh
    clear: float  # m, smaller clear dimension of the hole
    porosity: float  # open fraction of what closes the hole [1]
    inward: float  # fraction of the hours in which it takes air in, of those in which any air passes [1]
    flow: float  # mean flow without regard to direction [kg/(s m)]


@dataclass(frozen=True)
class Still:
    """Heights between which no air passes, what closes the cavity there, and whether an only vent exchanges air."""

    spans: tuple[tuple[float, float], ...]  # m
    closed_by: str  # "" where nothing does
    single_vent: bool


def _last(ds: xr.Dataset, name: str, dim: str) -> np.ndarray:
    """Return a variable as (all else flattened, dim)."""
    array = ds[name].transpose(..., dim).values
    return array.reshape(int(np.prod(array.shape[:-1])), array.shape[-1])


def compartments(ds: xr.Dataset) -> tuple[Compartment, ...]:
    """Return air change rate and direction of every compartment, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `compartment_air_change_rate` and `air_speed`.

    Returns
    -------
    tuple of Compartment
        One for the whole column, or one between every two barriers; direction by the mean speed over the height.
    """
    rate, speed = _last(ds, "compartment_air_change_rate", "compartment"), _last(ds, "air_speed", "segment")
    size = ds["segment_top"].values - ds["segment_bottom"].values
    rows = []
    for c, name in enumerate(ds["compartment"].values):
        low, median, high = np.percentile(rate[:, c], [5, 50, 95])
        inside = np.flatnonzero(ds["segment_compartment"].values == c)
        mean = np.average(speed[:, inside], axis=1, weights=size[inside]) if inside.size else np.zeros(len(rate))
        up, down = float(np.mean(mean >= NEARLY_STILL)), float(np.mean(mean <= -NEARLY_STILL))
        rows.append(
            Compartment(
                str(name),
                float(ds["compartment_bottom"].values[c]),
                float(ds["compartment_top"].values[c]),
                float(rate[:, c].mean()),
                float(low),
                float(median),
                float(high),
                up,
                down,
                max(1.0 - up - down, 0.0),
            )
        )
    return tuple(rows)


def drive(ds: xr.Dataset) -> Drive:
    """Return the fractions of the drive that are stack and wind.

    Parameters
    ----------
    ds : xarray.Dataset
        With `stack_pressure` and `wind_pressure`.

    Returns
    -------
    Drive
        Fractions are 0 where there is no drive at all.
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
        Fractions add up to 1, or are all 0 where nothing flows.
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
    """Return the group of a part: its name without the height at its end, one for all of the channel."""
    if part.kind == "channel":
        return "cavity depth"
    return re.sub(r"( at -?\d+(\.\d+)? m)?( \(\d+\))?$", "", part.name)


def loss_groups(ds: xr.Dataset) -> tuple[Group, ...]:
    """Return where the pressure is lost, equal parts together, by their lowest height.

    Parameters
    ----------
    ds : xarray.Dataset
        With `part_pressure`, and `part_gain` where the gain is wanted.

    Returns
    -------
    tuple of Group
        Fractions add up to 1, or are all 0 where nothing flows.
    """
    gains = ds["part_gain"].values if "part_gain" in ds else np.full(ds.sizes["part"], np.nan)
    members: dict[str, list[tuple[PartLoss, float]]] = {}
    for part, gain in zip(losses(ds), gains, strict=True):
        members.setdefault(_family(part), []).append((part, float(gain)))
    return tuple(
        Group(
            name,
            parts[0][0].kind,
            parts[0][0].height,
            parts[-1][0].height,
            len(parts),
            sum(part.share for part, _ in parts),
            max((part for part, _ in parts), key=lambda part: part.share),
            parts[0][1],
        )
        for name, parts in members.items()
    )


def narrowest_passage(ds: xr.Dataset) -> tuple[str, float, float] | None:
    """Return a rail or barrier that is narrower than every vent: its name, its free area, the smallest vent. [m2/m].

    Parameters
    ----------
    ds : xarray.Dataset
        With the coordinate `part_area` [m2/m].

    Returns
    -------
    tuple or None
        None where a vent is the narrowest.
    """
    open_parts = [
        (float(area), str(name))
        for area, name, kind in zip(ds["part_area"].values, ds["part"].values, ds["part_kind"].values, strict=True)
        if kind in ("rail", "barrier") and area > 0.0
    ]
    vents = ds["opening_area"].values[ds["opening_area"].values > 0.0]
    if not open_parts or not vents.size or min(open_parts)[0] >= vents.min():
        return None
    area, name = min(open_parts)
    return name, area, float(vents.min())


def open_vents(ds: xr.Dataset) -> int:
    """Return the number of openings with any free area. [1]."""
    return int(np.count_nonzero(ds["opening_area"].values > 0.0))


def still(ds: xr.Dataset) -> Still | None:
    """Return the heights at which no air passes although something drives; None where there are none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_speed` and the drives.
    """
    if not np.any(ds["stack_pressure"].values) and not np.any(ds["wind_pressure"].values):
        return None  # nothing drives: that says nothing about the wall
    rate = np.abs(_last(ds, "air_speed", "segment"))
    spans: list[tuple[float, float]] = []
    for i in np.flatnonzero(rate.max(axis=0) == 0.0):
        bottom, top = float(ds["segment_bottom"].values[i]), float(ds["segment_top"].values[i])
        if spans and abs(spans[-1][1] - bottom) < 1e-6:
            spans[-1] = (spans[-1][0], top)
        else:
            spans.append((bottom, top))
    if not spans:
        return None
    across = np.isin(ds["part_kind"].values, ("barrier", "rail"))
    closed = [
        str(ds["part"].values[i])
        for i in np.flatnonzero((ds["part_area"].values <= 0.0) & across)
        if any(low - 1e-6 <= float(ds["part_height"].values[i]) <= high + 1e-6 for low, high in spans)
    ]
    rates = ds["compartment_air_change_rate"]
    exchanged = any(
        float(rates.isel(compartment=c).max()) > 0.0
        for c in range(ds.sizes["compartment"])
        if any(
            low < float(ds["compartment_top"].values[c]) - 1e-6
            and high > float(ds["compartment_bottom"].values[c]) + 1e-6
            for low, high in spans
        )
    )
    return Still(tuple(spans), closed[0] if closed else "", exchanged)


def vent_schedule(ds: xr.Dataset) -> tuple[Vent, ...]:
    """Return the vents for a drawing, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `opening_area` and `opening_flow`; the wall it carries distinguishes slots, single holes and meshes.

    Returns
    -------
    tuple of Vent
        One per opening.
    """
    openings = wall_of(ds).opening_set(str(ds.attrs["opening_set"])).openings
    described = {(opening.name, opening.height): opening for opening in openings}
    flow = _last(ds, "opening_flow", "opening")
    vents = []
    for i, name in enumerate(ds["opening"].values):
        height = float(ds["opening_height"].values[i])
        drawn = described[str(name), height]
        passing = np.count_nonzero(flow[:, i])
        inward = np.count_nonzero(flow[:, i] > 0.0) / passing if passing else 0.0
        vents.append(
            Vent(
                str(name), height, str(ds["opening_kind"].values[i]), float(ds["opening_area"].values[i]),
                drawn.gross_area, drawn.clear_height or drawn.gross_area, drawn.porosity, inward,
                float(np.abs(flow[:, i]).mean()),
            )
        )  # fmt: skip
    return tuple(vents)
