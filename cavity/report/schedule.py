"""The vent schedule of one case: every vent, rail gap and barrier as the drawing and the installer need them.

Rows come from the wall as the Dataset carries it. What must stay free is common practice, no source.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from cavity import files
from cavity.constants import TOUCH
from cavity.report import display
from cavity.result import wall_of

if TYPE_CHECKING:
    from cavity.wallfile.model import Column, Opening, Rail

_KIND = {
    "slot": "slot",
    "mesh": "slot with mesh",
    "perforated": "perforated strip",
    "louvre": "louvre",
    "joint": "joint",
}
_FREE = {
    "base of the wall": "clear of ground, paving and drifted leaves; no sealant or insulation in the opening",
    "window head": "open above window and fire detailing; the flashing drains outwards and is not sealed to the panel",
    "window sill": "open under the sill flashing; the flashing laps over the panel and is not sealed to it",
    "top of the wall": "open under the coping; the coping overlaps and lets the air out, no foam behind it",
    "part way up": "joint not filled or taped",
    "rail": "gap at the rail ends not closed by sealant, offcuts or insulation that swells into the cavity",
    "barrier": "closed as the fire design requires; the free area applies in the open state only",
}  # fmt: skip


@dataclass(frozen=True)
class ScheduleRow:
    """One line of the schedule.

    Parameters
    ----------
    place : str
        Base of the wall, window head, window sill, top of the wall, part way up, rail or barrier.
    name, strips : str
        As in the wall file.
    heights : tuple of float
        Above the base of the wall. [m]
    kind, geometry : str
        What is built, in words, with its dimensions.
    geometry_pound : str
        The same in inch-pound units.
    free_area : float
        Per metre of wall length, mesh taken off. [m2/m]
    length : float
        Wall length over which it runs; NaN where the wall file does not say. [m]
    pieces : str
        How many pieces, gaps or holes a metre or a bay.
    keep_free : str
        What must stay free.
    """

    place: str
    name: str
    strips: str
    heights: tuple[float, ...]
    kind: str
    geometry: str
    geometry_pound: str
    free_area: float
    length: float
    pieces: str
    keep_free: str

    @property
    def height_text(self) -> str:
        """Heights above the base of the wall, in metres; many as a range."""
        if len(self.heights) > 4:
            return f"{len(self.heights)} from {self.heights[0]:.2f} to {self.heights[-1]:.2f} m"
        return ", ".join(f"{height:.2f}" for height in self.heights) + " m"


def rows(ds: Any) -> list[ScheduleRow]:
    """Return the schedule of a case, from the base of the wall upwards, then rails and barriers.

    Parameters
    ----------
    ds : xarray.Dataset
        A result of `cavity.simulate`; openings of all strips of its wall are listed, not those of its strip alone.

    Returns
    -------
    list of ScheduleRow
    """
    wall = wall_of(ds)
    opening_set = wall.opening_set(str(ds.attrs["opening_set"]))
    depth, width = float(ds.attrs["depth"]), wall.site.wall_width
    low, high = min(c.bottom for c in wall.columns), max(c.top for c in wall.columns)
    listed = [
        _vent_row(opening, [c for c in wall.columns if c.holds(opening)], wall.columns, (low, high), width)
        for opening in opening_set.openings
    ]
    listed.sort(key=lambda row: (row.heights[0], row.name))
    listed += [_rail_row(rail, wall.columns, depth, width) for rail in wall.rails_of(opening_set)]
    for barrier in wall.barriers:
        served = [c for c in wall.columns if c.holds(barrier)]
        free = barrier.free_area
        si, ip = display.quantity(free, "area") if free > 0.0 else ("closed", "closed")
        listed.append(
            ScheduleRow(
                "barrier", barrier.name, _names(served, wall.columns), (barrier.height,), "cavity barrier", si, ip,
                free, _length(served, width), "continuous", _FREE["barrier"],
            )
        )  # fmt: skip
    return listed


def _names(served: Sequence[Column], columns: Sequence[Column]) -> str:
    return "all strips" if len(served) == len(columns) else ", ".join(c.name for c in served) or "no strip"


def _length(served: Sequence[Column], width: float) -> float:
    """Return the wall length of some strips [m]; NaN where it is not known."""
    fractions = [c.fraction for c in served]
    return sum(fractions) * width if fractions and all(fractions) else math.nan


def _place(height: float, served: Sequence[Column], ends: tuple[float, float]) -> str:
    if abs(height - ends[0]) < TOUCH:
        return "base of the wall"
    if abs(height - ends[1]) < TOUCH:
        return "top of the wall"
    if any(abs(height - c.bottom) < TOUCH for c in served):
        return "window head"
    if any(abs(height - c.top) < TOUCH for c in served):
        return "window sill"
    return "part way up"


def _both(values: Sequence[tuple[str, float, str]]) -> tuple[str, str]:
    """Return words and lengths joined, in SI and inch-pound units: (word before, value in m, word after)."""
    texts: tuple[list[str], list[str]] = ([], [])
    for before, value, after in values:
        for text, shown in zip(texts, display.quantity(value, "m"), strict=True):
            text.append(" ".join(part for part in (before, shown, after) if part))
    return ", ".join(texts[0]), ", ".join(texts[1])


def _vent_row(
    opening: Opening,
    served: Sequence[Column],
    columns: Sequence[Column],
    ends: tuple[float, float],
    width: float,
) -> ScheduleRow:
    gross, clear = opening.gross_area, opening.clear_height or opening.gross_area
    continuous = clear >= gross * (1.0 - 1e-6)
    parts: list[tuple[str, float, str]] = [
        ("", clear, "clear height" if continuous else "clear height of each opening")
    ]
    porosity = opening.porosity
    if opening.wire:
        parts.append((f"mesh {100 * porosity:.0f} % open, wire", opening.wire, ""))
    if opening.hole:
        parts.append((f"{100 * porosity:.0f} % open, holes", opening.hole, ""))
    si, ip = _both(parts)
    if opening.blade_angle:
        si, ip = (f"{text}, blades at {opening.blade_angle:g}°" for text in (si, ip))
    place = _place(opening.height, served, ends)
    pieces = "continuous" if continuous else f"{display.number(gross / clear, 3)} m of opening per m of wall"
    return ScheduleRow(
        place, opening.name, _names(served, columns), (opening.height,),
        _KIND[opening.kind], si, ip, gross * porosity, _length(served, width), pieces,
        _FREE[place],
    )  # fmt: skip


def _rail_row(rail: Rail, columns: Sequence[Column], depth: float, width: float) -> ScheduleRow:
    served = [c for c in columns if c.serves(rail.columns)]
    gap, bay = rail.gap, rail.bay
    si, ip = _both([("gap", gap, "at the rail ends"), ("every", bay, "")])
    heights = rail.heights
    # windows interrupt a rail: each of its lines has a length of its own
    lengths = [_length([c for c in served if c.bottom < z < c.top], width) for z in heights]
    count = f"1 gap per {display.number(bay, 3)} m"
    if not any(math.isnan(length) for length in lengths):
        fewest, most = (math.ceil(pick(lengths) / bay - 1e-9) for pick in (min, max))
        count += f", {most if fewest == most else f'{fewest} to {most}'} per rail line"
    return ScheduleRow(
        "rail", rail.name, _names(served, columns), heights, "horizontal rail", si, ip, gap * depth / bay,
        max(lengths), count, _FREE["rail"],
    )  # fmt: skip


HEAD = (
    "place", "part", "strips", "height above the base of the wall", "kind", "dimensions", "free area [cm2/m]",
    "wall length [m]", "pieces", "must stay free",
)  # fmt: skip


def table(listed: Sequence[ScheduleRow]) -> list[list[str]]:
    """Return the schedule as texts, by the columns of `HEAD`."""
    return [
        [
            row.place, row.name, row.strips, row.height_text, row.kind, row.geometry,
            "0" if row.free_area <= 0.0 else f"{1e4 * row.free_area:.3g}",
            "" if math.isnan(row.length) else f"{row.length:.4g}", row.pieces, row.keep_free,
        ]
        for row in listed
    ]  # fmt: skip


def numbers(listed: Sequence[ScheduleRow]) -> list[list[Any]]:
    """Return the schedule by the columns of `HEAD`, free area [cm2/m] and wall length [m] as numbers, NaN: unknown."""
    cells_of: list[list[Any]] = [list(row) for row in table(listed)]
    for cells, row in zip(cells_of, listed, strict=True):
        cells[6], cells[7] = 1e4 * row.free_area, row.length
    return cells_of


def csv_text(listed: Sequence[ScheduleRow]) -> str:
    """Return the schedule as CSV with a head line; texts that a spreadsheet would take for a formula are quoted off."""
    return files.csv_text(HEAD, table(listed))


# --------------------------------------------------------------------------- detail drawings

_BOX = (210.0, 190.0)  # of one detail
_WALL = 30.0  # drawn thickness of the backup wall, cut off by a break line


def details(ds: Any) -> list[tuple[str, str]]:
    """Return the details that the case has, as (title, SVG): base, window head, window sill and top of the wall.

    Depth, slot and panel are to one scale; the flashing and the backup wall are schematic.
    """
    first_of: dict[str, ScheduleRow] = {}
    for row in rows(ds):
        first_of.setdefault(row.place, row)
    depth = float(ds.attrs["depth"])
    panel = sum(
        float(thickness)
        for thickness, part in zip(ds["layer_thickness"].values, ds["layer_part"].values, strict=True)
        if str(part) == "cladding"
    )
    opening_set = wall_of(ds).opening_set(str(ds.attrs["opening_set"]))
    clear = {opening.name: opening.clear_height or opening.gross_area for opening in opening_set.openings}
    drawings = []
    for place in ("base of the wall", "window head", "window sill", "top of the wall"):
        if place in first_of:
            row = first_of[place]
            low = place in ("base of the wall", "window head")
            drawings.append((f"{place[0].upper()}{place[1:]}", _detail(row, depth, panel, clear[row.name], low)))
    return drawings


def _detail(row: ScheduleRow, depth: float, panel: float, clear: float, low: bool) -> str:
    wide, tall = _BOX
    scale = min(1.6, 74.0 / (1e3 * (depth + panel)), 60.0 / (1e3 * clear))  # px per mm
    slot = max(1e3 * clear * scale, 2.0)
    wall_x = wide - 26.0 - _WALL
    back_x = wall_x - 1e3 * depth * scale
    panel_x = back_x - max(1e3 * panel * scale, 2.0)
    flash = tall - 46.0 if low else 46.0  # of the flashing under or over the vent
    edge = flash - slot if low else flash + slot
    above, below = (30.0, 12.0) if low else (12.0, 30.0)  # room for the depth, dimensioned beyond the wall
    end = above + 4.0 if low else tall - below - 4.0
    top, bottom = min(end, edge), max(end, edge)
    sign = 1.0 if low else -1.0
    si_depth, ip_depth = display.quantity(depth, "m")
    si_clear, ip_clear = display.quantity(clear, "m")
    mesh = row.kind != "slot" and row.kind != "joint"
    lines = [
        f'<svg class="vent-detail" viewBox="0 0 {wide:g} {tall:g}" role="img" aria-label="{html.escape(row.place)}: '
        f'{html.escape(row.geometry)}, cavity {si_depth}">',
        f'<rect class="backup" x="{wall_x:.1f}" y="{above:g}" width="{_WALL:g}" height="{tall - above - below:.1f}"/>',
        f'<path class="cut" d="M{wall_x + _WALL:.1f} {above:g}V{0.5 * tall - 10:.1f}l4 5l-8 8l4 5V{tall - below:g}"/>',
        f'<rect class="panel" x="{panel_x:.1f}" y="{top:.1f}" width="{back_x - panel_x:.1f}" '
        f'height="{bottom - top:.1f}"/>',
        # the flashing falls outwards from the wall and laps beyond the panel
        f'<path class="flashing" d="M{wall_x:.1f} {flash - sign * 12:.1f}V{flash:.1f}'
        f'L{panel_x - 9:.1f} {flash + (5 if low else 7):.1f}{"v5" if low else "v9"}"/>',
        f'<path class="way" d="M{panel_x - 26:.1f} {0.5 * (flash + edge):.1f}H{0.5 * (back_x + wall_x):.1f}'
        f'V{edge - sign * 34:.1f}"/>',
    ]
    if mesh:
        lines.append(f'<path class="mesh" d="M{0.5 * (panel_x + back_x):.1f} {min(flash, edge):.1f}v{slot:.1f}"/>')
    x, y = panel_x - 34.0, 0.5 * (flash + edge)
    lines += [
        f'<path class="dimension" d="M{x:.1f} {flash:.1f}V{edge:.1f}M{x - 5:.1f} {flash:.1f}h16'
        f'M{x - 5:.1f} {edge:.1f}h16"/>',
        _label(x - 6, y + 4, si_clear, ip_clear, "end"),
    ]
    y = 22.0 if low else tall - 22.0
    lines += [
        f'<path class="dimension" d="M{back_x:.1f} {y:.1f}H{wall_x:.1f}M{back_x:.1f} {y - 5:.1f}v10'
        f'M{wall_x:.1f} {y - 5:.1f}v10"/>',
        _label(0.5 * (back_x + wall_x), y - 7 if low else y + 16, si_depth, ip_depth, "middle"),
        "</svg>",
    ]  # fmt: skip
    return "".join(lines)


def _label(x: float, y: float, si: str, ip: str, anchor: str) -> str:
    return "".join(
        f'<text x="{x:.1f}" y="{y:.1f}" class="{unit}" text-anchor="{anchor}">{html.escape(text)}</text>'
        for unit, text in (("si", si), ("ip", ip))
    )


STYLE = """
.vent-detail{width:100%;max-width:260px;height:auto}
.vent-detail text{font:12px var(--font);fill:var(--ink)}
.vent-detail .backup{fill:var(--zone);stroke:var(--ink)}
.vent-detail .panel{fill:var(--muted);stroke:var(--ink);stroke-width:.6}
.vent-detail .flashing{stroke:var(--ink);stroke-width:2;fill:none}
.vent-detail .cut{stroke:var(--muted);fill:none}
.vent-detail .way{stroke:var(--air);stroke-width:2;fill:none;stroke-dasharray:6 3}
.vent-detail .mesh{stroke:var(--ink);stroke-width:2;stroke-dasharray:2 2;fill:none}
.vent-detail .dimension{stroke:var(--muted);stroke-width:.9;fill:none}
"""
