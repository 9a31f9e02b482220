"""What the page asks for, computed: at once from the wall alone, and within about a second the hourly year."""

from __future__ import annotations

import collections
import copy
import json
import math
import tempfile
import threading
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.errors import CavityError, Fault, InputError
from cavity.live import form
from cavity.wallfile import parse_wall

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import NDArray

    from cavity.study.engine import Engine
    from cavity.wallfile.model import Wall

NAME = "wall.toml"  # what the wall of the page is called in messages
QUICK_WIND, QUICK_SUN = 2.0, 300.0  # m/s, W/m2: an ordinary day for the flow that is shown at once (own choice)


REMEMBERED = 300  # answers kept in memory, about 0.2 MB each
UPLOADED = 6  # climates from files held at a time, outdoors and indoors each
POINTS = 2400  # of an hourly curve on the page, about four a pixel


def faults_of(error: CavityError) -> list[dict[str, str]]:
    """Return the faults of an error for the page, in the words of the command line, with the key each is about.

    Parameters
    ----------
    error : CavityError
        Raised while reading, checking or computing.
    """
    faults = getattr(error, "faults", None) or (Fault("", str(error)),)
    return [
        {"key": _key(fault.where), "where": fault.where, "problem": fault.problem, "given": fault.given,
         "expected": fault.expected, "fix": fault.fix}
        for fault in faults
    ]  # fmt: skip


def _key(where: str) -> str:
    """Return the key in a fault's place, ``backup[2].thickness``; empty where it names none."""
    text = where.removeprefix(NAME).lstrip(", ")
    return text.split(" (line")[0].split(", line")[0].strip()


def contents(text: str) -> dict[str, Any]:
    """Return what the form shows of a wall file: its values, sections as in the file.

    Parameters
    ----------
    text : str
        A wall file; one that is not TOML has no values.
    """
    try:
        return json.loads(json.dumps(tomllib.loads(text), default=str, allow_nan=False))
    except (ValueError, RecursionError):
        return {}


def read(text: str, folder: Path | None = None) -> Wall:
    """Return the wall that a text describes; InputError with all its faults.

    Parameters
    ----------
    text : str
        A wall file.
    folder : path
        Holds the uploaded indoor climates, the only files that the text can name; None: none.
    """
    return parse_wall(text, NAME, folder=folder)


def set_of(wall: Wall, opening_set: str) -> str:
    """Return the name asked for if the wall has such a set of openings, else that of its first."""
    names = [opening_set.name for opening_set in wall.opening_sets]
    return opening_set if opening_set in names else names[0]


