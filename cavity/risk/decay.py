"""Decay of wood: activation of brown rot and loss of mass by a published model, at every surface that touches wood.

Choices. The last simulated year is repeated as for mould, until the yearly peak of activation settles (rises by less
than 0.005 a year) or rot is active. Wall side: fail when activation completes, review from half of it on or while it
still rises. Wood claddings: a review item at most.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from cavity.constants import ICE_POINT
from cavity.risk.finding import Finding, at_face, first_wall_face, ratio_of, repeats, when, worst_place
from cavity.risk.limits import source

if TYPE_CHECKING:
    import xarray as xr

_RECOVERY = 17520.0  # h: an activation of 1 fades within two years of unfavourable conditions
_LARGEST_LOSS = 30.0  # %, about as far as the laboratory tests went; reported as "more than" beyond; own choice
SETTLED = 0.005  # rise of the yearly peak of activation, half a percent, below which it has settled; own choice
_LEAST = 95.0  # %, relative humidity below which rot does not advance


def hours_to_activate(celsius: np.ndarray, humidity: np.ndarray) -> np.ndarray:
    """Return the hours of constant temperature [degC] and humidity [%] after which brown rot is active. [h] (E69).

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
    temperature: np.ndarray, relative_humidity: np.ndarray, *, years: int = 1, start: np.ndarray | float = 0.0
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
    start : array (...) or float, keyword only
        Activation at the start. [-]

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
    # a sum that cannot fall below 0: running total minus its running minimum
    total = start + np.cumsum(np.concatenate([step] * years), axis=0)
    activation = total - np.minimum(np.minimum.accumulate(total, axis=0), 0.0)
    rate = np.maximum(-5.96e-2 + 1.96e-4 * safe_c + 6.25e-4 * safe_h, 0.0)  # % of mass per hour
    losing = (activation >= 1.0) & np.concatenate([advances] * years)
    loss = (losing * np.concatenate([rate] * years)).sum(axis=0)
    return np.minimum(activation[-hours:], 1.0), np.minimum(activation.max(axis=0), 1.0), loss


class Repeated(NamedTuple):
    """Activation over a year repeated until its peak settles or rot is active, (...) but for the first.

    Parameters
    ----------
    activation : array, (time, ...)
        In the last year run. [-]
    peak : array
        Largest of the last year run. [-]
    rise : array
        By which it exceeds that of the year before. [-]
    years : array
        How often the year was run. [-]
    loss : array
        Mass lost in a year that begins with rot active. [%]
    """

    activation: np.ndarray
    peak: np.ndarray
    rise: np.ndarray
    years: np.ndarray
    loss: np.ndarray

    @property
    def rising(self) -> np.ndarray:
        """Places whose peak has not settled, of bool."""
        return (self.rise >= SETTLED) & (self.peak < 1.0)


def repeated(temperature: np.ndarray, relative_humidity: np.ndarray, *, most: int = 30) -> Repeated:
    """Run `decay` year after year until it settles; temperature [K] and humidity [-] (time, ...), most years [-]."""
    shape = temperature.shape[1:]
    start, before = np.zeros(shape), np.zeros(shape)
    settled: list[Any] = [np.zeros(temperature.shape), np.zeros(shape), np.zeros(shape), np.zeros(shape, int)]
    done = np.zeros(shape, bool)
    for year in range(1, max(most, 1) + 1):
        activation, highest, _ = decay(temperature, relative_humidity, start=start)
        rise = highest - before
        for held, new in zip(settled, (activation, highest, rise if year > 1 else np.zeros(shape), year), strict=True):
            held[...] = np.where(done, held, np.asarray(new))
        done |= (highest >= 1.0) | ((np.abs(rise) < SETTLED) & ((year > 1) | (highest <= 0.0)))
        start, before = activation[-1], highest
        if done.all():
            break
    # active rot is taken to stay so: the loss of one more year
    lost = decay(temperature, relative_humidity, start=np.where(settled[1] >= 1.0, 1.0, 0.0))[2]
    activation, peak, rise, years = settled
    return Repeated(activation, peak, rise, years, np.where(peak >= 1.0, lost, 0.0))


def findings(ds: xr.Dataset, limits: Mapping[str, float]) -> list[Finding]:
    """Return one finding for wood in the wall and one for wood of the cladding, where there is any."""
    time = ds["time"].values
    start = first_wall_face(ds)
    wood = np.asarray(ds["face_wood"].values, bool)
    at_wall = np.arange(wood.size) >= start
    limit = limits["decay_activation"]
    rows = []
    for key, zone in (("decay", wood & at_wall), ("decay_cladding", wood & ~at_wall)):
        faces = np.flatnonzero(zone)
        if not faces.size:
            continue
        rot = repeated(
            ds["temperature"].values[:, :, faces],
            ds["relative_humidity"].values[:, :, faces],
            most=repeats(ds, limits),
        )
        segment, which = worst_place(rot.peak + 1e-3 * rot.loss)
        value, years = float(rot.peak[segment, which]), int(rot.years[segment, which])
        rising = bool(rot.rising[segment, which])
        series = rot.activation[:, segment, which]
        advances = favourable(
            *(ds[name].values[:, segment, faces[which]] for name in ("temperature", "relative_humidity"))
        )
        status = "fail" if value >= limit else "review" if value >= 0.5 * limit or rot.rising.any() else "pass"
        if key == "decay_cladding" and status == "fail":
            status = "review"
        lost = float(rot.loss[segment, which])
        beyond = lost > _LARGEST_LOSS
        rows.append(
            Finding(
                key, value, limit, "1", status, ratio_of(value, limit, status), source("decay_activation", limits),
                **at_face(ds, int(faces[which]), segment), hours=float(advances.sum()), rising=rising,
                **(when(time, advances, int(np.argmax(series))) if value > 0.0 else {}),
                facts={
                    "years": years, "loss": 0.01 * (_LARGEST_LOSS if beyond else lost), "beyond_data": beyond,
                },
            )
        )  # fmt: skip
    return rows
