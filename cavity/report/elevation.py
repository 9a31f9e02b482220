"""The elevation of the wall to scale: strips, windows, vents, rails, barriers, air flow and status of each strip."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from cavity.report import display, palette, series

WIDTH, TALLEST = 420.0, 430.0  # of the drawing: its text is legible at phone width
_LEFT, _RIGHT, _TOP, _BOTTOM = 50.0, 10.0, 16.0, 34.0  # margins
_MIXED = 0.15  # a strip whose air flows one way in more than 85 % of hours has one arrow
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class StripRow:
    """One strip of the wall with what was computed for it, for the drawing and its key.

    Parameters
    ----------
    letter, name : str
        As in the drawing.
    bottom, top : float
        Above the base of the wall. [m]
    spans : tuple of pairs of float
        Where it runs along the wall. [m]
    length : float
        Wall length it covers; NaN where the wall file does not say. [m]
    status : str
        pass, review, fail, or "" where nothing was computed.
    rate : float
        Median air change rate. [1/h]
    upward : float
        Fraction of the hours in which its air flows upwards. [1]
    """

    letter: str
    name: str
    bottom: float
    top: float
    spans: tuple[tuple[float, float], ...]
    length: float
    status: str
    rate: float
    upward: float

    @property
    def direction(self) -> str:
        """How the air flows over the year, in words."""
        if not np.isfinite(self.upward) or self.rate < 0.05:
            return "almost no flow"
        if self.upward > 1.0 - _MIXED:
            return "upwards"
        return "downwards" if self.upward < _MIXED else f"upwards in {100 * self.upward:.0f} % of hours"


def strip_rows(datasets: Sequence[Any], statuses: Sequence[str]) -> list[StripRow]:
    """Return the strips of a wall, in the order of its file.

    Parameters
    ----------
    datasets : sequence of xarray.Dataset
        Results of one set of openings, depth and climate, one for each strip computed.
    statuses : sequence of str
        Status of each.
    """
    wall = series.wall_inputs(datasets[0])
    found = {str(ds.attrs["column"]): (ds, status) for ds, status in zip(datasets, statuses, strict=True)}
    rows = []
    for index, strip in enumerate(_strips(wall, datasets[0])):
        ds, status = found.get(strip["name"], (None, ""))
        rate = upward = float("nan")
        if ds is not None:
            rate = float(np.median(series.air_changes(ds)))
            speed = series.upward(ds)
            moving = np.abs(speed) > 1e-6
            upward = float((speed[moving] > 0.0).mean()) if moving.any() else float("nan")
        letter = _LETTERS[index] if index < len(_LETTERS) else str(index + 1)
        rows.append(
            StripRow(
                letter, strip["name"], strip["bottom"], strip["top"], strip["spans"], strip["length"], status, rate,
                upward,
            )
        )  # fmt: skip
    return rows


def _strips(wall: dict[str, Any], ds: Any) -> list[dict[str, Any]]:
    """Return name, ends and place along the wall of every strip; strips listed one by one stand side by side."""
    site = wall.get("site") or {}
    width = float(site.get("wall_width") or 10.0)
    columns = wall.get("columns") or [
        {"name": ds.attrs["column"], "bottom": ds.attrs["column_bottom"], "top": ds.attrs["column_top"]}
    ]
    fractions = {str(c["name"]): float(c.get("fraction") or 0.0) for c in columns}
    elevation = wall.get("elevation")
    if elevation:
        return [
            {
                "name": str(strip["name"]),
                "bottom": float(strip["bottom"]),
                "top": float(strip["top"]),
                "spans": tuple((float(a), float(b)) for a, b in strip["spans"]),
                "length": fractions.get(str(strip["name"]), 0.0) * float(elevation["width"]),
            }
            for strip in elevation["strips"]
        ]
    # strips that do not overlap in height stand one above the other, as below and above a window
    stacks: list[list[dict[str, Any]]] = []
    for column in columns:
        for stack in stacks:
            if all(column["bottom"] >= other["top"] or column["top"] <= other["bottom"] for other in stack):
                stack.append(column)
                break
        else:
            stacks.append([column])
    known = [max(float(c.get("fraction") or 0.0) for c in stack) for stack in stacks]
    shares = known if all(known) and sum(known) <= 1.0 + 1e-6 else [1.0 / len(stacks)] * len(stacks)
    made, left = {}, 0.0
    for stack, share in zip(stacks, shares, strict=True):
        for column in stack:
            fraction = float(column.get("fraction") or 0.0)
            made[str(column["name"])] = {
                "name": str(column["name"]),
                "bottom": float(column["bottom"]),
                "top": float(column["top"]),
                "spans": ((left * width, (left + share) * width),),
                "length": fraction * width if fraction else float("nan"),
            }
        left += share
    return [made[str(column["name"])] for column in columns]


def draw(datasets: Sequence[Any], statuses: Sequence[str]) -> str:
    """Return the elevation as an SVG text without script or outside reference; all names are escaped.

    Parameters
    ----------
    datasets, statuses
        As for `strip_rows`.

    Returns
    -------
    str
        An ``<svg>`` element, 420 wide in its own units, seen from outside.
    """
    rows = strip_rows(datasets, statuses)
    wall = series.wall_inputs(datasets[0])
    elevation = wall.get("elevation")
    width = float((wall.get("site") or {}).get("wall_width") or 10.0)
    low, high = min(row.bottom for row in rows), max(row.top for row in rows)
    if elevation:
        width, low, high = float(elevation["width"]), 0.0, float(elevation["floors"][-1])
    scale = min((WIDTH - _LEFT - _RIGHT) / width, (TALLEST - _TOP - _BOTTOM) / (high - low))
    # a low long wall is stretched upwards rather than drawn too small to read, and says so
    rise = max(scale, min(140.0 / (high - low), 3.0 * scale))
    tall = _TOP + _BOTTOM + rise * (high - low)
    start = _LEFT + 0.5 * (WIDTH - _LEFT - _RIGHT - width * scale)

    def x(metres: float) -> float:
        return start + metres * scale

    def y(metres: float) -> float:
        return _TOP + (high - metres) * rise

    def box(left: float, right: float, bottom: float, top: float, rest: str) -> str:
        return (
            f'<rect x="{x(left):.1f}" y="{y(top):.1f}" width="{(right - left) * scale:.1f}" '
            f'height="{(top - bottom) * rise:.1f}" {rest}'
        )

    case = f"{datasets[0].attrs.get('opening_set', '')}, cavity {1e3 * float(datasets[0].attrs['depth']):.3g} mm"
    out = [
        f'<svg class="wall-elevation" viewBox="0 0 {WIDTH:g} {tall:.0f}" role="img" '
        f'aria-label="Elevation of the wall from outside: {html.escape(case)}">',
        box(0.0, width, low, high, 'class="outline"/>'),
    ]
    parts = {str(ds.attrs["column"]): ds for ds in datasets}
    for row in rows:
        for left, right in row.spans:
            title = f"<title>{html.escape(row.name)}: {row.bottom:.3g} to {row.top:.3g} m</title>"
            out.append(box(left, right, row.bottom, row.top, f'class="strip st-{row.status or "none"}">{title}</rect>'))
    if elevation:
        for window in elevation["windows"]:
            left, right, bottom, top = (float(window[key]) for key in ("left", "right", "bottom", "top"))
            out.append(box(left, right, bottom, top, 'class="glass"/>'))
            out.append(
                f'<path class="glass-line" d="M{x(left):.1f} {y(bottom):.1f}L{x(right):.1f} {y(top):.1f}'
                f'M{x(left):.1f} {y(top):.1f}L{x(right):.1f} {y(bottom):.1f}"/>'
            )
    for row in rows:
        ds = parts.get(row.name)
        if ds is not None:
            out += _parts(ds, row, x, y)
        cuts = (
            []
            if ds is None
            else [
                float(z)
                for z, kind in zip(ds["part_height"].values, ds["part_kind"].values, strict=True)
                if str(kind) != "channel"
            ]
        )
        out += _mark(row, x, y, cuts)
    heights = {low, high, *(row.bottom for row in rows), *(row.top for row in rows)}
    last = float("inf")
    for height in sorted(heights):
        if last - y(height) >= 13.0:
            out.append(_text(start - 6, y(height) + 4, f"{height:.3g} m", "end"))
            last = y(height)
    foot = tall - 12
    out.append(
        f'<path class="dimension" d="M{x(0):.1f} {foot - 6:.0f}H{x(width):.1f}M{x(0):.1f} {foot - 11:.0f}v10'
        f'M{x(width):.1f} {foot - 11:.0f}v10"/>'
    )
    note = f"{width:.3g} m" + ("" if rise == scale else f", heights drawn {rise / scale:.2g} times too large")
    out.append(_text(0.5 * (x(0) + x(width)), foot + 8, note, "middle"))
    out.append("</svg>")
    return "".join(out)


def _text(at: float, y: float, text: str, anchor: str = "start", kind: str = "") -> str:
    return f'<text x="{at:.1f}" y="{y:.1f}" class="{kind}" text-anchor="{anchor}">{html.escape(text)}</text>'


def _parts(ds: Any, row: StripRow, x: Any, y: Any) -> list[str]:
    """Return vents, rails and barriers of a strip over the lengths on which it runs."""
    out = []
    for kind, name, height, area in zip(
        ds["part_kind"].values, ds["part"].values, ds["part_height"].values, ds["part_area"].values, strict=True
    ):  # fmt: skip
        kind = str(kind)
        if kind == "channel":
            continue
        style = kind if kind in {"rail", "barrier"} else "vent"
        if style == "vent" and not float(area) > 0.0:
            continue
        path = "".join(f"M{x(left):.1f} {y(float(height)):.1f}H{x(right):.1f}" for left, right in row.spans)
        free = f", {display.number(1e4 * float(area))} cm²/m free"
        out.append(f'<path class="{style}" d="{path}"><title>{html.escape(str(name))}{free}</title></path>')
    return out


def _mark(row: StripRow, x: Any, y: Any, cuts: Sequence[float]) -> list[str]:
    """Return letter, status sign and arrow of a strip, in the largest field between the lines on its widest span."""
    left, right = max(row.spans, key=lambda span: span[1] - span[0])
    lines = sorted({row.bottom, row.top, *(z for z in cuts if row.bottom < z < row.top)})
    low, high = max(pairwise(lines), key=lambda ends: round(ends[1] - ends[0], 3))
    wide, tall = x(right) - x(left), y(low) - y(high)
    middle, centre = 0.5 * (x(left) + x(right)), 0.5 * (y(low) + y(high))
    out = [f'<g class="mark s-{row.status or "none"}"><title>{html.escape(row.name)}: {row.direction}</title>']
    beside = wide >= 34.0
    if row.status in palette.STATUS_PATH and wide >= 17.0 and (tall >= 34.0 or beside):
        sx, sy = (middle - 16.0, centre - 7.0) if beside else (middle - 7.0, centre + 1.0)
        out.append(
            f'<path transform="translate({sx:.1f} {sy:.1f}) scale(.875)" d="{palette.STATUS_PATH[row.status]}"/>'
        )
    out.append(
        _text(middle + (8.0 if beside else 0.0), centre + (4.5 if beside else -3.0), row.letter, "middle", "letter")
    )
    if (tall >= 62.0 or (wide >= 64.0 and tall >= 20.0)) and np.isfinite(row.upward) and row.rate >= 0.05:
        at = middle - 26.0 if wide >= 64.0 else middle
        foot, head = centre - 0.5 * min(tall, 70.0) + 3.0, centre + 0.5 * min(tall, 70.0) - 3.0
        if wide < 64.0:
            foot, head = centre - 0.5 * tall + 5.0, centre - 12.0
        tips = []
        if row.upward >= _MIXED:
            tips.append(f"M{at:.1f} {foot:.1f}l-4 7h8Z")
        if row.upward <= 1.0 - _MIXED:
            tips.append(f"M{at:.1f} {head:.1f}l-4 -7h8Z")
        out.append(f'<path class="arrow" d="M{at:.1f} {head - 4:.1f}V{foot + 4:.1f}"/>')
        out.append(f'<path class="tip" d="{"".join(tips)}"/>')
    out.append("</g>")
    return out


STYLE = """
.wall-elevation{width:100%;max-width:640px;height:auto;display:block}
.wall-elevation text{font:12px var(--font);fill:var(--ink)}
.wall-elevation .letter{font-weight:700;font-size:13px}
.wall-elevation .outline{fill:none;stroke:var(--ink)}
.wall-elevation .strip{stroke:var(--rule);stroke-width:.6;fill:var(--zone)}
.wall-elevation .st-pass{fill:color-mix(in srgb,var(--pass) 16%,var(--sheet))}
.wall-elevation .st-review{fill:color-mix(in srgb,var(--review) 22%,var(--sheet))}
.wall-elevation .st-fail{fill:color-mix(in srgb,var(--fail) 24%,var(--sheet))}
.wall-elevation .glass{fill:var(--paper);stroke:var(--muted);stroke-width:.8}
.wall-elevation .glass-line{stroke:var(--rule);stroke-width:.6;fill:none}
.wall-elevation .vent{stroke:var(--air);stroke-width:3;fill:none;stroke-dasharray:5 2}
.wall-elevation .rail{stroke:var(--muted);stroke-width:1;fill:none;stroke-dasharray:9 2}
.wall-elevation .barrier{stroke:var(--ink);stroke-width:3.5;fill:none}
.wall-elevation .mark path{fill:currentColor}
.wall-elevation .mark .arrow{stroke:var(--air);stroke-width:1.6;fill:none}
.wall-elevation .mark .tip{fill:var(--air)}
.wall-elevation .dimension{stroke:var(--muted);stroke-width:.8;fill:none}
"""
