"""From the sections of a wall file to the frozen `Wall`: names resolved, parts checked against each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from cavity.wallfile import schema
from cavity.wallfile.faults import Faults, Place, shown
from cavity.wallfile.materials import fold, make, material_names, override, row_of, suggestion
from cavity.wallfile.model import (
    Barrier,
    Cavity,
    Column,
    Indoor,
    Layer,
    Material,
    Opening,
    OpeningSet,
    Rail,
    Run,
    Site,
    Wall,
    Wetting,
)
from cavity.wallfile.values import nearest

# Vapour permeability of still air at 23 degC, the temperature of the cups of ISO 12572: Schirmer, from memory
AIR_PERMEABILITY = 1.914e-10  # kg/(m s Pa)
AIR_DENSITY = 1.2  # kg/m3, indoor air at 20 degC: turns a leak in m3 into kg
_SHEET = 0.005  # m: a thicker layer has heat resistance, which a membrane leaves out (own choice)
_TOUCH = 1e-6  # m, heights closer than this are the same
_FEW = 0.005  # m2/m, 50 cm2/m
_SHALLOW = 0.020  # m
_RULE = "DIN 18516-1, from memory"


def build(parts: dict[str, Any], faults: Faults, folder: Path | None) -> Wall | None:
    """Return the wall that the sections describe, or None where `faults` got any.

    Parameters
    ----------
    parts : dict
        The sections that passed the schema, by name; cross checks of absent ones are left out.
    faults : Faults
        Gets what is found.
    folder : Path or None
        Folder of the wall file, for an indoor file.

    Returns
    -------
    Wall or None
    """
    warnings: list[str] = []
    own = _own_materials(parts.get("material", {}), faults, warnings)
    cladding = _layers("cladding", parts.get("cladding", []), own, faults)
    backup = _layers("backup", parts.get("backup", []), own, faults)
    _name_layers(cladding, backup, faults)
    columns = _columns(parts.get("column", []), faults)
    rails = _rails(("rail",), parts.get("rail", []), columns, faults)
    barriers = _barriers(parts.get("barrier", []), columns, faults)
    sets = _sets(parts.get("openings", []), columns, faults)
    cavity = parts.get("cavity")
    depths = _depths(parts.get("compare"), cavity, faults)
    sets = _chosen(parts.get("compare"), sets, parts, faults)
    site = _site(parts.get("site"), columns, faults)
    indoor = _indoor(parts.get("indoor"), folder, faults)
    wetting = _wetting(parts.get("wetting"), backup, parts, faults)
    run = _run(parts.get("run"), cladding + backup, parts, faults)
    variants = _variants(parts.get("variant", []), cladding + backup, own, faults)
    uncertain = _uncertain(parts.get("uncertain", {}), faults)
    if faults.found:
        return None
    head, finish = parts["wall"], parts["finish"]
    wall = Wall(
        name=head.name,
        cladding=tuple(cladding),
        cavity=Cavity(**{field.name: getattr(cavity, field.name) for field in fields(Cavity)}),
        backup=tuple(backup),
        columns=tuple(columns),
        opening_sets=tuple(sets),
        depths=depths,
        orientation=head.orientation,
        tilt=head.tilt,
        rails=rails,
        barriers=tuple(barriers),
        site=site,
        indoor=indoor,
        wetting=wetting,
        run=run,
        solar_absorptance=finish.solar_absorptance,
        emissivity=finish.emissivity,
        limits=tuple((name, value) for name, value in parts["limits"] if value is not None),
        variants=variants,
        uncertain=uncertain,
        description=head.description,
        invented=head.invented,
    )
    return replace(wall, warnings=tuple(warnings + _doubts(wall)))


# --------------------------------------------------------------------------- materials and layers


def _own_materials(sections: dict[str, Any], faults: Faults, warnings: list[str]) -> dict[str, Material]:
    own: dict[str, Material] = {}
    known = {fold(name) for name in material_names()}
    for name, entry in sections.items():
        place: Place = ("material", name)
        if not name.strip() or len(name) > 60 or not name.isprintable():
            faults.add(place, "not a usable name", "1 to 60 printable characters", "choose another name")
            continue
        made, defects = make(name, entry)
        _add_defects(place, defects, faults)
        if any(fold(other) == fold(name) for other in own):
            faults.add(place, "defined twice, but for capitals or hyphens", cure="keep one")
        own[name] = made
        if fold(name) in known:
            warnings.append(f"The wall file's own material {name!r} replaces the built-in one of that name.")
    return own


def _add_defects(place: Place, defects: Iterable[tuple[str, str, str, str]], faults: Faults) -> None:
    for key, problem, expected, cure in defects:
        faults.add((*place, key), problem, expected, cure)


def _layers(part: str, entries: list[Any], own: dict[str, Material], faults: Faults) -> list[Layer]:
    layers = [_layer((part, index), entry, own, faults) for index, entry in enumerate(entries)]
    if layers and all(layer.is_membrane for layer in layers):
        faults.add((part,), "has membranes only", "at least one layer with heat resistance", "add a panel or board")
    return layers


def _layer(place: Place, entry: Any, own: dict[str, Material], faults: Faults) -> Layer:
    row = row_of(entry.material, own)
    if row is None:
        faults.add(
            (*place, "material"),
            "unknown material",
            "a name of the table of materials, or of [material.NAME]",
            suggestion(entry.material, tuple(own)),
        )
        row = row_of("glass", {})  # stands in, so that the other checks can go on
    assert row is not None
    before = len(faults.found)
    made, defects = override(row, entry)
    _add_defects(place, defects, faults)
    thickness = entry.thickness or row.thickness
    resistances = [key for key in ("sd", "permeance", "sd_table") if getattr(entry, key)]
    if len(resistances) > 1:
        faults.add(
            (*place, resistances[1]), f"given beside {resistances[0]}", "one of sd, permeance, sd_table", "keep one"
        )
    sd, table = (row.sd, row.sd_table) if not resistances else (entry.sd, entry.sd_table)
    if entry.permeance:
        sd = AIR_PERMEABILITY / entry.permeance
    if (sd or table) and not resistances and (entry.mu or entry.mu_dry or entry.mu_table):
        faults.add(
            (*place, "sd"), "is missing", f"{row.name} is a membrane; its vapour resistance is sd", 'add sd = "2 m"'
        )
    if (sd or table) and thickness > _SHEET:
        mu = (sd or table[0][1]) / thickness
        faults.add(
            (*place, "thickness"),
            "too thick for a membrane",
            f"at most {1000 * _SHEET:g} mm where sd or permeance is given: a membrane has no heat resistance",
            f"give mu = {mu:.4g} instead" if resistances else "check the thickness, or choose a board",
        )
    if sd or table:
        thickness = thickness or 0.0005  # m, a usual sheet; of no effect, since a membrane has no depth in the model
    elif not entry.thickness:
        faults.add((*place, "thickness"), "is missing", 'a quantity such as "12.5 mm"', _usual(row), given="")
    bridge = _bridge((*place, "bridge"), entry.bridge, thickness, own, faults)
    if bridge and (sd or table):
        faults.add((*place, "bridge"), "on a membrane", "a layer with heat resistance", "move it to the insulation")
    if len(faults.found) > before:
        bridge = 0.0
    return Layer(entry.name, made, thickness or 0.001, sd, table, bridge)


def _usual(row: Material) -> str:
    return f'add thickness = "{1000 * row.thickness:g} mm"' if row.thickness else 'add thickness = "100 mm"'


def _bridge(place: Place, entry: Any, thickness: float, own: dict[str, Material], faults: Faults) -> float:
    """Return the conductance of metal through a layer, averaged over the wall: lambda t / (spacing d)."""
    if entry is None:
        return 0.0
    given = [key for key in ("spacing", "thickness") if getattr(entry, key) is not None]
    if entry.conductance is not None:
        if given:
            faults.add(place, "conductance beside spacing or thickness", "one or the other", "keep one")
        return entry.conductance
    if len(given) < 2:
        faults.add(
            place,
            "incomplete",
            "spacing and thickness of the rails, or conductance",
            'write { spacing = "600 mm", thickness = "1.5 mm" }',
        )
        return 0.0
    row = row_of(entry.material, own)
    if row is None:
        faults.add((*place, "material"), "unknown material", cure=suggestion(entry.material, tuple(own)))
        return 0.0
    if entry.thickness >= entry.spacing:
        faults.add((*place, "thickness"), "not smaller than the spacing", cure="check both")
    return row.conductivity * entry.thickness / (entry.spacing * thickness) if thickness else 0.0


def _name_layers(cladding: list[Layer], backup: list[Layer], faults: Faults) -> None:
    """Check given names and number the others, in place: every layer has a name of its own."""
    taken: dict[str, Place] = {}
    for part, layers in (("cladding", cladding), ("backup", backup)):
        for index, layer in enumerate(layers):
            place: Place = (part, index, "name")
            if layer.name and fold(layer.name) in taken:
                faults.add(place, "a name used twice", "a name of its own for every layer", "change one of them")
            if layer.name:
                taken[fold(layer.name)] = place
    for layers in (cladding, backup):
        for index, layer in enumerate(layers):
            if layer.name:
                continue
            name, number = layer.material.title, 2
            while fold(name) in taken:
                name, number = f"{layer.material.title} {number}", number + 1
            taken[fold(name)] = ()
            layers[index] = replace(layer, name=name)


def _variants(
    entries: list[Any], layers: list[Layer], own: dict[str, Material], faults: Faults
) -> tuple[tuple[str, str, Layer], ...]:
    found = []
    for index, entry in enumerate(entries):
        place: Place = ("variant", index)
        new = _layer(place, entry, own, faults)
        old = _pick(layers, entry.replaces)
        if old is None:
            if layers:
                faults.add(
                    (*place, "replaces"),
                    "no layer of this name",
                    "the name of a layer",
                    nearest(entry.replaces, [layer.name for layer in layers]),
                )
            continue
        title, number = new.material.title, 2
        while any(fold(layer.name) == fold(title) for layer in layers if layer is not old):
            title, number = f"{new.material.title} {number}", number + 1
        if any(name == entry.name and replaced == old.name for name, replaced, _ in found):
            faults.add((*place, "replaces"), "exchanged twice in one variant", cure="keep one")
        found.append((entry.name, old.name, replace(new, name=title)))
    return tuple(found)


def _pick(items: Iterable[Any], name: str) -> Any:
    return next((item for item in items if fold(item.name) == fold(name)), None)


# --------------------------------------------------------------------------- columns, rails, barriers


def _columns(entries: list[Any], faults: Faults) -> list[Column]:
    columns: list[Column] = []
    for index, entry in enumerate(entries):
        place: Place = ("column", index)
        if _pick(columns, entry.name):
            faults.add((*place, "name"), "a name used twice", cure="change one of them")
        if entry.top - entry.bottom < 0.1:
            faults.add(
                (*place, "top"), "not above the bottom", f"at least {entry.bottom + 0.1:g} m", "check both heights"
            )
        columns.append(Column(entry.name, entry.bottom, entry.top))
    return columns


def _served(place: Place, names: tuple[str, ...], columns: list[Column], faults: Faults) -> tuple[Column, ...]:
    """Return the columns a part names, or all."""
    found = []
    for name in names:
        column = _pick(columns, name)
        if column is None:
            if columns:
                faults.add(
                    (*place, "columns"),
                    f"no column {name!r}",
                    "names of [[column]] sections",
                    nearest(name, [one.name for one in columns]),
                )
        else:
            found.append(column)
    return tuple(found) if names else tuple(columns)


def _within(height: float, columns: Iterable[Column], margin: float = -_TOUCH) -> bool:
    return any(column.bottom + margin <= height <= column.top - margin for column in columns)


def _reach(columns: Iterable[Column]) -> str:
    return "; ".join(f"{column.name}: {column.bottom:g} m to {column.top:g} m" for column in columns)


def _rails(base: Place, entries: list[Any], columns: list[Column], faults: Faults) -> tuple[Rail, ...]:
    rails: list[Rail] = []
    for index, entry in enumerate(entries):
        place: Place = (*base, index)
        if _pick(rails, entry.name):
            faults.add((*place, "name"), "a name used twice", cure="change one of them")
        if bool(entry.heights) == (entry.spacing is not None):
            faults.add(
                place,
                "heights and spacing" if entry.heights else "neither heights nor spacing",
                "one of the two",
                "keep one" if entry.heights else 'add spacing = "600 mm"',
            )
            continue
        if entry.gap > entry.bay:
            faults.add((*place, "gap"), "wider than the bay it serves", f"at most {entry.bay:g} m", "check gap and bay")
        served = _served(place, entry.columns, columns, faults)
        if not served:
            continue
        heights = entry.heights
        if entry.spacing is not None:
            low, high = min(column.bottom for column in served), max(column.top for column in served)
            # a rail right under the head closes nothing that the head does not close
            count = int((high - low - 0.01) / entry.spacing)
            if count < 1:
                faults.add((*place, "spacing"), "no rail fits", f"less than {high - low:g} m", "give a smaller spacing")
            if count > 200:
                faults.add((*place, "spacing"), f"{count} rails", "at most 200", "give a wider spacing")
                continue
            heights = tuple(round(low + entry.spacing * number, 6) for number in range(1, count + 1))
        for height in heights:
            if not _within(height, served, 1e-3):
                faults.add(
                    (*place, "heights"),
                    f"{height:g} m is outside the column, or at its end",
                    _reach(served),
                    "move the rail",
                )
        if len(set(heights)) < len(heights):
            faults.add((*place, "heights"), "a height given twice", cure="keep one")
        names = tuple(column.name for column in served) if entry.columns else ()
        rails.append(Rail(entry.name, tuple(sorted(heights)), entry.gap, entry.bay, entry.discharge, names))
    return tuple(rails)


def _barriers(entries: list[Any], columns: list[Column], faults: Faults) -> list[Barrier]:
    barriers: list[Barrier] = []
    for index, entry in enumerate(entries):
        place: Place = ("barrier", index)
        if _pick(barriers, entry.name):
            faults.add((*place, "name"), "a name used twice", cure="change one of them")
        served = _served(place, entry.columns, columns, faults)
        if served and not _within(entry.height, served):
            faults.add((*place, "height"), "outside the column", _reach(served), "move the barrier")
        names = tuple(column.name for column in served) if entry.columns else ()
        barriers.append(Barrier(entry.name, entry.height, entry.free_area, entry.discharge, names))
    return barriers


# --------------------------------------------------------------------------- openings


def _sets(entries: list[Any], columns: list[Column], faults: Faults) -> list[OpeningSet]:
    sets: list[OpeningSet] = []
    for index, entry in enumerate(entries):
        place: Place = ("openings", index)
        if _pick(sets, entry.name):
            faults.add((*place, "name"), "a name used twice", "a name of its own for every set", "change one of them")
        vents: list[Opening] = []
        for number, vent in enumerate(entry.vent):
            where: Place = (*place, "vent", number)
            made = _vents(where, vent, columns, faults)
            if vent.name and any(vent.name == one.name for one in vents):
                faults.add((*where, "name"), "a name used twice in the set", cure="change one of them")
            for opening in made:
                name, count = opening.name, 2
                while any(name == one.name for one in vents):
                    name, count = f"{opening.name} {count}", count + 1
                vents.append(replace(opening, name=name))
        rails = None if entry.rail is None else _rails((*place, "rail"), entry.rail, columns, faults)
        sets.append(OpeningSet(entry.name, tuple(sorted(vents, key=lambda one: one.height)), rails))
    return sets


def _vents(place: Place, entry: Any, columns: list[Column], faults: Faults) -> list[Opening]:
    """Return the openings of one vent: one, or one for every base or head of the columns it serves."""
    area, clear = _size(place, entry, faults)
    _kind(place, entry, faults)
    served = _served(place, entry.columns, columns, faults)
    if not served:
        return []
    if isinstance(entry.height, str):
        ends: dict[float, list[str]] = {}
        for column in served:
            ends.setdefault(column.bottom if entry.height == "base" else column.top, []).append(column.name)
        spots = [(height, tuple(names)) for height, names in ends.items()]
    else:
        reach = [column for column in served if _within(entry.height, [column])]
        if not reach or (entry.columns and len(reach) < len(served)):
            lost = [column for column in served if column not in reach]
            problem = "below the bottom" if all(entry.height < column.bottom for column in lost) else "outside"
            if all(entry.height > column.top for column in lost):
                problem = "above the top"
            faults.add((*place, "height"), f"{problem} of the column", _reach(lost), _move(entry.height, lost[0]))
            return []
        spots = [(entry.height, tuple(column.name for column in reach) if entry.columns else ())]
    tall = min(column.height for column in served)
    if clear > tall:
        key = (
            "slot" if entry.slot else "holes" if entry.holes else "clear_height" if entry.clear_height else "free_area"
        )
        faults.add((*place, key), "higher than the column", f"at most {tall:g} m", "check the number and its unit")
    title = entry.name or f"{entry.height if isinstance(entry.height, str) else f'{entry.height:g} m'} {entry.kind}"
    return [
        Opening(
            name=title if len(spots) == 1 else f"{title}, {names[0]}",
            height=height,
            kind=entry.kind,
            free_area=area,
            clear_height=clear,
            porosity=entry.porosity or 1.0,
            wire=entry.wire or 0.0,
            hole=entry.hole or 0.0,
            blade_angle=entry.blade_angle or 0.0,
            discharge=entry.discharge,
            bends=entry.bends,
            exposure=entry.exposure,
            pressure_shift=entry.pressure_shift,
            pressure_table=entry.pressure_table,
            columns=names,
        )
        for height, names in spots
    ]


def _move(height: float, column: Column) -> str:
    end = '"head"' if height > column.top else '"base"'
    return f"write height = {end}, or a height from {column.bottom:g} m to {column.top:g} m"


def _size(place: Place, entry: Any, faults: Faults) -> tuple[float, float]:
    """Return gross free area [m2/m] and smaller clear dimension [m] of a vent."""
    given = [key for key in ("slot", "holes", "free_area") if getattr(entry, key) is not None]
    if len(given) != 1:
        faults.add(
            place,
            "no size" if not given else f"{' and '.join(given)} at once",
            "one of slot, holes, free_area",
            'add slot = "10 mm"' if not given else "keep one",
            given="",
        )
        return 0.01, 0.01
    if entry.slot is not None:
        return entry.slot, entry.slot
    if entry.holes is not None:
        holes = entry.holes
        if holes.per_metre * holes.width > 1.0:
            faults.add(
                (*place, "holes"),
                "the holes are wider than the wall",
                "per_metre x width at most 1 m",
                "check per_metre and width",
            )
        return holes.per_metre * holes.width * holes.height, min(holes.width, holes.height)
    # a drawing's free area has the mesh taken off already; the hole itself is larger
    area = entry.free_area / (entry.porosity or 1.0)
    return area, entry.clear_height or area


def _kind(place: Place, entry: Any, faults: Faults) -> None:
    """Check that a vent has what its kind needs, and nothing of another kind."""
    needs = {"mesh": ("porosity", "wire"), "perforated": ("porosity", "hole"), "louvre": ("blade_angle",)}
    allowed = {"louvre": ("porosity", "blade_angle", "wire")}
    examples = {"porosity": '"50 %"', "wire": '"0.5 mm"', "hole": '"5 mm"', "blade_angle": '"30 deg"'}
    wanted = needs.get(entry.kind, ())
    for key, example in examples.items():
        value = getattr(entry, key)
        if key in wanted and value is None:
            faults.add(
                (*place, key), "is missing", f'kind = "{entry.kind}" needs it', f"add {key} = {example}", given=""
            )
        if value is not None and key not in wanted and key not in allowed.get(entry.kind, ()):
            right = next((kind for kind, keys in needs.items() if key in keys), "mesh")
            faults.add(
                (*place, key),
                f'not for kind = "{entry.kind}"',
                f'{key} belongs to kind = "{right}"',
                f'write kind = "{right}", or leave {key} out',
            )
    if (entry.exposure == "table") != bool(entry.pressure_table):
        faults.add(
            (*place, "exposure"),
            "pressure_table and exposure disagree",
            'exposure = "table" and a pressure_table, or neither',
            "give both or none",
        )
    if entry.clear_height is not None and entry.free_area is None:
        faults.add((*place, "clear_height"), "beside slot or holes", "only with free_area", "leave it out")


# --------------------------------------------------------------------------- what is compared


def _depths(entry: Any, cavity: Any, faults: Faults) -> tuple[float, ...]:
    depths = entry.depths if entry else ()
    if len({round(depth, 9) for depth in depths}) < len(depths):
        faults.add(("compare", "depths"), "a depth given twice", cure="keep one")
    if not depths and cavity:
        depths = (cavity.depth,)
    return tuple(depths)


def _chosen(entry: Any, sets: list[OpeningSet], parts: dict[str, Any], faults: Faults) -> list[OpeningSet]:
    if entry is None or not entry.openings or "openings" not in parts:
        return sets
    chosen = []
    for name in entry.openings:
        found = _pick(sets, name)
        if found is None:
            faults.add(
                ("compare", "openings"),
                f"no set of openings {name!r}",
                "names of [[openings]] sections",
                nearest(name, [one.name for one in sets]),
            )
        elif found in chosen:
            faults.add(("compare", "openings"), f"{name!r} given twice", cure="keep one")
        else:
            chosen.append(found)
    return chosen


# --------------------------------------------------------------------------- surroundings


def _site(entry: Any, columns: list[Column], faults: Faults) -> Site:
    if entry is None or not columns:
        return Site()
    top = entry.base_height + max(column.top for column in columns)
    height = entry.building_height
    if "building_height" not in entry.model_fields_set:
        height = max(top, 2.0)
    elif height < top - _TOUCH:
        faults.add(
            ("site", "building_height"),
            "lower than the top of the wall",
            f"at least {top:g} m: base_height and the highest column",
            f'write "{top:g} m" or more',
        )
    values = {field.name: getattr(entry, field.name) for field in fields(Site)}
    return Site(**{**values, "building_height": height})


def _indoor(entry: Any, folder: Path | None, faults: Faults) -> Indoor:
    if entry is None:
        return Indoor()
    counts = {"constant": (1,), "monthly": (12,)}.get(entry.model)
    for key in ("temperature", "relative_humidity"):
        values = getattr(entry, key)
        if counts and len(values) not in counts:
            faults.add(
                ("indoor", key),
                f"{len(values)} values",
                f'{counts[0]} for model = "{entry.model}"',
                "give twelve values from January" if counts == (12,) else 'write model = "monthly"',
            )
        if not counts and key in entry.model_fields_set:
            faults.add(
                ("indoor", key),
                f'not for model = "{entry.model}"',
                'model = "constant" or "monthly"',
                'write model = "constant", or leave it out',
            )
    path = ""
    if entry.model == "file" and not entry.file:
        faults.add(("indoor", "file"), "is missing", 'model = "file" needs it', 'add file = "indoor.csv"', given="")
    elif entry.file and entry.model != "file":
        faults.add(("indoor", "file"), f'not for model = "{entry.model}"', cure='write model = "file", or leave it out')
    elif entry.file:
        path = _beside(entry.file, folder, faults)
    return Indoor(
        **{field.name: getattr(entry, field.name) for field in fields(Indoor) if field.name != "file"}, file=path
    )


def _beside(name: str, folder: Path | None, faults: Faults) -> str:
    """Return the absolute path of a file in the wall file's folder or below; a fault for any other."""
    place: Place = ("indoor", "file")
    expected = "a file in the folder of the wall file or below it"
    if folder is None:
        faults.add(place, "a wall without a folder cannot name a file", expected, "read the wall from a file")
        return ""
    try:
        found = (folder / name).resolve()
        inside = found.is_relative_to(folder.resolve()) and not Path(name).is_absolute() and "\\" not in name
        there = inside and found.is_file()
    except (OSError, ValueError, RuntimeError):
        inside = there = False
    if not inside:
        faults.add(place, "outside the folder of the wall file", expected, "move the file beside the wall file")
    elif not there:
        near = [one.name for one in sorted(folder.glob("*.csv"))[:50]]
        faults.add(place, "no such file", expected, nearest(name, near) if near else "check the name")
    return str(found) if there else ""


