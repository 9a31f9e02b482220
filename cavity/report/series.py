"""Short series and sums worth drawing or tabulating, taken from one result Dataset; figures draw, this counts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from cavity import constants
from cavity.constants import HOUR, ICE_POINT
from cavity.finding_words import MONTHS, surface_in_words
from cavity.result import wall_of

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
# Weight of the humid hours of a surface: the more sensitive the material, the more it governs (our own choice).
_WEIGHT = {"very sensitive": 4.0, "sensitive": 3.0, "medium resistant": 1.5, "resistant": 1.0}
# Air change classes of the wind rose [1/h], upper ends.
ROSE_CLASSES = (3.0, 10.0, 30.0, 100.0, 300.0, np.inf)


def air_changes(ds: Any) -> np.ndarray:
    """Return the air change rate of the whole column: outdoor air that enters, over its volume [1/h], (time,)."""
    return np.asarray(ds["air_change_rate"].values, float)


def upward(ds: Any) -> np.ndarray:
    """Return the mean air speed of the column, positive upwards [m/s], (time,)."""
    return np.asarray(ds["air_speed"].values, float).mean(axis=1)


def governing(ds: Any, findings: Iterable[Any] = ()) -> tuple[int, int]:
    """Return (segment, face) of the place that decides: of the governing finding of the wall side, else the most humid.

    Of a layer it is the most humid surface. The humid place is sought from the exterior surface of the backup wall
    inwards, by the sum over the year of RH above 80 % while above freezing, weighted by the sensitivity of the material
    (our own choice, for display only).
    """
    roles = [str(role) for role in ds["face_role"].values]
    start = roles.index("outer face of wall") if "outer face of wall" in roles else 0
    inner = [index for index, role in enumerate(roles) if index >= start and role != "room face"] or [start]
    humid = np.asarray(ds["relative_humidity"].values, float)[:, :, inner]
    warm = np.asarray(ds["temperature"].values, float)[:, :, inner] > ICE_POINT
    weight = np.array([_WEIGHT.get(str(ds["face_mould_class"].values[index]), 1.0) for index in inner])
    score = (np.clip(humid - 0.80, 0.0, None) * warm).sum(axis=0) * weight
    if not score.any():
        score = humid.mean(axis=0) * weight
    segment, place = np.unravel_index(int(np.argmax(score)), score.shape)
    face = inner[int(place)]

    segments = [str(label) for label in ds["segment"].values]
    for finding in ranked(findings):
        if finding.status == "information" or not finding.ratio > 0.0:
            continue
        surfaces = [index for index in _surfaces_of(ds, finding) if index >= start]
        if surfaces:
            mean = np.asarray(ds["relative_humidity"].values[:, :, surfaces], float).mean(axis=0)
            if finding.segment:
                return segments.index(finding.segment), surfaces[int(np.argmax(mean[segments.index(finding.segment)]))]
            segment, place = np.unravel_index(int(np.argmax(mean)), mean.shape)
            return int(segment), surfaces[int(place)]
    return int(segment), int(face)


def _surfaces_of(ds: Any, finding: Any) -> list[int]:
    """Return the positions along `face` of what a finding is about: its own surface, else those of its layer."""
    if finding.face:
        return [[str(label) for label in ds["face"].values].index(finding.face)]
    beside = zip(ds["face_outer"].values, ds["face_inner"].values, strict=True)
    return [index for index, pair in enumerate(beside) if finding.layer and finding.layer in map(str, pair)]


def ranked(findings: Iterable[Any]) -> list[Any]:
    """Return the findings, worst first."""
    from cavity.risk import worst_first

    return list(worst_first(findings))


def mould(ds: Any, segment: int) -> np.ndarray:
    """Return the mould index of the last repeated year at the end of each day, (day, face), with the wall's limits."""
    from cavity.risk.finding import repeats
    from cavity.risk.limits import resolve
    from cavity.risk.mould import repeated

    limits = resolve(dict(wall_of(ds).limits), float(ds.attrs["film_limit"]))
    index = repeated(
        ds["temperature"].values[:, segment, :],
        ds["relative_humidity"].values[:, segment, :],
        [str(name) for name in ds["face_mould_class"].values],
        decline=limits["mould_decline"],
        most=repeats(ds, limits),
    ).index
    return index[23::24]


