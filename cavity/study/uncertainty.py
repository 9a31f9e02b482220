"""Uncertainty: the inputs that are poorly known, sampled; how likely each criterion is met, which input matters most.

Inputs are sampled with a scrambled Sobol sequence, independently of each other: evenly on their range, or evenly on its
logarithm where the range spans a factor of two or more. Ranges in the wall file win over the defaults below. A sample
is judged in every column of the cavity, and in every climate given: it counts as met where none of them fails.

The indices of an input are the fraction of the variance of the severity that it causes alone (first order), and with
all its interactions (total order). They need further runs, in which one input at a time is exchanged.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from cavity import finding_words
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.finding_words import decimals
from cavity.risk import CAN_FAIL, Finding
from cavity.risk.finding import at_face, first_wall_face
from cavity.risk.ranking import level, order, worst_by_criterion, worst_first
from cavity.study.engine import Engine, Job, Result
from cavity.wallfile.inputs import INPUTS, changed

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import OpeningSet, Wall

OVERALL = "overall"  # all criteria that can fail, together
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
BUDGET = 30.0  # s that a comparison may spend on the probabilities unless they were asked for
_COUNTS = (16, 32, 64)  # samples of a comparison: the most that the budget allows
_LOOKS = (2, 4, 8)  # samples after which the time for the fewest is projected
_LOG_SPAN = 2.0  # ranges that span this factor are sampled on their logarithm
_INFLUENTIAL = 0.3  # rank correlation or total index below which no input is named; common practice, no source
_WORST = 1e3  # severity, times the limit, at which it is cut off: one absurd sample must not make all the variance
_now = time.monotonic  # a name of its own, so that a test can set the clock of this module alone
_RAIL_TOLERANCE = 2e-3  # m, of the gap between two rail ends on site; common practice, no source


@dataclass(frozen=True)
class Range:
    """Low and high of one input, in the units of `cavity.wallfile.inputs`, and where they come from."""

    name: str
    low: float
    high: float
    origin: str


def ranges_of(wall: Wall, opening_set: str | None = None, *, rain: bool = True) -> tuple[Range, ...]:
    """Return the ranges of a wall: those of its file, and a default for each other input that matters to this wall.

    Parameters
    ----------
    wall : Wall
    opening_set : str
        Name of the set that is computed; None: what matters to any set.
    rain : bool, keyword only
        Whether the weather has rain: without it the rain that passes the cladding does not matter.

    Returns
    -------
    tuple of Range
    """
    of_file = tuple(Range(name, low, high, "wall file") for name, low, high in wall.uncertain)
    named = {input_range.name for input_range in of_file}
    sets = wall.opening_sets if opening_set is None else (wall.opening_set(opening_set),)
    defaults = []
    if not wall.site.cp_profile:  # a profile of the user's own wins over any difference
        band = "sensitivity band as a straight line over the height: no measured value for cavities was found"
        defaults.append(Range("site.cp_difference", 0.05, 0.3, band))
    defaults += [
        Range(
            "openings.area_factor", 0.8, 1.25,
            "a loss coefficient known to 50 % is an equivalent area known to 25 %; common practice, no source",
        ),
    ]  # fmt: skip
    rails = [rail for drawn in sets for rail in wall.rails_of(drawn)]
    if any(opening.has_mesh for drawn in sets for opening in drawn.openings) or any(
        rail.porosity < 1.0 and rail.wire > 0.0 for rail in rails
    ):
        text = "published laws miss 3 of 11 insect screens by 20 % or more (J. SASJ 40(3):159, abstract)"
        defaults.append(Range("openings.mesh_factor", 0.8, 1.2, text))
    if (gaps := _gap_factors(wall, sets)) is not None:
        defaults.append(gaps)
    if rain and wall.wetting.rain_penetration > 0.0:
        defaults.append(
            Range("wetting.rain_penetration", 0.001, 0.02, "around the 1 % of ASHRAE 160; common practice, no source")
        )
    defaults += [
        Range("backup.vapour_factor", 0.7, 1.4, "scatter of measured vapour resistances; common practice, no source"),
        Range("indoor.humidity_shift", -0.05, 0.05, "half the step from normal to high occupancy, EN 15026 annex C †"),
    ]
    leak = wall.wetting.leak_flow
    if wall.wetting.leak_layer is not None and leak > 0.0:
        defaults.append(
            Range("wetting.leak_flow", 0.5 * leak, 2.0 * leak, "half to double; common practice, no source")
        )
    leak = wall.wetting.leak_q50
    if leak > 0.0:
        text = "half to double: recollections of the permeance differ by that much; common practice, no source"
        defaults.append(Range("wetting.leak_q50", 0.5 * leak, 2.0 * leak, text))
    # both are estimates borrowed from rooms: from none to half as much again
    for key, what in (("gust_exchange", "gusts"), ("single_vent_exchange", "one vent only")):
        if getattr(wall.cavity, key) > 0.0:
            text = f"exchange by {what} is an estimate, see the air path page; common practice, no source"
            defaults.append(Range(f"cavity.{key}", 0.0, 1.5, text))
    return of_file + tuple(input_range for input_range in defaults if input_range.name not in named)


def _gap_factors(wall: Wall, sets: Iterable[OpeningSet]) -> Range | None:
    """Return the range of the rail gaps, from the tolerance of the smallest; None where there are no rails."""
    gaps = [rail.gap for opening_set in sets for rail in wall.rails_of(opening_set)]
    gaps = [gap for gap in gaps if gap > 0.0]
    if not gaps:
        return None
    part = min(max(_RAIL_TOLERANCE / min(gaps), 0.05), 0.75)
    return Range(
        "rail.gap_factor", 1.0 - part, 1.0 + part,
        f"{decimals(1e3 * _RAIL_TOLERANCE)} mm on site, at least 5 %; common practice, no source",
    )  # fmt: skip


def sample_inputs(ranges: Sequence[Range], count: int, *, seed: int = 0) -> np.ndarray:
    """Sample the inputs within their ranges.

    Parameters
    ----------
    ranges : sequence of Range
    count : int
        Samples; raised to the next power of two, which the sequence needs for its balance. [1]
    seed : int, keyword only
        Scrambling; equal seeds give equal samples, of which a smaller count takes the first. [1]

    Returns
    -------
    array, (sample, input)
        In the units of the ranges.

    References
    ----------
    scipy.stats.qmc.Sobol (Sobol 1967; scrambling after Owen).
    """
    return _within(ranges, _unit(len(ranges), count, seed))


def _unit(dims: int, count: int, seed: int) -> np.ndarray:
    from scipy.stats import qmc

    return qmc.Sobol(dims, scramble=True, rng=seed).random_base2(max(0, math.ceil(math.log2(count))))


def _within(ranges: Sequence[Range], unit: np.ndarray) -> np.ndarray:
    """Return points of the unit cube, (sample, input), as values of the inputs."""
    values = np.empty_like(unit)
    for column, input_range in enumerate(ranges):
        fraction = unit[:, column]
        if input_range.low > 0.0 and input_range.high >= _LOG_SPAN * input_range.low:
            values[:, column] = input_range.low * (input_range.high / input_range.low) ** fraction
        else:
            values[:, column] = input_range.low + fraction * (input_range.high - input_range.low)
    return values


def sample_pairs(ranges: Sequence[Range], count: int, *, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sample the inputs for the indices: two independent halves, and the first half with one input of the second.

    Parameters
    ----------
    ranges : sequence of Range
    count : int
        Samples of both halves together; raised to the next power of two. [1]
    seed : int, keyword only
        Scrambling. [1]

    Returns
    -------
    first, second : array, (half, input)
        In the units of the ranges.
    exchanged : array, (input, half, input)
        `first`, on page i with input i of `second`.

    References
    ----------
    Saltelli et al., Computer Physics Communications 181 (2010) 259-270; the form that `sobol_indices` of scipy takes.
    """
    half = _unit(2 * len(ranges), max(2, math.ceil(count / 2)), seed)
    first, second = (_within(ranges, part) for part in np.split(half, 2, axis=1))
    exchanged = np.repeat(first[None], len(ranges), axis=0)
    for column in range(len(ranges)):
        exchanged[column, :, column] = second[:, column]
    return first, second, exchanged


