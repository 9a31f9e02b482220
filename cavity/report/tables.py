"""The tables of a report as CSV files: cases, findings, months; plain numbers in the units their headings name."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from cavity import variables
from cavity.choice_words import below_text
from cavity.constants import ICE_POINT
from cavity.files import csv_text
from cavity.finding_words import surface_in_words
from cavity.report import digest, display, schedule, series, verdict
from cavity.report.page import RULE_HEAD, rule_rows, write_text

_VARIANT = "variant"  # last in every table: a place that no earlier reader of the tables counts on
_CASE = ("climate", "orientation [degree]", "column", "openings", "cavity depth [mm]")
_CASES = (
    *_CASE, "result", "decided by", "median air change rate [per hour]", "air change rate, 10 % of hours [per hour]",
    "air change rate, 90 % of hours [per hour]", "hours with flow upwards [%]", "largest film in the cavity [g/m2]",
    "surface", "segment", "hours above 80 % RH at this surface [h]", "hours in which some surface condenses [h]",
    "50 % drying time of a wetting event [d]", "50 % drying time, vents closed [d]",
    "90 % drying time of a wetting event [d]", "90 % drying time, vents closed [d]", _VARIANT,
)  # fmt: skip


def _names(case: Any) -> list[Any]:
    return [
        case.climate_name,
        verdict.orientation(case),
        verdict.column(case),
        case.opening_set,
        _round(1e3 * case.depth),
    ]


def _round(value: float) -> float:
    return float(f"{float(value):.6g}")


def _event(case: Any) -> list[Any]:
    """Return the drying times of the wetting event; empty fields where it takes longer than was followed."""
    event = getattr(case, "event", None)
    if event is None:
        return [""] * 4
    times = series.event_times(event)
    values = (times[name] for name in ("half", "half_shut", "nine", "nine_shut"))
    return [_round(value) if np.isfinite(value) else "" for value in values]


Table = tuple[tuple[str, ...], list[list[Any]]]  # heads with their units, and rows


def tables(comparison: Any) -> dict[str, str]:
    """Return the tables of a comparison as CSV text by file name: choices, schedule, rules, cases ..."""
    return {f"{name}.csv": csv_text(head, rows) for name, (head, rows) in sheets(comparison).items()}


def sheets(comparison: Any) -> dict[str, Table]:
    """Return the tables of a comparison by name, each with its heads and rows; numbers as numbers.

    Parameters
    ----------
    comparison : Comparison
        As for `write_report`.

    Returns
    -------
    dict of (tuple of str, list of list)
        schedule, choices, rules, cases, findings and months.
    """
    cases, findings, months = [], [], []
    for case in comparison.cases:
        ds = case.dataset
        variant = verdict.variant_text(verdict.variant(case))
        findings_of_case = series.ranked(case.findings)
        segment, face = series.governing(ds, case.findings)
        rate, names = series.air_changes(ds), series.face_names(ds)
        table = series.monthly(ds, segment)[face]
        cases.append(
            [
                *_names(case), verdict.case_status(case), findings_of_case[0].title if findings_of_case else "",
                *(_round(value) for value in (np.median(rate), *np.quantile(rate, (0.1, 0.9)))),
                _round(100.0 * table[-1]["upward"]), _round(1e3 * digest.film_peak(ds)), names[face],
                ds["segment"].values[segment], table[-1]["humid_hours"], table[-1]["wet_hours"], *_event(case), variant,
            ]
        )  # fmt: skip
        findings += [
            [*_names(case), item.status, item.key, item.title, item.where, _round(item.shown.value),
             _round(item.shown.limit), item.threshold, item.shown.units, _round(item.hours), item.when,
             item.sentence, item.source, variant]
            for item in findings_of_case
        ]  # fmt: skip
        months += [
            [*_names(case), names[face], ds["segment"].values[segment], row["month"],
             *(_round(value) for value in (
                 row["outdoor"] - ICE_POINT, row["air_changes"], 100 * row["upward"], row["temperature"] - ICE_POINT,
                 100 * row["humidity"], row["humid_hours"], row["margin"], row["wet_hours"], 1e3 * row["film"],
                 1e3 * row["runoff"], row["water"])), variant]
            for row in table
        ]  # fmt: skip
    for case in verdict.failed_of(comparison):
        asked: list[Any] = [
            case.climate_name, case.orientation, case.column, case.opening_set, _round(1e3 * case.depth),
        ]  # fmt: skip
        blank = [""] * (len(_CASES) - len(asked) - 3)
        cases.append([*asked, "not computed", case.reason, *blank, verdict.variant_text(verdict.variant(case))])
    place = ("surface", "segment")
    seen = verdict.view(comparison)
    choices, rules = _choices(seen), []
    for case in comparison.cases:
        variant = verdict.variant_text(verdict.variant(case))
        rules += [[*_names(case), *row, variant] for row in rule_rows(case.dataset)]
    shown = verdict.drawn_parts(seen)
    return {
        "schedule": (schedule.HEAD, schedule.table(schedule.rows(shown[0].case.dataset) if shown else [])),
        "choices": (
            ("openings", "cavity depth [mm]", "free vent area [cm2/m]", "result", "recommended", "probability [%]",
             "decided by", "value", "limit", "limit is", "unit", "climate", "column", "orientation [degree]",
             "below the common rules", _VARIANT), choices),
        "rules": ((*_CASE, *(head.lower() for head in RULE_HEAD), _VARIANT), rules),
        "cases": (_CASES, cases),
        "findings": (
            (*_CASE, "result", "key", "criterion", "where", "value", "limit", "limit is", "unit", "hours [h]", "when",
             "sentence", "source", _VARIANT), findings),
        "months": (
            (*_CASE, *place, "month", "outdoor temperature [degC]", "median air change rate [per hour]",
             "hours with flow upwards [%]", "surface temperature [degC]", "surface relative humidity [%]",
             "hours above 80 % [h]", "lowest dew-point margin [K]", "hours in which some surface condenses [h]",
             "largest film, both cavity surfaces [g/m2]", "run-off in the cavity [g/m2]",
             "water in the layers, mean [kg/m2]", _VARIANT), months),
    }  # fmt: skip


def _choices(seen: verdict.View) -> list[list[Any]]:
    """Return one row for each combination of openings and depth, safest first: the worst of its parts decides."""
    rows = []
    for choice in seen.choices:
        part, finding = choice.decides or (None, None)
        named = "recommended" if seen.recommendation and choice is seen.recommendation.choice else ""
        if seen.recommendation and choice is seen.recommendation.runner_up:
            named = "runner-up"
        decided: list[Any] = [""] * 8
        if part is not None and finding is not None:
            decided = [finding.title, _round(finding.shown.value), _round(finding.shown.limit), finding.threshold,
                    finding.shown.units, part.climate, part.column, _round(part.orientation)]  # fmt: skip
        rain = all(verdict.has_rain(other.case) for other in choice.parts if other.computed)
        probability = verdict.percent(seen, choice).removesuffix(" %")
        rows.append(
            [choice.opening_set, _round(1e3 * choice.depth), _round(1e4 * choice.area),
             verdict.word(choice.status, rain), named, int(probability) if probability else "", *decided,
             below_text(choice.below), verdict.variant_text(choice.variant)]
        )  # fmt: skip
    return rows


def write_tables(comparison: Any, folder: str | os.PathLike[str]) -> list[Path]:
    """Write the tables of a comparison as CSV into a folder, which is made if missing.

    Parameters
    ----------
    comparison : Comparison
        As for `write_report`.
    folder : path
        Files of the same names in it are replaced, each in one move.

    Returns
    -------
    list of pathlib.Path
        The files written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    return [write_text(Path(folder) / name, text) for name, text in tables(comparison).items()]


