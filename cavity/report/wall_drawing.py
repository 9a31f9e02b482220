"""The section of the wall as SVG, its layers to scale by thickness.

Across the wall and along it the section has one scale; the stretches between openings, rails and barriers are cut out
with break lines, as on a construction drawing. Arrows of both directions are drawn and switched by attributes
(`data-dir`), so the page can show the air path of any hour without drawing again.
"""

from __future__ import annotations

import html
import textwrap
from dataclasses import dataclass
from typing import Any

import numpy as np

from cavity.report import display

WIDTH, HEIGHT = 510.0, 470.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 228.0, 496.0, 42.0, 384.0  # frame of the section
_BREAK = 26.0  # px, a cut-out stretch
_MOST = 9  # pieces drawn, the lowest and the highest
_LINE = 17.0  # px, from one line of a label to the next
_RAIL = 40.0  # mm, drawn height of a rail, its true height is not part of the input

PATTERNS = """
<svg class="patterns" width="0" height="0" aria-hidden="true" focusable="false"><defs>
<pattern id="fill-wood" width="14" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(38)">
<path d="M0 3H14M0 7.5H9" class="hatch"/></pattern>
<pattern id="fill-soft" width="26" height="14" patternUnits="userSpaceOnUse">
<path d="M0 12C5 12 4 2 8 2S11 12 16 12 20 2 24 2 25 12 30 12" class="hatch"/></pattern>
<pattern id="fill-board" width="9" height="9" patternUnits="userSpaceOnUse">
<path d="M1.5 2h.1M6 6.5h.1" class="dot"/></pattern>
<pattern id="fill-heavy" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
<path d="M0 0V8M4 0V8" class="hatch"/></pattern>
</defs></svg>
"""


@dataclass(frozen=True)
class _Piece:
    """A stretch of the section worth drawing: one opening, barrier or group of rails; or the plain wall."""

    kind: str  # opening | rail | barrier | plain
    height: float  # m
    name: str
    note: str
    index: int = -1  # opening number
    count: int = 1


def _text(
    x: float, y: float, text: str, name: str = "", anchor: str = "start", limit: int = 34, whole: str = ""
) -> str:
    """Return a line of text, cut at `limit` characters; where it is less than `whole`, that is its tooltip."""
    short = text if len(text) <= limit else text[: limit - 1] + "…"
    title = f"<title>{html.escape(whole or text)}</title>" if short != (whole or text) else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" class="{name}" text-anchor="{anchor}">{title}{html.escape(short)}</text>'
    )  # fmt: skip


def _name_lines(name: str, most: int) -> list[str]:
    """Return a name on as many lines as it needs, at most `most`; what does not fit stays on the last one."""
    if most < 2 or len(name) <= 22:
        return [name]
    first, *rest = textwrap.wrap(name, 22)
    return [first, " ".join(rest)] if rest else [first]


def _pieces(ds: Any) -> list[_Piece]:
    pieces: list[_Piece] = []
    columns = (ds[name].values for name in ("opening", "opening_area", "opening_kind", "opening_height"))
    for index, (name, free, kind, height) in enumerate(zip(*columns, strict=True)):
        area = 1e4 * float(free)
        note = f"{kind}, {display.number(area)} cm²/m" if area > 0.0 else f"{kind}, closed"
        pieces.append(_Piece("opening", float(height), str(name), note, index))
    for name, kind, height in zip(
        ds["part"].values, ds["part_kind"].values, ds["part_height"].values, strict=True
    ):  # fmt: skip
        if str(kind) in {"rail", "barrier"}:
            pieces.append(_Piece(str(kind), float(height), str(name), "", -1))
    pieces.sort(key=lambda piece: piece.height)
    grouped: list[_Piece] = []
    run: list[_Piece] = []
    for piece in [*pieces, None]:
        if piece is not None and piece.kind == "rail":
            run.append(piece)
            continue
        if run:
            low, high = run[0].height, run[-1].height
            spaced = f", {(high - low) / (len(run) - 1):.2g} m apart" if len(run) > 1 else ""
            name = f"{len(run)} rails{spaced}" if len(run) > 1 else run[0].name
            at = f"at {low:.3g} to {high:.3g} m" if len(run) > 1 else ""
            grouped.append(_Piece("rail", 0.5 * (low + high), name, at or "air passes in the gaps", -1, len(run)))
            run = []
        if piece is not None:
            grouped.append(piece)
    if not grouped:
        grouped = [_Piece("plain", 0.5 * (float(ds.attrs["column_bottom"]) + float(ds.attrs["column_top"])), "", "")]
    return grouped


