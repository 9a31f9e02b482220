"""Writes the report: one HTML file with data, figures, styles and plotly inside; it opens from disk, no network."""

from __future__ import annotations

import functools
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from cavity.errors import Fault, InputError
from cavity.files import write_whole
from cavity.report import (
    air_words,
    brief,
    digest,
    display,
    elevation,
    figures,
    inputs_and_sources,
    packing,
    schedule,
    series,
    verdict,
    wall_drawing,
)
from cavity.report.monthly_vs_hourly import companion, heat
from cavity.report.palette import DARK, FONT, LIGHT, STATUS_PATH, STATUS_WORD, style
from cavity.result import wall_of
from cavity.units import FOOTNOTE, cite

_TEMPLATES = Path(__file__).parent / "templates"
_FACETS = (
    ("climate", "Climate", lambda case: case.climate_name),
    ("variant", "Variant of the layers", lambda case: verdict.variant_text(verdict.variant(case))),
    ("orientation", "Facing", verdict.orientation),
    ("column", "Strip of the wall", verdict.column),
    ("opening_set", "Openings", lambda case: case.opening_set),
    ("depth", "Cavity depth", lambda case: float(case.depth)),
)


_COLDEST = -60.0  # °C, start of the page's table of vapour pressure by dew point, a row each kelvin


# ---- shared by every page ------------------------------------------------------------------------------------------
@functools.cache
def plotly_packed() -> str:
    """Return plotly.js deflated as base64; the page inflates it, so it costs two instead of five megabytes."""
    from plotly.offline import get_plotlyjs

    return packing.deflate(get_plotlyjs().encode("utf-8"))


@functools.cache
def environment() -> Any:
    """Return the template environment: everything escaped, undefined names are errors."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_cited,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _cited(value: Any) -> Any:
    """Show "from memory" as the mark that the footnote explains; markup and what is no text pass through."""
    return cite(value) if type(value) is str else value


def with_footnote(page: str, *, always: bool = False) -> str:
    """Return a page with the footnote on recalled sources at its end, where the mark occurs."""
    if not always and "†" not in page:
        return page
    return page.replace("</main>", f'<p class="small muted" id="footnote">{FOOTNOTE}</p>\n</main>', 1)


def shared_style() -> str:
    """Return the style that all pages share: colours of both themes, type, tables."""

    def colours(table: Mapping[str, str]) -> str:
        return "".join(f"--{name}:{value};" for name, value in table.items())

    css = f":root{{{colours(LIGHT)}--font:{FONT};color-scheme:light}}"
    css += f"@media screen{{html[data-theme=dark]{{{colours(DARK)}color-scheme:dark}}}}"
    return css + read("base.css")


def section_style() -> str:
    """Return the style of the drawn section."""
    return read("section.css")


def base_context(title: str) -> dict[str, Any]:
    """Return what base.html.j2 needs on every page."""
    from markupsafe import Markup

    from cavity import __version__

    css = shared_style() + _page_boxes(title)
    tones = {LIGHT[name]: DARK[name] for name in LIGHT}
    script = read("base.js").replace("/*TONES*/{}", packing.script_json(tones))
    script = script.replace("/*POUNDS*/{}", packing.script_json(display.text_units()))
    return {
        "title": title,
        "source": f"cavity {__version__}",
        "css": Markup(css),
        "base_js": Markup(script),
        "plotly_packed": Markup(plotly_packed()),
    }


def _page_boxes(title: str) -> str:
    """Return the style that puts title, program and page number on every printed page."""
    import cavity

    return (
        f"@page{{@top-left{{content:{_css_text(title)}}}"
        f"@bottom-left{{content:{_css_text(f'Cavity {cavity.__version__}: advisory results, not an approval')}}}}}"
    )


def _css_text(text: str) -> str:
    """Return a text as a string of CSS, safe inside an HTML style element."""
    return (
        '"'
        + "".join(letter if letter.isalnum() or letter in " .,;:-()" else f"\\{ord(letter):x} " for letter in text)
        + '"'
    )


def read(name: str) -> str:
    """Return a style sheet or script of the templates."""
    return (_TEMPLATES / name).read_text("utf-8")


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write `text` to `path` as UTF-8, whole or not at all; raises what `files.write_whole` does."""
    return write_whole(path, text)


