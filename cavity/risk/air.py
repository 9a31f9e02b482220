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

# Cp(base) - Cp(head) over the whole wall, low, mid, high: told beside the user's value, none is measured (assumption);
# the same numbers as airflow.pressure.DIFFERENCE_BAND, which this layer may not import
DIFFERENCE_BAND = (0.05, 0.1, 0.3)
NEARLY_STILL = 0.01  # m/s, slower than this counts as nearly still (own choice: a room height in five minutes)


@dataclass(frozen=True)
class Compartment:
    """One compartment: air change rate in 1/h (mean, 5 %, 50 %, 95 % of the hours) and fractions of the hours [1].

    The rate is the air that enters, over the volume; the speed in the cavity tells the direction.
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
    """One part of the air path: share of all pressure lost [1] and mean loss [Pa]."""

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
    """Stack against wind, between the lowest and the highest opening: shares of the summed sizes [1], means in Pa."""

    stack_share: float
    wind_share: float
    opposed: float  # share of the hours in which the two work against each other
    stack_mean: float  # signed, positive upwards
    wind_mean: float


@dataclass(frozen=True)
class Vent:
    """One line of the vent schedule: free vent area per metre of wall, how it is made up, and which way it flows."""

    name: str
    height: float  # m
    kind: str
    area: float  # mm2/m, mesh taken off
    make_up: str
    inward: float  # share of the hours in which it takes air in, of those in which any air passes [1]
    flow: float  # mean flow without regard to direction [kg/(s m)]


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
    found = []
    for c, name in enumerate(ds["compartment"].values):
        low, median, high = np.percentile(rate[:, c], [5, 50, 95])
        inside = np.flatnonzero(ds["segment_compartment"].values == c)
        mean = np.average(speed[:, inside], axis=1, weights=size[inside]) if inside.size else np.zeros(len(rate))
        up, down = float(np.mean(mean >= NEARLY_STILL)), float(np.mean(mean <= -NEARLY_STILL))
        found.append(
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
        Shares add up to 1, or are all 0 where nothing flows.
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


def choke_sentence(ds: xr.Dataset) -> str:
    """Return what restricts the flow: the group that loses most, and what doubling each group would bring; "" if none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `part_pressure`, and `part_gain` where the gain is wanted.
    """
    groups = loss_groups(ds)
    if not any(group.share > 0.0 for group in groups):
        return ""
    group = max(groups, key=lambda one: one.share)
    worst = group.worst
    lost = f"{number(100 * group.share)} % of the pressure is lost"
    alone = f"{number(100 * worst.share)} %"
    if worst.kind == "channel":
        text = f"{lost} as friction along the cavity."
    elif group.count == 1 or worst.share > 0.9 * group.share:
        height = "" if re.search(r" at -?\d", worst.name) else f" at {worst.height:.2f} m"
        text = f"{alone} of the pressure is lost at the {worst.name}{height}."
    else:
        what = f"{group.count} gaps of the {group.name}" if group.kind == "rail" else f"{group.count} {group.name}s"
        each = f"about {number(100 * group.share / group.count)} % at each"
        if worst.share > 1.5 * group.share / group.count:
            each = f"{alone} at the one at {worst.height:.2f} m alone"
        text = f"{lost} at the {what}, {each}."
    return f"{text} {gain_sentence(groups)}".rstrip()


def gain_sentence(groups: tuple[Group, ...]) -> str:
    """Return what doubling each group of parts would bring, the largest first; "" where it is not known.

    Parameters
    ----------
    groups : tuple of Group
        From `loss_groups`.
    """
    known = sorted((group for group in groups if group.gain > 0.005), key=lambda group: -group.gain)
    if not known:
        return ""
    parts = [f"{_doubled(group)} +{number(100 * group.gain)} %" for group in known[:5]]
    return f"Air gained by doubling, at the same drive: {', '.join(parts)}."


def _doubled(group: Group) -> str:
    if group.kind == "rail":
        return f"the gaps of the {group.name}"
    return f"the {group.name}" if group.kind in ("channel", "barrier") or group.count == 1 else f"all {group.name}s"


def passage_sentence(ds: xr.Dataset) -> str:
    """Return a sentence where a rail or barrier is narrower than the vents, so that it governs; else "".

    Parameters
    ----------
    ds : xarray.Dataset
        With the coordinate `part_area` [m2/m]; without it nothing can be said.
    """
    if "part_area" not in ds.coords or not ds.sizes["opening"]:
        return ""
    open_parts = [
        (1e6 * float(area), str(name))
        for area, name, kind in zip(ds["part_area"].values, ds["part"].values, ds["part_kind"].values, strict=True)
        if kind in ("rail", "barrier") and area > 0.0
    ]
    vents = 1e6 * ds["opening_area"].values[ds["opening_area"].values > 0.0]
    if not open_parts or not vents.size or min(open_parts)[0] >= vents.min():
        return ""
    area, name = min(open_parts)
    return (
        f"The narrowest passage is the {name}: {number(area)} mm² per metre of wall, where the smallest vent has "
        f"{number(vents.min())} mm²."
    )


def still_sentence(ds: xr.Dataset) -> str:
    """Return a sentence that names the heights at which no air passes, and what closes them; "" if there are none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_speed` and the drives.
    """
    count = int(np.count_nonzero(ds["opening_area"].values > 0.0))
    if count < 2:
        vents = "has no open vent" if count == 0 else "has one open vent only"
        if count and float(ds["air_change_rate"].max()) > 0.0:
            return (
                f"No air passes: the column {vents}. What it exchanges through that vent is an estimate made for "
                f"rooms, median {number(float(ds['air_change_rate'].median()), 1)} air changes an hour."
            )
        return f"No air passes: the column {vents}. Its air does not move; leaks that are not listed are left out."
    if not np.any(ds["stack_pressure"].values) and not np.any(ds["wind_pressure"].values):
        return ""  # nothing drives: that says nothing about the wall
    rate = np.abs(_last(ds, "air_speed", "segment"))
    spans: list[list[float]] = []
    for i in np.flatnonzero(rate.max(axis=0) == 0.0):
        bottom, top = float(ds["segment_bottom"].values[i]), float(ds["segment_top"].values[i])
        if spans and abs(spans[-1][1] - bottom) < 1e-6:
            spans[-1][1] = top
        else:
            spans.append([bottom, top])
    if not spans:
        return ""
    text = " and ".join(f"{bottom:.2f} to {top:.2f} m" for bottom, top in spans)
    closed = [name for name, height in _closed(ds) if any(low - 1e-6 <= height <= high + 1e-6 for low, high in spans)]
    if closed:
        rates = ds["compartment_air_change_rate"]
        stays = "Its air does not move; it dries by diffusion alone."
        if any(
            float(rates.isel(compartment=c).max()) > 0.0
            for c in range(ds.sizes["compartment"])
            if any(low < float(ds["compartment_top"].values[c]) - 1e-6 and
                   high > float(ds["compartment_bottom"].values[c]) + 1e-6 for low, high in spans)
        ):  # fmt: skip
            stays = "What it exchanges through its only vent is an estimate made for rooms."
        return (
            f"No air passes from {text}: the {closed[0]} closes the cavity, and the piece on either side of it has "
            f"no second vent. {stays}"
        )
    return f"No air passes from {text}: no two open vents are joined there. Its air does not move."


def _closed(ds: xr.Dataset) -> list[tuple[str, float]]:
    """Return name and height of the parts that close the cavity, by `part_area`, else the barriers without any loss."""
    if "part_area" in ds.coords:
        shut = ds["part_area"].values <= 0.0
    else:
        shut = _last(ds, "part_pressure", "part").sum(axis=0) == 0.0
    across = np.isin(ds["part_kind"].values, ("barrier", "rail") if "part_area" in ds.coords else ("barrier",))
    return [(str(ds["part"].values[i]), float(ds["part_height"].values[i])) for i in np.flatnonzero(shut & across)]


def sentences(ds: xr.Dataset) -> tuple[str, ...]:
    """Return what the air in the cavity comes to, in plain sentences for a report.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`, or of the quick look.

    Returns
    -------
    tuple of str
        Direction and drive over the hours (where there are hours), choke, narrowest passage, still pieces, class.
    """
    said = []
    if "time" in ds.dims:
        said += [_direction(ds), _drive(ds)]
    choke = choke_sentence(ds)
    said += [choke, passage_sentence(ds) if choke else "", still_sentence(ds), _class(ds)]
    if "time" in ds.dims:
        said.append(_difference(ds))
    return tuple(line for line in said if line)


def _percent(share: float) -> str:
    return f"{number(100 * share)} %"


def _direction(ds: xr.Dataset) -> str:
    flowing = [one for one in compartments(ds) if one.mean > 0.0]
    if not flowing:
        return ""
    parts = []
    for one in flowing:
        where = "" if ds.sizes["compartment"] == 1 else f" from {one.bottom:.2f} to {one.top:.2f} m"
        parts.append(
            f"air moves{where} up in {_percent(one.upward)} of the hours, down in {_percent(one.downward)}, and is "
            f"nearly still (below {NEARLY_STILL:g} m/s) in {_percent(one.still)}; median air change rate "
            f"{number(one.median, 1)} per hour, {number(one.low, 1)} to {number(one.high, 1)} in nine hours out of ten"
        )
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _drive(ds: xr.Dataset) -> str:
    shares = drive(ds)
    if shares.stack_share + shares.wind_share == 0.0:
        return ""
    return (
        f"Buoyancy makes {_percent(shares.stack_share)} of the drive and wind {_percent(shares.wind_share)}; they work "
        f"against each other in {_percent(shares.opposed)} of the hours. {_gusts(ds)}"
    )


def _gusts(ds: xr.Dataset) -> str:
    """Return what the rate holds of gusts, by the wall that the Dataset carries."""
    import json

    try:
        factor = float(json.loads(ds.attrs["wall_json"])["cavity"].get("gust_exchange", 0.0))
    except (KeyError, ValueError):
        factor = 0.0
    if factor <= 0.0:
        return "Gusts within the hour are left out."
    return "The air change rate holds an estimate of the exchange by gusts; speed and direction are those of the mean."


def _class(ds: xr.Dataset) -> str:
    area = 1e6 * float(np.sum(ds["opening_area"].values))
    return (
        f"Free vent area {number(area)} mm² per metre of wall: a layer that ISO 6946 calls "
        f"{ds.attrs['iso6946_class']}; the class looks at the vents alone, not at what stands in the way behind them."
    )


def _difference(ds: xr.Dataset) -> str:
    import json

    try:
        site = json.loads(ds.attrs["wall_json"])["site"]
    except (KeyError, ValueError):
        return ""
    return wind_source(site.get("cp_difference"), bool(site.get("cp_profile")))


def wind_source(difference: float | None, own_profile: bool) -> str:
    """Return in a sentence what the wind pressure rests on, and how well it is known.

    Parameters
    ----------
    difference : float or None
        C_p(base) - C_p(head) of the wall file, where given. [1]
    own_profile : bool
        True where the wall file brings its own profile.
    """
    if own_profile:
        return "Wind drive: the pressure profile of the wall file; its numbers are the user's."
    low, mid, high = (f"{value:g}" for value in DIFFERENCE_BAND)
    doubt = f"It is the least certain input of the airflow (as a straight line: low {low}, mid {mid}, high {high})."
    if difference is None:
        return (
            "Wind drive: pressure by height and angle as measured on one gabled building in a wind tunnel, taken over "
            f"by the fraction of the building height. {doubt}"
        )
    return (
        f"Wind drive: pressure coefficient at the base minus that at the head {difference:g} over the whole wall, an "
        f"input. {doubt}"
    )


def vent_schedule(ds: xr.Dataset) -> tuple[Vent, ...]:
    """Return the vents for a drawing, low to high.

    Parameters
    ----------
    ds : xarray.Dataset
        With `opening_area` and `opening_flow`; `wall_json` in the attributes, where present, tells slots from single
        holes and meshes.

    Returns
    -------
    tuple of Vent
        One per opening.
    """
    described = _described(ds)
    flow = _last(ds, "opening_flow", "opening")
    found = []
    for i, name in enumerate(ds["opening"].values):
        area = 1e6 * float(ds["opening_area"].values[i])
        height, kind = float(ds["opening_height"].values[i]), str(ds["opening_kind"].values[i])
        make_up = _make_up(described.get((str(name), height), {}), area)
        passing = np.count_nonzero(flow[:, i])
        inward = np.count_nonzero(flow[:, i] > 0.0) / passing if passing else 0.0
        found.append(Vent(str(name), height, kind, area, make_up, inward, float(np.abs(flow[:, i]).mean())))
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
