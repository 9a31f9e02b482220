"""The airflow of the cavity in sentences and table rows: for reports, pages and the terminal."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import AIR_DENSITY, CP_DIFFERENCE_BAND
from cavity.finding_words import decimals
from cavity.report.display import number
from cavity.result import wall_of
from cavity.risk import air
from cavity.risk.air import Group

if TYPE_CHECKING:
    import xarray as xr

LITRE_AIR = 1e-3 * AIR_DENSITY  # kg, a litre of air, for flows in L/s
VENT_HEAD = (
    "vent",
    "height [m]",
    "kind",
    "free vent area [cm²/m]",
    "inflow [% of hours]",
    "mean flow [L/(s m)]",
    "geometry",
)


def sentences(ds: xr.Dataset) -> tuple[str, ...]:
    """Return the airflow of the cavity in plain sentences for a report.

    Parameters
    ----------
    ds : xarray.Dataset
        Result of `simulate`, or of the quick look.

    Returns
    -------
    tuple of str
        Direction and drive over the hours (where there are hours), main restriction, narrowest passage, stagnant
        parts, class.
    """
    said = []
    if "time" in ds.dims:
        said += [_direction(ds), _drive(ds)]
    restriction = restriction_sentence(ds)
    said += [restriction, passage_sentence(ds) if restriction else "", still_sentence(ds), _class(ds)]
    if "time" in ds.dims:
        said.append(_difference(ds))
    return tuple(line for line in said if line)


def restriction_sentence(ds: xr.Dataset) -> str:
    """Return what restricts the flow: the group that loses most, and what doubling each group would bring; "" if none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `part_pressure`, and `part_gain` where the gain is wanted.
    """
    groups = air.loss_groups(ds)
    if not any(group.share > 0.0 for group in groups):
        return ""
    group = max(groups, key=lambda candidate: candidate.share)
    worst = group.worst
    lost = f"{decimals(100 * group.share)} % of the pressure is lost"
    alone = f"{decimals(100 * worst.share)} %"
    if worst.kind == "channel":
        text = f"{lost} as friction along the cavity."
    elif group.count == 1 or worst.share > 0.9 * group.share:
        height = "" if re.search(r" at -?\d", worst.name) else f" at {worst.height:.2f} m"
        text = f"{alone} of the pressure is lost at the {worst.name}{height}."
    else:
        what = f"{group.count} gaps of the {group.name}" if group.kind == "rail" else f"{group.count} {group.name}s"
        detail = f"about {decimals(100 * group.share / group.count)} % at each"
        if worst.share > 1.5 * group.share / group.count:
            detail = f"{alone} at the one at {worst.height:.2f} m alone"
        text = f"{lost} at the {what}, {detail}."
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
    parts = [f"{_doubled(group)} +{decimals(100 * group.gain)} %" for group in known[:5]]
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
        With the coordinate `part_area` [m2/m].
    """
    passage = air.narrowest_passage(ds)
    if passage is None:
        return ""
    name, area, vent = passage
    return (
        f"The narrowest passage is the {name}: {decimals(1e4 * area)} cm²/m, where the smallest vent "
        f"has {decimals(1e4 * vent)} cm²/m."
    )


def still_sentence(ds: xr.Dataset) -> str:
    """Return a sentence that names the heights at which no air passes, and what closes them; "" if there are none.

    Parameters
    ----------
    ds : xarray.Dataset
        With `air_speed` and the drives.
    """
    count = air.open_vents(ds)
    if count < 2:
        vents = "has no open vent" if count == 0 else "has one open vent only"
        if count and float(ds["air_change_rate"].max()) > 0.0:
            return (
                f"No air passes: the column {vents}. Its exchange through that vent is an estimate made for "
                f"rooms, median {number(float(ds['air_change_rate'].median()))} air changes per hour."
            )
        return f"No air passes: the column {vents}. Its air is stagnant; leaks that are not listed are not modelled."
    pieces = air.still(ds)
    if pieces is None:
        return ""
    text = " and ".join(f"{bottom:.2f} to {top:.2f} m" for bottom, top in pieces.spans)
    if not pieces.closed_by:
        return f"No air passes from {text}: no two open vents are connected there. Its air is stagnant."
    stays = "Its air is stagnant; it dries by diffusion alone."
    if pieces.single_vent:
        stays = "Its exchange through its only vent is an estimate made for rooms."
    return (
        f"No air passes from {text}: the {pieces.closed_by} closes the cavity, and the part on either side of it has "
        f"no second vent. {stays}"
    )