def duration(values: np.ndarray, count: int = 201) -> tuple[np.ndarray, np.ndarray]:
    """Return fraction of hours [%] and the value reached or exceeded in that fraction of hours."""
    percentage = np.linspace(0.0, 100.0, count)
    return percentage, np.quantile(np.asarray(values, float), 1.0 - percentage / 100.0)


def rose(ds: Any) -> tuple[list[str], np.ndarray]:
    """Return names of the 16 wind sectors and hours in each, by class of air change rate, (class, sector)."""
    sector = np.round(np.asarray(ds["wind_direction"].values, float) / 22.5).astype(int) % len(COMPASS)
    calm = np.asarray(ds["wind_speed"].values, float) <= 0.0
    group = np.searchsorted(np.array(ROSE_CLASSES), air_changes(ds), side="right")
    hours = np.zeros((len(ROSE_CLASSES), len(COMPASS)))
    np.add.at(hours, (np.minimum(group, len(ROSE_CLASSES) - 1)[~calm], sector[~calm]), 1.0)
    return list(COMPASS), hours


def running_mean(values: np.ndarray, width: int) -> np.ndarray:
    """Return the mean of the last `width` values; the year is taken as a circle."""
    values = np.asarray(values, float)
    if len(values) <= width:
        return np.full(len(values), values.mean())
    total = np.cumsum(np.concatenate([values[-width:], values]))
    return (total[width:] - total[:-width]) / width


def month_index(ds: Any) -> np.ndarray:
    """Return the month of each hour, 0 to 11."""
    return ds["time"].values.astype("datetime64[M]").astype(int) % 12


def monthly(ds: Any, segment: int) -> list[list[dict[str, Any]]]:
    """Return a table for each surface in SI, one row a month and a last one for the year: means, extremes and sums."""
    from cavity.risk.dew_point import dew

    month = month_index(ds)
    rates = air_changes(ds)
    up = upward(ds) > 0.0
    outdoor = np.asarray(ds["temperature_outdoor"].values, float)
    films = np.asarray(ds["film"].values, float)[:, segment, 1:3].sum(axis=1)
    run = np.asarray(ds["runoff"].values, float)[:, segment, 1:3].sum(axis=1) * HOUR
    humid = np.asarray(ds["relative_humidity"].values[:, segment], float)
    warm = np.asarray(ds["temperature"].values[:, segment], float)
    margin = np.asarray(ds["dew_point_margin"].values[:, segment], float)
    wet = np.asarray(dew(ds)[:, segment].any(axis=1))
    water = np.asarray(ds["water"].values, float)[:, segment].sum(axis=1)
    tables: list[list[dict[str, Any]]] = [[] for _ in range(humid.shape[1])]
    for index in [*range(12), None]:
        pick = np.ones(len(month), bool) if index is None else month == index
        if not pick.any():
            continue
        common = {
            "month": "Year" if index is None else MONTHS[index],
            "outdoor": float(outdoor[pick].mean()),
            "air_changes": float(np.median(rates[pick])),
            "upward": float(up[pick].mean()),
            "wet_hours": int(wet[pick].sum()),
            "film": float(films[pick].max()),
            "runoff": float(run[pick].sum()),
            "water": float(water[pick].mean()),
        }
        means = {"temperature": warm[pick].mean(axis=0), "humidity": humid[pick].mean(axis=0)}
        above, least = (humid[pick] > 0.8).sum(axis=0), margin[pick].min(axis=0)
        for face, table in enumerate(tables):
            own = {name: float(values[face]) for name, values in means.items()}
            table.append({**common, **own, "humid_hours": int(above[face]), "margin": float(least[face])})
    return tables


