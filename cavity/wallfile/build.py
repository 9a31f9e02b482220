"""Makes the frozen `Wall` from the sections of a wall file: resolves names and checks the parts against each other."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from cavity.constants import AIR_DENSITY, COMMON_DEPTH, COMMON_VENTS, HOUR, INSULATION, TOUCH
from cavity.wallfile import schema
from cavity.wallfile.elevation import read_elevation
from cavity.wallfile.faults import REPLACED, Faults, KeyPath, shown
from cavity.wallfile.layers import UNKNOWN, name_layers, own_materials, read_layers, read_variants
from cavity.wallfile.materials import pick
from cavity.wallfile.model import Cavity, Column, Elevation, Indoor, Layer, OpeningSet, Run, Site, Wall, Wetting
from cavity.wallfile.rules import rules_of
from cavity.wallfile.values import nearest
from cavity.wallfile.vents import read_barriers, read_columns, read_rails, read_sets

_NAMED = 6  # so many places are named where many have the same doubt
_RULE = "DIN 18516-1, read second-hand"


def build(parts: dict[str, Any], faults: Faults, folder: Path | None) -> Wall | None:
    """Return the wall that the sections describe, or None where they have faults.

    Parameters
    ----------
    parts : dict
        The sections that passed the schema, by name; cross checks of absent ones are omitted.
    faults : Faults
        Faults are added to it.
    folder : Path or None
        Folder of the wall file, for an indoor file.

    Returns
    -------
    Wall or None
    """
    warnings: list[str] = []
    if "material" not in parts:  # it is faulty: layers cannot be checked against its names
        parts = {key: part for key, part in parts.items() if key not in ("cladding", "backup", "variant")}
    own = own_materials(parts.get("material", {}), faults, warnings)
    cladding = read_layers("cladding", parts.get("cladding", []), own, faults)
    backup = read_layers("backup", parts.get("backup", []), own, faults)
    name_layers(cladding, backup, faults)
    layers = cladding + backup
    if not (cladding and backup) or any(layer.material is UNKNOWN for layer in layers):
        layers, backup = [], []  # layers are not all known: references to them are not checked
    elevation, columns = _columns(parts, faults)
    rails = read_rails(("rail",), parts.get("rail", []), columns, faults)
    barriers = read_barriers(parts.get("barrier", []), columns, elevation, faults)
    sets = read_sets(parts.get("openings", []), columns, barriers, faults)
    cavity = parts.get("cavity")
    depths = _depths(parts.get("compare"), cavity, faults)
    sets = _with_clogged(parts.get("compare"), _compared(parts.get("compare"), sets, parts, faults), faults)
    site = _site(parts.get("site"), columns, faults)
    indoor = _indoor(parts.get("indoor"), folder, faults)
    wetting = _wetting(parts.get("wetting"), backup, faults, warnings)
    run = _run(parts.get("run"), layers, faults)
    variants = read_variants(parts.get("variant", []), layers, own, faults)
    uncertain = _uncertain(parts.get("uncertain", {}), faults)
    rules = rules_of(parts.get("rule", []), faults)
    if faults.gathered:
        return None
    wall_section, finish = parts["wall"], parts["finish"]
    wall = Wall(
        name=wall_section.name,
        cladding=tuple(cladding),
        cavity=Cavity(**{field.name: getattr(cavity, field.name) for field in fields(Cavity)}),
        backup=tuple(backup),
        columns=tuple(columns),
        opening_sets=tuple(sets),
        depths=depths,
        orientation=wall_section.orientation,
        tilt=wall_section.tilt,
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
        rules=rules,
        description=wall_section.description,
        invented=wall_section.invented,
        elevation=elevation,
    )
    return replace(wall, warnings=tuple(warnings + faults.notes + _doubts(wall)))


def _columns(parts: dict[str, Any], faults: Faults) -> tuple[Elevation | None, list[Column]]:
    """Return the elevation, if storeys describe it, and the strips of the cavity; none where these have faults."""
    if not {"column", "storey", "window"} <= set(parts):
        return None, []
    entries, storeys, windows = parts["column"], parts["storey"], parts["window"]
    if storeys:
        if entries:
            faults.add(("column",), "together with [[storey]]", "either [[column]] or [[storey]]", "keep one of them")
            return None, []
        if "site" not in parts:
            return None, []
        return read_elevation(storeys, windows, parts["site"].wall_width, faults)
    if windows:
        faults.add(
            ("window",), "without a [[storey]]", "storeys that hold the windows", 'add [[storey]] height = "3 m"'
        )
        return None, []
    if not entries:
        faults.add(
            ("column",), "is missing", "the strips of the cavity as [[column]], or [[storey]] with [[window]]",
            'add [[storey]] height = "3 m"', given="",
        )  # fmt: skip
        return None, []
    columns = read_columns(entries, faults)
    return None, columns if len(columns) == len(entries) else []


# --------------------------------------------------------------------------- what is compared


def _depths(entry: Any, cavity: Any, faults: Faults) -> tuple[float, ...]:
    depths = entry.depths if entry else ()
    if len({round(depth, 9) for depth in depths}) < len(depths):
        faults.add(("compare", "depths"), "a depth given twice", "different depths", "keep one")
    if not depths and cavity:
        depths = (cavity.depth,)
    return tuple(depths)


def _with_clogged(entry: Any, sets: list[OpeningSet], faults: Faults) -> list[OpeningSet]:
    """Return the sets; a set with vents of a clogged kind is followed by a copy in which these are partly closed."""
    if entry is None or not entry.clogged:
        return sets
    for kind in entry.clogged:
        if kind not in schema.KINDS:
            faults.add(
                ("compare", "clogged", kind),
                "no such kind of vent",
                ", ".join(schema.KINDS),
                nearest(kind, schema.KINDS),
            )
    if sets and not any(vent.kind in entry.clogged for opening_set in sets for vent in opening_set.openings):
        faults.add(
            ("compare", "clogged"), "no vent is of such a kind", "the kind of a vent of a set", "check the kinds"
        )
    all_sets = []
    for opening_set in sets:
        openings = tuple(
            vent if vent.kind not in entry.clogged
            else replace(vent, porosity=vent.porosity * (1.0 - entry.clogged[vent.kind])) if vent.porosity < 1.0
            else replace(vent, gross_area=vent.gross_area * (1.0 - entry.clogged[vent.kind]))
            for vent in opening_set.openings
        )  # fmt: skip
        all_sets.append(opening_set)
        if openings != opening_set.openings:
            all_sets.append(replace(opening_set, name=f"{opening_set.name}, clogged", openings=openings))
    return all_sets


def _compared(entry: Any, sets: list[OpeningSet], parts: dict[str, Any], faults: Faults) -> list[OpeningSet]:
    if entry is None or not entry.openings or "openings" not in parts:
        return sets
    compared = []
    for name in entry.openings:
        opening_set = pick(sets, name)
        if opening_set is None:
            faults.add(
                ("compare", "openings"),
                f"no set of openings {name!r}",
                "names of [[openings]] sections",
                nearest(name, [opening_set.name for opening_set in sets]),
            )
        elif opening_set in compared:
            faults.add(("compare", "openings"), f"{name!r} given twice", "each set once", "keep one")
        else:
            compared.append(opening_set)
    return compared


# --------------------------------------------------------------------------- surroundings


def _site(entry: Any, columns: list[Column], faults: Faults) -> Site:
    if entry is None or not columns:
        return Site()
    top = entry.base_height + max(column.top for column in columns)
    height = entry.building_height
    if "building_height" not in entry.model_fields_set:
        height = max(top, 2.0)
    elif height < top - TOUCH:
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
                f'write model = "constant", or omit {key}',
            )
    indoor_file = ""
    if entry.model == "file" and not entry.file:
        faults.add(("indoor", "file"), "is missing", 'model = "file" needs it', 'add file = "indoor.csv"', given="")
    elif entry.file and entry.model != "file":
        faults.add(
            ("indoor", "file"),
            f'not for model = "{entry.model}"',
            'model = "file"',
            'write model = "file", or omit file',
        )
    elif entry.file:
        indoor_file = _indoor_path(entry.file, folder, faults)
    return Indoor(
        **{field.name: getattr(entry, field.name) for field in fields(Indoor) if field.name != "file"}, file=indoor_file
    )


def _indoor_path(name: str, folder: Path | None, faults: Faults) -> str:
    """Return the absolute path of a file in the wall file's folder or below; a fault for any other."""
    key_path: KeyPath = ("indoor", "file")
    expected = "a file in the folder of the wall file or below it"
    if folder is None:
        faults.add(key_path, "a wall without a folder cannot name a file", expected, "read the wall from a file")
        return ""
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder.resolve()) and not Path(name).is_absolute() and "\\" not in name
        exists = inside and path.is_file()
    except (OSError, ValueError, RuntimeError):
        inside = exists = False
    if not inside:
        faults.add(
            key_path, "outside the folder of the wall file", expected, "move the file to the folder of the wall file"
        )
    elif not exists:
        near = [path.name for path in sorted(folder.glob("*.csv"))[:50]]
        faults.add(key_path, "no such file", expected, nearest(name, near) if near else "check the name")
    return str(path) if exists else ""


