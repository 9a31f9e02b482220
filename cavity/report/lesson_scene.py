"""The drawing beside the slider of a lesson: a section of the wall with its air, drawn for each step.

Schematic: depth and thickness are to one scale as far as they can be seen, the openings follow the square root of their
area, the arrow of the air follows the square root of its flow. The numbers are next to the drawing.
"""

from __future__ import annotations

import html
import math
from typing import Any

_WIDE, _TALL = 400.0, 250.0
_BACK = 205.0  # x of the back of the cladding
_TOP, _BASE = 26.0, 222.0  # y of the ends of the tallest cavity
_WALL = 62.0  # drawn thickness of the backup wall
_DROPS = 10  # at most

STYLE = """
.scene svg{width:100%;height:auto;max-height:300px;display:block}
.scene text{font:12.5px var(--font);fill:var(--ink)}
.scene .ground{stroke:var(--muted);stroke-width:1.4}
.scene .wall{fill:var(--zone);stroke:var(--ink)}
.scene .cladding{fill:var(--muted);stroke:var(--ink)}
.scene .brick{fill:#b0643f}.scene .metal{fill:var(--ink)}
.scene .dark{fill:var(--ink)}
.scene .wet{fill:var(--wind)}
.scene .rail{fill:var(--ink)}
.scene .crossed{fill:var(--muted)}
.scene .glass{fill:none;stroke:var(--ink);stroke-width:1.6}
.scene .panel{fill:var(--zone);stroke:var(--rule)}
.scene .stop{stroke:var(--ink);stroke-width:4}
.scene .vent{fill:var(--sheet);stroke:var(--ink);stroke-width:.8;stroke-dasharray:2 2}
.scene .air{fill:none;stroke:var(--air);stroke-linejoin:round}
.scene .head{fill:var(--air)}
.scene .wind{fill:none;stroke:var(--wind)}.scene .wind-head{fill:var(--wind)}
.scene .sun{fill:var(--temperature)}.scene .ray{stroke:var(--temperature);stroke-width:3}
.scene .moon{fill:var(--muted)}.scene .glow{fill:none;stroke:var(--temperature);stroke-width:1.6}
.scene .drop{fill:var(--wind)}
.scene .vapour{fill:none;stroke:var(--humidity)}.scene .vapour-head{fill:var(--humidity)}
.scene .rain{stroke:var(--wind);stroke-width:2}
"""


def scene(lesson: Any, step: Any) -> str:
    """Return the drawing of one step of a lesson as SVG.

    Parameters
    ----------
    lesson : Lesson
        Its steps, of which the largest sets the scale of the arrows.
    step : Step
        With its `shape`; without one nothing is drawn.
    """
    shape = step.shape
    if shape is None:
        return ""
    key = lesson.key
    deep = min(max(1.0e3 * shape.depth * 0.95, 7.0), 84.0)
    thick = min(max(1.0e3 * shape.cladding * 0.4, 3.0), 44.0)
    tallest = max(other.shape.height for other in lesson.steps if other.shape)
    top = _BASE - (_BASE - _TOP) * shape.height / tallest
    front, wall = _BACK - thick, _BACK + deep
    parts = [
        f'<svg viewBox="0 0 {_WIDE:g} {_TALL:g}" role="img" aria-label="{html.escape(words(lesson, step))}">',
        f'<path class="ground" d="M8 {_BASE + 12:.0f}H{wall + _WALL:.0f}"/>',
        f'<rect class="wall" x="{wall:.1f}" y="{top - 8:.1f}" width="{_WALL:g}" height="{_BASE - top + 16:.1f}"/>',
        *_cladding(key, step, front, thick, top),
        *_ends(shape, front, thick, wall, top),
    ]
    if key == "rails":
        parts += _rails(step, wall, top)
    if key == "blind":  # the window below, which the barrier closes off
        parts.append(
            f'<rect class="glass" x="{front:.1f}" y="{_BASE + 6:.1f}" width="{wall - front:.1f}" height="22"/>'
        )
        parts.append(_text(12, _BASE + 28, "window below"))
    if key == "drying" and step.drying is not None:
        left = step.drying.left[min(59, len(step.drying.left) - 1)] / step.drying.brought
        parts.append(
            f'<rect class="wet" x="{wall:.1f}" y="{top - 8:.1f}" width="14" height="{_BASE - top + 16:.1f}" '
            f'opacity="{min(max(left, 0.0), 1.0):.2f}"/>'
        )
        parts.append(_text(wall + _WALL + 8, 0.5 * (top + _BASE), f"{100 * left:.0f} % left", "after 60 days"))
    parts += _drops(lesson, step, top)
    parts += _weather(lesson, step, front, wall)
    parts += _air(lesson, step, front, wall, top)
    x, y = (wall + 0.5 * _WALL if key == "blind" else _BACK + 0.5 * deep), _BASE + 25.0
    parts.append(f'<text x="{x:.0f}" y="{y:.0f}" text-anchor="middle">{1e3 * shape.depth:.3g} mm</text>')
    if key == "height":
        parts.append(_text(wall + _WALL + 8, 0.5 * (top + _BASE), f"{shape.height:g} m"))
    return "".join(parts) + "</svg>"


