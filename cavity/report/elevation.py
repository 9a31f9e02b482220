"""The elevation of the wall to scale: strips, windows, vents, rails, barriers, air flow and status of each strip."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from cavity.report import display, palette
from cavity.result import wall_of
from cavity.risk.air import compartments

if TYPE_CHECKING:
    from cavity.wallfile.model import Column, Wall

WIDTH, TALLEST = 360.0, 400.0  # of the drawing: its text is legible at phone width
_LEFT, _RIGHT, _TOP, _BOTTOM = 50.0, 10.0, 16.0, 34.0  # margins
_MIXED = 0.15  # a strip whose air flows one way in more than 85 % of hours has one arrow
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Compartment:
    """A stretch of a strip between barriers or its ends: place [m], median air change rate [1/h], how its air flows."""

    mark: str
    bottom: float
    top: float
    rate: float
    upward: float  # fraction of the hours with upward flow [1]
    downward: float

    @property
    def direction(self) -> str:
        """How the air flows over the year, in words."""
        moving = self.upward + self.downward
        if moving < 0.05:
            return "nearly still"
        fraction = self.upward / moving
        if fraction > 1.0 - _MIXED:
            return "upwards"
        return "downwards" if fraction < _MIXED else f"upwards in {100 * fraction:.0f} % of the hours"


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
    compartments : tuple of Compartment
        Low to high; one where no barrier cuts the strip, none where nothing was computed.
    """

    letter: str
    name: str
    bottom: float
    top: float
    spans: tuple[tuple[float, float], ...]
    length: float
    status: str
    compartments: tuple[Compartment, ...]

    @property
    def area(self) -> float:
        """Area of wall it covers; NaN where the length is not known. [m2]."""
        return self.length * (self.top - self.bottom)


def strip_rows(datasets: Sequence[Any], statuses: Sequence[str]) -> list[StripRow]:
    """Return the strips of a wall, in the order of its file.

    Parameters
    ----------
    datasets : sequence of xarray.Dataset
        Results of one set of openings, depth and climate, one for each strip computed.
    statuses : sequence of str
        Status of each.
    """
    computed = {str(ds.attrs["column"]): (ds, status) for ds, status in zip(datasets, statuses, strict=True)}
    rows = []
    for index, strip in enumerate(strips_of(wall_of(datasets[0]))):
        ds, status = computed.get(strip["name"], (None, ""))
        letter = _LETTERS[index] if index < len(_LETTERS) else str(index + 1)
        parts = () if ds is None else compartments(ds)
        several = len(parts) > 1
        fields = tuple(
            Compartment(
                f"{letter}{number}" if several else letter, part.bottom, part.top, part.median, part.upward,
                part.downward,
            )
            for number, part in enumerate(parts, 1)
        )  # fmt: skip
        rows.append(
            StripRow(
                letter, strip["name"], strip["bottom"], strip["top"], strip["spans"], strip["length"], status, fields
            )
        )
    return rows


def strips_of(wall: Wall) -> list[dict[str, Any]]:
    """Return name, ends and place along the wall of every strip; strips listed one by one are placed side by side."""
    width = wall.site.wall_width
    fractions = {part.name: part.fraction for part in wall.columns}
    if wall.elevation is not None:
        return [
            {
                "name": strip.name,
                "bottom": strip.bottom,
                "top": strip.top,
                "spans": strip.spans,
                "length": fractions.get(strip.name, 0.0) * wall.elevation.width,
            }
            for strip in wall.elevation.strips
        ]
    # strips that do not overlap in height are placed one above the other, as below and above a window
    stacks: list[list[Column]] = []
    for column in wall.columns:
        for stack in stacks:
            if all(column.bottom >= other.top or column.top <= other.bottom for other in stack):
                stack.append(column)
                break
        else:
            stacks.append([column])
    known = [max(part.fraction for part in stack) for stack in stacks]
    stack_fractions = known if all(known) and sum(known) <= 1.0 + 1e-6 else [1.0 / len(stacks)] * len(stacks)
    strips, left = {}, 0.0
    for stack, fraction in zip(stacks, stack_fractions, strict=True):
        for column in stack:
            strips[column.name] = {
                "name": column.name,
                "bottom": column.bottom,
                "top": column.top,
                "spans": ((left * width, (left + fraction) * width),),
                "length": column.fraction * width if column.fraction else float("nan"),
            }
        left += fraction
    return [strips[column.name] for column in wall.columns]