def indices(
    first: np.ndarray, second: np.ndarray, exchanged: np.ndarray, *, seed: int = 0
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return the first- and total-order indices of each input, with the 95 % interval of the latter.

    Parameters
    ----------
    first, second : array, (half, result)
        Results of the samples of `sample_pairs`; the length is a power of two. [any]
    exchanged : array, (input, half, result)
        The same. [any]
    seed : int, keyword only
        Of the bootstrap. [1]

    Returns
    -------
    first_order, total_order, low, high : array, (result, input)
        Fractions of the variance, held between 0 and 1, which estimates from few samples leave; 0 where a result does
        not vary. [1]

    References
    ----------
    scipy.stats.sobol_indices; Saltelli et al., Computer Physics Communications 181 (2010) 259-270.
    """
    from scipy.stats import sobol_indices

    count, results = first.shape
    inputs = len(exchanged)
    varies = np.flatnonzero(np.concatenate([first, second]).std(axis=0) > 0.0)
    estimates = [np.zeros((results, inputs)) for _ in range(4)]
    for result in varies:  # one by one, twice each: scipy drops dimensions of length one
        twice = [result, result]
        sobol = sobol_indices(
            func={
                "f_A": first[:, twice].T,
                "f_B": second[:, twice].T,
                "f_AB": np.moveaxis(exchanged[..., twice], 2, 1),
            },
            n=count,
        )
        rng = np.random.default_rng(seed)
        pick = rng.integers(0, count, (200, count))
        spread = first[:, result][pick] - exchanged[..., result][:, pick]  # Jansen's total order on samples redrawn
        both = np.concatenate([first[:, result][pick], second[:, result][pick]], axis=1)
        variance = both.var(axis=1)
        redrawn = 0.5 * (spread**2).mean(axis=2) / np.where(variance > 0.0, variance, np.inf)
        estimates[0][result] = np.reshape(sobol.first_order, (2, inputs))[0]
        estimates[1][result] = np.reshape(sobol.total_order, (2, inputs))[0]
        estimates[2][result], estimates[3][result] = np.quantile(redrawn, (0.025, 0.975), axis=1)
    alone, total, low, high = (np.clip(estimate, 0.0, 1.0) for estimate in estimates)
    return alone, total, low, high


def wilson(met: int, count: int) -> tuple[float, float]:
    """Return the 95 % interval of a probability from `met` of `count` samples. [1].

    Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212; from memory. Exact for independent samples, cautious for Sobol ones.
    """
    z = 1.959964  # 97.5 % point of the normal distribution
    fraction = met / count
    centre = (fraction + z * z / (2 * count)) / (1 + z * z / count)
    half = z * math.sqrt(fraction * (1 - fraction) / count + z * z / (4 * count * count)) / (1 + z * z / count)
    return max(0.0, centre - half), min(1.0, centre + half)


def rank_correlation(inputs: np.ndarray, result: np.ndarray) -> np.ndarray:
    """Return the rank correlation of each input with a result, cleared of chance correlation among the inputs.

    A few dozen samples of ten inputs are correlated with each other by up to 0.7. The result's ranks are therefore
    regressed on those of all inputs together; the standardised coefficient is Spearman's rank correlation where the
    inputs are uncorrelated. With fewer samples than inputs it is the smallest set of coefficients that fits.

    Parameters
    ----------
    inputs : array, (sample, input)
        In any units, ranks count only. [any]
    result : array, (sample,)
        The same. [any]

    Returns
    -------
    array, (input,)
        -1 to 1; 0 where either is constant. [1]

    References
    ----------
    Saltelli et al., Global Sensitivity Analysis: The Primer, 2008 (standardised rank regression), from memory.
    """
    from scipy.stats import rankdata

    ranks = rankdata(inputs, axis=0) - 0.5 * (len(inputs) + 1)
    target = rankdata(result) - 0.5 * (len(result) + 1)
    size = np.sqrt((ranks**2).sum(axis=0))
    scale = np.sqrt((target**2).sum())
    if not scale > 0.0:
        return np.zeros(len(size))
    varies = size > 0.0
    unit = ranks / np.where(varies, size, 1.0)
    coefficients = np.linalg.lstsq(unit, target / scale, rcond=1e-9)[0]
    return np.where(varies, np.clip(coefficients, -1.0, 1.0), 0.0)


def _worst(findings: Iterable[Finding]) -> dict[str, Finding]:
    """Return the worst finding of every criterion, also of those that cannot fail, by its key."""
    return {finding.key: finding for finding in reversed(worst_first(findings))}


def _surface(ds: xr.Dataset, face: int, segment: int) -> str:
    """Return a surface or interface of a result in words."""
    fields = at_face(ds, face, segment)
    return finding_words.plane_in_words(fields["face"], fields.get("between", ()), fields.get("segment", ""))


def severities(findings: Sequence[Finding], keys: Sequence[str]) -> np.ndarray:
    """Return the severity of each criterion and, last, of all that can fail together. [1]."""
    worst = _worst(findings)
    row = [min(float(worst[key].ratio), _WORST) if key in worst else 0.0 for key in keys]
    return np.array([*row, max((value for key, value in zip(keys, row, strict=True) if key in CAN_FAIL), default=0.0)])


def summarise(
    ranges: Sequence[Range],
    inputs: np.ndarray,
    samples: Sequence[Sequence[Finding]],
    humidity: np.ndarray,
    surface: str,
) -> xr.Dataset:
    """Gather the samples into one Dataset.

    Parameters
    ----------
    ranges : sequence of Range
        What was varied.
    inputs : array, (sample, input)
        Values of each sample. [as the ranges]
    samples : sequence of sequences of Finding
        The findings of each sample, of the same criteria; of several columns all together, the worst counts.
    humidity : array, (sample, day)
        Daily mean relative humidity at the critical surface. [1]
    surface : str
        That surface in words.

    Returns
    -------
    xarray.Dataset
        Dims sample, input, criterion, quantile, day: inputs, values and status of each criterion, probabilities with
        their interval, rank correlations, bands of value and of daily humidity. The criterion "overall" is the most
        severe of those that can fail.
    """
    import xarray as xr

    keys = list(dict.fromkeys(finding.key for finding in samples[0]))
    worst = [_worst(findings) for findings in samples]
    severity = np.array([severities(findings, keys) for findings in samples])
    value = np.array([[row[key].value for key in keys] for row in worst], float)
    status = np.array([[level(row[key].status) for key in keys] for row in worst])
    can_fail = [index for index, key in enumerate(keys) if key in CAN_FAIL]
    value = np.column_stack([value, severity[:, -1]])
    status = np.column_stack([status, status[:, can_fail].max(axis=1)])
    first = [worst[0][key] for key in keys]
    met = (status < level("fail")).sum(axis=0)
    count = len(samples)
    interval = np.array([wilson(int(number_met), count) for number_met in met])
    hours = {"units": "1", "long_name": "daily mean relative humidity"}
    return xr.Dataset(
        {
            "input_value": (("sample", "input"), inputs),
            "criterion_value": (("sample", "criterion"), value),
            "criterion_severity": (
                ("sample", "criterion"),
                severity,
                {"units": "1", "long_name": "ratio of value to limit"},
            ),
            "criterion_status": (("sample", "criterion"), status, {"long_name": "0 pass, 1 review, 2 fail"}),
            "probability_met": ("criterion", met / count, {"units": "1", "long_name": "probability of no failure"}),
            "probability_low": ("criterion", interval[:, 0], {"units": "1", "long_name": "95 % interval, low"}),
            "probability_high": ("criterion", interval[:, 1], {"units": "1", "long_name": "95 % interval, high"}),
            "influence": (
                ("criterion", "input"),
                np.array([rank_correlation(inputs, column) for column in severity.T]),
                {"units": "1", "long_name": "rank correlation of input and severity, others held"},
            ),
            "value_band": (("quantile", "criterion"), np.quantile(value, QUANTILES, axis=0)),
            "humidity_band": (("quantile", "day"), np.quantile(humidity, QUANTILES, axis=0), hours),
        },
        coords={
            "sample": np.arange(count),
            "input": [input_range.name for input_range in ranges],
            "input_title": ("input", [INPUTS[input_range.name] for input_range in ranges]),
            "input_low": ("input", [input_range.low for input_range in ranges]),
            "input_high": ("input", [input_range.high for input_range in ranges]),
            "input_origin": ("input", [input_range.origin for input_range in ranges]),
            "criterion": [*keys, OVERALL],
            "criterion_title": ("criterion", [*(finding.title for finding in first), "All criteria that can fail"]),
            "criterion_factor": ("criterion", [*(finding_words.scale(f.key, f.units)[0] for f in first), 1.0]),
            "criterion_shown": ("criterion", [*(finding.shown.units for finding in first), "of the limit"]),
            "criterion_limit": ("criterion", [*(finding.limit for finding in first), 1.0]),
            "criterion_units": ("criterion", [*(finding.units for finding in first), "1"]),
            "criterion_can_fail": ("criterion", [*(int(key in CAN_FAIL) for key in keys), 1]),
            "quantile": list(QUANTILES),
            "day": np.arange(humidity.shape[1]),
        },
        attrs={"critical_place": surface, "samples": count},
    )


def with_indices(
    study: xr.Dataset, rows: np.ndarray, pairs: tuple[Sequence[Sequence[Finding]], ...], *, seed: int = 0
) -> xr.Dataset:
    """Return the study with the first- and total-order indices of each input for each criterion.

    The rank correlations are then those of all runs: exchanging one input at a time separates the inputs.

    Parameters
    ----------
    study : xarray.Dataset
        From `summarise`.
    rows : array, (run, input)
        Inputs of all runs, in the order of `pairs`. [as the ranges]
    pairs : tuple of sequences of sequences of Finding
        Findings of the two halves of `sample_pairs`, then of each page of the exchanged samples; equally long.
    seed : int, keyword only
        Of the bootstrap. [1]

    Returns
    -------
    xarray.Dataset
        With `first_order`, `total_order`, `total_low` and `total_high`, (criterion, input).
    """
    keys = [str(key) for key in study["criterion"].values[:-1]]
    first, second, *pages = (np.array([severities(findings, keys) for findings in half]) for half in pairs)
    alone, total, low, high = indices(first, second, np.array(pages), seed=seed)
    dims = ("criterion", "input")
    every = np.concatenate([first, second, *pages])
    return study.assign(
        influence=(
            dims,
            np.array([rank_correlation(rows, column) for column in every.T]),
            study["influence"].attrs,
        ),
        first_order=(dims, alone, {"units": "1", "long_name": "first-order index"}),
        total_order=(dims, total, {"units": "1", "long_name": "total-order index"}),
        total_low=(dims, low, {"units": "1", "long_name": "total-order index, 95 % interval, low"}),
        total_high=(dims, high, {"units": "1", "long_name": "total-order index, 95 % interval, high"}),
    )


def drivers(study: xr.Dataset, criterion: str = OVERALL) -> list[tuple[str, float]]:
    """Return the inputs by influence on a criterion: (name, rank correlation), most influential first. [1].

    Ordered by the total-order index where the study has it, else by the rank correlation.
    """
    row = study.sel(criterion=criterion)
    weight = np.abs(row["influence"].values)
    if "total_order" in study:
        weight = row["total_order"].values + 1e-6 * weight
    by = np.argsort(-weight, kind="stable")
    return [(str(row["input"].values[index]), float(row["influence"].values[index])) for index in by]


def sentence(study: xr.Dataset) -> str:
    """Return the outcome of an uncertainty study in plain words."""
    count = int(study.attrs["samples"])
    overall = study.sel(criterion=OVERALL)
    met = round(float(overall["probability_met"]) * count)
    text = (
        f"No criterion fails in {met} of {count} samples (95 % interval of the probability "
        f"{decimals(100 * float(overall['probability_low']))} to "
        f"{decimals(100 * float(overall['probability_high']))} %)."
    )
    single = study.isel(criterion=slice(0, -1))
    least = int(np.argmin(single["probability_met"].values))
    if float(single["probability_met"][least]) < 1.0:
        title = _lower(str(single["criterion_title"].values[least]))
        failed = count - round(float(single["probability_met"][least]) * count)
        text += f" Fails most often: {title} ({failed} of {count})."
    name, strength = drivers(study)[0]
    total = float(overall["total_order"].sel(input=name)) if "total_order" in study else abs(strength)
    if max(abs(strength), total) >= _INFLUENTIAL:
        title = str(study["input_title"].sel(input=name).values)
        figures = f"rank correlation {decimals(strength, 2)}"
        if "total_order" in study:
            figures = f"total-order index {decimals(total, 2)}, {figures}"
        effect = ""
        if abs(strength) >= _INFLUENTIAL:
            effect = ": higher is worse" if strength > 0.0 else ": higher is better"
        text += f" Most influential input: {title} ({figures}{effect})."
    else:
        text += " No single input is influential."
    missing = json.loads(study.attrs.get("not_computed", "[]"))
    if missing:
        text += f" {count} of {study.attrs['samples_asked']} samples computed; the first that was not: {missing[0]}."
    return text


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def _varied(wall: Wall, ranges: Sequence[Range], row: np.ndarray) -> Wall:
    for input_range, value in zip(ranges, row, strict=True):
        wall = changed(wall, input_range.name, float(value))
    return wall


def _has_rain(weathers: Iterable[xr.Dataset]) -> bool:
    return any(bool(weather.attrs.get("has_rain", 1)) for weather in weathers)


def _check_ranges(ranges: Sequence[Range]) -> list[Fault]:
    return [
        Fault(
            f"uncertain {input_range.name}",
            "the range is empty",
            f"{input_range.low:g} to {input_range.high:g}",
            "low below high",
            "swap",
        )
        for input_range in ranges
        if not input_range.low < input_range.high
    ]


@dataclass(frozen=True)
class Sureness:
    """How likely one choice of openings and depth meets every criterion.

    Parameters
    ----------
    opening_set : str
        Name of the set.
    depth : float
        Cavity depth. [m]
    met, samples : int
        Samples in which no criterion fails in any climate and column, of all that were computed. [1]
    missed : tuple of (str, int)
        Title of each criterion that fails in some sample, and in how many; most often first.
    """

    opening_set: str
    depth: float
    met: int
    samples: int
    missed: tuple[tuple[str, int], ...]

    @property
    def probability(self) -> float:
        """Fraction of the samples in which no criterion fails. [1]."""
        return self.met / self.samples

    @property
    def low(self) -> float:
        """Lower end of its 95 % interval. [1]."""
        return wilson(self.met, self.samples)[0]

    @property
    def high(self) -> float:
        """Upper end of its 95 % interval. [1]."""
        return wilson(self.met, self.samples)[1]

    @property
    def sentence(self) -> str:
        """The outcome in plain words."""
        low, high = decimals(100.0 * self.low), decimals(100.0 * self.high)
        text = (
            f"“{self.opening_set}” with a {decimals(1e3 * self.depth)} mm cavity: no criterion fails in {self.met} of "
            f"{self.samples} samples of the uncertain inputs (95 % interval of the probability {low} to {high} %)"
        )
        if self.missed:
            title, times = self.missed[0]
            text += f"; fails most often: {_lower(title)} ({times} of {self.samples})"
        return text + "."


@dataclass(frozen=True)
class Confidence:
    """How likely the choices of a comparison meet every criterion.

    Parameters
    ----------
    choices : tuple of Sureness
        In the order asked for; empty where nothing was computed.
    reason : str
        Why nothing was computed; empty where it was.
    ranges : tuple of Range
        What was varied.
    failed : tuple of str
        Why samples are missing, one text each.
    """

    choices: tuple[Sureness, ...]
    reason: str = ""
    ranges: tuple[Range, ...] = ()
    failed: tuple[str, ...] = ()


def confidence(
    wall: Wall,
    weathers: xr.Dataset | Sequence[xr.Dataset],
    choices: Sequence[tuple[str, float]],
    *,
    columns: Sequence[str] | None = None,
    budget: float | None = BUDGET,
    seed: int = 0,
    workers: int | None = None,
    scheduler: str | None = None,
    fresh: bool = False,
    progress: Callable[[int, int, str], None] | None = None,
) -> Confidence:
    """Sample the uncertain inputs for a few choices of openings and depth, the same samples for all of them.

    Parameters
    ----------
    wall : Wall
    weathers : xarray.Dataset or sequence of them, (time,)
        Climates in which a sample must pass.
    choices : sequence of (str, float)
        Opening set and cavity depth, such as the recommended case and the runner-up. [-, m]
    columns : sequence of str, keyword only
        Columns in which a sample must pass; None: all.
    budget : float, keyword only
        Time to spend: 16, 32 or 64 samples, the most that fit in; None: 64, however long it takes. [s]
    seed : int, keyword only
        Scrambling of the sequence. [1]
    workers, scheduler, fresh, progress : keyword only
        As for `uncertainty`.

    Returns
    -------
    Confidence
        Without choices, and with the reason, where not even 16 samples fit in, or too few could be computed.

    Raises
    ------
    InputError
        If a range is empty.
    """
    import xarray as xr

    climates = [weathers] if isinstance(weathers, xr.Dataset) else list(weathers)
    sets = {name for name, _ in choices}
    ranges = ranges_of(wall, next(iter(sets)) if len(sets) == 1 else None, rain=_has_rain(climates))
    if faults := _check_ranges(ranges):
        raise InputError(*faults)
    names = list(columns or (column.name for column in wall.columns))
    most = _COUNTS[-1]
    inputs = sample_inputs(ranges, most, seed=seed)
    cases = len(choices) * len(climates) * len(names)  # cases of a sample
    results: list[list[list[Result]]] = []  # by sample and choice
    begun = _now()
    done = 0

    def on_run(_done: int, _count: int, _result: Result) -> None:
        nonlocal done
        done += 1
        if progress:
            progress(done, cases * most, "how sure: samples of the uncertain inputs")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        for upto in (*_LOOKS, *_COUNTS):
            spent = _now() - begun
            if budget is not None and results:
                projected = spent * max(upto, _COUNTS[0]) / len(results)
                if projected > budget:
                    break
            jobs = [
                Job(varied.case(opening_set=opening_set, depth=depth, column=column), weather)
                for varied in (_varied(wall, ranges, row) for row in inputs[len(results) : upto])
                for opening_set, depth in choices
                for weather in climates
                for column in names
            ]
            runs = engine.run(jobs, keep="findings", progress=on_run)
            size = len(climates) * len(names)
            parts = [runs[at : at + size] for at in range(0, len(runs), size)]
            results += [parts[at : at + len(choices)] for at in range(0, len(parts), len(choices))]
    if len(results) < _COUNTS[0]:
        minutes = math.ceil(spent * _COUNTS[1] / len(results) / 60.0)
        return Confidence((), f"would take about {minutes} min; ask for it with --confidence", ranges)
    failed = [result.failure for sample in results for part in sample for result in part if result.failure]
    whole = [sample for sample in results if not any(result.failure for part in sample for result in part)]
    if 2 * len(whole) < len(results):
        return Confidence((), f"too few of the samples could be computed: {failed[0]}", ranges, tuple(failed))
    sure = []
    for at, (opening_set, depth) in enumerate(choices):
        worst = [worst_by_criterion([f for result in sample[at] for f in result.findings]) for sample in whole]
        bad = [{f.title for f in row.values() if f.key in CAN_FAIL and f.status == "fail"} for row in worst]
        counts = {title: sum(title in titles for titles in bad) for title in sorted(set().union(*bad))}
        missed = tuple(sorted(counts.items(), key=lambda pair: -pair[1]))
        sure.append(Sureness(opening_set, depth, sum(not titles for titles in bad), len(whole), missed))
    return Confidence(tuple(sure), "", ranges, tuple(failed))


def uncertainty(
    wall: Wall,
    weather: xr.Dataset,
    *,
    opening_set: str | None = None,
    depth: float | None = None,
    column: str | None = None,
    samples: int = 64,
    influence: bool = True,
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
    opening_set, depth : keyword only
        The case, as for `simulate`. [depth: m]
    column : str, keyword only
        Column to judge; None: all of them, a sample passes where each does.
    samples : int, keyword only
        Samples; raised to the next power of two. [1]
    influence : bool, keyword only
        Also compute the first- and total-order indices: half as many runs again for each input.
    seed : int, keyword only
        Scrambling of the sequence. [1]
    workers : int, keyword only
        Threads; None: one for each core.
    scheduler : str, keyword only
        Address of a dask scheduler, ``tcp://host:port``, whose workers compute instead.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier.
    progress : callable, keyword only
        Called after each run with runs done, all runs, and a text.

    Returns
    -------
    xarray.Dataset
        As `summarise` and `with_indices` say, with the names of the case and the sentence in its attributes.

    Raises
    ------
    InputError
        If fewer than 8 samples are asked for, or a range is empty.
    ConvergenceError
        If more than half of the samples cannot be computed.
    """
    set_name = wall.case(opening_set=opening_set, depth=depth, column=column).opening_set.name
    ranges = ranges_of(wall, set_name, rain=weather is None or _has_rain([weather]))
    faults = []
    if samples < 8:
        faults.append(Fault("samples", "too few to conclude anything", str(samples), "8 or more", "64 is usual"))
    faults += _check_ranges(ranges)
    if faults:
        raise InputError(*faults)
    columns = [column] if column else [strip.name for strip in wall.columns]
    first, second, exchanged = sample_pairs(ranges, samples, seed=seed)
    inputs = np.concatenate([first, second])
    rows = np.concatenate([inputs, *exchanged]) if influence else inputs

    def on_run(done: int, count: int, _result: Result) -> None:
        if progress:
            progress(done, count, f"run {done}")

    with Engine(workers, scheduler, fresh=fresh) as engine:
        described = engine.run(
            [Job(wall.case(opening_set=opening_set, depth=depth, column=name), weather) for name in columns]
        )
        lost = [f"the case as described: {result.failure}" for result in described if result.failure]
        jobs = [
            Job(varied.case(opening_set=opening_set, depth=depth, column=name), weather)
            for varied in (_varied(wall, ranges, row) for row in rows)
            for name in columns
        ]
        results = engine.run(jobs, keep="daily", progress=on_run)
        grouped = [results[at : at + len(columns)] for at in range(0, len(results), len(columns))]
        good = [not any(result.failure for result in group) for group in grouped]
        failures = lost + [result.failure for group in grouped for result in group if result.failure]
        used = [at for at in range(len(inputs)) if good[at]]
        if 2 * len(used) < len(inputs):
            raise ConvergenceError(
                f"only {len(used)} of {len(inputs)} samples could be computed; the first: {failures[0]}"
            )
        if lost:  # the critical surface is then that of the first sample
            first_jobs = jobs[used[0] * len(columns) : (used[0] + 1) * len(columns)]
            described = engine.run(first_jobs)
        deciding = max(range(len(columns)), key=lambda at: order(described[at].findings))
        nominal = described[deciding].dataset
        bands = np.array([grouped[at][deciding].dataset["relative_humidity"].values for at in used])
    start = first_wall_face(nominal)
    # the critical surface: dampest on the wall side in the case as described, of those where mould can live
    damp = np.asarray(nominal["relative_humidity"].values[:, :, start:], float).mean(axis=0)
    prone = np.asarray(nominal["face_mould_class"].values[start:]) != "resistant"
    damp = np.where(prone | ~prone.any(), damp, 0.0)
    segment, face = (int(index) for index in np.unravel_index(int(np.argmax(damp)), damp.shape))
    face += start
    name = _surface(nominal, face, segment)
    if len(columns) > 1:
        name += f", {columns[deciding]}"
    attrs = {key: nominal.attrs[key] for key in ("wall_name", "climate_name", "opening_set", "depth")}
    judged = [tuple(finding for result in group for finding in result.findings) for group in grouped]
    study = summarise(ranges, inputs[used], [judged[at] for at in used], bands[:, :, segment, face], name)
    half, count = len(first), len(ranges)
    # of the indices a sample counts only with all its exchanges; the others are replaced by whole ones in turn
    whole = [at for at in range(half) if all(good[at + page * half] for page in range(count + 2))] if influence else []
    if whole:
        pick = [at if at in whole else whole[at % len(whole)] for at in range(half)]
        order_of = [at + page * half for page in range(count + 2) for at in pick]
        study = with_indices(
            study,
            rows[order_of],
            tuple([judged[at + page * half] for at in pick] for page in range(count + 2)),
            seed=seed,
        )
    study.attrs.update(attrs, seed=seed, created=dt.datetime.now(dt.UTC).strftime("%Y-%m-%d %H:%M UTC"))
    study.attrs.update(
        column=", ".join(columns), deciding_column=columns[deciding], samples_asked=len(inputs), runs=len(rows),
        not_computed=json.dumps(failures),
    )  # fmt: skip
    worst = _worst(finding for result in described for finding in result.findings)
    study.attrs["nominal"] = json.dumps({key: finding.value for key, finding in worst.items()})
    study.attrs["sentence"] = sentence(study)
    return study