def hours_csv(ds: Any) -> str:
    """Return the hours of one case as CSV text: weather, cavity air, every surface; numbers, units in the heading.

    Parameters
    ----------
    ds : xarray.Dataset
        A result of `cavity.simulate`.

    Returns
    -------
    str
        A line an hour, `time` the start of the hour.
    """
    head, columns = hours(ds)
    times = np.datetime_as_string(ds["time"].values, unit="m")
    texts = [[f"{value:.5g}" for value in column] for column in columns]
    return csv_text(("time", *head), zip(times, *texts, strict=True))


def hours(ds: Any) -> tuple[list[str], list[np.ndarray]]:
    """Return the hours of one case: heads with their units, and for each the values in that unit, time omitted.

    Parameters
    ----------
    ds : xarray.Dataset
        A result of `cavity.simulate`.

    Returns
    -------
    list of str, list of numpy.ndarray
        Weather, cavity air, every surface of every segment.
    """
    head: list[str] = []
    columns: list[np.ndarray] = []

    def add(title: str, name: str, values: Any) -> None:
        head.append(f"{title} [{display.of(name).unit}]")
        columns.append(display.show(name, values))

    def label(name: str) -> str:
        return variables.TABLE[name].label

    for name in ("temperature_outdoor", "relative_humidity_outdoor", "wind_speed", "sun_on_wall", "driving_rain"):
        if name in ds:
            add(label(name), name, ds[name].values)
    add(label("air_change_rate"), "air_change_rate", series.air_changes(ds))
    for index, segment in enumerate(ds["segment"].values):
        for name in ("air_speed", "cavity_temperature", "cavity_relative_humidity"):
            add(f"{label(name)}, {segment}", name, ds[name].values[:, index])
        for place, face in enumerate(series.face_names(ds)):
            for name in ("temperature", "relative_humidity", "dew_point_margin"):
                add(f"{label(name)}, {face}, {segment}", name, ds[name].values[:, index, place])
        for place, face in enumerate(map(surface_in_words, ds["film_face"].values)):
            add(f"Film, {face}, {segment}", "film", ds["film"].values[:, index, place])
    return head, columns