def draw(datasets: Sequence[Any], statuses: Sequence[str]) -> str:
    """Return the elevation as an SVG text without script or outside reference; all names are escaped.

    Parameters
    ----------
    datasets, statuses
        As for `strip_rows`.

    Returns
    -------
    str
        An ``<svg>`` element, 360 wide in its own units, seen from outside.
    """
    rows = strip_rows(datasets, statuses)
    wall = wall_of(datasets[0])
    elevation = wall.elevation
    width = wall.site.wall_width
    low, high = min(row.bottom for row in rows), max(row.top for row in rows)
    if elevation:
        width, low, high = elevation.width, 0.0, elevation.floors[-1]
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
        f'data-rise="{rise:.5g}" aria-label="Elevation of the wall from outside: {html.escape(case)}">',
        box(0.0, width, low, high, 'class="outline"/>'),
    ]
    parts = {str(ds.attrs["column"]): ds for ds in datasets}
    for row in rows:
        for left, right in row.spans:
            title = f"<title>{html.escape(row.name)}: {row.bottom:.3g} to {row.top:.3g} m</title>"
            out.append(box(left, right, row.bottom, row.top, f'class="strip st-{row.status or "none"}">{title}</rect>'))
    if elevation:
        for window in elevation.windows:
            left, right, bottom, top = window.left, window.right, window.bottom, window.top
            out.append(box(left, right, bottom, top, 'class="glass"/>'))
            out.append(
                f'<path class="glass-line" d="M{x(left):.1f} {y(bottom):.1f}L{x(right):.1f} {y(top):.1f}'
                f'M{x(left):.1f} {y(top):.1f}L{x(right):.1f} {y(bottom):.1f}"/>'
            )
    for row in rows:
        ds = parts.get(row.name)
        if ds is not None:
            out += _parts(ds, row, x, y)
        if ds is not None:
            parts_of = zip(ds["part_height"].values, ds["part_kind"].values, strict=True)
            cuts = [float(height) for height, kind in parts_of if str(kind) != "channel"]
            for part in row.compartments:
                out += _mark(row, part, x, y, cuts)
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
    ratio = f"{rise / scale:.2g}"  # 1 where it differs by less than can be seen
    note = f"{width:.3g} m" + ("" if ratio == "1" else f", heights drawn {ratio} times too large")
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
        drag = f'data-kind="{style}" data-height="{float(height):.4g}"'
        out.append(f'<path class="{style}" {drag} d="{path}"><title>{html.escape(str(name))}{free}</title></path>')
    return out


def _mark(row: StripRow, part: Compartment, x: Any, y: Any, cuts: Sequence[float]) -> list[str]:
    """Return mark, status sign and arrow of a compartment, in its largest field between lines, on its widest span."""
    left, right = max(row.spans, key=lambda span: span[1] - span[0])
    lines = sorted({part.bottom, part.top, *(z for z in cuts if part.bottom < z < part.top)})
    low, high = max(pairwise(lines), key=lambda ends: round(ends[1] - ends[0], 3))
    wide, tall = x(right) - x(left), y(low) - y(high)
    middle, centre = 0.5 * (x(left) + x(right)), 0.5 * (y(low) + y(high))
    title = f"{row.name}, {part.bottom:.3g} to {part.top:.3g} m: {display.number(part.rate, 2)} air changes per hour, "
    out = [f'<g class="mark s-{row.status or "none"}"><title>{html.escape(title + part.direction)}</title>']
    beside = wide >= 36.0
    if row.status in palette.STATUS_PATH and wide >= 17.0 and (tall >= 34.0 or beside):
        sx, sy = (middle - 18.0, centre - 7.0) if beside else (middle - 7.0, centre + 1.0)
        sign = palette.STATUS_PATH[row.status]
        out.append(f'<path transform="translate({sx:.1f} {sy:.1f}) scale(.875)" d="{sign}"/>')
    out.append(
        _text(middle + (8.0 if beside else 0.0), centre + (4.5 if beside else -3.0), part.mark, "middle", "letter")
    )
    moving = part.upward + part.downward
    if moving >= 0.05 and (tall >= 62.0 or (wide >= 66.0 and tall >= 20.0)):
        at = middle - 28.0 if wide >= 66.0 else middle
        foot, head = centre - 0.5 * min(tall, 70.0) + 3.0, centre + 0.5 * min(tall, 70.0) - 3.0
        if wide < 66.0:
            foot, head = centre - 0.5 * tall + 5.0, centre - 12.0
        tips = []
        if part.upward >= _MIXED * moving:
            tips.append(f"M{at:.1f} {foot:.1f}l-4 7h8Z")
        if part.downward >= _MIXED * moving:
            tips.append(f"M{at:.1f} {head:.1f}l-4 -7h8Z")
        out.append(f'<path class="arrow" d="M{at:.1f} {head - 4:.1f}V{foot + 4:.1f}"/>')
        out.append(f'<path class="tip" d="{"".join(tips)}"/>')
    out.append("</g>")
    return out


STYLE = """
.wall-elevation{width:100%;max-width:600px;height:auto;display:block}
.wall-elevation text{font:13px var(--font);fill:var(--ink)}
.wall-elevation .letter{font-weight:700;font-size:14px}
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
