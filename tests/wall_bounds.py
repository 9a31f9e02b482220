"""Every documented bound of every key of the wall file, each in a plain wall; read from the schema."""

from __future__ import annotations

import copy
import itertools
import json
import math
import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from cavity.wallfile import schema, values
from cavity.wallfile.faults import _models, leaf_of

Where = tuple[str | int, ...]

# a wall of which every part can be reached; [[storey]] takes the place of [[column]] where it is asked for
PLAIN: dict[str, Any] = {
    "wall": {"name": "Plain wall"},
    "site": {"building_height": "8 m"},
    "finish": {},
    "cavity": {"depth": "30 mm"},
    "cladding": [{"name": "panel", "material": "fibre cement", "thickness": "8 mm"}],
    "backup": [
        {"name": "membrane", "material": "breather membrane"},
        {"name": "sheathing", "material": "OSB", "thickness": "12 mm"},
        {"name": "insulation", "material": "mineral wool", "thickness": "50 mm"},
        {"name": "lining", "material": "gypsum board", "thickness": "12.5 mm"},
    ],
    "column": [{"name": "strip", "top": "6 m"}],
    "openings": [
        {
            "name": "open",
            "vent": [
                {"name": "base", "height": "base", "slot": "10 mm"},
                {"name": "head", "height": "head", "slot": "10 mm"},
            ],
        }
    ],
    "compare": {},
    "indoor": {},
    "wetting": {},
    "run": {"segments": 1, "max_years": 1},
    "limits": {},
}
_OWN = {
    "density": "700 kg/m3", "conductivity": "0.13 W/(m K)", "specific_heat": "1500 J/(kg K)", "mu": 50.0,
    "sorption": [["50 %", "40 kg/m3"], ["80 %", "80 kg/m3"]], "free_saturation": "300 kg/m3",
    "max_saturation": "500 kg/m3",
}  # fmt: skip
_RAIL = {"name": "rail", "heights": ["1 m"], "gap": "20 mm", "bay": "600 mm"}


def changed(*steps: tuple[Where, Any]) -> dict[str, Any]:
    """Return the plain wall with values put in their places, lists and tables made as needed."""
    wall = copy.deepcopy(PLAIN)
    for where, value in steps:
        here: Any = wall
        for part, following in itertools.pairwise(where):
            if isinstance(part, int):
                while len(here) <= part:
                    here.append({})
                here = here[part]
            else:
                here = here.setdefault(part, [] if isinstance(following, int) else {})
        last = where[-1]
        if value is None:
            here.pop(last, None)
        elif isinstance(last, int):
            here[last:] = [copy.deepcopy(value)]
        else:
            here[last] = copy.deepcopy(value)
    return wall


def toml(wall: dict[str, Any]) -> str:
    """Return a wall file."""
    lines = []
    for section, part in wall.items():
        for each in part if isinstance(part, list) else [part]:
            lines.append(f"[[{section}]]" if isinstance(part, list) else f"[{section}]")
            lines += [f"{_key(key)} = {_value(value)}" for key, value in each.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(part)}" for key, part in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    if isinstance(value, float) and math.isinf(value):
        return "inf"
    return json.dumps(value, ensure_ascii=False)


def ends(leaf: values.Leaf) -> list[Any]:
    """Return the ends of what a key takes, as the message of a fault prints them; words and flags all."""
    text = leaf.describe()
    if isinstance(leaf, values.Quantity):
        unit = leaf.example.split(" ", 1)[1]
        return [f"{found} {unit}" for found in re.findall(r"at (?:least|most) (\S+) ", text)]
    if isinstance(leaf, values.Number):
        found = [float(one.rstrip(",")) for one in re.findall(r"(?:from|to|at least) (\S+)", text)]
        return [int(one) if leaf.whole else one for one in found] + [math.inf] * leaf.infinite
    if isinstance(leaf, values.Fraction):
        return [f"{one} %" for one in re.findall(r"(\S+) %(?: to|,)", text)]
    if isinstance(leaf, values.Word):
        return list(leaf.words)
    if isinstance(leaf, values.Flag):
        return [False, True]
    if isinstance(leaf, values.Orientation):
        return ["0 deg", "360 deg", "north", "south-west"]
    if isinstance(leaf, values.Height):
        return ["base", "head"]
    if isinstance(leaf, values.Month):
        return [1, 12, "October"]
    if isinstance(leaf, values.Water):
        return ["0 kg/m3", "1000 kg/m3"]
    if isinstance(leaf, values.Table) and isinstance(leaf.y, values.Water):
        return [[[low, "0 kg/m3"], ["50 %", "40 kg/m3"], [high, "1000 kg/m3"]] for low, high in [ends(leaf.x)]]
    if isinstance(leaf, values.Table):
        low, high = ends(leaf.x)[0], ends(leaf.x)[-1]
        return [[[low, one], [high, one]] for one in ends(leaf.y)]
    if isinstance(leaf, values.Many):
        many = leaf.counts[0] if leaf.counts else 1
        return [[one] * many for one in ends(leaf.item)]
    return []  # free text