def write_page(
    path: str | os.PathLike[str],
    title: str,
    *,
    lead: Sequence[str] = (),
    caution: Sequence[str] = (),
    parts: Sequence[Mapping[str, Any]] = (),
) -> Path:
    """Write a page of text, tables and fixed figures in the style of the report.

    Parameters
    ----------
    path : path
        The HTML file.
    title, lead, caution : str, sequence of str
        Heading, opening lines, caution lines; escaped.
    parts : sequence of mapping
        Each with `heading` and, as needed, `nav` (short name in the bar), `text` (lines), `equation` (MathML of
        `notes.equation`), `symbols` (a line on its letters), `figures` (mappings of `id`, `title`, `caption`,
        `figure`), `table` (mapping of `caption`, `head`, `rows`, and where set `widths` of the columns on paper [%]),
        `fold` (title under which the table is folded away), `question` and `answer` (lines, folded under it).

    Returns
    -------
    pathlib.Path
        The file written.
    """
    from markupsafe import Markup

    keys = ("nav", "text", "equation", "symbols", "figures", "table", "fold", "question", "answer")
    full = [{**dict.fromkeys(keys), "text": (), "figures": (), **part} for part in parts]
    drawn = {}
    for part in full:
        part["equation"] = Markup(part["equation"]) if part["equation"] else ""
        for item in part["figures"]:
            drawn[item["id"]] = packing.plain_figure(item["figure"])
    template = {"figures": drawn, "template": packing.plain(style()["template"])}
    context = base_context(title) | {
        "lead": lead,
        "caution": caution,
        "parts": full,
        "figures_json": Markup(packing.script_json(template)),
    }
    return write_text(path, with_footnote(environment().get_template("simple.html.j2").render(context)))


# ---- the report ------------------------------------------------------------------------------------------------------
def write_report(comparison: Any, path: str | os.PathLike[str]) -> Path:
    """Write the interactive report of a comparison as one HTML file.

    Parameters
    ----------
    comparison : Comparison
        `cases` (each `wall_name`, `climate_name`, `opening_set`, `depth` [m], `dataset`, `findings`, and if it has one
        `event`), `created`, and if it has them `wall`, `advice`, `checks`, `no_event`, and `failed`: those not
        computed.
    path : path
        The HTML file; its folder is made if missing. An existing file is replaced only by a complete one.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If there is no case, or the file cannot be written.
    """
    return write_text(path, render(comparison))