def quick(text: str, opening_set: str = "", folder: Path | None = None) -> dict[str, Any]:
    """Return what needs no weather: drawings, U-value, temperature factor, steady flow, losses, rule check.

    Parameters
    ----------
    text : str
        A wall file.
    opening_set : str
        One of its sets of openings; another name: the first.
    folder : path
        As for `read`.

    Returns
    -------
    dict
        Plain values for JSON, numbers in SI.

    Raises
    ------
    InputError
        With all faults of the text.
    """
    from cavity.airflow.steady import steady_air
    from cavity.report import elevation, schedule, wall_drawing
    from cavity.result import geometry_of
    from cavity.risk import air, rules
    from cavity.wall.monthly import MOULD_SURFACE
    from cavity.wall.uvalue import u_value

    wall = read(text, folder)
    names = [opening_set.name for opening_set in wall.opening_sets]
    set_name = set_of(wall, opening_set)
    flows = [
        steady_air(wall.case(opening_set=set_name, column=column.name), wind=(QUICK_WIND,), sun=(QUICK_SUN,))
        for column in wall.columns
    ]
    heat = u_value(wall.case(opening_set=set_name))
    still = geometry_of(wall.case(opening_set=set_name))
    strips = []
    for row, flow in zip(elevation.strip_rows(flows, [""] * len(flows)), flows, strict=True):
        strips.append({
            "mark": row.letter, "name": row.name, "area": _finite(row.area),
            "rate": float(flow["air_change_rate"].values[0, 0]),
            "compartments": [
                {"mark": part.mark, "bottom": part.bottom, "top": part.top, "rate": part.rate,
                 "direction": part.direction}
                for part in row.compartments
            ],
            "losses": [[group.name, group.share] for group in air.loss_groups(flow)],
        })  # fmt: skip
    return {
        "name": wall.name,
        "sets": names,
        "opening_set": set_name,
        "columns": [column.name for column in wall.columns],
        "depth": wall.cavity.depth,
        "orientation": wall.orientation,
        "warnings": list(wall.warnings),
        "elevation": elevation.draw(flows, [""] * len(flows)),
        "section": wall_drawing.draw(still),
        "u_value": heat.u_value,
        "air_layer": heat.ventilation_class,
        # of the interior surface, with the surface resistance of a corner behind furniture
        "temperature_factor": 1.0 - MOULD_SURFACE / (heat.resistance - heat.inner_surface + MOULD_SURFACE),
        "strips": strips,
        "quick_day": {"wind": QUICK_WIND, "sun": QUICK_SUN},
        "rules": [
            {"document": check.document, "asks": check.asks, "drawn": check.drawn, "outcome": check.outcome}
            for check in rules.checks(still)
        ],
        "schedule": [list(schedule.HEAD), *schedule.table(schedule.rows(still))],
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


class Desk:
    """Holds the climates and the engine of one server; its methods may be called from several threads.

    Parameters
    ----------
    engine : Engine
        Open; finished cases are kept by it.
    climates : mapping of str to path
        Climates offered by name.
    """

    def __init__(self, engine: Engine, climates: Mapping[str, Any]) -> None:
        self.engine = engine
        self.climates = dict(climates)
        self._weathers: dict[str, xr.Dataset] = {}
        self._answers: collections.OrderedDict[tuple[str, str, str], dict[str, Any]] = collections.OrderedDict()
        self._lock = threading.Lock()
        self._uploads = tempfile.TemporaryDirectory(prefix="cavity-live-")
        self.folder = Path(self._uploads.name)  # of indoor climates: the only files that a text of the page can name

    def close(self) -> None:
        """Remove what was uploaded."""
        self._uploads.cleanup()

    def add_indoor(self, name: str, data: bytes) -> str:
        """Hold an indoor climate, and return the name by which the text of a wall file can name it.

        Parameters
        ----------
        name : str
            Relative, without a way out of a folder; another file of this name stays, and the new one gets a number.
        data : bytes
            Its content.
        """
        with self._lock:
            path, number = self.folder / name, 2
            while path.exists() and path.read_bytes() != data:
                path, number = self.folder / f"{Path(name).with_suffix('')} ({number}){Path(name).suffix}", number + 1
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            held = sorted(
                (file for file in self.folder.rglob("*") if file.is_file()), key=lambda e: e.stat().st_mtime_ns
            )
            for old in held[:-UPLOADED]:
                if old != path:
                    old.unlink()
        return str(path.relative_to(self.folder))

    def add(self, name: str, weather: xr.Dataset) -> str:
        """Hold a climate that was read from a file, and return the name it goes by."""
        with self._lock:
            unique, number = name, 2
            while unique in self.climates or unique in self._weathers:
                unique, number = f"{name} ({number})", number + 1
            self._weathers[unique] = weather
            uploaded = [held for held in self._weathers if held not in self.climates]
            for old in uploaded[:-UPLOADED]:  # a climate is a few megabytes; the page says when one is gone
                del self._weathers[old]
        return unique

    def names(self) -> list[str]:
        """Return the names of all climates."""
        return [*self.climates, *(name for name in self._weathers if name not in self.climates)]

    def weather(self, name: str) -> xr.Dataset:
        """Return a climate by its name, read when it is first asked for.

        Raises
        ------
        InputError
            If there is none of that name, or its file has faults.
        """
        from cavity.climate import read_weather

        with self._lock:
            if name not in self._weathers:
                if name not in self.climates:
                    raise InputError(Fault("climate", "no such climate", name[:80], ", ".join(self.names())))
                self._weathers[name] = read_weather(self.climates[name])
            return self._weathers[name]

    def year(
        self,
        text: str,
        climate: str,
        opening_set: str = "",
        *,
        stop: NDArray[np.int64] | None = None,
    ) -> dict[str, Any]:
        """Return the hourly year of every strip of a wall, judged, with the figures of the strip that decides.

        Parameters
        ----------
        text, opening_set : str
            As for `quick`.
        climate : str
            Name of a climate.
        stop : array of int64, (1,), keyword only
            Set to 1 by another thread where the answer is not wanted any more: the year ends before its next hour.

        Returns
        -------
        dict
            Plain values for JSON.

        Raises
        ------
        InputError, ConvergenceError
            As `cavity.simulate`.
        Stopped
            If `stop` was set meanwhile.
        """
        from cavity.study.engine import Job

        key = (text, climate, opening_set)
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]
        wall = read(text, self.folder)
        weather, set_name = self.weather(climate), set_of(wall, opening_set)
        jobs = [Job(wall.case(opening_set=set_name, column=column.name), weather) for column in wall.columns]
        results = self.engine.run(jobs, keep="all", stop=stop)
        reply = answer(climate, [(result.dataset if not result.failure else None, result) for result in results])
        with self._lock:
            self._answers[key] = reply
            while len(self._answers) > REMEMBERED:
                self._answers.popitem(last=False)
        return reply

    def hours(self, text: str, climate: str, opening_set: str = "") -> str:
        """Return the hours of the first strip of a case as CSV; as `year`, which has computed them already."""
        from cavity.report.tables import hours_csv
        from cavity.study.engine import Job

        wall = read(text, self.folder)
        case = wall.case(opening_set=set_of(wall, opening_set))
        result = self.engine.run([Job(case, self.weather(climate))], keep="all")[0]
        return hours_csv(result.dataset)


