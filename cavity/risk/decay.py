"""Decay of wood: activation of brown rot and loss of mass by a published model, at every face that touches wood.

Choices. The last simulated year is repeated as for mould. Wall side: fail when activation completes, review from half
of it on. Wood claddings: a review item at most.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import Finding, first_wall_face, number, place, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_RECOVERY = 17520.0  # h: an activation of 1 fades within two years of unfavourable conditions
_LARGEST_LOSS = 30.0  # %, about as far as the laboratory tests went; told as "more than" beyond; own choice
_LEAST = 95.0  # %, relative humidity below which rot does not advance


def hours_to_activate(celsius: np.ndarray, humidity: np.ndarray) -> np.ndarray:
    """Return the hours of constant temperature [degC] and humidity [%] after which brown rot is active. [h].

    Infinite where the formula's denominator is not positive (just above 95 % near 0 degC): no advance there.
    Viitanen, Toratti, Makkonen, Peuhkuri, Ojanen, Ruokolainen, Räisänen, Towards modelling of decay risk of wooden
    materials, Eur. J. Wood Prod. 68 (2010) 303-313; from memory. Valid for 0-30 degC and 95-100 %.
    """
    above = 2.3 * celsius + 0.035 * humidity - 0.024 * celsius * humidity
    below = -42.9 + 0.14 * celsius + 0.45 * humidity
    return np.where(below > 0.0, above / np.where(below > 0.0, below, 1.0), np.inf) * 30.0 * 24.0


def favourable(temperature: np.ndarray, relative_humidity: np.ndarray) -> np.ndarray:
    """Return the hours in which rot can advance: above 0 degC and above 95 %; of [K] and [-], array of bool."""
    return (np.asarray(temperature) > ICE_POINT) & (100.0 * np.asarray(relative_humidity) > _LEAST)


def decay(
    temperature: np.ndarray, relative_humidity: np.ndarray, *, years: int = 1
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Activation of brown rot and mass lost, the series repeated.

    Parameters
    ----------
    temperature : array, (time, ...)
        Of the wood. [K]
    relative_humidity : array, (time, ...)
        At the wood. [-]
    years : int, keyword only
        How often the series is repeated. [-]

    Returns
    -------
    activation : array, (time, ...)
        In the last year; rot is active from 1 on. [-]
    highest : array, (...)
        Largest activation of all years. [-]
    loss : array, (...)
        Mass lost in all years. [%]

    References
    ----------
    Viitanen et al., Eur. J. Wood Prod. 68 (2010) 303-313; from memory.
    """
    hours = temperature.shape[0]
    celsius = np.clip(np.asarray(temperature, float) - ICE_POINT, -50.0, 30.0)  # laboratory data end at 30 degC
    humid = np.clip(100.0 * np.asarray(relative_humidity, float), 0.0, 100.0)
    advances = favourable(temperature, relative_humidity)
    safe_c, safe_h = np.where(advances, celsius, 20.0), np.where(advances, humid, 100.0)
    step = np.where(advances, 1.0 / hours_to_activate(safe_c, safe_h), -1.0 / _RECOVERY)
    # a sum that cannot fall below 0: running total less its running minimum
    total = np.cumsum(np.concatenate([step] * years), axis=0)
    activation = total - np.minimum(np.minimum.accumulate(total, axis=0), 0.0)
    rate = np.maximum(-5.96e-2 + 1.96e-4 * safe_c + 6.25e-4 * safe_h, 0.0)  # % of mass per hour
    losing = (activation >= 1.0) & np.concatenate([advances] * years)
    loss = (losing * np.concatenate([rate] * years)).sum(axis=0)
    return np.minimum(activation[-hours:], 1.0), np.minimum(activation.max(axis=0), 1.0), loss


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for wood in the wall and one for wood of the cladding, where there is any."""
    time = ds["time"].values
    start = first_wall_face(ds)
    wood = np.asarray(ds["face_wood"].values, bool)
    at_wall = np.arange(wood.size) >= start
    limit = limits["decay_activation"]
    years = round(limits["mould_years"])
    made = []
    for key, title, chosen in (
        ("decay", "Decay of wood in the wall", wood & at_wall),
        ("decay_cladding", "Decay of wood cladding", wood & ~at_wall),
    ):
        faces = np.flatnonzero(chosen)
        if not faces.size:
            continue
        activation, highest, loss = decay(
            ds["temperature"].values[:, :, faces], ds["relative_humidity"].values[:, :, faces], years=years
        )
        segment, which = worst_place(highest + 1e-3 * loss)
        value = float(highest[segment, which])
        series = activation[:, segment, which]
        advances = favourable(ds["temperature"].values, ds["relative_humidity"].values)[:, segment, faces[which]]
        status = "fail" if value >= limit else "review" if value >= 0.5 * limit else "pass"
        if key == "decay_cladding" and status == "fail":
            status = "review"
        where = place(ds, "face", int(faces[which]), segment)
        if value >= 1.0:
            lost = float(loss[segment, which])
            share = f"{number(lost, 1)} %" if lost <= _LARGEST_LOSS else f"more than {number(_LARGEST_LOSS)} %"
            text = f"Rot becomes active at {where} and takes {share} of the mass in {years} such years."
        elif value > 0.0:
            text = f"Conditions for rot at {where} reach {number(100 * value)} % of what starts it."
        else:
            text = "No wood in this zone is ever wet and warm enough for rot."
        made.append(
            Finding(
                key, title, where, value, limit, "", status,
                when(time, advances, int(np.argmax(series))) if value > 0.0 else "",
                float(advances.sum()), source("decay_activation", limits), text, value / limit,
            )
        )  # fmt: skip
    return made