def render(comparison: Any) -> str:
    """Return the HTML of a report; the same text for the same comparison."""
    from markupsafe import Markup, escape

    cases = list(comparison.cases)
    if not cases:
        raise InputError(
            Fault("comparison", "has no case to report", fix="give at least one opening set and one depth")
        )
    first = digest.about(cases[0])
    created = str(getattr(comparison, "created", "") or first.attrs.get("created", ""))
    climates = list(dict.fromkeys(case.climate_name for case in (*cases, *verdict.failed_of(comparison))))
    failed = verdict.failed_of(comparison)
    depths = verdict.compared_depths(comparison)
    facings = sorted({verdict.orientation(case) for case in cases})
    sets = {case.opening_set for case in (*cases, *failed)}
    name = str(cases[0].wall_name)
    seen = verdict.shown(verdict.view(comparison))
    explored = [case for case in cases if id(case) in seen.number]
    index, blocks = pack(explored, seen)
    start = index["start"]
    matrix = verdict.matrix(seen)
    index["matrix"] = {"selectors": [len(each["values"]) for each in matrix["selectors"]], "cells": matrix["other"]}
    strips = seen.strips
    facets = [{"key": key, "label": label, "values": _facet_texts(key, explored)} for key, label, _ in _FACETS]
    context = base_context(f"{name}: cavity report") | {
        "report_css": Markup(
            section_style() + read("report.css") + read("brief.css") + elevation.STYLE + schedule.STYLE
        ),
        "report_js": Markup(read("report.js")),
        "status_path": STATUS_PATH,
        "status_word": STATUS_WORD,
        "source": f"cavity {first.attrs.get('version', '')}, {created[:10]}; weather: {', '.join(climates)}",
        "wall_name": name,
        "vent_head": [head[:1].upper() + head[1:] for head in air_words.VENT_HEAD],
        "rule_head": RULE_HEAD,
        "rules": index["rules"][index["cases"][start]["rules"]],
        "wall_invented": bool(first.attrs.get("wall_invented")),
        "description": wall_of(first).description,
        "climate_text": ", ".join(climates),
        "facing": ", ".join(verdict.facing_text(value) for value in facings),
        "compared": " × ".join(
            [f"{len(sets)} opening set{'s' * (len(sets) > 1)}", f"{len(depths)} depth{'s' * (len(depths) > 1)}"]
            + [f"{len(seen.variants)} variants"] * (len(seen.variants) > 1)
            + [f"{len(facings)} facings"] * (len(facings) > 1)
            + [f"{len(strips)} strips"] * (len(strips) > 1)
            + [f"{len(climates)} climates"] * (len(climates) > 1)
        ),
        "created_day": created[:10],
        "verdict": verdict.headline(seen),
        "best": verdict.recommended(seen),
        "left_out": len(cases) - len(explored),
        "matrix": matrix,
        "worst_over": verdict.where(seen),
        "several_parts": max(len(climates), len(facings), len(strips)) > 1,
        "several_cases": len(explored) > 1,
        "still": verdict.still_pieces(seen),
        **_elevation(seen),
        "brief": brief.brief(comparison, seen),
        "brief_heads": {
            "strips": brief.STRIP_HEAD, "criteria": brief.CRITERIA_HEAD, "schedule": brief.SCHEDULE_HEAD,
            "rules": brief.RULE_HEAD, "signed": brief.SIGNED,
        },
        "depths": [display.quantity(value, "m") for value in depths],
        "advice": verdict.changes(seen),
        "cautions": verdict.CAUTIONS,
        "facets": facets,
        "patterns": Markup(wall_drawing.PATTERNS),
        "section": Markup(index["sections"][index["cases"][start]["section"]]),
        "has_event": any(case["event"] for case in index["cases"]),
        "no_event": str(getattr(comparison, "no_event", "")),
        "has_balance": any("fig-balance" in case["figures"] for case in index["cases"]),
        "warnings": inputs_and_sources.warnings(cases),
        "all_cases": inputs_and_sources.all_cases(cases),
        "not_computed": inputs_and_sources.not_computed(failed),
        "companion": companion(cases),
        "heat": heat(cases, getattr(comparison, "closed", ())),
        "recalled": inputs_and_sources.recalled(cases),
        "inputs": inputs_and_sources.inputs(first),
        "layers": inputs_and_sources.layers(first),
        "openings": inputs_and_sources.openings(cases),
        "notes": [
            {"title": note.title, "text": note.text, "source": note.source,
             "equations": [Markup(item) for item in note.equations]}
            for note in inputs_and_sources.NOTES
        ],
        "assumptions": inputs_and_sources.ASSUMPTIONS,
        "checks": inputs_and_sources.checks(inputs_and_sources.published()),
        "provenance": inputs_and_sources.provenance(cases, created),
        "wall_text": escape(str(first.attrs.get("wall_text") or "")),  # as the user wrote it, marks and all
        "index_packed": Markup(packing.deflate(json.dumps(index, separators=(",", ":"), allow_nan=False).encode())),
        "blocks": [Markup(block) for block in blocks],
    }  # fmt: skip
    page = environment().get_template("report.html.j2").render(context)
    return with_footnote(page, always=True)  # the packed findings contain marks