def _wetting(entry: Any, backup: list[Layer], parts: dict[str, Any], faults: Faults) -> Wetting:
    if entry is None or "backup" not in parts:
        return Wetting()
    indices: dict[str, int | None] = {"rain_layer": 0, "leak_layer": None}
    for key in indices:
        name = getattr(entry, key)
        if name:
            layer = _pick(backup, name)
            if layer is None:
                faults.add(
                    ("wetting", key),
                    "no backup layer of this name",
                    "the name of a [[backup]] layer",
                    nearest(name, [one.name for one in backup]),
                )
            else:
                indices[key] = backup.index(layer)
    if bool(entry.leak_flow) != bool(entry.leak_layer):
        faults.add(
            ("wetting", "leak_layer" if entry.leak_flow else "leak_flow"),
            "is missing",
            "leak_flow and leak_layer go together",
            "give both or none",
            given="",
        )
    return Wetting(
        entry.rain_share, indices["rain_layer"] or 0, entry.leak_flow * AIR_DENSITY / 3600.0, indices["leak_layer"]
    )


def _run(entry: Any, layers: list[Layer], parts: dict[str, Any], faults: Faults) -> Run:
    if entry is None:
        return Run()
    wet = []
    for name, water in entry.construction_water.items():
        place: Place = ("run", "construction_water", name)
        if not {"cladding", "backup"} <= parts.keys():
            continue
        layer = _pick(layers, name)
        if layer is None:
            faults.add(
                place, "no layer of this name", "the name of a layer", nearest(name, [one.name for one in layers])
            )
            continue
        content = water if water >= 0.0 else -water * layer.material.density
        most = layer.material.max_saturation
        if content > most or layer.is_membrane:
            text = (
                f"at most {most:g} kg/m3, all pores full"
                if most and not layer.is_membrane
                else "a layer that holds water"
            )
            faults.add(place, "more water than the layer holds", text, "check the number and its unit")
        wet.append((layer.name, content))
    values = {field.name: getattr(entry, field.name) for field in fields(Run) if field.name != "construction_wet"}
    return Run(**values, construction_wet=tuple(wet))