def _wetting(entry: Any, backup: list[Layer], faults: Faults, warnings: list[str]) -> Wetting:
    if entry is None or not backup:
        return Wetting()
    indices: dict[str, int | None] = {"rain_penetration_layer": 0, "leak_layer": None}
    for key in indices:
        name = getattr(entry, key)
        if name:
            layer = pick(backup, name)
            if layer is None:
                faults.add(
                    ("wetting", key),
                    "no backup layer of this name",
                    "the name of a [[backup]] layer",
                    nearest(name, [layer.name for layer in backup]),
                )
            else:
                indices[key] = backup.index(layer)
    if entry.leak_flow and entry.leak_q50:
        faults.add(
            ("wetting", "leak_q50"),
            "leak_flow and leak_q50 together",
            "one of them",
            "keep leak_q50 for a flow that varies by the hour, leak_flow for a constant one",
        )
    leaks = bool(entry.leak_flow or entry.leak_q50)
    if entry.leak_layer and not leaks and "leak_flow" not in entry.model_fields_set:  # a flow of 0 is a choice
        faults.add(
            ("wetting", "leak_flow"),
            "is missing",
            "with leak_layer: one of leak_flow and leak_q50",
            'add leak_flow = "0.05 m3/(m2 h)", or omit leak_layer',
            given="",
        )
    if leaks and not entry.leak_layer:
        indices["leak_layer"], reason = leak_plane(backup)
        warnings.append(f"[wetting] names no leak_layer: the room air that leaks in reaches {reason}.")
    return Wetting(
        entry.rain_penetration,
        indices["rain_penetration_layer"] or 0,
        entry.leak_flow * AIR_DENSITY / HOUR,
        indices["leak_layer"],
        (entry.leak_q50 or 0.0) / HOUR,
        entry.leak_height,
    )