_STOREYS: list[tuple[Where, Any]] = [
    (("column",), None), (("site", "building_height"), "500 m"), (("storey", 0), {"height": "3 m"}),
]  # fmt: skip
_WINDOW = {"left": "1 m", "width": "1 m", "sill": "0.9 m", "head": "2.4 m"}
# place of each section, and what must stand beside a key for it to count
_PLACES: dict[type, list[tuple[Where, list[tuple[Where, Any]]]]] = {
    schema.WallSection: [(("wall",), [])],
    schema.SiteSection: [(("site",), [])],
    schema.FinishSection: [(("finish",), [])],
    schema.MaterialEntry: [(("material", "own"), [(("material", "own"), _OWN), (("backup", 1, "material"), "own")])],
    schema.LayerEntry: [(("backup", 4), [(("backup", 4), {"name": "extra", "material": "OSB", "thickness": "10 mm"})])],
    schema.FrameEntry: [(("backup", 2, "frame"), [])],
    schema.BridgeEntry: [(("backup", 2, "bridge"), [])],
    schema.CavitySection: [(("cavity",), [])],
    schema.ColumnEntry: [(("column", 0), [])],
    schema.StoreyEntry: [(("storey", 0), _STOREYS)],
    schema.WindowEntry: [(("window", 0), [*_STOREYS, (("window", 0), _WINDOW)])],
    schema.RailEntry: [(("rail", 0), [(("rail", 0), _RAIL)])],
    schema.BarrierEntry: [(("barrier", 0), [(("barrier", 0), {"name": "stop", "height": "3 m"})])],
    schema.HolesEntry: [
        (
            ("openings", 0, "vent", 0, "holes"),
            [
                (("openings", 0, "vent", 0, "slot"), None),
                (("openings", 0, "vent", 0, "holes"), {"per_metre": 1, "width": "10 mm", "height": "65 mm"}),
            ],
        )
    ],
    schema.VentEntry: [(("openings", 0, "vent", 0), [])],
    schema.CompareSection: [(("compare",), [])],
    schema.IndoorSection: [(("indoor",), [])],
    schema.WettingSection: [(("wetting",), [])],
    schema.RunSection: [(("run",), [])],
    schema.LimitsSection: [(("limits",), [])],
}
_VENT: Where = ("openings", 0, "vent", 0)
_TALL: list[tuple[Where, Any]] = [
    (("column", 0, "top"), "500 m"), (("column", 0, "bottom"), "-50 m"), (("site", "building_height"), "500 m"),
]  # fmt: skip
_COMPANIONS: dict[tuple[type, str], list[tuple[Where, Any]]] = {
    (schema.SiteSection, "building_height"): [(("column", 0, "top"), "2 m")],
    (schema.SiteSection, "base_height"): [(("site", "building_height"), "500 m")],
    (schema.ColumnEntry, "top"): [(("column", 0, "bottom"), "-50 m"), (("site", "building_height"), "500 m")],
    (schema.ColumnEntry, "bottom"): [(("column", 0, "top"), "500 m"), (("site", "building_height"), "500 m")],
    (schema.RailEntry, "heights"): [(("column", 0, "top"), "500 m"), (("column", 0, "bottom"), "-50 m"),
                                    (("site", "building_height"), "500 m")],
    (schema.RailEntry, "spacing"): [(("rail", 0, "heights"), None), (("column", 0, "top"), "55 m"),
                                    (("site", "building_height"), "60 m")],
    (schema.RailEntry, "porosity"): [(("rail", 0, "hole"), "5 mm")],
    (schema.RailEntry, "hole"): [(("rail", 0, "porosity"), "50 %")],
    (schema.RailEntry, "wire"): [(("rail", 0, "porosity"), "50 %")],
    (schema.RailEntry, "gap"): [(("rail", 0, "bay"), "10 m")],
    (schema.RailEntry, "bay"): [(("rail", 0, "gap"), "1 mm")],
    (schema.WindowEntry, "left"): [(("site", "wall_width"), "1000 m"), (("window", 0, "width"), "0.5 m")],
    (schema.WindowEntry, "width"): [(("site", "wall_width"), "1000 m"), (("window", 0, "left"), "0 m")],
    (schema.WindowEntry, "fraction"): [(("window", 0, "left"), None), (("window", 0, "width"), None)],
    (schema.WindowEntry, "sill"): [(("window", 0, "head"), "100 m"), (("storey", 0, "height"), "100 m")],
    (schema.WindowEntry, "head"): [(("window", 0, "sill"), "0 m"), (("storey", 0, "height"), "100 m")],
    (schema.RunSection, "stud_line"): [(("backup", 2, "frame"), {"fraction": "15 %"})],
    (schema.FrameEntry, "width"): [(("backup", 2, "frame", "spacing"), "10 m")],
    (schema.FrameEntry, "spacing"): [(("backup", 2, "frame", "width"), "45 mm")],
    (schema.BridgeEntry, "flange"): [
        (("backup", 2, "bridge", "spacing"), "600 mm"), (("backup", 2, "bridge", "thickness"), "1 mm")],
    (schema.BridgeEntry, "psi"): [(("backup", 2, "bridge", "spacing"), "600 mm")],
    (schema.BridgeEntry, "spacing"): [(("backup", 2, "bridge", "thickness"), "1 mm")],
    (schema.BridgeEntry, "thickness"): [(("backup", 2, "bridge", "spacing"), "600 mm")],
    (schema.VentEntry, "free_area"): [((*_VENT, "slot"), None)],
    (schema.VentEntry, "clear_height"): [((*_VENT, "slot"), None), ((*_VENT, "free_area"), "50 cm2/m")],
    (schema.VentEntry, "porosity"): [((*_VENT, "kind"), "mesh"), ((*_VENT, "wire"), "0.3 mm")],
    (schema.VentEntry, "wire"): [((*_VENT, "kind"), "mesh"), ((*_VENT, "porosity"), "50 %")],
    (schema.VentEntry, "hole"): [((*_VENT, "kind"), "perforated"), ((*_VENT, "porosity"), "50 %")],
    (schema.VentEntry, "blade_angle"): [((*_VENT, "kind"), "louvre")],
    (schema.VentEntry, "cp_table"): [((*_VENT, "exposure"), "table")],
    (schema.VentEntry, "heights"): [((*_VENT, "height"), None), *_TALL],
    (schema.VentEntry, "spacing"): [((*_VENT, "height"), None), (("column", 0, "top"), "60 m"),
                                    (("site", "building_height"), "70 m")],
    (schema.BarrierEntry, "height"): _TALL,
    (schema.BarrierEntry, "at"): [
        *_STOREYS, (("storey", 0, "repeat"), 2), (("window", 0), _WINDOW), (("barrier", 0, "height"), None)],
    (schema.BarrierEntry, "above"): [
        *_STOREYS, (("storey", 0, "height"), "5 m"), (("window", 0), _WINDOW), (("barrier", 0, "height"), None),
        (("barrier", 0, "at"), "window heads")],
    (schema.IndoorSection, "humidity_class"): [(("indoor", "model"), "ISO 13788")],
    (schema.IndoorSection, "load"): [(("indoor", "model"), "EN 15026")],
    (schema.IndoorSection, "bedrooms"): [(("indoor", "model"), "ASHRAE 160 intermediate")],
    (schema.IndoorSection, "air_changes"): [(("indoor", "model"), "ASHRAE 160 intermediate")],
    (schema.IndoorSection, "volume"): [(("indoor", "model"), "ASHRAE 160 intermediate")],
    (schema.IndoorSection, "temperature"): [(("indoor", "model"), "constant")],
    (schema.IndoorSection, "relative_humidity"): [(("indoor", "model"), "constant")],
    (schema.WettingSection, "leak_flow"): [(("wetting", "leak_layer"), "sheathing")],
    (schema.WettingSection, "leak_q50"): [(("wetting", "leak_layer"), "sheathing")],
    (schema.WettingSection, "leak_height"): [
        (("wetting", "leak_layer"), "sheathing"), (("wetting", "leak_q50"), "3 m3/(m2 h)")],
}  # fmt: skip
# beside a value of a material, in the same section
_BESIDE: dict[str, list[dict[str, Any]]] = {
    "mu_dry": [{"mu_wet": 0.1, "mu": None}],
    "mu_wet": [{"mu_dry": math.inf, "mu": None}],
    "sorption": [{"free_saturation": "1000 kg/m3", "max_saturation": "1000 kg/m3"}],
    # at 0 the material holds no water
    "free_saturation": [{"sorption": None, "max_saturation": None, "absorption": None},
                        {"max_saturation": "1000 kg/m3"}],
    "max_saturation": [{"sorption": None, "free_saturation": None}, {}],
    "thickness": [{}],
}  # fmt: skip
# a membrane is thin, and a table takes the place of a value
_MEMBRANE = {"sd", "sd_table", "permeance"}
_WORDS: dict[tuple[type, str, Any], list[tuple[Where, Any]]] = {
    (schema.VentEntry, "kind", "mesh"): [((*_VENT, "porosity"), "50 %"), ((*_VENT, "wire"), "0.3 mm")],
    (schema.VentEntry, "kind", "perforated"): [((*_VENT, "porosity"), "50 %"), ((*_VENT, "hole"), "5 mm")],
    (schema.VentEntry, "kind", "louvre"): [((*_VENT, "blade_angle"), "30 deg")],
    (schema.VentEntry, "exposure", "table"): [((*_VENT, "cp_table"), [["0 deg", 0.5], ["180 deg", -0.3]])],
    (schema.IndoorSection, "model", "monthly"): [
        (("indoor", "temperature"), ["20 degC"] * 12), (("indoor", "relative_humidity"), ["50 %"] * 12)],
}  # fmt: skip