def words(lesson: Any, step: Any) -> str:
    """Return the drawing in words."""
    way = "upwards" if step.upward >= 0.5 else "downwards"
    through = min(step.shape.base, step.shape.head) > 0.0
    air = f"median air flow {step.flow:.2g} L/(s m), mostly {way}" if through else "no way through for the air"
    return f"Section of the wall. {lesson.quantity}: {step.label}; {air}."


def _text(x: float, y: float, *lines: str) -> str:
    return "".join(
        f'<text x="{x:.0f}" y="{y + 15 * at:.0f}">{html.escape(line)}</text>' for at, line in enumerate(lines)
    )


def _cladding(key: str, step: Any, front: float, thick: float, top: float) -> list[str]:
    low = _BASE - _slot(step.shape.base, top)
    high = top + _slot(step.shape.head, top)
    kind = "brick" if key == "brick" else "metal" if key == "night" or "steel" in step.label else "cladding"
    box = f'x="{front:.1f}" y="{high:.1f}" width="{thick:.1f}" height="{low - high:.1f}"'
    parts = [f'<rect class="cladding {kind}" {box}/>']
    if key == "colour":  # the darker the paint, the darker the sheet
        parts.append(f'<rect class="dark" {box} opacity="{min(max(step.value, 0.0), 1.0):.2f}"/>')
    return parts


def _slot(area: float, top: float) -> float:
    """Return the drawn height of an opening of `area` [m2/m] in a cladding that begins at `top`."""
    return 0.0 if area <= 0.0 else min(3.0 + 1.1 * math.sqrt(1e4 * area), 40.0, 0.3 * (_BASE - top))


def _ends(shape: Any, front: float, thick: float, wall: float, top: float) -> list[str]:
    parts = []
    for area, edge, sign in ((shape.base, _BASE, -1.0), (shape.head, top, 1.0)):
        tall = _slot(area, top)
        parts.append(f'<path class="stop" d="M{front:.1f} {edge - 2 * sign:.1f}H{wall:.1f}"/>')
        if tall:
            y = edge if sign > 0 else edge - tall
            parts.append(f'<rect class="vent" x="{front:.1f}" y="{y:.1f}" width="{thick:.1f}" height="{tall:.1f}"/>')
    return parts


def _rails(step: Any, wall: float, top: float) -> list[str]:
    """Return the rails across the cavity, and a bay of them seen from outside with the gap to its scale."""
    bay, gap = 600.0, step.value  # mm
    if gap >= bay:
        return []
    left, wide = 14.0, 112.0
    length = wide * (bay - gap) / bay
    parts = [
        f'<rect class="crossed" x="{_BACK:.1f}" y="{_BASE - (_BASE - top) * at / 5:.1f}" '
        f'width="{wall - _BACK:.1f}" height="6"/>'
        for at in range(1, 5)
    ]
    parts.append(f'<rect class="panel" x="{left:g}" y="118" width="{wide:g}" height="72"/>')
    parts += [
        f'<rect class="rail" x="{left:g}" y="{y:g}" width="{0.5 * length:.2f}" height="7"/>'
        f'<rect class="rail" x="{left + wide - 0.5 * length:.2f}" y="{y:g}" width="{0.5 * length:.2f}" height="7"/>'
        for y in (130, 152, 174)
    ]
    parts.append(_text(left, 205, "600 mm from outside"))
    return parts