def balance(ds: Any, segment: int) -> list[tuple[str, float]]:
    """Return the yearly water balance of wall and films in one segment: (term, kg/m2); positive wets, negative dries.

    Rain and drying at the exterior surface of the cladding are one net term, with the rain that runs off it again taken
    from the run-off: they are a hundred times larger than all else and nearly cancel. Terms under 0.1 g/m2 are left
    out, but for what is stored. Empty where the Dataset has no balance.
    """
    if "water_balance" not in ds:
        return []
    names = [str(name) for name in ds["balance_term"].values]
    terms = dict(zip(names, np.asarray(ds["water_balance"].values, float)[:, segment].tolist(), strict=True))
    off = float(np.asarray(ds["runoff"].values, float)[:, segment, 0].sum() * HOUR)
    rain, vapour, run = (terms.pop(name, 0.0) for name in ("rain on the wall", "vapour from outdoors", "run-off"))
    balances = {
        "exterior surface: rain absorbed minus evaporation": rain - off + vapour,
        "run-off in the cavity": run + off,
    } | terms
    return [(name, value) for name, value in balances.items() if abs(value) > 1e-4 or name == "stored"]


def drying(ds: Any, segment: int, days: int = 60) -> tuple[np.ndarray, np.ndarray, np.datetime64] | None:
    """Return days since, water above the level before, and the moment of the largest wetting within a week.

    Water of the backup wall with the films on its surfaces and at its interfaces. None where it never gains more than
    1 g/m2 in a week.
    """
    backup = np.asarray(ds["layer_part"].values) == "backup"
    water = np.asarray(ds["water"].values, float)[:, segment, backup].sum(axis=1)
    first = list(ds["face_role"].values).index("outer face of wall")
    water = water + np.asarray(ds["face_film"].values, float)[:, segment, first:].sum(axis=1)
    week = 7 * 24
    if len(water) < 2 * week:
        return None
    rise = water[week:] - water[:-week]
    end = int(np.argmax(rise)) + week
    if rise.max() < 1e-3:
        return None
    peak = end + int(np.argmax(water[end : end + 48]))
    before = water[end - week]
    span = np.arange(0, days * 24, 6)
    after = water[(peak + span) % len(water)] - before
    return span / 24.0, after, ds["time"].values[peak]


def event_times(event: Any) -> dict[str, float]:
    """Return how a wetting event dries: days until 50 % and 90 % have dried, fraction left at the end, days followed.

    Parameters
    ----------
    event : object
        `amount`, and `as_drawn` and `shut` (time,): water still in the wall, by the hour from the event on. [kg/m2]

    Returns
    -------
    dict
        half, nine [d, infinite where it takes longer than was followed], left [1], each also with `_shut`; span [d].
    """
    from cavity.risk.drying import days_until

    times = {"span": len(event.as_drawn) / 24.0}
    for name, left in (("", event.as_drawn), ("_shut", event.closed)):
        times[f"half{name}"] = days_until(left, 0.5, event.amount)
        times[f"nine{name}"] = days_until(left, 0.1, event.amount)
        times[f"left{name}"] = float(left[-1]) / event.amount
    return times


def vapour_kpa(dew_point: np.ndarray) -> np.ndarray:
    """Return the vapour pressure [kPa] of air of a dew or frost point [°C], by the model's own table."""
    from cavity.climate.humid import table_saturation_pressure

    return 1e-3 * table_saturation_pressure(np.asarray(dew_point, float) + constants.ICE_POINT)


def face_names(ds: Any) -> list[str]:
    """Return surfaces and interfaces as people write them, outside to inside."""
    return [surface_in_words(str(label)) for label in ds["face"].values]


def place_text(ds: Any, segment: int, face: int) -> str:
    """Return the place in words: surface and segment with its heights."""
    bottom, top = float(ds["segment_bottom"].values[segment]), float(ds["segment_top"].values[segment])
    return f"{face_names(ds)[face]}, {segment_text(ds, segment)} ({bottom:.2g} to {top:.2g} m)"


def segment_text(ds: Any, segment: int) -> str:
    """Return the name of a segment in words: "top segment", or "whole height" where there is only one."""
    name = str(ds["segment"].values[segment])
    return name if ds.sizes["segment"] == 1 else f"{name} segment"