_WORDS |= {
    (schema.RuleEntry, "quantity", word): [(("rule", 0, "at_least"), leaf.example)]
    for word, leaf in schema.RULE_QUANTITIES.items()
}


def _any(leaf: values.Leaf | None) -> Any:
    """Return some value of a key that must be there."""
    if isinstance(leaf, values.Number):
        return float(leaf.example)
    return getattr(leaf, "example", None) or (leaf.words[0] if isinstance(leaf, values.Word) else "text")


def _others() -> dict[type, list[tuple[Where, list[tuple[Where, Any]]]]]:
    """Return the place of each section not listed above, found by walking the schema; what it needs by its examples."""
    found: dict[type, list[tuple[Where, list[tuple[Where, Any]]]]] = {}

    def walk(model: type, place: Where) -> None:
        for key, field in model.model_fields.items():
            for section in _models(field.annotation):
                many = "list[" in str(field.annotation)
                here: Where = (*place, key, 0) if many else (*place, key)
                if here[0] in ("cladding", "backup", "openings"):  # those of the plain wall
                    here = ("backup", 2, *here[2:]) if here[0] != "openings" else here
                known = (*_PLACES, *found, schema.VariantEntry)  # a variant has the keys of a layer
                if section not in known:
                    needed = {
                        name: _any(leaf_of(each)) for name, each in section.model_fields.items() if each.is_required()
                    }
                    found[section] = [(here, [(here, needed)])]
                walk(section, here)

    walk(schema.WallFile, ())
    return found