def _uncertain(table: dict[str, Any], faults: Faults) -> tuple[tuple[str, float, float], ...]:
    found = []
    for section, keys in table.items():
        if not isinstance(keys, dict):
            faults.add(
                ("uncertain", section),
                "not section.key",
                "such as site.pressure_difference = [0.05, 0.3]",
                nearest(section, schema.UNCERTAIN),
            )
            continue
        for key, value in keys.items():
            name, place = f"{section}.{key}", ("uncertain", section, key)
            leaf = schema.UNCERTAIN.get(name)
            if leaf is None:
                faults.add(place, "not an input that can vary", cure=nearest(name, schema.UNCERTAIN))
                continue
            if not isinstance(value, list) or len(value) != 2:
                faults.add(place, "not [low, high]", f"two values; each {leaf.describe()}", "write [low, high]")
                continue
            ends = []
            for end in value:
                try:
                    ends.append(leaf.read(end))
                except PydanticCustomError as error:
                    context = error.context or {}
                    faults.add(place, context["problem"], context["expected"], context["cure"], given=shown(end))
            if len(ends) == 2:
                if ends[0] >= ends[1]:
                    faults.add(place, "low is not below high", cure="exchange the two")
                scale = AIR_DENSITY / 3600.0 if name == "wetting.leak_flow" else 1.0
                found.append((name, ends[0] * scale, ends[1] * scale))
    return tuple(found)