def _fill(metal: int, wood: int, density: float) -> str:
    if metal:
        return "metal"
    if wood:
        return "wood"
    return "soft" if density < 200.0 else "heavy" if density > 1500.0 else "board"


def draw(ds: Any) -> str:
    """Return the wall of one case as an SVG text; all names are escaped.

    Parameters
    ----------
    ds : xarray.Dataset
        A result of `cavity.simulate`; its coordinates give layers, openings and parts of the air path.

    Returns
    -------
    str
        An ``<svg>`` element without script, style or outside reference.
    """
    positions = np.asarray(ds["face_position"].values, float) * 1e3
    wall = [str(role) for role in ds["face_role"].values].index("outer face of wall")
    scale = min((_RIGHT - _LEFT) / max(positions[-1], 1.0), 2.4)  # px per mm
    origin = _LEFT + 0.5 * ((_RIGHT - _LEFT) - scale * positions[-1])
    at = origin + positions * scale
    back, face, room = at[wall - 1], at[wall], at[-1]
    pieces = _pieces(ds)
    pieces = pieces if len(pieces) <= _MOST else pieces[: _MOST // 2] + pieces[-(_MOST - _MOST // 2) :]
    tall = (_BOTTOM - _TOP - _BREAK * (len(pieces) - 1)) / len(pieces)
    bottom, top = float(ds.attrs["column_bottom"]), float(ds.attrs["column_top"])
    segment_ends = np.asarray(ds["segment_top"].values, float)

    out = [
        f'<svg class="section" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="Wall section to scale: '
        f'{html.escape(str(ds.attrs.get("opening_set", "")))}, cavity {1e3 * float(ds.attrs["depth"]):.3g} mm" '
        f'data-cavity="{back:.1f} {face:.1f} {_TOP:g} {_BOTTOM:g} {scale:.5g}">'
    ]  # fmt: skip
    out += [
        '<defs><marker id="tip" viewBox="0 0 10 10" refX="7" refY="5" markerWidth="6" markerHeight="6" '
        'orient="auto-start-reverse"><path d="M0 0 10 5 0 10 2.5 5Z" class="tip"/></marker></defs>'
    ]  # fmt: skip

    columns = (ds[f"layer_{name}"].values for name in ("metal", "wood", "density"))
    fills = [_fill(*row) for row in zip(*columns, strict=True)]
    claddings = [str(part) == "cladding" for part in ds["layer_part"].values]
    membranes, areas, kinds = (ds[name].values for name in ("layer_membrane", "opening_area", "opening_kind"))
    bands = []
    position = 0
    for index in range(ds.sizes["layer"]):
        if position == wall - 1:
            position += 1
        bands.append((index, at[position], at[position + 1]))
        position += 1

    for number, piece in enumerate(pieces):
        low = _BOTTOM - number * (tall + _BREAK)
        high = low - tall
        middle = 0.5 * (low + high)
        gap = 0.0
        if piece.kind == "opening":
            gap = max(1e3 * float(areas[piece.index]) * scale, 0.0)
        is_base = piece.kind == "opening" and abs(piece.height - bottom) < 1e-6
        is_head = piece.kind == "opening" and abs(piece.height - top) < 1e-6
        gap = min(gap, 0.6 * tall)
        gap_low = low if is_base else high + gap if is_head else middle + gap / 2
        gap_high = gap_low - gap
        out.append('<g class="piece">')
        for index, left, right in bands:
            stretches = [(high, low)]
            if claddings[index] and gap > 0.0:
                stretches = [(high, gap_high), (gap_low, low)]
            for upper, lower in stretches:
                if lower - upper < 0.3:
                    continue
                if int(membranes[index]):
                    out.append(f'<path class="membrane" d="M{left:.1f} {upper:.1f}V{lower:.1f}"/>')
                else:
                    wide = max(right - left, 1.4)
                    box = f'x="{left:.1f}" y="{upper:.1f}" width="{wide:.1f}" height="{lower - upper:.1f}"'
                    out.append(f'<rect class="layer {fills[index]}" {box}/>')
        out.append(f'<path class="cut-edge" d="M{face:.1f} {high:.1f}V{low:.1f}"/>')
        if is_base:
            out.append(f'<path class="closer" d="M{back:.1f} {low:.1f}H{face:.1f}"/>')
        if is_head:
            out.append(f'<path class="closer" d="M{back:.1f} {high:.1f}H{face:.1f}"/>')
        if piece.kind == "opening" and "slot" not in str(kinds[piece.index]) and gap > 0.0:
            out.append(f'<path class="mesh" d="M{at[0]:.1f} {gap_low:.1f}V{gap_high:.1f}"/>')
        if piece.kind == "rail":
            deep = min(_RAIL * scale, 0.5 * tall)
            out.append(
                f'<path class="rail" d="M{back:.1f} {middle - deep / 2:.1f}H{face:.1f}v{deep:.1f}H{back:.1f}Z"/>'
            )
        if piece.kind == "barrier":
            deep = min(60.0 * scale, 0.6 * tall)
            out.append(
                f'<rect class="barrier" x="{back:.1f}" y="{middle - deep / 2:.1f}" '
                f'width="{face - back:.1f}" height="{deep:.1f}"/>'
            )  # fmt: skip
        segment = min(int(np.searchsorted(segment_ends, piece.height - 1e-9)), len(segment_ends) - 1)
        axis = 0.5 * (back + face)
        ends = (low - 8, high + 8)
        if is_base:
            ends = (0.5 * (gap_low + gap_high) - 4, high + 6)
        if is_head:
            ends = (low - 6, 0.5 * (gap_low + gap_high) + 4)
        through = " through" if piece.kind in {"rail", "barrier"} else ""
        out.append(
            f'<g class="flow{through}" data-segment="{segment}">'
            f'<path class="up" d="M{axis:.1f} {ends[0]:.1f}V{ends[1]:.1f}"/>'
            f'<path class="down" d="M{axis:.1f} {ends[1]:.1f}V{ends[0]:.1f}"/></g>'
        )  # fmt: skip
        label = at[0] - 50
        lines = int((tall + _BREAK) // _LINE)  # that fit beside this piece
        named = _name_lines(piece.name.removesuffix(f", {ds.attrs.get('column', '')}"), 2 if lines > 3 else 1)
        more = _LINE * (len(named) - 1)
        first = middle - 0.5 * more
        if piece.kind == "opening":
            y = 0.5 * (gap_low + gap_high)
            out.append(
                f'<g class="vent-flow" data-opening="{piece.index}">'
                f'<path class="in" d="M{at[0] - 40:.1f} {y:.1f}H{axis - 4:.1f}"/>'
                f'<path class="out" d="M{axis - 2:.1f} {y:.1f}H{at[0] - 38:.1f}"/></g>'
            )  # fmt: skip
            first = min(max(y + 4 - 0.5 * more, high + 12), low - 36 - more)
        for row, text in enumerate(named):
            out.append(_text(label, first + row * _LINE, text, "label", "end", 22, piece.name))
        below = first + len(named) * _LINE
        if lines > 2 or piece.kind != "opening":
            out.append(_text(label, below, piece.note, "small", "end", 24))
            below += _LINE
        if piece.kind == "opening":
            out.append(
                f'<text x="{label:.1f}" y="{below:.1f}" class="small num" text-anchor="end" '
                f'data-opening-text="{piece.index}"></text>'
            )  # fmt: skip
        out.append("</g>")
        if number < len(pieces) - 1:
            above = high - _BREAK
            zig = 0.5 * (at[0] + room)
            for y in (high, above):
                out.append(
                    f'<path class="break" d="M{at[0] - 14:.1f} {y:.1f}H{zig - 9:.1f}l5 -6 8 12 5 -6H{room + 14:.1f}"/>'
                )
            upper = pieces[number + 1].height
            if upper - piece.height > 1e-6:
                out.append(
                    _text(at[0] - 20, high - _BREAK / 2 + 4, f"{upper - piece.height:.3g} m", "small num", "end")
                )

    # numbered bubbles over the layers, leaders spread where layers are thin
    centres = [(0.5 * (left + right), str(index + 1)) for index, left, right in bands]
    centres.append((0.5 * (back + face), "◊"))
    centres.sort()
    spots: list[float] = []
    for centre, _ in centres:
        spots.append(max(centre, spots[-1] + 21.0) if spots else centre)
    shift = max(0.0, spots[-1] - (WIDTH - 14))
    for (centre, name), spot in zip(centres, spots, strict=True):
        x = spot - shift
        out.append(f'<path class="leader" d="M{centre:.1f} {_TOP - 2:.1f}L{x:.1f} {_TOP - 13:.1f}"/>')
        out.append(f'<circle class="bubble" cx="{x:.1f}" cy="{_TOP - 22:.1f}" r="9.6"/>')
        out.append(_text(x, _TOP - 16.8, name, "bubble-text", "middle"))

    # dimensions: cavity and whole wall
    for y, left, right, value in (
        (_BOTTOM + 22, back, face, positions[wall] - positions[wall - 1]),
        (_BOTTOM + 46, at[0], room, positions[-1]),
    ):
        out.append(
            f'<path class="dimension" d="M{left - 7:.1f} {y:.1f}H{right + 7:.1f}M{left:.1f} {y - 9:.1f}v14'
            f'M{right:.1f} {y - 9:.1f}v14M{left - 4:.1f} {y + 4:.1f}l8 -8M{right - 4:.1f} {y + 4:.1f}l8 -8"/>'
        )  # fmt: skip
        whole = right == room
        anchor = (0.5 * (left + right), "middle") if whole else (right + 12, "start")
        out.append(_text(anchor[0], y + 4, f"{display.number(value)} mm", "small num dim", anchor[1]))
    bar = 100.0 * scale if positions[-1] > 150 else 50.0 * scale
    y = HEIGHT - 16
    out.append(f'<path class="scale-bar" d="M{at[0]:.1f} {y}h{bar:.1f}m0 -4v8M{at[0]:.1f} {y - 4}v8"/>')
    out.append(_text(at[0] + bar + 8, y + 4, "100 mm" if positions[-1] > 150 else "50 mm", "small num"))
    out.append(_text(at[0] - 10, _BOTTOM + 18, "outdoors", "small", "end"))
    out.append(_text(room, _BOTTOM + 18, "room", "small", "end"))
    out.append("</svg>")
    return "".join(out)


def legend(ds: Any) -> list[dict[str, str]]:
    """Return the numbered list of layers, outside to inside, with the cavity in its place."""
    rows = []
    gone = False
    columns = (ds[name].values for name in ("layer", "layer_part", "layer_thickness", "layer_membrane"))
    for index, (name, part, thickness, membrane) in enumerate(zip(*columns, strict=True)):
        if not gone and str(part) == "backup":
            si, ip = display.quantity(float(ds.attrs["depth"]), "m")
            rows.append({"mark": "◊", "name": "cavity", "si": si, "ip": ip})
            gone = True
        si, ip = display.quantity(float(thickness), "m")
        if int(membrane):
            si = ip = "membrane"
        rows.append({"mark": str(index + 1), "name": str(name), "si": si, "ip": ip})
    return rows