def _elevation(seen: verdict.View) -> dict[str, Any]:
    """Return elevation, strips with their compartments, and vent schedule of the recommended choice."""
    from markupsafe import Markup

    pieces = verdict.compartments(seen)
    parts = verdict.drawn_parts(seen)
    datasets = [part.case.dataset for part in parts]
    if not datasets:
        return {"elevation": "", "pieces": pieces, "schedule": [], "schedule_head": (), "details": []}
    statuses = [verdict.case_status(part.case) for part in parts]
    marks = {}
    for row in elevation.strip_rows(datasets, statuses):
        for at, piece in enumerate(row.compartments):
            area = row.area * (piece.top - piece.bottom) / (row.top - row.bottom)
            marks[row.name, at] = (piece.mark, piece.direction, "" if np.isnan(area) else f"{display.number(area)} m²")
    for entry in pieces:
        entry["mark"], entry["direction"], entry["area"] = marks.get((entry["column"], entry["at"]), ("", "", ""))
    return {
        "elevation": Markup(elevation.draw(datasets, statuses)),
        "pieces": pieces,
        "schedule": schedule.table(schedule.rows(datasets[0])),
        "schedule_head": schedule.HEAD,
        "details": [(title, Markup(svg)) for title, svg in schedule.details(datasets[0])],
    }


def _facet_values(key: str, cases: Sequence[Any]) -> list[Any]:
    get = next(get for name, _, get in _FACETS if name == key)
    values = list(dict.fromkeys(get(case) for case in cases))
    return sorted(values) if key in {"depth", "orientation"} else values


def _facet_texts(key: str, cases: Sequence[Any]) -> list[Any]:
    values = _facet_values(key, cases)
    if key == "depth":
        return [display.quantity(value, "m") for value in values]
    if key == "climate":
        return [verdict.climate_text(value) for value in values]
    return [verdict.facing_text(value) if key == "orientation" else str(value) for value in values]


def pack(cases: Sequence[Any], seen: verdict.View | None = None) -> tuple[dict[str, Any], list[str]]:
    """Return the page's index (plain JSON) and the packed blocks: one shared, then one a case."""
    packer = packing.Packer()
    values = {key: _facet_values(key, cases) for key, _, _ in _FACETS}
    shared = _Shared(cases)
    packed = []
    for number, case in enumerate(cases):
        at = [values[key].index(get(case)) for key, _, get in _FACETS]
        packed.append(_case(case, number + 1, packer, shared) | {"at": at})
    seen = seen or verdict.view(SimpleNamespace(cases=cases))
    start = verdict.start(seen)
    near = _near(cases, [case["at"] for case in packed], seen)
    for case, others in zip(packed, near, strict=True):
        case["near"] = others
    shared.level(packed)
    blocks = packer.blocks(len(cases))  # completes the references in `packed`
    index = {
        "facets": [{"key": key, "label": label, "texts": _facet_texts(key, cases)} for key, label, _ in _FACETS],
        "cases": packed,
        "start": start,
        "hour": _telling_hour(cases[start].dataset),
        "pair": [start, next((b for others in near[start] for b in others), len(cases) - 1)],
        "wall": str(cases[0].wall_name),
        "names": _names(cases),
        "clock": packer.add(cases[0].dataset["time"].values, 0),
        "skeletons": shared.skeletons,
        "sections": shared.sections,
        "legends": shared.legends,
        "rules": shared.rules,
        "vapour": {"from": _COLDEST, "kPa": packing.plain(series.vapour_kpa(np.arange(_COLDEST, 100.0)))},
        "template": packing.plain(style()["template"]),
        "status_path": STATUS_PATH,
        "status_word": STATUS_WORD,
        "colours": {"air": LIGHT["air"], "temperature": LIGHT["temperature"]},
    }
    return index, blocks


