"""The elevation of a wall: from storeys and windows, the strips of cavity between, below and above the windows.

A window interrupts the cavity over its width; the cavity below its sill and above its head forms separate strips. The
wall is cut at the left and right edges of all windows. Pieces of equal bottom and top form one strip, which has the
fraction of the wall length over which it runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from cavity.constants import TOUCH
from cavity.wallfile.faults import Faults, KeyPath
from cavity.wallfile.model import Column, Elevation, Strip, Window

_LOWEST = 0.1  # m, a lower piece under or over a window belongs to its frame and is no strip of cavity
MOST_STRIPS = 60  # each is a separate simulation


@dataclass(frozen=True)
class _Piece:
    """A stretch of the wall length and one free height on it."""

    left: float
    right: float
    bottom: float
    top: float
    under: str  # name of the window over it, empty at the top of the wall
    over: str  # name of the window under it, empty at the base


def read_elevation(
    storeys: list[Any], windows: list[Any], width: float, faults: Faults
) -> tuple[Elevation | None, list[Column]]:
    """Return the elevation and its strips, full height first, then from the base upwards.

    Parameters
    ----------
    storeys, windows : list
        Entries of [[storey]], from the base of the wall upwards, and of [[window]].
    width : float
        Length of the wall. [m]
    faults : Faults
        Faults are added to it.

    Returns
    -------
    elevation : Elevation or None
        None where there are faults.
    columns : list of Column
        The strips.
    """
    before = len(faults.gathered)
    floors = [0.0]
    for entry in storeys:
        for _ in range(entry.repeat):
            floors.append(round(floors[-1] + entry.height, 6))
    if floors[-1] > 500.0:
        faults.add(("storey",), f"the wall is {floors[-1]:g} m high", "at most 500 m", "check height and repeat")
    by_width = [index for index, entry in enumerate(windows) if entry.fraction is None]
    if by_width and len(by_width) < len(windows):
        faults.add(
            ("window", by_width[0], "left"),
            "together with a window given by its fraction",
            "all windows by left and width, or all by fraction",
            "give every window in the same way",
            given="",
        )
        return None, []
    rectangles: list[Window] = []
    reached: dict[int, float] = {}  # by storey: m of the wall length taken by windows given as a fraction
    for index, entry in enumerate(windows):
        key_path: KeyPath = ("window", index)
        spans = _spans(key_path, entry, width, faults)
        for number in entry.storeys or tuple(range(1, len(floors))):
            if number > len(floors) - 1:
                faults.add(
                    (*key_path, "storeys"), f"storey {number}", f"storeys 1 to {len(floors) - 1}", "check [[storey]]"
                )
                continue
            floor, height = floors[number - 1], floors[number] - floors[number - 1]
            if not entry.sill < entry.head <= height + TOUCH:
                faults.add(
                    (*key_path, "head"),
                    "not between its sill and the top of the storey",
                    f"above {entry.sill:g} m, at most {height:g} m: heights above the floor of the storey",
                    "check sill, head and the height of the storey",
                )
                break
            if entry.fraction is not None:
                left = reached.get(number, 0.0)
                spans = [(left, left + entry.fraction * width)]
                reached[number] = spans[0][1]
            for left, right in spans:
                rectangles.append(Window(entry.name, left, right, floor + entry.sill, floor + entry.head))
    if any(total > width + TOUCH for total in reached.values()):
        faults.add(
            ("window", 0, "fraction"),
            "the windows of a storey add up to more than the wall",
            "at most 100 % of the wall length in each storey",
            "check fraction and storeys",
        )
    for first, second in _overlaps(rectangles):
        faults.add(
            ("window",),
            f"{first.name!r} and {second.name!r} overlap at {max(first.bottom, second.bottom):g} m",
            "windows side by side or one above the other",
            "check left, width, sill and head",
        )
    if len(faults.gathered) > before:
        return None, []
    pieces = _pieces(rectangles, width, floors[-1])
    strips = _strips(pieces, floors)
    if len(strips) > MOST_STRIPS:
        faults.add(("window",), f"{len(strips)} different strips", f"at most {MOST_STRIPS}", "use fewer window sizes")
        return None, []
    if not strips:
        faults.add(("window",), "the windows leave no wall", "a strip of wall", "check the windows")
        return None, []
    elevation = Elevation(width, tuple(floors), tuple(rectangles), tuple(strips))
    columns = [Column(strip.name, strip.bottom, strip.top, _length(strip) / width) for strip in strips]
    return elevation, columns


def _spans(key_path: KeyPath, entry: Any, width: float, faults: Faults) -> list[tuple[float, float]]:
    """Return where the windows of an entry are along the wall [m]; empty where a fraction is given."""
    if entry.fraction is not None:
        for key in ("left", "width"):
            if getattr(entry, key):
                faults.add((*key_path, key), "together with fraction", "either fraction, or left and width", "keep one")
        return []
    if not entry.left or entry.width is None:
        faults.add(
            (*key_path, "width" if entry.left else "left"),
            "is missing",
            "left and width, or fraction",
            'add width = "1.2 m"' if entry.left else 'add left = "1.5 m", or fraction = "30 %"',
            given="",
        )
        return []
    spans = [(left, left + entry.width) for left in entry.left]
    for left, right in spans:
        if right > width + TOUCH:
            faults.add(
                (*key_path, "left"),
                f"a window from {left:g} m to {right:g} m ends beyond the wall",
                f"within the wall_width of [site], {width:g} m",
                "check left, width and wall_width",
            )
    return spans


def _overlaps(windows: list[Window]) -> list[tuple[Window, Window]]:
    """Return the first pair of windows that overlap, or none."""
    for number, window in enumerate(windows):
        for other in windows[:number]:
            across = min(window.right, other.right) - max(window.left, other.left)
            along = min(window.top, other.top) - max(window.bottom, other.bottom)
            if across > TOUCH and along > TOUCH:
                return [(other, window)]
    return []


def _pieces(windows: list[Window], width: float, top: float) -> list[_Piece]:
    edges = sorted({0.0, width, *(w.left for w in windows), *(w.right for w in windows)})
    pieces = []
    for left, right in pairwise(edges):
        if right - left <= TOUCH:
            continue
        middle = 0.5 * (left + right)
        in_piece = sorted((w for w in windows if w.left < middle < w.right), key=lambda w: w.bottom)
        reached, over = 0.0, ""
        for window in [*in_piece, None]:
            end = window.bottom if window else top
            if end - reached >= _LOWEST - TOUCH:
                pieces.append(_Piece(left, right, reached, end, window.name if window else "", over))
            if window:
                reached, over = window.top, window.name
    return pieces


def _length(strip: Strip) -> float:
    return sum(right - left for left, right in strip.spans)


def _strips(pieces: list[_Piece], floors: list[float]) -> list[Strip]:
    """Join pieces of the same bottom and top, and name them."""
    groups: dict[tuple[float, float], list[_Piece]] = {}
    for piece in pieces:
        groups.setdefault((round(piece.bottom, 5), round(piece.top, 5)), []).append(piece)
    order = sorted(groups, key=lambda ends: (-(ends[1] - ends[0] >= floors[-1] - _LOWEST), ends[0], ends[1]))
    strips: list[Strip] = []
    for ends in order:
        same_ends = groups[ends]
        name = _name(same_ends[0], floors)
        if any(name == other.name for other in strips):
            name = f"{name} ({ends[0]:g} to {ends[1]:g} m)"
        spans: list[tuple[float, float]] = []
        for piece in same_ends:  # from left to right
            if spans and piece.left - spans[-1][1] <= TOUCH:
                spans[-1] = (spans[-1][0], piece.right)
            else:
                spans.append((piece.left, piece.right))
        strips.append(Strip(name, ends[0], ends[1], tuple(spans)))
    return strips


def _name(piece: _Piece, floors: list[float]) -> str:
    """Return the name of a strip, by the windows at its ends."""

    def storey(height: float) -> int:
        return max(1, sum(floor < height - TOUCH for floor in floors[:-1]))

    if not piece.under and not piece.over:
        return "full height"
    many = len(floors) > 2
    if not piece.over:
        return f"below windows, storey {storey(piece.top)}" if many else "below windows"
    if not piece.under:
        return f"above windows, storey {storey(piece.bottom)}" if many else "above windows"
    low, high = storey(piece.bottom), storey(piece.top)
    return f"between windows, storeys {low} and {high}" if low != high else f"between windows, storey {low}"
