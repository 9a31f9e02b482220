"""Uncertainty: ranges on what nobody knows well, sampled; how likely each criterion is met, and which input drives it.

Inputs are sampled with a scrambled Sobol sequence, independently of each other: evenly on their range, or evenly on its
logarithm where the range spans a factor of two or more. Ranges in the wall file win over the defaults below.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity.errors import ConvergenceError, Fault, InputError
from cavity.risk import CAN_FAIL, Finding, worst_first
from cavity.risk.finding import STATUSES, first_wall_face, number
from cavity.study.engine import Engine, Job, Result, counted
from cavity.wallfile.inputs import INPUTS, changed

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Wall

OVERALL = "overall"  # the criterion that stands for all that can fail
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
_LOG_SPAN = 2.0  # ranges that span this factor are sampled on their logarithm
_SAY = 0.3  # rank correlation below which an input is not said to drive the spread; common practice, no source


@dataclass(frozen=True)
class Range:
    """Low and high of one input, in the units of `cavity.wallfile.inputs`, and where they come from."""

    name: str
    low: float
    high: float
    origin: str


# Wind: low / mid / high 0.05 / 0.1 / 0.3, a sensitivity band (measured values for cavities could not be found).
# Vents: a loss coefficient known to about +-50 % is a flow, and so an equivalent area, known to about +-25 %.
_DEFAULTS = (
    Range("site.pressure_difference", 0.05, 0.3, "sensitivity band, no source"),
    Range("openings.area_factor", 0.8, 1.25, "loss coefficients to +-50 %, own choice"),
    Range("rail.gap_factor", 0.8, 1.25, "tolerance on site, own choice"),
    Range("wetting.rain_share", 0.001, 0.02, "around the 1 % of ASHRAE 160, own choice"),
    Range("backup.vapour_factor", 0.7, 1.4, "scatter of measured vapour resistances, own choice"),
    Range("indoor.humidity_shift", -0.05, 0.05, "occupants, own choice"),
)


def ranges_of(wall: Wall) -> tuple[Range, ...]:
    """Return the ranges of a wall: those of its file, and a default for each other input that matters to this wall."""
    given = tuple(Range(name, low, high, "wall file") for name, low, high in wall.uncertain)
    named = {each.name for each in given}
    defaults = [each for each in _DEFAULTS if each.name not in named]
    if not wall.rails and all(not chosen.rails for chosen in wall.opening_sets):
        defaults = [each for each in defaults if each.name != "rail.gap_factor"]
    leak = wall.wetting.leak_flow
    if wall.wetting.leak_layer is not None and leak > 0.0 and "wetting.leak_flow" not in named:
        defaults.append(Range("wetting.leak_flow", 0.5 * leak, 2.0 * leak, "half to double, own choice"))
    return given + tuple(defaults)


def sample_inputs(ranges: Sequence[Range], count: int, *, seed: int = 0) -> np.ndarray:
    """Sample the inputs within their ranges.

    Parameters
    ----------
    ranges : sequence of Range
    count : int
        Samples; raised to the next power of two, which the sequence needs for its balance. [1]
    seed : int, keyword only
        Scrambling; equal seeds give equal samples. [1]

    Returns
    -------
    array, (sample, input)
        In the units of the ranges.

    References
    ----------
    scipy.stats.qmc.Sobol (Sobol 1967; scrambling after Owen).
    """
    from scipy.stats import qmc

    power = max(0, math.ceil(math.log2(count)))
    unit = qmc.Sobol(len(ranges), scramble=True, rng=seed).random_base2(power)
    values = np.empty_like(unit)
    for column, each in enumerate(ranges):
        share = unit[:, column]
        if each.low > 0.0 and each.high >= _LOG_SPAN * each.low:
            values[:, column] = each.low * (each.high / each.low) ** share
        else:
            values[:, column] = each.low + share * (each.high - each.low)
    return values


def wilson(met: int, count: int) -> tuple[float, float]:
    """Return the 95 % interval of a probability from `met` of `count` samples. [1].

    Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212; from memory. Exact for independent samples, cautious for Sobol ones.
    """
    z = 1.959964  # 97.5 % point of the normal distribution
    share = met / count
    centre = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count)) / (1 + z * z / count)
    return max(0.0, centre - half), min(1.0, centre + half)


def rank_correlation(inputs: np.ndarray, result: np.ndarray) -> np.ndarray:
    """Return Spearman's rank correlation of each input with a result; 0 where either is constant.

    Parameters
    ----------
    inputs : array, (sample, input)
        In any units, ranks count only. [any]
    result : array, (sample,)
        The same. [any]

    Returns
    -------
    array, (input,)
        -1 to 1. [1]
    """
    from scipy.stats import rankdata

    ranks = rankdata(inputs, axis=0) - 0.5 * (len(inputs) + 1)
    target = rankdata(result) - 0.5 * (len(result) + 1)
    scale = np.sqrt((ranks**2).sum(axis=0) * (target**2).sum())
    return np.where(scale > 0.0, ranks.T @ target / np.where(scale > 0.0, scale, 1.0), 0.0)


def summarise(
    ranges: Sequence[Range],
    inputs: np.ndarray,
    samples: Sequence[Sequence[Finding]],
    humidity: np.ndarray,
    face: str,
) -> xr.Dataset:
    """Gather the samples into one Dataset.

    Parameters
    ----------
    ranges : sequence of Range
        What was varied.
    inputs : array, (sample, input)
        Values of each sample. [as the ranges]
    samples : sequence of sequences of Finding
        The findings of each sample, of the same criteria.
    humidity : array, (sample, day)
        Daily mean relative humidity at the critical face. [1]
    face : str
        Name of that face.

    Returns
    -------
    xarray.Dataset
        Dims sample, input, criterion, quantile, day: inputs, values and status of each criterion, probabilities with
        their interval, rank correlations, bands of value and of daily humidity. The criterion "overall" is the most
        severe of those that can fail.
    """
    import xarray as xr

    keys = list(dict.fromkeys(found.key for found in samples[0]))
    worst = [{found.key: found for found in reversed(worst_first(findings))} for findings in samples]
    value = np.array([[row[key].value for key in keys] for row in worst], float)
    severity = np.array([[row[key].ratio for key in keys] for row in worst], float)
    status = np.array([[STATUSES.index(row[key].status) for key in keys] for row in worst])
    can_fail = [index for index, key in enumerate(keys) if key in CAN_FAIL]
    severity = np.column_stack([severity, severity[:, can_fail].max(axis=1)])
    value = np.column_stack([value, severity[:, -1]])
    status = np.column_stack([status, status[:, can_fail].max(axis=1)])
    first = [worst[0][key] for key in keys]
    met = (status < STATUSES.index("fail")).sum(axis=0)
    count = len(samples)
    interval = np.array([wilson(int(number_met), count) for number_met in met])
    hours = {"units": "1", "long_name": "daily mean relative humidity"}
    return xr.Dataset(
        {
            "input_value": (("sample", "input"), inputs),
            "criterion_value": (("sample", "criterion"), value),
            "criterion_severity": (("sample", "criterion"), severity, {"units": "1", "long_name": "value over limit"}),
            "criterion_status": (
                ("sample", "criterion"),
                status,
                {"long_name": "0 information, 1 pass, 2 review, 3 fail"},
            ),
            "probability_met": ("criterion", met / count, {"units": "1", "long_name": "share of samples not failing"}),
            "probability_low": ("criterion", interval[:, 0], {"units": "1", "long_name": "95 % interval, low"}),
            "probability_high": ("criterion", interval[:, 1], {"units": "1", "long_name": "95 % interval, high"}),
            "influence": (
                ("criterion", "input"),
                np.array([rank_correlation(inputs, column) for column in severity.T]),
                {"units": "1", "long_name": "Spearman rank correlation of input and severity"},
            ),
            "value_band": (("quantile", "criterion"), np.quantile(value, QUANTILES, axis=0)),
            "humidity_band": (("quantile", "day"), np.quantile(humidity, QUANTILES, axis=0), hours),
        },
        coords={
            "sample": np.arange(count),
            "input": [each.name for each in ranges],
            "input_title": ("input", [INPUTS[each.name] for each in ranges]),
            "input_low": ("input", [each.low for each in ranges]),
            "input_high": ("input", [each.high for each in ranges]),
            "input_origin": ("input", [each.origin for each in ranges]),
            "criterion": [*keys, OVERALL],
            "criterion_title": ("criterion", [*(found.title for found in first), "All criteria that can fail"]),
            "criterion_limit": ("criterion", [*(found.limit for found in first), 1.0]),
            "criterion_units": ("criterion", [*(found.units for found in first), "value over limit"]),
            "criterion_can_fail": ("criterion", [*(int(key in CAN_FAIL) for key in keys), 1]),
            "quantile": list(QUANTILES),
            "day": np.arange(humidity.shape[1]),
        },
        attrs={"critical_face": face, "samples": count},
    )


def drivers(study: xr.Dataset, criterion: str = OVERALL) -> list[tuple[str, float]]:
    """Return the inputs by how strongly they drive a criterion: (name, rank correlation), strongest first. [1]."""
    row = study["influence"].sel(criterion=criterion)
    pairs = [(str(name), float(value)) for name, value in zip(row["input"].values, row.values, strict=True)]
    return sorted(pairs, key=lambda pair: -abs(pair[1]))


def sentence(study: xr.Dataset) -> str:
    """Return the outcome of an uncertainty study in plain words."""
    count = int(study.attrs["samples"])
    asked = int(study.attrs.get("samples_asked", count))
    overall = study.sel(criterion=OVERALL)
    met = round(float(overall["probability_met"]) * count)
    text = (
        f"In {met} of {count} samples no criterion fails (95 % interval of the probability "
        f"{number(100 * float(overall['probability_low']))} to {number(100 * float(overall['probability_high']))} %)."
    )
    if asked > count:
        text += f" {counted(count, asked - count).replace('cases', 'samples')}; the others are left out."
    single = study.isel(criterion=slice(0, -1))
    least = int(np.argmin(single["probability_met"].values))
    if float(single["probability_met"][least]) < 1.0:
        title = str(single["criterion_title"].values[least]).lower()
        failed = count - round(float(single["probability_met"][least]) * count)
        text += f" Most often missed: {title} ({failed} of {count})."
    name, strength = drivers(study)[0]
    if abs(strength) >= _SAY:
        effect = "more of it is worse" if strength > 0.0 else "more of it is better"
        title = str(study["input_title"].sel(input=name).values)
        text += f" What drives the spread most: {title} (rank correlation {number(strength, 2)}; {effect})."
    else:
        text += " No single input drives the spread."
    return text


def uncertainty(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    samples: int = 64,
    seed: int = 0,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    progress: Callable[[int, int, str], None] | None = None,
) -> xr.Dataset:
    """Sample a wall's uncertain inputs, simulate and judge each sample.

    Parameters
    ----------
    wall : Wall
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    opening_set, depth, column : keyword only
        The case, as for `simulate`. [depth: m]
    samples : int, keyword only
        Samples; raised to the next power of two. [1]
    seed : int, keyword only
        Scrambling of the sequence. [1]
    workers : int, keyword only
        Threads; None: one for each core.
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier.
    progress : callable, keyword only
        Called after each sample with samples done, all samples, and a text.

    Returns
    -------
    xarray.Dataset
        As `summarise` says, with the names of the case and the sentence in its attributes. Samples that could not be
        computed are left out; `samples` counts those computed, `samples_asked` all, `not_computed` has the reasons.

    Raises
    ------
    InputError
        If fewer than 8 samples are asked for, or a range is empty.
    ConvergenceError
        If no sample can be solved.
    """
    ranges = ranges_of(wall)
    faults = []
    if samples < 8:
        faults.append(Fault("samples", "too few to tell anything", str(samples), "8 or more", "64 is usual"))
    faults += [
        Fault(
            f"uncertain {each.name}", "the range is empty", f"{each.low:g} to {each.high:g}", "low below high", "swap"
        )
        for each in ranges
        if not each.low < each.high
    ]
    if faults:
        raise InputError(*faults)
    inputs = sample_inputs(ranges, samples, seed=seed)
    jobs = []
    for row in inputs:
        varied = wall
        for each, value in zip(ranges, row, strict=True):
            varied = changed(varied, each.name, float(value))
        jobs.append(Job(varied, weather, opening_set, depth, column))

    def told(done: int, count: int, _result: Result) -> None:
        if progress:
            progress(done, count, f"sample {done}")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        described = engine.run([Job(wall, weather, opening_set, depth, column)])[0]
        nominal = None if described.failure else described.dataset
        every = engine.run(jobs, keep="daily", progress=told)
        reasons = [result.failure for result in every if result.failure]
        computed = [index for index, result in enumerate(every) if not result.failure]
        if not computed:
            raise ConvergenceError(f"none of the {len(every)} samples could be computed; the first: {reasons[0]}")
        results, inputs = [every[index] for index in computed], inputs[computed]
        bands = np.array([result.dataset["relative_humidity"].values for result in results])
        if described.failure:  # the critical face is then that of the first sample
            reasons.insert(0, f"the case as described: {described.failure}")
            nominal = engine.run([jobs[computed[0]]])[0].dataset
    start = first_wall_face(nominal)
    # the critical face: dampest on the wall side in the case as described, of those where mould can live
    damp = np.asarray(nominal["relative_humidity"].values[:, :, start:], float).mean(axis=0)
    prone = np.asarray(nominal["face_mould_class"].values[start:]) != "resistant"
    damp = np.where(prone | ~prone.any(), damp, 0.0)
    segment, face = (int(index) for index in np.unravel_index(int(np.argmax(damp)), damp.shape))
    face += start
    name = f"{nominal['face'].values[face]}, {nominal['segment'].values[segment]}"
    attrs = {key: nominal.attrs[key] for key in ("wall_name", "climate_name", "opening_set", "depth", "column")}
    study = summarise(ranges, inputs, [result.findings for result in results], bands[:, :, segment, face], name)
    study.attrs.update(attrs, seed=seed, created=dt.datetime.now(dt.UTC).strftime("%Y-%m-%d %H:%M UTC"))
    study.attrs["samples_asked"] = len(every)
    study.attrs["not_computed"] = json.dumps(reasons)
    study.attrs["nominal"] = json.dumps({found.key: found.value for found in described.findings})
    study.attrs["sentence"] = sentence(study)
    return study