def _names(cases: Sequence[Any]) -> list[str]:
    """Return the names that the user gave, which are no quantities even where they look it ("10 mm slots")."""
    wall = wall_of(digest.about(cases[0]))
    parts: list[Any] = [*wall.opening_sets, *wall.columns, *wall.layers, *wall.rails, *wall.barriers]
    parts += [vent for opening_set in wall.opening_sets for vent in opening_set.openings]
    named = [wall.name, wall.description, *(part.name for part in parts)]
    for case in cases:
        named += [
            case.opening_set,
            case.climate_name,
            verdict.climate_text(case.climate_name),
            verdict.variant_text(verdict.variant(case)),
        ]
    return sorted({name for name in named if name})


def _near(cases: Sequence[Any], choices: Sequence[Sequence[int]], seen: verdict.View) -> list[list[list[int]]]:
    """Return for every case the others that differ from it in one respect and in two, the least change first.

    A respect is one of `_FACETS`; `choices` gives the number of each for every case. Openings and depth come before
    the others, the runner-up before its like, and more vents or depth before less.
    """
    areas = [verdict.opening_area(case) for case in cases]
    depths = [float(case.depth) for case in cases]
    second = seen.recommendation.runner_up if seen.recommendation else None
    named = [
        second is not None and (case.opening_set, depth) == (second.opening_set, second.depth)
        for case, depth in zip(cases, depths, strict=True)
    ]
    layers = len(_FACETS) - 2  # openings and depth are the last two

    def change(a: int, b: int) -> tuple[Any, ...]:
        elsewhere = choices[a][:layers] != choices[b][:layers]
        less = areas[b] < areas[a] or depths[b] < depths[a]
        return elsewhere, not named[b], less, abs(areas[b] - areas[a]) + abs(depths[b] - depths[a]), b

    near = []
    for a in range(len(cases)):
        things = [sum(x != y for x, y in zip(choices[a], there, strict=True)) for there in choices]
        near.append(
            [
                sorted((b for b, count in enumerate(things) if count == different), key=functools.partial(change, a))
                for different in (1, 2)
            ]
        )
    return near


class _Shared:
    """Parts that many cases have in common, kept once and referred to by number."""

    def __init__(self, cases: Sequence[Any]) -> None:
        # what names a case besides openings and depth, as far as the cases differ in it
        names = (
            lambda case: verdict.climate_text(case.climate_name),
            _FACETS[1][2],
            lambda case: f"facing {verdict.facing_text(verdict.orientation(case))}",
            verdict.column,
        )
        self.telling = [get for get in names if len({get(case) for case in cases}) > 1]
        self.skeletons: list[Any] = []
        self.sections: list[Any] = []
        self.legends: list[Any] = []
        self.rules: list[Any] = []
        self._known: dict[tuple[str, str], int] = {}
        self._spans: dict[str, list[float]] = {}

    def span(self, name: str, low: float, high: float) -> None:
        """Widen the scale that a figure has in all cases."""
        old = self._spans.get(name, [low, high])
        self._spans[name] = [min(old[0], low), max(old[1], high)]

    def level(self, packed: Sequence[Mapping[str, Any]]) -> None:
        """Give the map of air change rates and the temperatures of the profile one scale in all cases."""
        for case in packed:
            bars = self.skeletons[case["figures"]["fig-map"]]["data"][0]
            bars.update(figures.rate_scale(*self._spans["fig-map"]))
            layout = self.skeletons[case["figures"]["fig-profile"]]["layout"]
            layout["yaxis"]["range"] = packing.plain(self._spans["fig-profile"])

    def number(self, kind: str, value: Any) -> int:
        """Return the number of `value` in the list `kind`; references are compared by their text once placed."""
        key = (kind, repr(value))
        if key not in self._known:
            rows = getattr(self, kind)
            self._known[key] = len(rows)
            rows.append(value)
        return self._known[key]


def _telling_hour(ds: Any) -> int:
    """Return the hour to open with: the smallest dew-point margin on the back of the cladding."""
    faces = [str(role) for role in ds["face_role"].values]
    face = faces.index("back of cladding") if "back of cladding" in faces else 0
    return int(np.argmin(np.asarray(ds["dew_point_margin"].values[:, :, face], float).min(axis=1)))