def answer(climate: str, results: list[tuple[Any, Any]]) -> dict[str, Any]:
    """Return verdict, strips, numbers and figures of the strips of one case, as `packing.plain` leaves them.

    Parameters
    ----------
    climate : str
        Name of the climate.
    results : list of (xarray.Dataset or None, Result)
        Of every strip; None where it was not computed.
    """
    from cavity.report import elevation, figures, packing, series
    from cavity.risk import ranking, verdict

    computed = [(ds, result) for ds, result in results if ds is not None]
    failed = [
        {"strip": result.job.case.column.name, "reason": result.failure} for ds, result in results if ds is None
    ]  # fmt: skip
    if not computed:
        return {"climate": climate, "status": "", "sentence": "Not computed.", "failed": failed, "strips": []}
    worst, deciding = max(computed, key=lambda pair: ranking.order(pair[1].findings))
    status, sentence = verdict(deciding.findings)
    statuses = [ranking.status(result.findings) for _, result in computed]
    datasets = [ds for ds, _ in computed]
    segment, face = series.governing(worst, deciding.findings)
    drawn = figures.plain_of_case(worst, segment=segment, face=face, only=SHOWN)
    return packing.plain({
        "climate": climate,
        "has_rain": bool(worst.attrs.get("has_rain")),
        "status": status,
        "sentence": sentence,
        "deciding": str(worst.attrs["column"]),
        "place": f"{series.face_names(worst)[face]}, {worst['segment'].values[segment]}",
        "failed": failed,
        "findings": [
            {"title": finding.title, "where": finding.where, "value": _finite(finding.shown.value),
             "units": finding.shown.units, "limit": _finite(finding.shown.limit), "threshold": finding.threshold,
             "status": finding.status, "sentence": finding.sentence}
            for finding in deciding.findings
        ],
        "strips": [
            {"name": row.name, "mark": row.letter, "status": row.status,
             "rate": float(np.median(series.air_changes(ds)))}
            for row, (ds, _) in zip(
                [row for row in elevation.strip_rows(datasets, statuses) if row.status], computed, strict=True
            )
        ],
        "elevation": elevation.draw(datasets, statuses),
        "numbers": numbers(worst, deciding.findings),
        "figures": {name: thinned(drawn[name]) for name in SHOWN if name in drawn},
    })  # fmt: skip