class Key(NamedTuple):
    """A key of the schema in its place: what it takes, its bounds, and the section it belongs to with what it needs."""

    place: Where
    leaf: values.Leaf
    ends: list[Any]
    section: type
    beside: list[tuple[Where, Any]]

    def steps(self, value: Any) -> list[tuple[Where, Any]]:
        """Return what `changed` takes to give the key a value, with what must stand beside it."""
        *into, key = self.place
        steps = [*self.beside, *_COMPANIONS.get((self.section, str(key)), [])]
        steps += _WORDS.get((self.section, str(key), value if isinstance(value, str) else ""), [])
        if issubclass(self.section, schema.MaterialValues) and key in _BESIDE:
            number = self.ends.index(value) if value in self.ends else -1
            choice = _BESIDE[str(key)][min(number, len(_BESIDE[str(key)]) - 1)]
            steps += [((*into, other), other_value) for other, other_value in choice.items()]
        if key in _MEMBRANE:
            layer = into if self.section is schema.LayerEntry else ("backup", 1)
            steps.append(((*layer, "thickness"), "0.5 mm"))
        return [*steps, (self.place, value)]


def keys() -> Iterator[Key]:
    """Yield every key that has bounds or words to choose from."""
    for section, places in {**_PLACES, **_others()}.items():
        for place, beside in places:
            for key, field in section.model_fields.items():
                leaf = leaf_of(field)
                if leaf is not None:
                    yield Key((*place, key), leaf, ends(leaf), section, beside)


def bounds() -> Iterator[tuple[str, Where, Any, dict[str, Any]]]:
    """Yield name, place and value of every bound, and the wall that has it."""
    for key in keys():
        for value in key.ends:
            name = ".".join(str(part) for part in key.place)
            yield f"{name} = {_value(value)}", key.place, value, changed(*key.steps(value))
    for name, leaf in schema.UNCERTAIN.items():
        values_ = ends(leaf)
        section_, key_ = name.split(".")
        yield (
            f"uncertain.{name}",
            ("uncertain", section_, key_),
            values_,
            changed((("uncertain", section_), {key_: [values_[0], values_[-1]]})),
        )