# --------------------------------------------------------------------------- plausibility


def _doubts(wall: Wall) -> list[str]:
    """Return warnings of what can be computed but is unusual, each with the rule it leaves."""
    doubts = [
        f"Cavity depth {1000 * depth:g} mm is below the 20 mm of common rules ({_RULE})."
        for depth in wall.depths
        if depth < _SHALLOW - 1e-9
    ]
    for chosen in wall.opening_sets:
        for column in wall.columns:
            middle = 0.5 * (column.bottom + column.top)
            sums = {"lower": 0.0, "upper": 0.0}
            for opening in chosen.openings:
                if (not opening.columns or column.name in opening.columns) and _within(opening.height, [column]):
                    sums["lower" if opening.height < middle else "upper"] += opening.free_vent_area
            where = f"Openings {chosen.name!r}, column {column.name!r}"
            if not any(sums.values()):
                doubts.append(f"{where}: no opening, the cavity is closed.")
                continue
            for half, area in sums.items():
                if not area:
                    doubts.append(f"{where}: no opening in the {half} half, air cannot pass through.")
                elif area < _FEW - 1e-9:
                    doubts.append(
                        f"{where}: {1e4 * area:.3g} cm2/m of free vent area in the {half} half, "
                        f"below the 50 cm2/m of common rules ({_RULE})."
                    )
    return doubts
