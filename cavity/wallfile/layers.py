"""Layers and materials of a wall file: looks up names, overrides values, computes membranes, studs and metal rails."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from cavity.constants import AIR_PERMEABILITY
from cavity.wallfile.faults import Faults, KeyPath
from cavity.wallfile.materials import fold, make, material_names, override, pick, row_of, suggestion
from cavity.wallfile.model import Frame, Layer, Material
from cavity.wallfile.values import nearest

# Stands in for a material that is not known, so that the other checks can go on
UNKNOWN = Material("unknown", "unknown", 1000.0, 1.0, 1000.0, 1.0, 1.0, "none")
_KNOWN_MATERIAL = "a name of the table of materials, or of [material.NAME]"
_SHEET = 0.005  # m: a thicker layer has heat resistance, which a membrane omits (own choice)


def own_materials(sections: dict[str, Any], faults: Faults, warnings: list[str]) -> dict[str, Material]:
    """Return the materials of [material.NAME]; one that replaces a built-in one adds a warning."""
    own: dict[str, Material] = {}
    known = {fold(name) for name in material_names()}
    for name, entry in sections.items():
        key_path: KeyPath = ("material", name)
        if not name.strip() or len(name) > 60 or not name.isprintable():
            faults.add(key_path, "not a usable name", "1 to 60 printable characters", "choose another name")
            continue
        row, defects = make(name, entry)
        _add_defects(key_path, defects, faults)
        if any(fold(other) == fold(name) for other in own):
            faults.add(key_path, "defined twice: capitals and hyphens do not count", "different names", "keep one")
        own[name] = row
        if entry.mould_class is None and not entry.metal:
            warnings.append(
                f"Material {name!r} of the wall file states no mould_class and is taken as sensitive, the careful "
                'choice; cement- and plastic-based materials and mineral fibres are "medium resistant".'
            )
        if fold(name) in known:
            warnings.append(f"The wall file's own material {name!r} replaces the built-in one of that name.")
    return own


def _add_defects(key_path: KeyPath, defects: Iterable[tuple[str, str, str, str]], faults: Faults) -> None:
    for key, problem, expected, fix in defects:
        faults.add((*key_path, key), problem, expected, fix)


def read_layers(part: str, entries: list[Any], own: dict[str, Material], faults: Faults) -> list[Layer]:
    """Return the layers of "cladding" or "backup", named as the file names them (see `name_layers`)."""
    layers = [_layer((part, index), entry, own, faults) for index, entry in enumerate(entries)]
    if layers and all(layer.is_membrane for layer in layers):
        faults.add((part,), "has membranes only", "at least one layer with heat resistance", "add a panel or board")
    return layers


def _layer(key_path: KeyPath, entry: Any, own: dict[str, Material], faults: Faults) -> Layer:
    row = row_of(entry.material, own)
    if row is None:
        faults.add(
            (*key_path, "material"),
            "unknown material",
            _KNOWN_MATERIAL,
            suggestion(entry.material, tuple(own)),
        )
        return Layer(entry.name, UNKNOWN, 0.01)
    before = len(faults.gathered)
    layer_material, defects = override(row, entry)
    _add_defects(key_path, defects, faults)
    thickness = entry.thickness or row.thickness
    resistances = [key for key in ("sd", "permeance", "sd_table") if getattr(entry, key)]
    if len(resistances) > 1:
        faults.add(
            (*key_path, resistances[1]),
            f"given together with {resistances[0]}",
            "one of sd, permeance, sd_table",
            "keep one",
        )
    sd, table = (row.sd, row.sd_table) if not resistances else (entry.sd, entry.sd_table)
    if entry.permeance:
        sd = AIR_PERMEABILITY / entry.permeance
    if (sd or table) and not resistances and (entry.mu or entry.mu_dry or entry.mu_table):
        faults.add(
            (*key_path, "sd"), "is missing", f"{row.name} is a membrane; its vapour resistance is sd", 'add sd = "2 m"'
        )
    if (sd or table) and thickness > _SHEET:
        mu = (sd or table[0][1]) / thickness
        faults.add(
            (*key_path, "thickness"),
            "too thick for a membrane",
            f"at most {1000 * _SHEET:g} mm where sd or permeance is given: a membrane has no heat resistance",
            f"give mu = {mu:.4g} instead" if resistances else "check the thickness, or choose a board",
        )
    if sd or table:
        thickness = thickness or 0.0005  # m, a usual sheet; of no effect, since a membrane has no depth in the model
    elif not entry.thickness:
        faults.add((*key_path, "thickness"), "is missing", 'a quantity such as "12.5 mm"', _usual(row), given="")
    for key in ("frame", "bridge", "brackets"):
        if getattr(entry, key) is not None and (sd or table):
            faults.add((*key_path, key), "on a membrane", "a layer with heat resistance", "move it to the insulation")
    bridge = _bridge((*key_path, "bridge"), entry.bridge, thickness, own, faults)
    frame = _frame((*key_path, "frame"), entry.frame, own, faults)
    layer = Layer(entry.name, layer_material, thickness or 0.001, sd, table)
    if len(faults.gathered) > before:
        return layer
    rail = entry.bridge
    return replace(
        layer,
        bridge_conductance=0.0 if rail and rail.psi is not None else bridge,
        bridge_spacing=rail.spacing if rail and rail.spacing else Layer.bridge_spacing,
        bridge_flange=rail.flange if rail else Layer.bridge_flange,
        bridge_loss=rail.psi / rail.spacing if rail and rail.psi is not None else 0.0,
        bracket_loss=entry.brackets.chi * entry.brackets.per_m2 if entry.brackets else 0.0,
        frame=frame,
    )


def _usual(row: Material) -> str:
    return f'add thickness = "{1000 * row.thickness:g} mm"' if row.thickness else 'add thickness = "100 mm"'


def _frame(key_path: KeyPath, entry: Any, own: dict[str, Material], faults: Faults) -> Frame | None:
    """Return the studs of a layer."""
    if entry is None:
        return None
    row = row_of(entry.material, own)
    if row is None:
        faults.add((*key_path, "material"), "unknown material", _KNOWN_MATERIAL, suggestion(entry.material, tuple(own)))
        return None
    if row.metal:
        faults.add(
            (*key_path, "material"),
            "metal: the combined method of ISO 6946 does not hold for it",
            "timber; metal studs are a bridge",
            f'write bridge = {{ spacing = "400 mm", thickness = "1 mm", flange = "40 mm", material = "{row.name}" }}',
        )
        return None
    sizes = [key for key in ("width", "spacing") if getattr(entry, key) is not None]
    if entry.fraction is not None and sizes:
        faults.add(
            key_path,
            "fraction together with width or spacing",
            "one or the other",
            "keep fraction: it counts plates too",
        )
        return None
    if entry.fraction is not None:
        return Frame(entry.fraction, row)
    if len(sizes) < 2:
        faults.add(
            key_path,
            "incomplete",
            "fraction, or width and spacing",
            'write { fraction = "15 %" }, or add what is missing',
        )
        return None
    if entry.width >= entry.spacing:
        faults.add((*key_path, "width"), "not smaller than the spacing", "a width below the spacing", "check both")
        return None
    return Frame(entry.width / entry.spacing, row, entry.width, entry.spacing)


def _bridge(key_path: KeyPath, entry: Any, thickness: float, own: dict[str, Material], faults: Faults) -> float:
    """Return the conductance of metal through a layer, averaged over the wall: lambda t / (spacing d)."""
    if entry is None:
        return 0.0
    sizes = [key for key in ("spacing", "thickness") if getattr(entry, key) is not None]
    if entry.psi is not None:
        if entry.spacing is None:
            faults.add((*key_path, "spacing"), "is missing", "needed with psi", 'add spacing = "600 mm"', given="")
        if entry.conductance is not None or entry.thickness is not None:
            faults.add(
                key_path, "psi together with thickness or conductance", "one or the other", "keep psi and spacing"
            )
        return 0.0
    if entry.conductance is not None:
        if entry.thickness is not None:
            faults.add(key_path, "conductance together with thickness", "one or the other", "keep one")
        return entry.conductance
    if len(sizes) < 2:
        faults.add(
            key_path,
            "incomplete",
            "spacing and thickness of the rails, or conductance, or psi and spacing",
            'write { spacing = "600 mm", thickness = "1.5 mm" }',
        )
        return 0.0
    row = row_of(entry.material, own)
    if row is None:
        faults.add((*key_path, "material"), "unknown material", _KNOWN_MATERIAL, suggestion(entry.material, tuple(own)))
        return 0.0
    if entry.thickness >= entry.spacing:
        faults.add(
            (*key_path, "thickness"), "not smaller than the spacing", "a thickness below the spacing", "check both"
        )
    return row.conductivity * entry.thickness / (entry.spacing * thickness) if thickness else 0.0


def name_layers(cladding: list[Layer], backup: list[Layer], faults: Faults) -> None:
    """Check the names of layers and complete them, in place: every layer then has a unique name."""
    taken: dict[str, KeyPath] = {}
    for part, layers in (("cladding", cladding), ("backup", backup)):
        for index, layer in enumerate(layers):
            key_path: KeyPath = (part, index, "name")
            if layer.name and fold(layer.name) in taken:
                faults.add(key_path, "a name used twice", "a different name for every layer", "change one of them")
            if layer.name:
                taken[fold(layer.name)] = key_path
    for layers in (cladding, backup):
        for index, layer in enumerate(layers):
            if layer.name:
                continue
            name, number = layer.material.title, 2
            while fold(name) in taken:
                name, number = f"{layer.material.title} {number}", number + 1
            taken[fold(name)] = ()
            layers[index] = replace(layer, name=name)


def read_variants(
    entries: list[Any], layers: list[Layer], own: dict[str, Material], faults: Faults
) -> tuple[tuple[str, str, Layer], ...]:
    """Return (variant, replaced layer, new layer); without layers, names are not checked."""
    variants: list[tuple[str, str, Layer]] = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = ("variant", index)
        new = _layer(key_path, entry, own, faults)
        old = pick(layers, entry.replaces)
        if old is None:
            if layers:
                faults.add(
                    (*key_path, "replaces"),
                    "no layer of this name",
                    "the name of a layer",
                    nearest(entry.replaces, [layer.name for layer in layers]),
                )
            continue
        title, number = new.material.title, 2
        while any(fold(layer.name) == fold(title) for layer in layers if layer is not old):
            title, number = f"{new.material.title} {number}", number + 1
        if any(name == entry.name and replaced == old.name for name, replaced, _ in variants):
            faults.add((*key_path, "replaces"), "replaced twice in one variant", "each layer once", "keep one")
        variants.append((entry.name, old.name, replace(new, name=title)))
    return tuple(variants)
