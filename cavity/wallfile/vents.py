"""The air path of a wall file: columns, rails, barriers and sets of vents, checked against the heights."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from cavity.constants import TOUCH
from cavity.wallfile.faults import Faults, KeyPath
from cavity.wallfile.materials import pick
from cavity.wallfile.model import Barrier, Column, Elevation, Opening, OpeningSet, Rail
from cavity.wallfile.values import nearest

_LISTED = 5  # so many of a longer list are named
# m, smaller clear dimension of a vent whose drawing gives a free area only; common practice, no source
USUAL_CLEAR = {"slot": 0.010, "mesh": 0.010, "perforated": 0.010, "louvre": 0.010, "joint": 0.008}
_BARRIER_DISTANCE = 0.05  # m, between a barrier and a vent above or below it
# what the words for the height of a vent need
_PLACES = {
    "base": "bottom of each strip",
    "head": "top of each strip",
    "wall base": "a strip that begins at the base of the wall",
    "wall top": "a strip that ends at the top of the wall",
    "window sill": "a strip that ends below a window",
    "window head": "a strip that begins above a window",
    "above barriers": "a [[barrier]] that closes a strip",
    "below barriers": "a [[barrier]] that closes a strip",
}


def read_columns(entries: list[Any], faults: Faults) -> list[Column]:
    """Return the columns that are at least 0.1 m high and have a unique name; faults for the others."""
    columns: list[Column] = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = ("column", index)
        if pick(columns, entry.name):
            faults.add((*key_path, "name"), "a name used twice", "different names", "change one of them")
            continue
        if entry.top - entry.bottom < 0.1:
            faults.add(
                (*key_path, "top"), "not above the bottom", f"at least {entry.bottom + 0.1:g} m", "check both heights"
            )
            continue
        columns.append(Column(entry.name, entry.bottom, entry.top, entry.fraction or 0.0))
    return columns


def _served(key_path: KeyPath, names: tuple[str, ...], columns: list[Column], faults: Faults) -> tuple[Column, ...]:
    """Return the columns a part names, or all."""
    served = []
    for name in names:
        column = pick(columns, name)
        if column is None:
            if columns:
                faults.add(
                    (*key_path, "columns"),
                    f"no column {name!r}",
                    "names of [[column]] sections",
                    nearest(name, [column.name for column in columns]),
                )
        else:
            served.append(column)
    return tuple(served) if names else tuple(columns)


def within(height: float, columns: Iterable[Column], margin: float = -TOUCH) -> bool:
    """Return whether a height [m] lies in one of the columns, by at least `margin` [m]."""
    return any(column.reaches(height, margin) for column in columns)


def _reach(columns: Iterable[Column]) -> str:
    return "; ".join(f"{column.name}: {column.bottom:g} m to {column.top:g} m" for column in columns)


def read_rails(base: KeyPath, entries: list[Any], columns: list[Column], faults: Faults) -> tuple[Rail, ...]:
    """Return the rails of the wall or of one set; spacing becomes heights."""
    rails: list[Rail] = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = (*base, index)
        if pick(rails, entry.name):
            faults.add((*key_path, "name"), "a name used twice", "different names", "change one of them")
        if bool(entry.heights) == (entry.spacing is not None):
            faults.add(
                key_path,
                "heights and spacing" if entry.heights else "neither heights nor spacing",
                "one of the two",
                "keep one" if entry.heights else 'add spacing = "600 mm"',
            )
            continue
        if entry.gap * entry.gaps > entry.bay:
            most = f"at most {entry.bay / entry.gaps:g} m"
            faults.add((*key_path, "gap"), "wider than the bay it serves", most, "check gap, gaps and bay")
        _screen(key_path, entry, faults)
        served = _served(key_path, entry.columns, columns, faults)
        if not served:
            continue
        heights = entry.heights
        if entry.spacing is not None:
            low, high = min(column.bottom for column in served), max(column.top for column in served)
            # none right under the head: it would have no effect
            count = int((high - low - 0.01) / entry.spacing)
            if count < 1:
                faults.add(
                    (*key_path, "spacing"), "no rail fits", f"less than {high - low:g} m", "give a smaller spacing"
                )
            if count > 200:
                faults.add((*key_path, "spacing"), f"{count} rails", "at most 200", "give a wider spacing")
                continue
            spaced = (round(low + entry.spacing * number, 6) for number in range(1, count + 1))
            heights = tuple(height for height in spaced if within(height, served, 1e-3))  # none in front of a window
        lost = [f"{height:g} m" for height in heights if not within(height, served, 1e-3)]
        if lost:
            outside = "outside the column, or at its end"
            problem = (
                f"{lost[0]} is {outside}" if len(lost) == 1 else f"{len(lost)} heights are {outside}: {_few(lost)}"
            )
            faults.add(
                (*key_path, "heights"), problem, _reach(served), "move the rail" if len(lost) == 1 else "move them"
            )
        if len(set(heights)) < len(heights):
            faults.add((*key_path, "heights"), "a height given twice", "different heights", "keep one")
        names = tuple(column.name for column in served) if entry.columns else ()
        rails.append(
            Rail(
                entry.name,
                tuple(sorted(heights)),
                entry.gap,
                entry.bay,
                entry.discharge,
                names,
                entry.gap_length_along_flow,
                entry.gaps,
                entry.porosity or 1.0,
                entry.wire or 0.0,
                entry.hole or 0.0,
                entry.edges == "rounded",
            )
        )
    return tuple(rails)


def _few(items: list[str]) -> str:
    return ", ".join(items[:_LISTED]) + (", ..." if len(items) > _LISTED else "")


def _screen(key_path: KeyPath, entry: Any, faults: Faults) -> None:
    """Check that the keys of a mesh or a perforation in the gaps of a rail are complete."""
    parts = [key for key in ("wire", "hole") if getattr(entry, key) is not None]
    if len(parts) == 2:
        faults.add(key_path, "wire and hole together", "wire for a mesh, hole for a perforation", "keep one", given="")
    elif parts and entry.porosity is None:
        faults.add((*key_path, "porosity"), "is missing", f"{parts[0]} needs it", 'add porosity = "50 %"', given="")
    elif entry.porosity is not None and not parts:
        expected = "wire for a mesh, hole for a perforation"
        faults.add(key_path, "porosity without wire or hole", expected, 'add hole = "5 mm"', given="")


def read_barriers(
    entries: list[Any], columns: list[Column], elevation: Elevation | None, faults: Faults
) -> list[Barrier]:
    """Return the barriers, each within a column; one at the storeys or window heads becomes one for every height."""
    barriers: list[Barrier] = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = ("barrier", index)
        if pick(barriers, entry.name):
            faults.add((*key_path, "name"), "a name used twice", "different names", "change one of them")
        served = _served(key_path, entry.columns, columns, faults)
        if (entry.height is None) == (entry.at is None):
            faults.add(
                key_path,
                "neither height nor at" if entry.height is None else "height and at",
                "one of the two",
                'add height = "3 m"' if entry.height is None else "keep one",
                given="",
            )
            continue
        names = tuple(column.name for column in served) if entry.columns else ()
        if entry.at is not None:
            heights = _barrier_heights(entry, elevation)
            if elevation is None or not heights:
                expected = (
                    "[[storey]] sections, at least two" if entry.at == "storeys" else "[[storey]] with [[window]]"
                )
                faults.add((*key_path, "at"), f"there are no {entry.at}", expected, 'write height = "3 m" instead')
            closed_heights = [height for height in heights if within(height, served)]
            title = f"{entry.name}, {{:g}} m" if len(closed_heights) > 1 else entry.name
            barriers += [
                Barrier(title.format(height), height, entry.free_area, entry.discharge, names)
                for height in closed_heights
            ]
            continue
        if served and not within(entry.height, served):
            faults.add((*key_path, "height"), "outside the column", _reach(served), "move the barrier")
        barriers.append(Barrier(entry.name, entry.height, entry.free_area, entry.discharge, names))
    return barriers


def _barrier_heights(entry: Any, elevation: Elevation | None) -> list[float]:
    """Return the heights at which a barrier "at" storeys or window heads closes the cavity [m]."""
    if elevation is None:
        return []
    ends = elevation.floors[1:-1] if entry.at == "storeys" else [window.top for window in elevation.windows]
    return sorted({round(end + entry.above, 6) for end in ends})


def read_sets(entries: list[Any], columns: list[Column], barriers: list[Barrier], faults: Faults) -> list[OpeningSet]:
    """Return the sets of openings, vents low to high; a vent at "base" becomes one for every such height."""
    sets: list[OpeningSet] = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = ("openings", index)
        if pick(sets, entry.name):
            faults.add((*key_path, "name"), "a name used twice", "a different name for every set", "change one of them")
        vents: list[Opening] = []
        for number, vent in enumerate(entry.vent):
            where: KeyPath = (*key_path, "vent", number)
            openings = _vents(where, vent, columns, barriers, faults)
            if vent.name and any(vent.name == earlier.name for earlier in vents):
                faults.add((*where, "name"), "a name used twice in the set", "different names", "change one of them")
            for opening in openings:
                name, count = opening.name, 2
                while any(name == earlier.name for earlier in vents):
                    name, count = f"{opening.name} {count}", count + 1
                vents.append(replace(opening, name=name))
        rails = None if entry.rail is None else read_rails((*key_path, "rail"), entry.rail, columns, faults)
        sets.append(OpeningSet(entry.name, tuple(sorted(vents, key=lambda opening: opening.height)), rails))
    return sets


def _vents(
    key_path: KeyPath, entry: Any, columns: list[Column], barriers: list[Barrier], faults: Faults
) -> list[Opening]:
    """Return the openings of one vent: one, one for every base or head of the columns it serves, or at each height."""
    height_keys = [key for key in ("height", "heights", "spacing") if getattr(entry, key) not in (None, ())]
    if len(height_keys) != 1:
        problem = "is missing" if not height_keys else f"{' and '.join(height_keys)} together"
        fix = "keep one" if height_keys else 'add height = "base", heights = ["1.2 m", "2.4 m"] or spacing = "600 mm"'
        faults.add((*key_path, "height"), problem, "one of height, heights, spacing", fix, given="")
        return []
    if height_keys != ["height"]:
        return _repeated(key_path, entry, columns, barriers, faults)
    area, clear = _size(key_path, entry, faults)
    _kind(key_path, entry, faults)
    served = _served(key_path, entry.columns, columns, faults)
    if not served:
        return []
    if isinstance(entry.height, str):
        ends: dict[float, list[str]] = {}
        for height, name in _named_heights(entry.height, served, columns, barriers):
            ends.setdefault(height, []).append(name)
        if not ends:
            faults.add(
                (*key_path, "height"), "no strip has such a height", _PLACES[entry.height], "name another height"
            )
            return []
        spots = [(height, tuple(names)) for height, names in ends.items()]
    else:
        reach = [column for column in served if within(entry.height, [column])]
        if not reach or (entry.columns and len(reach) < len(served)):
            lost = [column for column in served if column not in reach]
            problem = "below the bottom" if all(entry.height < column.bottom for column in lost) else "outside"
            if all(entry.height > column.top for column in lost):
                problem = "above the top"
            faults.add((*key_path, "height"), f"{problem} of the column", _reach(lost), _move(entry.height, lost[0]))
            return []
        spots = [(entry.height, tuple(column.name for column in reach) if entry.columns else ())]
    tall = min(column.height for column in served)
    if clear > tall:
        key = (
            "slot" if entry.slot else "holes" if entry.holes else "clear_height" if entry.clear_height else "free_area"
        )
        faults.add((*key_path, key), "higher than the column", f"at most {tall:g} m", "check the number and its unit")
    title = entry.name or f"{entry.height if isinstance(entry.height, str) else f'{entry.height:g} m'} {entry.kind}"
    return [
        Opening(
            name=title if len(spots) == 1 else f"{title}, {names[0]}",
            height=height,
            kind=entry.kind,
            gross_area=area,
            clear_height=clear,
            porosity=entry.porosity or 1.0,
            wire=entry.wire or 0.0,
            hole=entry.hole or 0.0,
            blade_angle=entry.blade_angle or 0.0,
            discharge=entry.discharge,
            bends=entry.bends,
            exposure=entry.exposure,
            cp_shift=entry.cp_shift,
            cp_table=entry.cp_table,
            columns=names,
        )
        for height, names in spots
    ]


def _repeated(
    key_path: KeyPath, entry: Any, columns: list[Column], barriers: list[Barrier], faults: Faults
) -> list[Opening]:
    """Return the openings of a vent that is repeated over the height."""
    heights = entry.heights
    if entry.spacing is not None:
        served = _served(key_path, entry.columns, columns, faults)
        if not served:
            return []
        low, high = min(column.bottom for column in served), max(column.top for column in served)
        count = int((high - low - 0.01) / entry.spacing)  # none right under the head
        if count < 1:
            faults.add((*key_path, "spacing"), "no vent fits", f"less than {high - low:g} m", "give a smaller spacing")
        if count > 200:
            faults.add((*key_path, "spacing"), f"{count} vents", "at most 200", "give a wider spacing")
            return []
        heights = tuple(round(low + entry.spacing * number, 6) for number in range(1, count + 1))
        heights = tuple(height for height in heights if within(height, served))
    if len(set(heights)) < len(heights):
        faults.add((*key_path, "heights"), "a height given twice", "different heights", "keep one")
    openings: list[Opening] = []
    for height in heights:
        vent = entry.model_copy(
            update={"height": height, "heights": (), "spacing": None, "name": entry.name or entry.kind}
        )
        at_height = _vents(key_path, vent, columns, barriers, faults)
        openings += [replace(opening, name=f"{opening.name} at {height:.2f} m") for opening in at_height]
    return openings


def _named_heights(
    word: str, served: Iterable[Column], columns: list[Column], barriers: list[Barrier]
) -> list[tuple[float, str]]:
    """Return height [m] and column of every place that a word names."""
    low, high = min(column.bottom for column in columns), max(column.top for column in columns)
    spots = []
    for column in served:
        at_base, at_top = column.bottom <= low + TOUCH, column.top >= high - TOUCH
        if word == "base" or (word == "wall base" and at_base) or (word == "window head" and not at_base):
            spots.append((column.bottom, column.name))
        if word == "head" or (word == "wall top" and at_top) or (word == "window sill" and not at_top):
            spots.append((column.top, column.name))
        if word in ("above barriers", "below barriers"):
            step = _BARRIER_DISTANCE if word == "above barriers" else -_BARRIER_DISTANCE
            spots += [
                (round(barrier.height + step, 6), column.name)
                for barrier in barriers
                if column.holds(barrier) and column.reaches(barrier.height + step)
            ]
    return spots


def _move(height: float, column: Column) -> str:
    end = '"head"' if height > column.top else '"base"'
    return f"write height = {end}, or a height from {column.bottom:g} m to {column.top:g} m"


def _size(key_path: KeyPath, entry: Any, faults: Faults) -> tuple[float, float]:
    """Return gross free area [m2/m] and smaller clear dimension [m] of a vent."""
    size_keys = [key for key in ("slot", "holes", "free_area") if getattr(entry, key) is not None]
    if len(size_keys) != 1:
        faults.add(
            key_path,
            "no size" if not size_keys else f"{' and '.join(size_keys)} together",
            "one of slot, holes, free_area",
            'add slot = "10 mm"' if not size_keys else "keep one",
            given="",
        )
        return 0.01, 0.01
    if entry.slot is not None:
        return entry.slot, entry.slot
    if entry.holes is not None:
        holes = entry.holes
        if holes.per_metre * holes.width > 1.0:
            faults.add(
                (*key_path, "holes"),
                "the holes are wider than the wall",
                "per_metre x width at most 1 m",
                "check per_metre and width",
            )
        return holes.per_metre * holes.width * holes.height, min(holes.width, holes.height)
    # the free area of a drawing is net of the mesh; the hole itself is larger
    area = entry.free_area / (entry.porosity or 1.0)
    if entry.clear_height is not None:
        return area, entry.clear_height
    usual = USUAL_CLEAR[entry.kind]
    if area < usual:  # a continuous slit would be narrower than any real vent
        title = f"vent {entry.name!r}" if entry.name else f"a {entry.kind}"
        faults.notes.append(
            f"{title[0].upper()}{title[1:]}: free_area without clear_height; openings {1e3 * usual:g} mm high are "
            "assumed, the usual size (common practice, no source)."
        )
    return area, max(usual, area)


def _kind(key_path: KeyPath, entry: Any, faults: Faults) -> None:
    """Check that a vent has the keys that its kind needs, and none of another kind."""
    needs = {"mesh": ("porosity", "wire"), "perforated": ("porosity", "hole"), "louvre": ("blade_angle",)}
    allowed = {"louvre": ("porosity", "blade_angle", "wire")}
    examples = {"porosity": '"50 %"', "wire": '"0.5 mm"', "hole": '"5 mm"', "blade_angle": '"30 deg"'}
    needed = needs.get(entry.kind, ())
    for key, example in examples.items():
        value = getattr(entry, key)
        if key in needed and value is None:
            faults.add(
                (*key_path, key), "is missing", f'kind = "{entry.kind}" needs it', f"add {key} = {example}", given=""
            )
        if value is not None and key not in needed and key not in allowed.get(entry.kind, ()):
            right = next((kind for kind, keys in needs.items() if key in keys), "mesh")
            faults.add(
                (*key_path, key),
                f'not for kind = "{entry.kind}"',
                f'{key} belongs to kind = "{right}"',
                f'write kind = "{right}", or omit {key}',
            )
    if (entry.exposure == "table") != bool(entry.cp_table):
        faults.add(
            (*key_path, "exposure"),
            "cp_table and exposure disagree",
            'exposure = "table" and a cp_table, or neither',
            "give both or none",
        )
    if entry.clear_height is not None and entry.free_area is None:
        faults.add(
            (*key_path, "clear_height"), "together with slot or holes", "only with free_area", "omit clear_height"
        )