def thinned(figure: dict[str, Any], most: int = POINTS) -> dict[str, Any]:
    """Return a figure whose long curves keep the lowest and the highest point of each stretch, and so every peak.

    Parameters
    ----------
    figure : dict
        Plain, ``data`` and ``layout``; not changed.
    most : int
        Points of a curve at most, roughly. [1]
    """
    thin = {"data": [], "layout": figure["layout"]}
    for trace in figure["data"]:
        trace = copy.copy(trace)
        x, y = (np.asarray(trace.get(key, ())) for key in "xy")
        if trace.get("type", "scatter").startswith("scatter") and x.size == y.size > most and y.dtype.kind == "f":
            at = _peaks(y, -(-2 * y.size // most))
            for key, value in trace.items():
                if isinstance(value, (np.ndarray, list, tuple)) and len(value) == y.size:
                    trace[key] = np.asarray(value)[at]
        thin["data"].append(trace)
    return thin


def _peaks(y: np.ndarray, stretch: int) -> np.ndarray:
    """Return the positions of the ends of a curve, of both extremes of each stretch, and of the first gap in it."""
    rows = -(-y.size // stretch)
    padded = np.full(rows * stretch, np.nan)
    padded[: y.size] = y
    table = padded.reshape(rows, stretch)
    gap = np.isnan(table)
    begin = stretch * np.arange(rows)
    some = ~gap.all(axis=1)
    keep = [
        np.array([0, y.size - 1]),
        (begin + np.where(gap, np.inf, table).argmin(axis=1))[some],
        (begin + np.where(gap, -np.inf, table).argmax(axis=1))[some],
        (begin + gap.argmax(axis=1))[gap.any(axis=1)],  # a gap stays a gap
    ]
    at = np.unique(np.concatenate(keep))
    return at[at < y.size]


SHOWN = ("fig-profile", "fig-critical", "fig-duration", "fig-mould", "fig-film", "fig-loss")  # figures of the page


def numbers(ds: Any, findings: Any) -> list[dict[str, Any]]:
    """Return the numbers shown next to those of a pinned state: key, label, value and unit.

    Parameters
    ----------
    ds : xarray.Dataset
        A result.
    findings : iterable of Finding
        Of it.
    """
    from cavity.report import series
    from cavity.risk.ranking import worst_by_criterion

    rates = series.air_changes(ds)
    rows = [
        {"key": "rate", "label": "Air change rate, median", "value": float(np.median(rates)), "unit": "per hour"},
        {"key": "rate_low", "label": "Air change rate, exceeded in 95 % of the hours",
         "value": float(np.quantile(rates, 0.05)), "unit": "per hour"},
    ]  # fmt: skip
    for key, finding in worst_by_criterion(findings).items():
        if finding.can_fail:
            value, limit, unit = finding.shown
            rows.append({"key": key, "label": finding.title, "value": _finite(value), "unit": unit,
                         "limit": _finite(limit), "status": finding.status})  # fmt: skip
    return rows


def edited(text: str, change: Mapping[str, Any]) -> str:
    """Return the text of a wall file after one change asked for by the page.

    Parameters
    ----------
    text : str
        The wall file.
    change : mapping
        ``do`` (set | insert | remove | move), ``place`` (list of keys and positions), and ``typed`` (text as typed,
        empty for the default), ``values`` or ``index`` as the kind of change needs.

    Raises
    ------
    InputError
        If the change makes no sense or cannot be made in this text.
    """
    from cavity.live import edit

    try:
        keys = tuple(part if isinstance(part, int) else str(part) for part in change["place"])
        if not keys or len(keys) > 8:
            raise KeyError("place")
        kind = change["do"]
        if kind == "set":
            typed = str(change["typed"])
            return edit.set_value(text, keys, form.typed(typed, keys) if typed.strip() else None)
        if kind == "insert":
            return edit.insert(text, keys, int(change["index"]), dict(change["values"]))
        if kind == "remove":
            return edit.remove(text, keys)
        if kind == "move":
            return edit.move(text, keys, int(change["index"]))
    except (KeyError, TypeError, ValueError):
        pass
    raise InputError(Fault("change", "not understood", str(dict(change))[:120], "a change made on the page"))
