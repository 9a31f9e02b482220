"""The tables behind the answer: inputs, layers, openings, model notes, assumptions, provenance."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.report import display, series, verdict
from cavity.report.digest import about, digest
from cavity.report.equations import ASSUMPTIONS, NOTES
from cavity.result import wall_of
from cavity.units import cite

if TYPE_CHECKING:
    from cavity.wallfile.model import Layer

__all__ = ["ASSUMPTIONS", "NOTES", "checks", "inputs", "layers", "openings", "provenance", "published", "warnings"]

_AREAS = {
    "airflow": "Air flow", "climate": "Weather, sun and rain", "hourly": "Time-step and grid convergence",
    "risk": "Mould and other criteria", "wall": "Heat and moisture in the wall",
}  # fmt: skip
_OUTCOMES = {"pass": "met", "outside": "not met", "not run": "not run"}

# key in the wall, label, unit of `display.quantity` (text unchanged where empty)
_TABLES: tuple[tuple[str, str, tuple[tuple[str, str, str], ...]], ...] = (
    (
        "Wall and cavity",
        "",
        (
            ("orientation", "Orientation (clockwise from north)", "degree"),
            ("tilt", "Tilt from horizontal", "degree"),
            ("solar_absorptance", "Solar absorptance, exterior surface", "-"),
            ("emissivity", "Longwave emissivity, exterior surface", "-"),
            ("cavity.blocked", "Cross-section blocked by battens and brackets", "1"),
            ("cavity.roughness", "Roughness of the cavity surfaces", "m"),
            ("cavity.emissivity_cladding", "Emissivity, back of the cladding", "-"),
            ("cavity.emissivity_wall", "Emissivity, exterior surface of the wall", "-"),
            ("cavity.film_limit", "Water a surface holds before run-off", "kg/m2"),
        ),
    ),
    (
        "Site",
        "site",
        (
            ("terrain", "Terrain", ""),
            ("building_height", "Building height", "height"),
            ("base_height", "Base of the wall above ground", "height"),
            ("wall_width", "Width of the wall", "height"),
            ("side_width", "Width of the side wall", "height"),
            ("cp_difference", "C_p at the base minus C_p at the head, windward (none: wind-tunnel profile)", "-"),
            ("ground_albedo", "Ground albedo", "-"),
            ("rain_method", "Driving rain by", ""),
            ("rain_topography", "Rain: topography coefficient", "-"),
            ("rain_obstruction", "Rain: obstruction factor", "-"),
            ("rain_wall_factor", "Rain: wall factor", "-"),
            ("rain_exposure", "Rain: exposure (ASHRAE 160)", ""),
            ("rain_deposition", "Rain: deposition factor (ASHRAE 160)", "-"),
        ),
    ),
    (
        "Indoors",
        "indoor",
        (
            ("model", "Indoor climate by", ""),
            ("load", "Moisture load (EN 15026)", ""),
            ("humidity_class", "Humidity class (ISO 13788)", ""),
            ("bedrooms", "Bedrooms (ASHRAE 160)", ""),
            ("temperature", "Temperature", "K"),
            ("relative_humidity", "Relative humidity", "1"),
        ),
    ),
    (
        "Wetting and run",
        "",
        (
            ("wetting.rain_penetration", "Fraction of driving rain that penetrates the cladding", "1"),
            ("wetting.leak_q50", "Air permeability q50 of the envelope, for the leak", "m3/(m2 s)"),
            ("wetting.leak_flow", "Indoor air leaking in", "kg/(m2 s)"),
            ("run.segments", "Segments by height", ""),
            ("run.start_humidity", "Humidity of the layers at the start", "1"),
            ("run.start_month", "Month of the start", "month"),
            ("run.max_years", "Years at most", ""),
            ("run.freezing", "Freezing of pore water", ""),
        ),
    ),
)
# Rows that only one model uses: shown where it is chosen.
_ONLY = {
    "rain_topography": ("site.rain_method", "ISO 15927-3"),
    "rain_obstruction": ("site.rain_method", "ISO 15927-3"),
    "rain_wall_factor": ("site.rain_method", "ISO 15927-3"),
    "rain_exposure": ("site.rain_method", "ASHRAE 160"),
    "rain_deposition": ("site.rain_method", "ASHRAE 160"),
    "load": ("indoor.model", "EN 15026"),
    "humidity_class": ("indoor.model", "ISO 13788"),
    "bedrooms": ("indoor.model", "ASHRAE 160"),
    "temperature": ("indoor.model", "constant|monthly"),
    "relative_humidity": ("indoor.model", "constant|monthly"),
}


def _shown(value: Any, unit: str) -> tuple[str, str]:
    if isinstance(value, bool):
        return ("yes", "yes") if value else ("no", "no")
    if isinstance(value, (list, tuple)):
        texts = [_shown(item, unit) for item in value]
        return ", ".join(text[0] for text in texts), ", ".join(text[1] for text in texts)
    if value is None:
        return "of the material", "of the material"
    if unit == "month":
        return (series.MONTHS[int(value) - 1],) * 2
    if unit and isinstance(value, (int, float)):
        return display.quantity(float(value), unit)
    return str(value), str(value)


def inputs(ds: Any) -> list[dict[str, Any]]:
    """Return the tables of inputs other than layers and openings; each row a label and (SI, inch-pound) texts."""
    wall = wall_of(ds)
    tables: list[dict[str, Any]] = []
    for title, base, rows in _TABLES:
        entries = []
        for key, label, unit in rows:
            path = f"{base}.{key}" if base else key
            if key in _ONLY and attrgetter(_ONLY[key][0])(wall) not in _ONLY[key][1].split("|"):
                continue
            value = attrgetter(path)(wall)
            if value == "" or (key == "wetting.leak_q50" and not value):
                continue
            entries.append(
                (label, _shown(value, unit) if key != "cp_difference" or value is not None else ("none",) * 2)
            )
        tables.append({"title": title, "rows": entries})
    pieces: list[tuple[str, tuple[str, ...]]] = []
    for rail in wall.rails:
        gap, bay = display.quantity(rail.gap, "m"), display.quantity(rail.bay, "m")
        count = len(rail.heights)
        pieces.append(
            (rail.name, tuple(f"{count} ×, gap {g} in each bay of {b}" for g, b in zip(gap, bay, strict=True)))
        )
    for barrier in wall.barriers:
        height, area = display.quantity(barrier.height, "height"), display.quantity(barrier.free_area, "area")
        pieces.append((barrier.name, tuple(f"at {h}, {a} left open" for h, a in zip(height, area, strict=True))))
    for column in wall.columns:
        low, high = display.quantity(column.bottom, "height"), display.quantity(column.top, "height")
        pieces.append((f"column {column.name}", tuple(f"{a} to {b}" for a, b in zip(low, high, strict=True))))
    tables.append({"title": "Columns, rails and barriers", "rows": pieces})
    return tables


def layers(ds: Any) -> list[dict[str, Any]]:
    """Return the layer and material table, outside to inside."""
    wall = wall_of(ds)
    known = {layer.name: layer for layer in wall.layers}
    rows = []
    for index, name in enumerate(ds["layer"].values):
        layer = known[str(name)]
        material = layer.material
        if layer.sd is not None:
            vapour = tuple(
                f"s_d {text}" if n == 0 else text for n, text in enumerate(display.quantity(layer.sd, "s_d"))
            )
        elif layer.sd_table:
            low, high = (f(sd for _, sd in layer.sd_table) for f in (min, max))
            vapour = (f"s_d {display.number(low)} to {display.number(high)} m",) * 2
        else:
            vapour = (f"{display.number(material.mu_dry)} / {display.number(material.mu_wet)}",) * 2
        rows.append(
            {
                "mark": str(index + 1),
                "name": layer.name,
                "material": _title(str(ds["layer_material"].values[index]), layer) + _bridged(layer),
                "thickness": display.quantity(float(ds["layer_thickness"].values[index]), "m"),
                "density": display.quantity(float(ds["layer_density"].values[index]), "kg/m3"),
                "conductivity": display.quantity(float(ds["layer_conductivity"].values[index]), "W/(m K)"),
                "heat": display.quantity(material.specific_heat, "J/(kg K)"),
                "vapour": vapour,
                "absorption": display.quantity(material.absorption, "kg/(m2 s0.5)"),
                "mould": str(ds["layer_mould_class"].values[index]),
                "source": display.typeset(material.source or "–"),
            }
        )
    return rows


def _title(material: str, layer: Layer) -> str:
    """Return the title of a material, without an s_d that the wall file replaces."""
    return material if layer.sd is None and not layer.sd_table else re.sub(r", s_?d [\d.]+ m$", "", material)


def _bridged(layer: Layer) -> str:
    """Return in words what bridges a layer: timber studs, metal rails, brackets."""
    parts = []
    if layer.frame is not None:
        parts.append(f"{100 * layer.frame.fraction:.3g} % studs of {layer.frame.material.title}")
    if layer.bridge_conductance or layer.bridge_loss:
        parts.append(f"metal rails every {display.number(1e3 * layer.bridge_spacing)} mm")
    if layer.bracket_loss:
        parts.append("brackets")
    return f"; {', '.join(parts)}" if parts else ""


def recalled(cases: Sequence[Any]) -> list[str]:
    """Return every source that is cited from memory, once, in alphabetical order; of a work and its parts the work.

    Parameters
    ----------
    cases : sequence of JudgedCase
        Their findings and layers, and the notes of the model, name the sources.

    Returns
    -------
    list of str
    """
    texts = [finding.source for case in cases for finding in case.findings]
    texts += [str(row["source"]) for case in cases for row in layers(about(case))]
    texts += [note.source for note in NOTES]
    sources = set()
    for text in texts:
        for part in re.split(r";(?![^()]*\))", text):
            if "from memory" not in part:
                continue
            name = cite(part).partition("†")[0]
            name = name.partition("(")[0] if name.count("(") > name.count(")") else name
            name = re.sub(r"\([^()]*\)|, coefficients|^[a-z][^:]*: ", "", name.strip()).strip(" :,")
            if re.search(r"[A-Z].*\d", name):  # "sheet from memory" names no source
                sources.add(name)
    parts = {name for name in sources for whole in sources if re.match(rf"{re.escape(whole)}(?=[ :,])", name)}
    return sorted(map(display.typeset, sources - parts))


def openings(cases: Sequence[Any]) -> list[dict[str, Any]]:
    """Return the opening schedule of all sets."""
    return [
        {
            "set": vent_set.name,
            "name": vent.name,
            "kind": vent.kind,
            "height": display.quantity(vent.height, "height"),
            "area": display.quantity(vent.free_area, "area"),
            "share": f"{100 * vent.porosity:.0f} %",
            "exposure": "wall surface" if vent.exposure == "face" else vent.exposure,
        }
        for vent_set in wall_of(about(cases[0])).opening_sets
        for vent in vent_set.openings
    ]


def warnings(cases: Sequence[Any]) -> list[str]:
    """Return every warning once, with the climates it concerns where not all cases raise it."""
    raised: dict[str, list[str]] = {}
    climates = list(dict.fromkeys(case.climate_name for case in cases))
    for case in cases:
        try:
            raw = json.loads(about(case).attrs.get("warnings") or "[]")
        except ValueError:
            raw = [str(about(case).attrs["warnings"])]
        for line in [raw] if isinstance(raw, str) else raw:
            names = raised.setdefault(str(line), [])
            if verdict.climate_text(case.climate_name) not in names:
                names.append(verdict.climate_text(case.climate_name))
    lines = [line if len(names) == len(climates) else f"{', '.join(names)}: {line}" for line, names in raised.items()]
    dry = [verdict.climate_text(case.climate_name) for case in cases if not int(about(case).attrs.get("has_rain", 1))]
    if dry and not any("rain" in line for line in raised):
        lines.append(
            f"{', '.join(dict.fromkeys(dry))}: the weather file has no rain, so the wall was run without driving rain."
        )
    return [display.typeset(line) for line in lines]


# attribute of a result, what is balanced, what its error is a part of, limit
_BALANCES = (
    ("water_balance_error", "water", "the water that passed", -6),
    ("energy_balance_error", "energy", "the heat that passed", -4),
    ("stream_heat_error", "heat of the air stream", "the heat that passed a segment", -6),
    ("stream_vapour_error", "vapour of the air stream", "the vapour that passed a segment", -6),
)


def balances(cases: Sequence[Any]) -> list[tuple[str, float, str, str, str]]:
    """Return each balance: what, largest error of the cases [1], of what, limit as text, and a word where exceeded."""
    rows = []
    for attribute, name, passed, exponent in _BALANCES:
        error = max(abs(float(about(case).attrs.get(attribute, math.nan))) for case in cases)
        limit = "10" + str(exponent).translate(str.maketrans("-46", "⁻⁴⁶"))
        rows.append((name, error, passed, limit, "" if error <= 10.0**exponent else ": exceeded"))
    return rows


def provenance(cases: Sequence[Any], created: str) -> list[tuple[str, str]]:
    """Return version, hashes, balance errors and solver counts."""
    first = about(cases[0]).attrs
    repeats = sum(int(about(case).attrs.get("cycle_repeats", 0)) for case in cases)
    years = sorted({int(about(case).attrs.get("years_run", 0)) for case in cases})
    steps = [int(about(case).attrs.get("solver_steps", 0)) for case in cases]
    rows = [
        ("Program version", str(first.get("version", ""))),
        ("Report written", created),
        ("Wall file, SHA-256", str(first.get("wall_sha256", ""))),
    ]
    seen = set()
    for case in cases:
        attrs = about(case).attrs
        if case.climate_name in seen:
            continue
        seen.add(case.climate_name)
        latitude, longitude = (float(attrs.get(name, math.nan)) for name in ("latitude", "longitude"))
        position = f"latitude {latitude:.2f}°, longitude {longitude:.2f}°".replace("-", "−")
        kind = "fictitious" if int(attrs.get("climate_invented", 0)) else "as read"
        rain = str(attrs.get("climate_rain", "with rain" if int(attrs.get("has_rain", 0)) else "without rain"))
        text = (
            f"{attrs.get('climate_source', '')} ({kind}; {rain}; {position}), SHA-256 {attrs.get('climate_sha256', '')}"
        )
        rows.append((f"Climate {case.climate_name}", text))
    classes = list(dict.fromkeys(str(about(case).attrs.get("iso6946_class", "")) for case in cases))
    rows += [
        ("ISO 6946 class of the air layer", ", ".join(name for name in classes if name) or "–"),
        ("Years simulated", ", ".join(str(year) for year in years)),
        ("Cases whose yearly cycle repeats", f"{repeats} of {len(cases)}"),
        *(
            (f"Largest balance error: {name}", f"{display.number(error, 2)} of {passed} (limit {exponent}){exceeded}")
            for name, error, passed, exponent, exceeded in balances(cases)
        ),
        ("Solver steps a case", f"{display.number(min(steps), 6)} to {display.number(max(steps), 6)}"),
        (
            "Hours",
            "values are given at the start of the hour, local standard time, no daylight saving; means over the hour",
        ),
    ]
    return rows


def published() -> dict[str, Any]:
    """Return the outcomes of the benchmark cases, as `cavity verify` last found them; a test holds it to a live run.

    Returns
    -------
    dict
        `version`, `provenance`, and `cases`: area, name, inputs, source, tag, outcome, and of those not met the note
        and what was computed.
    """
    text = Path(__file__).with_name("published.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def checks(found: dict[str, Any]) -> dict[str, Any]:
    """Return the summary of the published and analytical cases, plain texts for the page.

    Parameters
    ----------
    found : dict
        `version`, `provenance` and `cases` (each area, name, inputs, outcome, and where not met note, computed, lower,
        upper, units).

    Returns
    -------
    dict
        sentence, rows (area, cases, met, not met, not run) and open (area, case, outcome, why).
    """
    cases = found["cases"]
    table: dict[str, dict[str, int]] = {}
    for case in cases:
        row = table.setdefault(case["area"], dict.fromkeys(_OUTCOMES, 0))
        row[case["outcome"]] += 1
    total = {name: sum(row[name] for row in table.values()) for name in _OUTCOMES}
    rows = [(_AREAS.get(area, area), sum(row.values()), *row.values()) for area, row in table.items()]
    rows.append(("All", len(cases), *total.values()))
    open_cases = []
    for case in cases:
        if case["outcome"] == "pass":
            continue
        why = str(case.get("note", "")).replace("`", "")  # of code, in docs
        if "computed" in case:
            units = "" if case["units"] in ("", "1") else f" {case['units']}"
            computed, low, high = (display.number(case[key]) for key in ("computed", "lower", "upper"))
            why = f"computed {computed}, range {low} to {high}{units}. {why[:1].upper()}{why[1:]}".strip()
        name = f"{case['name']} ({case['inputs']})" if case["inputs"] else case["name"]
        texts = (_AREAS.get(case["area"], case["area"]), name, _OUTCOMES[case["outcome"]], why)
        open_cases.append(tuple(map(display.typeset, texts)))
    sentence = (
        f"Version {found['version']} passes {total['pass']} of {len(cases)} benchmark and verification cases; "
        f"{total['outside']} fall outside a range that was measured, is itself uncertain, or is our own target; "
        f"{total['not run']} could not be run. The command “cavity verify” runs them again and lists each with its "
        f"source, the expected and the computed value. {found.get('provenance', '')} They test the method, not the "
        "description of this wall."
    )
    return {"sentence": sentence, "rows": rows, "open": open_cases}


def event_days(event: Any) -> tuple[str, str]:
    """Return the 50 % and 90 % drying times of a wetting event [d], those with the vents closed in brackets."""
    times = series.event_times(event)

    def days(value: float) -> str:
        return display.number(value) if np.isfinite(value) else f"> {display.number(times['span'])}"

    half, nine = (f"{days(times[name])} ({days(times[name + '_shut'])})" for name in ("half", "nine"))
    return half, nine


def all_cases(cases: Sequence[Any]) -> list[dict[str, Any]]:
    """Return one row a case for the table of all cases."""
    rows = []
    for case in cases:
        numbers = digest(case)
        peak = numbers.film_peak
        event = getattr(case, "event", None)
        rows.append(
            {
                "status": verdict.case_status(case),
                "word": verdict.word(verdict.case_status(case), verdict.has_rain(case)),
                "climate": verdict.place_text(case, cases),
                "opening_set": case.opening_set,
                "depth": display.quantity(float(case.depth), "m"),
                "rate": display.number(numbers.rate, 2),
                "upward": f"{100 * numbers.upward:.0f} %",
                "film": (display.number(1e3 * peak, 2), display.number(1e3 * peak * 0.00327706, 2)),
                "wetting": event_days(event) if event is not None else ("–", "–"),
                "what": verdict.what(case),
            }
        )
    return rows


def not_computed(failed: Sequence[Any]) -> list[dict[str, Any]]:
    """Return one row for each case that could not be computed, with the reason."""
    return [
        {
            "climate": ", ".join(
                [verdict.climate_text(case.climate_name), verdict.facing_text(case.orientation)]
                + [name for name in (verdict.variant(case),) if name]
            ),
            "opening_set": case.opening_set,
            "column": case.column,
            "depth": display.quantity(float(case.depth), "m"),
            "reason": case.reason,
        }
        for case in failed
    ]