def _case(case: Any, owner: int, packer: packing.Packer, shared: _Shared) -> dict[str, Any]:
    ds = case.dataset
    segment, face = series.governing(ds, case.findings)
    names, _ = figures.profile_positions(ds)
    labels = series.face_names(ds)
    drawn = figures.plain_of_case(ds, segment=segment, face=face)
    event = getattr(case, "event", None)
    if event is not None:
        drawn["fig-event"] = figures.event.__wrapped__(event)
    shared.span("fig-map", *(drawn["fig-map"]["data"][0][end] for end in ("zmin", "zmax")))
    shared.span("fig-profile", *drawn["fig-profile"]["layout"]["yaxis"]["range"])
    numbers = {}
    for key, figure in drawn.items():
        parts = packing.split(figure, packer, owner, like=(case.climate_name, key))
        numbers[key] = shared.number("skeletons", parts)
    values = figures.profile_values(ds, segment)

    def add(name: str, array: Any, **how: Any) -> dict[str, Any]:
        return packer.add(array, owner, like=(case.climate_name, name), **how)

    def rows(name: str, table: np.ndarray, **how: Any) -> list[dict[str, Any]]:
        return [add(f"{name} {number}", line, **how) for number, line in enumerate(table)]

    films = [str(item) for item in ds["film_face"].values]
    film = display.show("film", ds["film"].values[:, segment, :])
    speed = np.asarray(ds["air_speed"].values, float).T
    hourly: dict[str, Any] = {
        "temperature": rows("temperature", display.show("temperature", values["temperature"]), step=0.1),
        "dew_point": rows("dew_point", display.show("dew_point", values["dew_point"]), step=0.1),
        "humidity": rows("humidity", display.show("relative_humidity", values["relative_humidity"]), step=0.2),
        "mould": rows("mould", series.mould(ds, segment).T, step=0.005),
        "rate": add("rate", series.air_changes(ds), root=True),
        # the first segment, and what the others differ from it
        "speed": rows("speed", np.vstack([speed[:1], speed[1:] - speed[:1]]), step=0.001),
        "stack": add("stack", display.show("stack_pressure", ds["stack_pressure"].values), parts=500),
        "wind": add("wind", display.show("wind_pressure", ds["wind_pressure"].values), parts=500),
        # the last opening lets out what the others let in: the page closes the sum
        "flow": rows("flow", display.show("opening_flow", ds["opening_flow"].values).T[:-1], parts=500),
        "film": [add(key, film[:, films.index(key)]) for key in ("back of cladding", "outer face of wall")],
        "breeze": add("breeze", display.show("wind_speed", ds["wind_speed"].values), parts=250),
        "from": add("from", display.show("wind_direction", ds["wind_direction"].values), parts=350),
        "sun": add("sun", display.show("sun_on_wall", ds["sun_on_wall"].values), parts=500),
    }
    humid = series.monthly(ds, segment)
    bottom, top = float(ds["segment_bottom"].values[segment]), float(ds["segment_top"].values[segment])
    legend = wall_drawing.legend(ds)
    short = f"{case.opening_set}, {verdict.depth_text(case.depth)}"
    return {
        "name": short + "".join(f", {get(case)}" for get in shared.telling),
        "head": brief.case_head(case),
        "status": verdict.case_status(case),
        "word": verdict.word(verdict.case_status(case), verdict.has_rain(case)),
        "what": verdict.what(case),
        "rules": shared.number("rules", [list(row) for row in rule_rows(ds)]),
        "figures": numbers,
        "series": hourly,
        "section": shared.number("sections", wall_drawing.draw(ds)),
        "legend": shared.number("legends", legend),
        "faces": labels,
        "points": [names.index(label) for label in labels],
        "point_names": names,
        "cavity_point": names.index("cavity air"),
        "governs": face,
        "openings": [str(name) for name in ds["opening"].values],
        "segment_text": f"{series.segment_text(ds, segment)}, {bottom:.2g} to {top:.2g} m",
        "upward": float((series.upward(ds) > 0).mean()),
        "air": list(air_words.sentences(ds)),
        "vents": [list(row) for row in air_words.vent_rows(ds)],
        "findings": [_finding(found) for found in series.ranked(case.findings)],
        "monthly": [[_month(row) for row in rows] for rows in humid],
        "event": event_text(event),
        "summary": _summary(ds, segment, face, humid[face][-1]) + _event_rows(event),
    }