def _percent(fraction: float) -> str:
    return f"{decimals(100 * fraction)} %"


def _direction(ds: xr.Dataset) -> str:
    flowing = [part for part in air.compartments(ds) if part.mean > 0.0]
    if not flowing:
        return ""
    phrases = []
    for part in flowing:
        where = "" if ds.sizes["compartment"] == 1 else f" from {part.bottom:.2f} to {part.top:.2f} m"
        phrases.append(
            f"air moves{where} up in {_percent(part.upward)} of the hours, down in {_percent(part.downward)}, and is "
            f"nearly still (below {air.NEARLY_STILL:g} m/s) in {_percent(part.still)}; median air change rate "
            f"{number(part.median)} per hour, {number(part.low)} to {number(part.high)} in 90 % of "
            "the hours"
        )
    text = "; ".join(phrases)
    return f"{text[0].upper()}{text[1:]}."


def _drive(ds: xr.Dataset) -> str:
    drive = air.drive(ds)
    if drive.stack_share + drive.wind_share == 0.0:
        return ""
    return (
        f"Buoyancy gives {_percent(drive.stack_share)} of the driving pressure and wind "
        f"{_percent(drive.wind_share)}; they oppose each other in {_percent(drive.opposed)} of the hours. "
        f"{_gusts(ds)}"
    )


def _gusts(ds: xr.Dataset) -> str:
    """Return what the rate holds of gusts."""
    if wall_of(ds).cavity.gust_exchange <= 0.0:
        return "Gusts within the hour are not included."
    return "The air change rate includes an estimate of the exchange by gusts; speed and direction are hourly means."


def _class(ds: xr.Dataset) -> str:
    area = 1e4 * float(np.sum(ds["opening_area"].values))
    return (
        f"Free vent area {decimals(area)} cm²/m: a layer that ISO 6946 calls "
        f"{ds.attrs['iso6946_class']}; the class considers the vents only, not obstructions behind them."
    )


def _difference(ds: xr.Dataset) -> str:
    site = wall_of(ds).site
    return wind_source(site.cp_difference, bool(site.cp_profile))


def wind_source(difference: float | None, own_profile: bool) -> str:
    """Return the basis of the wind pressure in a sentence, and how well it is known.

    Parameters
    ----------
    difference : float or None
        C_p(base) - C_p(head) of the wall file, where given. [1]
    own_profile : bool
        True where the wall file brings its own profile.
    """
    if own_profile:
        return "Wind drive: the pressure profile of the wall file, an input."
    low, mid, high = (f"{value:g}" for value in CP_DIFFERENCE_BAND)
    doubt = f"It is the least certain input of the airflow (as a straight line: low {low}, mid {mid}, high {high})."
    if difference is None:
        return (
            "Wind drive: pressure by height and angle as measured on one gabled building in a wind tunnel, scaled "
            f"to the building height. {doubt}"
        )
    return (
        f"Wind drive: pressure coefficient at the base minus that at the head {difference:g} over the whole wall, an "
        f"input. {doubt}"
    )


def vent_rows(ds: xr.Dataset) -> list[tuple[str, ...]]:
    """Return the vent schedule by the columns of `VENT_HEAD`, high to low as on a drawing."""
    return [
        (
            vent.name,
            f"{vent.height:.2f}",
            vent.kind,
            decimals(1e4 * vent.area),
            f"{100 * vent.inward:.0f}" if vent.flow > 0.0 else "still",
            f"{vent.flow / LITRE_AIR:.2f}",
            make_up(vent),
        )
        for vent in reversed(air.vent_schedule(ds))
    ]


def make_up(vent: air.Vent) -> str:
    """Return how the free area is made up: slot along the wall, or length of slot, and what closes part of it."""
    if vent.area <= 0.0:
        return "closed"
    text = f"{number(1e3 * vent.clear)} mm along the whole wall"
    if vent.clear > 0.0 and vent.gross < 0.999 * vent.clear:
        text = f"{number(1e3 * vent.clear)} mm over {number(100 * vent.gross / vent.clear, 2)} % of the wall length"
    if vent.porosity < 1.0:
        text += f", {decimals(100 * vent.porosity)} % of it open"
    return text