def _drops(lesson: Any, step: Any, top: float) -> list[str]:
    most = max(other.film for other in lesson.steps)
    count = math.ceil(_DROPS * step.film / most) if most > 0.0 and step.film > 0.0 else 0
    heights = [top + 30 + (_BASE - top - 60) * (at + 0.5) / _DROPS for at in range(count)]
    return [f'<circle class="drop" cx="{_BACK + 3:.1f}" cy="{y:.1f}" r="3.4"/>' for y in heights]


def _weather(lesson: Any, step: Any, front: float, wall: float) -> list[str]:
    key, parts = lesson.key, []
    if key == "night":
        parts.append('<path class="moon" d="M52 22a18 18 0 1 0 16 28a15 15 0 0 1 -16 -28z"/>')
        for at in range(3):
            y = 90 + 40 * at
            parts.append(
                f'<path class="glow" d="M{front - 6:.0f} {y}c-12 -10 -12 10 -24 0s-12 10 -24 0s-12 10 -24 0"/>'
            )
    elif key in ("sun", "colour", "mass", "brick", "depth", "openings", "rails", "height"):
        strength = step.value / 100.0 if key == "sun" else 1.0
        shown = 0.08 + 0.92 * min(max(strength, 0.0), 1.0)
        parts.append(f'<g opacity="{shown:.2f}"><circle class="sun" cx="46" cy="40" r="15"/>')
        parts += [f'<path class="ray" d="M{66 + 4 * k} {52 + 14 * k}L{100 + 8 * k} {70 + 20 * k}"/>' for k in range(3)]
        parts.append("</g>")
    if key == "wind":
        long = 92.0 * step.value / max(other.value for other in lesson.steps)
        parts += _arrow("wind", [(front - 16 - long, 120.0), (front - 16, 120.0)], 5.0)
    if key == "brick":
        parts += [f'<path class="rain" d="M{front - 50 + 14 * at:.0f} {150 + 12 * at}l-6 18"/>' for at in range(4)]
        most = max(max(other.excess for other in lesson.steps), 1.0)
        width = 7.0 * max(step.excess, 0.0) / most
        if width > 0.3:
            for high in (105.0, 140.0):
                parts += _arrow("vapour", [(_BACK - 4, high), (wall + 26.0, high)], width)
    return parts


def _air(lesson: Any, step: Any, front: float, wall: float, top: float) -> list[str]:
    most = max(other.flow for other in lesson.steps)
    x, low, high = (
        0.5 * (_BACK + wall),
        _BASE - 0.5 * _slot(step.shape.base, top),
        top + 0.5 * _slot(step.shape.head, top),
    )
    if min(step.shape.base, step.shape.head) <= 0.0:  # gusts push a little in and out of one vent
        if step.shape.base > 0.0:
            return _arrow("air", [(front - 34, low), (x, low), (x, low - 26)], 1.6, both=True)
        if step.shape.head > 0.0:
            return _arrow("air", [(front - 34, high), (x, high), (x, high + 26)], 1.6, both=True)
        return []
    width = 1.2 + 7.0 * math.sqrt(step.flow / most) if most > 0.0 else 1.2
    way = [(front - 40, low), (x, low), (x, high), (front - 40, high)]
    return _arrow("air", way if step.upward >= 0.5 else way[::-1], min(width, 0.8 * (wall - _BACK)))


def _arrow(kind: str, points: list[tuple[float, float]], width: float, *, both: bool = False) -> list[str]:
    """Return a line with a head at its end, and at its start where asked for."""
    head = {"air": "head", "wind": "wind-head", "vapour": "vapour-head"}[kind]
    size = 4.0 + 1.3 * width
    heads = []
    ends = [(points[-2], points[-1])] + ([(points[1], points[0])] if both else [])
    for (x0, y0), (x1, y1) in ends:
        length = math.hypot(x1 - x0, y1 - y0) or 1.0
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        tip = (x1 + ux * size, y1 + uy * size)
        left, right = (x1 - uy * size * 0.7, y1 + ux * size * 0.7), (x1 + uy * size * 0.7, y1 - ux * size * 0.7)
        heads.append(
            f'<path class="{head}" d="M{tip[0]:.1f} {tip[1]:.1f}L{left[0]:.1f} {left[1]:.1f}'
            f'L{right[0]:.1f} {right[1]:.1f}z"/>'
        )
    line = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return [f'<path class="{kind}" stroke-width="{width:.1f}" d="M{line}"/>', *heads]