RULE_HEAD = ("Document", "Clause", "Edition", "Asks", "Drawn", "Result", "How the rule is known")


def rule_rows(ds: Any) -> list[tuple[str, ...]]:
    """Return the rule check of a case as rows under `RULE_HEAD`."""
    from cavity.risk.rules import checks

    return [
        (check.document, check.clause, check.edition, check.asks, check.drawn, check.outcome, check.known)
        for check in checks(ds)
    ]


def event_text(event: Any) -> str:
    """Return in words what was wetted and how it dries; empty where there is no event."""
    return "" if event is None else f"Wetted: {event.layer}. {event.finding.sentence}"


def _event_rows(event: Any) -> list[list[Any]]:
    if event is None:
        return []
    times = series.event_times(event)

    def days(value: float) -> list[str]:
        return [f"{display.number(value)} d" if np.isfinite(value) else f"over {display.number(times['span'])} d"] * 2

    return [
        ["Wetting event: 50 % drying time", days(times["half"])],
        ["Wetting event: 90 % drying time", days(times["nine"])],
        [f"Wetting event: water left after {display.number(times['span'])} days", [f"{100 * times['left']:.0f} %"] * 2],
    ]


def _finding(finding: Any) -> dict[str, str]:
    return {
        "status": finding.status,
        "title": finding.title,
        "where": finding.where,
        "value": verdict.value_text(finding),
        "limit": ("" if finding.threshold == "limit" else f"{finding.threshold} ")
        + verdict.value_text(finding, limit=True),
        "when": finding.when,
        "sentence": display.typeset(finding.sentence),
        "source": display.typeset(cite(finding.source)),
    }


def _month(row: Mapping[str, Any]) -> list[Any]:
    """Return a row of the monthly table in display units, rounded to what is shown."""
    return [
        row["month"],
        round(float(display.show("temperature", row["outdoor"])), 2),
        round(row["air_changes"], 2),
        round(100 * row["upward"], 1),
        round(float(display.show("temperature", row["temperature"])), 2),
        round(100 * row["humidity"], 2),
        row["humid_hours"],
        round(row["margin"], 2),
        row["wet_hours"],
        round(1e3 * row["film"], 2),
        round(1e3 * row["runoff"], 2),
        round(row["water"], 4),
    ]


def _summary(ds: Any, segment: int, face: int, year: Mapping[str, Any]) -> list[list[Any]]:
    rate = series.air_changes(ds)
    low, high = (display.number(float(value)) for value in np.quantile(rate, (0.1, 0.9)))
    peak = 1e3 * digest.film_peak(ds)
    area = float(np.nansum(np.asarray(ds["opening_area"].values, float)))

    def same(text: str) -> list[str]:
        return [text, text]

    return [
        ["Free vent area of all openings", list(display.quantity(area, "area"))],
        ["Median air change rate", same(f"{display.number(year['air_changes'])} per hour")],
        ["Air change rate, 10 % and 90 % of hours", same(f"{low} to {high} per hour")],
        ["Hours with flow upwards", same(f"{100 * year['upward']:.0f} %")],
        ["Governing surface", same(series.place_text(ds, segment, face))],
        ["Mean relative humidity at this surface", same(f"{100 * year['humidity']:.1f} %")],
        ["Hours above 80 % RH at this surface", same(str(year["humid_hours"]))],
        ["Hours in which some surface condenses", same(str(year["wet_hours"]))],
        ["Largest film in the cavity", [f"{display.number(peak)} g/m²", f"{display.number(0.00327706 * peak)} oz/ft²"]],
        ["Run-off in the year", [f"{1e3 * year['runoff']:.0f} g/m²", f"{3.27706 * year['runoff']:.2f} oz/ft²"]],
    ]