def leak_plane(backup: list[Layer]) -> tuple[int, str]:
    """Return the layer whose exterior surface leaking room air reaches by default, and a text on that plane.

    Room air on its way out is stopped by the sheathing, the outermost board or slab with insulation behind it. Its
    inner surface is the coldest plane that the air meets, so there the most water condenses; the exterior surface of
    the sheathing dries to the cavity air and would be the less severe choice. Without insulation inside a sheathing,
    the air passes the insulation and meets the exterior surface of the slab first.
    """
    soft = [not layer.is_membrane and layer.material.conductivity < INSULATION for layer in backup]
    rigid = [not layer.is_membrane and not is_soft for layer, is_soft in zip(backup, soft, strict=True)]
    for index, layer in enumerate(backup):
        if rigid[index] and any(soft[index:]):
            return index + 1, (
                f"the inner surface of {layer.name!r}, the coldest plane inside the sheathing, where most condenses"
            )
    index = rigid.index(True) if True in rigid else 0
    index = max(index, min(1, len(backup) - 1))
    return index, (
        f"the exterior surface of {backup[index].name!r}, the coldest plane behind the insulation, as no insulation "
        "lies inside a sheathing"
    )


def _run(entry: Any, layers: list[Layer], faults: Faults) -> Run:
    if entry is None or not layers:
        return Run()
    wet = []
    for name, water in entry.construction_water.items():
        key_path: KeyPath = ("run", "construction_water", name)
        layer = pick(layers, name)
        if layer is None:
            faults.add(
                key_path,
                "no layer of this name",
                "the name of a layer",
                nearest(name, [layer.name for layer in layers]),
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
            faults.add(key_path, "more water than the layer holds", text, "check the number and its unit")
        wet.append((layer.name, content))
    if entry.stud_line and not any(layer.frame for layer in layers):
        faults.add(
            ("run", "stud_line"),
            "no layer has studs",
            'a layer with frame = { fraction = "15 %" }',
            "add a frame, or omit stud_line",
        )
    values = {field.name: getattr(entry, field.name) for field in fields(Run) if field.name != "construction_water"}
    return Run(**values, construction_water=tuple(wet))


def _uncertain(uncertain: dict[str, Any], faults: Faults) -> tuple[tuple[str, float, float], ...]:
    ranges = []
    for section, keys in uncertain.items():
        if not isinstance(keys, dict):
            faults.add(
                ("uncertain", section),
                "not section.key",
                "such as site.cp_difference = [0.05, 0.3]",
                nearest(section, schema.UNCERTAIN),
            )
            continue
        for key, value in keys.items():
            name, key_path = f"{section}.{key}", ("uncertain", section, key)
            if (section, key) in REPLACED:
                faults.add(key_path, "is no longer a key", *REPLACED[section, key])
                continue
            leaf = schema.UNCERTAIN.get(name)
            if leaf is None:
                expected = "an input of the list under [uncertain] in docs/wallfile.md"
                faults.add(key_path, "not an input that can vary", expected, nearest(name, schema.UNCERTAIN))
                continue
            if not isinstance(value, list) or len(value) != 2:
                faults.add(key_path, "not [low, high]", f"two values, each {leaf.describe()}", "write [low, high]")
                continue
            ends = []
            for end in value:
                try:
                    ends.append(leaf.read(end))
                except PydanticCustomError as error:
                    context = error.context or {}
                    faults.add(key_path, context["problem"], context["expected"], context["fix"], given=shown(end))
            if len(ends) == 2:
                if ends[0] >= ends[1]:
                    faults.add(key_path, "low is not below high", "[low, high]", "exchange the two")
                scale = {"wetting.leak_flow": AIR_DENSITY / HOUR, "wetting.leak_q50": 1.0 / HOUR}.get(name, 1.0)
                ranges.append((name, ends[0] * scale, ends[1] * scale))
    return tuple(ranges)


# --------------------------------------------------------------------------- plausibility


def _doubts(wall: Wall) -> list[str]:
    """Return warnings about what can be computed but is unusual, each with the rule that it does not meet."""
    doubts = []
    shallow = [f"{1000 * depth:g} mm" for depth in wall.depths if depth < COMMON_DEPTH - 1e-9]
    if shallow:
        many = len(shallow) > 1
        depths_text = f"Cavity depths {_listed(shallow)} are" if many else f"Cavity depth {shallow[0]} is"
        doubts.append(f"{depths_text} below the 20 mm of common rules ({_RULE}).")
    # one warning for all sets and columns that have the same doubt
    closed: list[str] = []
    blind: dict[str, list[str]] = {}
    small: list[str] = []
    for opening_set in wall.opening_sets:
        for column in wall.columns:
            middle = 0.5 * (column.bottom + column.top)
            sums = {"lower": 0.0, "upper": 0.0}
            for opening in column.vents(opening_set.openings):
                sums["lower" if opening.height < middle else "upper"] += opening.free_area
            where = f"{opening_set.name!r}" + (f", column {column.name!r}" if len(wall.columns) > 1 else "")
            if not any(sums.values()):
                closed.append(where)
                continue
            for half, area in sums.items():
                if not area:
                    blind.setdefault(half, []).append(where)
            least = min((area for area in sums.values() if area), default=COMMON_VENTS)
            if least < COMMON_VENTS - 1e-9:
                small.append(f"{where} ({1e4 * least:.3g} cm2/m)")
    if closed:
        doubts.append(f"No opening, the cavity is closed: {_listed(closed)}.")
    for half, places in blind.items():
        doubts.append(f"There is no opening in the {half} half, air cannot pass through: {_listed(places)}.")
    if small:
        doubts.append(f"Free vent area in one half below the 50 cm2/m of common rules ({_RULE}): {_listed(small)}.")
    return doubts


def _listed(items: list[str]) -> str:
    rest = len(items) - _NAMED
    return "; ".join(items[:_NAMED]) + (f"; and {rest} more" if rest > 0 else "")
