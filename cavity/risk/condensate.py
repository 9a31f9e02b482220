"""Condensate on the surfaces of the wall, at the interfaces inside it, and in its wood: how much before it dries.

Choices. On a surface, condensate is what vapour brought to the film since the surface was last dry, minus what dried;
rain and water sucked from the layers do not count, condensate that has run off does. At an interface it is what both
layers and their film gained while the interface was saturated (from 99 % until below 97 %), with the water that drained
there and without the rain that reached them. Either way the sum never falls below zero and starts again when the place
has dried, as the sum M_a of ISO 13788 does. ISO 13788 warns above 0.2 kg/m2. DIN 4108-3 allows 1.0 kg/m2, but 0.5 kg/m2
where the layers do not absorb: here where one of them holds no water (metal, foil, membrane) or neither has capillary
uptake (fibrous insulation against foam). A place that is never dry within the year fails from 0.2 kg/m2 on. Condensate
that drains inside the wall is at least a review item: the reader must know where it leaves. Wood is judged besides by
the fraction of its dry mass that it takes up as condensate: 5 % in solid wood, 3 % in wood-based boards (DIN 4108-3).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import HOUR
from cavity.result import wall_of
from cavity.risk.finding import (
    Finding,
    at_face,
    at_layer,
    first_wall_face,
    is_wall_layer,
    neighbours,
    ratio_of,
    run_through,
    when,
    worst_place,
)
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

DRY_FILM = 1e-4  # kg/m2; below 0.1 g/m2 a surface counts as dry, far below the 0.2 kg/m2 limit
_ENTER, _LEAVE = 0.99, 0.97  # RH at which an interface counts as saturated, and as no longer
_NOTICED = 1e-3  # kg/m2; less than 1 g/m2 of drained water a year is not worth a word


def since_dry(gain: np.ndarray, dry: np.ndarray) -> np.ndarray:
    """Sum of gains since a place was last dry, which never falls below zero (E70).

    Parameters
    ----------
    gain : array, (time, ...)
        Gained in each hour, negative where lost. [kg/m2]
    dry : array of bool, (time, ...)
        Hours at whose end the place is dry; the sum is zero there.

    Returns
    -------
    array, (time, ...)
        At the end of each hour. [kg/m2]

    Notes
    -----
    G = 0 where dry, else max(0, G before + gain): own definition, after the running sum M_a of ISO 13788.
    """
    total = np.cumsum(gain, axis=0)
    spell = np.cumsum(dry, axis=0)  # number of the spell; each begins with a dry hour, the first one with zero
    # the lowest total of each spell: with each set lower than all before it, one running minimum serves them all
    step = float(np.ptp(total)) + 1.0
    lowest = np.minimum.accumulate(total - spell * step, axis=0) + spell * step
    return np.where(dry, 0.0, total - np.where(spell == 0, np.minimum(lowest, 0.0), lowest))


def over_the_year(ds: xr.Dataset, gain: np.ndarray, dry: np.ndarray) -> np.ndarray:
    """Return `since_dry` in the order of the run; a place that is never dry is followed once, from the first hour."""
    dries = dry.any(axis=0)
    gains = run_through(ds, since_dry, gain, dry)
    return gains if dries.all() else np.where(dries, gains, run_through(_unsettled(ds), since_dry, gain, dry))


def _unsettled(ds: xr.Dataset) -> xr.Dataset:
    return ds[[]].assign_attrs(cycle_repeats=0)


def saturated(relative_humidity: np.ndarray) -> np.ndarray:
    """Return the hours in which a place counts as saturated, of [-]: from 99 % on until below 97 %; array of bool."""
    high = relative_humidity >= _ENTER
    if not high.any():
        return high
    mark = np.where(high, 1, np.where(relative_humidity < _LEAVE, 0, -1))
    index = np.arange(len(mark)).reshape((-1,) + (1,) * (mark.ndim - 1))
    last = np.maximum.accumulate(np.where(mark >= 0, index, 0), axis=0)
    return np.take_along_axis(mark, last, axis=0) == 1


def _rise(held: np.ndarray) -> np.ndarray:
    """Return the change in each hour; in the first hour of a run it is not known and 0."""
    return np.diff(held, axis=0, prepend=held[:1])


def _soon(wet: np.ndarray) -> np.ndarray:
    """Return the hours that are wet or followed by a wet one within 24 h, over the turn of the year."""
    for ahead in (1, 2, 4, 8, 9):  # each step adds its length to the reach of those before: 24 h in all
        wet = wet | np.roll(wet, -ahead, axis=0)
    return wet


@dataclass(frozen=True)
class Condensate:
    """What condenses at each face and interface of the wall side, (time, segment, face), faces of the cladding empty.

    Parameters
    ----------
    amount : array
        Condensate at the end of each hour. [kg/m2]
    rain : array
        Rain that came since the place was last dry (at an interface, with that of the day before). [kg/m2]
    drained : array
        Condensate that drained in each hour. [kg/m2]
    dries : array, (segment, face)
        Whether the place is dry in any hour.
    """

    amount: np.ndarray
    rain: np.ndarray
    drained: np.ndarray
    dries: np.ndarray

    @property
    def dew(self) -> np.ndarray:
        """Hours in which condensate is there and rain did not bring as much, (time, segment, face) of bool."""
        return (self.amount > DRY_FILM) & ~self.wetted

    @property
    def wetted(self) -> np.ndarray:
        """Hours in which the place is wet by rain, at least as much as by vapour, (time, segment, face) of bool."""
        return (self.rain > DRY_FILM) & (self.rain >= self.amount)


def _per_hour(flux: np.ndarray) -> np.ndarray:
    """Return what a flux [kg/(m2 s)] brings in an hour. [kg/m2]."""
    return HOUR * np.asarray(flux, float)


def _behind(ds: xr.Dataset) -> tuple[int, np.ndarray]:
    """Return the face that penetrating rain reaches, and that rain, (time,) [kg/m2 in the hour]."""
    wetting = wall_of(ds).wetting
    rain = wetting.rain_penetration * np.asarray(ds["driving_rain"].values, float) * HOUR
    layer = [str(name) for name in ds["layer"].values[is_wall_layer(ds)]][wetting.rain_penetration_layer]
    return [str(name) for name in ds["face_inner"].values].index(layer), rain


def condensate(ds: xr.Dataset) -> Condensate:
    """Return what vapour brought to every face and interface of the wall side since it was last dry."""
    start, last = first_wall_face(ds), ds.sizes["face"] - 1
    film, drained = (np.asarray(ds[name].values, float) for name in ("face_film", "drainage"))
    drained = HOUR * drained
    by_vapour, by_rain, sucked = (ds[f"film_by_{cause}"].values for cause in ("vapour", "rain", "capillarity"))
    amount, rain, dries = np.zeros(film.shape), np.zeros(film.shape), np.ones(film.shape[1:], bool)

    for face in (start, last):
        dry = (film[:, :, face] <= DRY_FILM) & (drained[:, :, face] <= 0.0)
        if dry.all():
            continue
        amount[:, :, face] = over_the_year(ds, _per_hour(by_vapour[:, :, face]), dry)
        rain[:, :, face] = over_the_year(ds, np.maximum(_per_hour(by_rain[:, :, face]), 0.0), dry)
        dries[:, face] = dry.any(axis=0)

    humid, water = ds["relative_humidity"].values, ds["water"].values
    sides = {face: neighbours(ds, face) for face in range(start, last)}
    interfaces = [face for face in range(start + 1, last) if sides[face]]
    plane, behind = _behind(ds)
    if plane in interfaces:
        arrived = np.repeat(behind[:, None], film.shape[1], axis=1)
    else:  # what the film of the surface keeps does not enter the layer
        kept, left = _per_hour(by_rain[:, :, plane]), _per_hour(sucked[:, :, plane])
        arrived = np.maximum(behind[:, None] - kept, 0.0) + np.maximum(-left, 0.0)
    for face in interfaces:
        wet = run_through(ds, saturated, np.asarray(humid[:, :, face], float)) | (film[:, :, face] > DRY_FILM)
        wet |= drained[:, :, face] > 0.0
        if not wet.any():
            continue
        beside = sides[face]
        held = np.asarray(water[:, :, beside], float).sum(axis=2) + film[:, :, face]
        came = np.zeros(held.shape)
        if plane == face:
            came = arrived
        elif plane >= start and set(sides.get(plane, ())) & set(beside):
            came = np.maximum(arrived - drained[:, :, plane], 0.0) if plane in interfaces else arrived

        gain = run_through(ds, _rise, held) + drained[:, :, face] - came
        amount[:, :, face] = over_the_year(ds, gain, ~wet)
        dries[:, face] = (~wet).any(axis=0)
        rain[:, :, face] = np.where(wet, over_the_year(ds, came, ~_soon(wet)), 0.0)
    return Condensate(amount, rain, np.where(amount > DRY_FILM, drained, 0.0), dries)


def _status(value: float, warn: float, limit: float, *, never_dry: bool) -> str:
    if value > limit or (never_dry and value > warn):
        return "fail"
    return "review" if value > warn else "pass"


@dataclass(frozen=True)
class _Worst:
    """The worst of several places."""

    face: int
    segment: int
    limit: float  # kg/m2
    peak: float  # kg/m2
    hour: int
    drained: float  # kg/m2 in the year
    never_dry: bool
    status: str


def _worst(ds: xr.Dataset, condensed: Condensate, limits: dict[int, float], warn: float) -> _Worst:
    """Return the place nearest to its limit, or beyond it; failing ones first."""
    rows = []
    for face, limit in limits.items():
        amount = condensed.amount[:, :, face]
        for segment in range(ds.sizes["segment"]):
            series = amount[:, segment]
            peak, hour = float(series.max()), int(np.argmax(series))
            never = not condensed.dries[segment, face]
            drained = float(condensed.drained[:, segment, face].sum())
            status = _status(peak, warn, limit, never_dry=never)
            rows.append(_Worst(face, segment, limit, peak, hour, drained, never, status))
    return max(rows, key=lambda row: (row.status == "fail", row.peak / row.limit, row.drained))


def findings(ds: xr.Dataset, limits: Mapping[str, float], condensed: Condensate | None = None) -> list[Finding]:
    """Return the worst surface of the wall, the worst interface inside it, and the wood that takes up most."""
    condensed = condensate(ds) if condensed is None else condensed
    start, last = first_wall_face(ds), ds.sizes["face"] - 1
    warn, smooth = limits["condensate_runoff"], limits["condensate_smooth"]
    surfaces = {start: smooth, last: smooth}
    judged = [_finding(ds, condensed, _worst(ds, condensed, surfaces, warn), "condensate_face", limits)]
    inside = {face: _limit(ds, face, limits) for face in range(start + 1, last) if neighbours(ds, face)}
    if inside:
        judged.append(_finding(ds, condensed, _worst(ds, condensed, inside, warn), "condensate_inside", limits))
    return judged + _wood(ds, condensed, limits)


def _limit(ds: xr.Dataset, face: int, limits: Mapping[str, float]) -> float:
    """Return how much may condense at an interface. [kg/m2]."""
    beside = neighbours(ds, face)
    holds = np.asarray(ds["layer_max_water"].values, float)[beside] > 0.0
    absorbs = np.asarray(ds["layer_absorption"].values, float)[beside] > 0.0
    return limits["condensate_absorbent" if holds.all() and absorbs.any() else "condensate_smooth"]


def _finding(ds: xr.Dataset, condensed: Condensate, row: _Worst, key: str, limits: Mapping[str, float]) -> Finding:
    inside = key == "condensate_inside"
    wet = condensed.amount[:, row.segment, row.face] > DRY_FILM
    runs = row.drained > _NOTICED
    status = "review" if inside and runs and row.status == "pass" else row.status
    absorbent = row.limit == limits["condensate_absorbent"] and inside
    origin = source("condensate_absorbent" if absorbent else "condensate_smooth", limits)
    gathers = row.peak > DRY_FILM
    return Finding(
        key, row.peak, row.limit, "kg/m2", status, ratio_of(row.peak, row.limit, status),
        f"{source('condensate_runoff', limits)}; {origin}", **at_face(ds, row.face, row.segment),
        hours=float(wet.sum()), **when(ds["time"].values, wet & gathers, row.hour),
        facts={
            "any": gathers, "never_dry": row.never_dry, "review": limits["condensate_runoff"], "runs": runs,
            "drained": row.drained, "role": str(ds["face_role"].values[row.face]),
        },
    )  # fmt: skip


def _wood(ds: xr.Dataset, condensed: Condensate, limits: Mapping[str, float]) -> list[Finding]:
    """Return the wood of the wall that takes up most condensate for its mass and kind; nothing without wood."""
    start, last = first_wall_face(ds), ds.sizes["face"] - 1
    wood = np.asarray(ds["layer_wood"].values, bool) & ~np.asarray(ds["layer_membrane"].values, bool)
    board = np.asarray(ds["layer_wood_board"].values, bool)
    dry_mass = np.asarray(ds["layer_thickness"].values * ds["layer_density"].values, float)
    rows = []
    for face in range(start + 1, last):
        for layer in neighbours(ds, face):
            if not wood[layer]:
                continue
            limit = limits["condensate_wood_board" if board[layer] else "condensate_wood"]
            taken = _taken(ds, condensed, face, layer) / dry_mass[layer]
            hour, segment = worst_place(taken)
            rows.append((float(taken[hour, segment]) / limit, limit, face, layer, segment, hour, taken[:, segment]))
    if not rows:
        return []
    _, limit, face, layer, segment, hour, taken = max(rows, key=lambda row: row[0])
    value = float(taken[hour])
    status = "fail" if value > limit else "pass"
    wet = taken * dry_mass[layer] > DRY_FILM
    return [
        Finding(
            "condensate_wood", value, limit, "kg/kg", status, ratio_of(value, limit, status),
            source("condensate_wood_board" if board[layer] else "condensate_wood", limits),
            **(at_face(ds, face, segment) | at_layer(ds, layer, segment)),
            hours=float(wet.sum()), **when(ds["time"].values, wet, hour),
            facts={"any": bool(value * dry_mass[layer] > DRY_FILM), "board": bool(board[layer])},
        )
    ]  # fmt: skip


def _taken(ds: xr.Dataset, condensed: Condensate, face: int, layer: int) -> np.ndarray:
    """Return what a layer gained while vapour condensed at one of its surfaces, (time, segment) [kg/m2].

    What drains is not in the layer, and the layer next to it has its part.
    """
    wet = condensed.amount[:, :, face] > DRY_FILM
    if not wet.any():
        return np.zeros(wet.shape)
    held = np.asarray(ds["water"].values[:, :, layer], float)
    gained = over_the_year(ds, run_through(ds, _rise, held), ~wet)
    return np.minimum(gained, condensed.amount[:, :, face])
