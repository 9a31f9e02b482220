"""The key and line of a fault in the wall file, and the Fault that a schema error becomes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from cavity.errors import Fault
from cavity.wallfile.values import Leaf, nearest

# Where a key is in the file: names, and positions in lists counted from zero.
KeyPath = tuple[str | int, ...]

# keys of earlier versions: section and key -> what is expected now, fix
REPLACED: dict[tuple[str, str], tuple[str, str]] = {
    ("wetting", "leak_class"): (
        "leak_q50, the measured air permeability of the envelope as a number",
        'write leak_q50 = "1 m3/(m2 h)" for "A", "3 m3/(m2 h)" for "B", "5 m3/(m2 h)" for "C"',
    ),
    ("site", "pressure_difference"): (
        "cp_difference: it is a coefficient; default: the wind-tunnel profile by height and angle",
        "write cp_difference, or leave it out",
    ),
    ("rail", "length"): ("gap_length_along_flow", "write gap_length_along_flow"),
    ("openings.rail", "length"): ("gap_length_along_flow", "write gap_length_along_flow"),
    ("wetting", "rain_share"): ("rain_penetration", "write rain_penetration"),
    ("wetting", "rain_layer"): ("rain_penetration_layer", "write rain_penetration_layer"),
    ("site", "pressure_profile"): ("cp_profile", "write cp_profile"),
    ("openings.vent", "pressure_shift"): ("cp_shift", "write cp_shift"),
    ("openings.vent", "pressure_table"): ("cp_table", "write cp_table"),
    ("limits", "mould_index_watch"): ("mould_index_review", "write mould_index_review"),
    ("limits", "wood_moisture_watch"): ("wood_moisture_review", "write wood_moisture_review"),
    **{(f"{layer}.frame", "share"): ("fraction", "write fraction") for layer in ("cladding", "backup", "variant")},
}
_BARE = r"[A-Za-z0-9_-]+"
_KEY = rf"(?:{_BARE}|\"[^\"\\]*\"|'[^']*')"
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"


def dotted(key_path: KeyPath) -> str:
    """Return the key as shown: ``cladding[2].thickness``, list positions counted from 1."""
    text = ""
    for part in key_path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            shown = part if re.fullmatch(_BARE, part) else f'"{_safe(part, 40)}"'
            text += f".{shown}" if text else shown
    return text


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line number of every section and key that starts a line."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    section: KeyPath = ()
    depth = 0
    quote = ""
    for number, line in enumerate(text.split("\n"), 1):
        code, quote, opened = _code(line, quote)
        if opened:
            continue
        if depth <= 0:
            header = re.fullmatch(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?\s*", code)
            if header:
                section = _section(_parts(header[2]), header[1] == "[[", counts)
                lines.setdefault(section, number)
                depth = 0
                continue
            assigned = re.match(rf"\s*({_DOTTED})\s*=", code)
            if assigned:
                lines.setdefault(section + tuple(_parts(assigned[1])), number)
        bare = re.sub(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'", "", code)
        depth += bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")
    return lines


def _code(line: str, quote: str) -> tuple[str, str, bool]:
    """Return the line without its comment, the open multi-line quote after it, and whether it began inside one."""
    if quote:
        ended = line.partition(quote)[1]
        return ("", "" if ended else quote, True)
    code = re.match(r"(?:\"\"\".*?\"\"\"|'''.*?'''|\"(?:[^\"\\]|\\.)*\"|'[^']*'|[^#\"'])*", line)
    code_text = code[0] if code else ""
    rest = line[len(code_text) :]
    for mark in ('"""', "'''"):
        if rest.startswith(mark) or (code_text.rstrip().endswith(mark[:2]) and rest.startswith(mark[2])):
            return code_text, mark, False
    return code_text, "", False


def _parts(name: str) -> list[str]:
    return [part.strip("\"'") for part in re.findall(_KEY, name)]


def _section(parts: list[str], many: bool, counts: dict[KeyPath, int]) -> KeyPath:
    key_path: KeyPath = ()
    for index, part in enumerate(parts):
        key_path += (part,)
        if many and index == len(parts) - 1:
            counts[key_path] = counts.get(key_path, -1) + 1
        if key_path in counts:
            key_path += (counts[key_path],)
    return key_path


def _safe(text: str, longest: int) -> str:
    printable = "".join(sign if sign.isprintable() else "?" for sign in text)
    return printable if len(printable) <= longest else printable[: longest - 3] + "..."


def shown(value: Any) -> str:
    """Return a value of the file as the user wrote it, cut to one line."""
    if isinstance(value, str):
        return f'"{_safe(value, 60)}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return _safe("[" + ", ".join(shown(part) for part in value[:6]) + (", ..." if len(value) > 6 else "") + "]", 60)
    if isinstance(value, int) and abs(value) > 10**20:
        return "a huge number"
    return _safe(str(value), 60)


class Faults:
    """Gathers the faults of one file.

    Parameters
    ----------
    name : str
        File name, shown first.
    text : str
        The file, for the line numbers.
    raw : dict
        What tomllib read, for the values as given.
    """

    def __init__(self, name: str, text: str, raw: dict[str, Any]) -> None:
        self.name = name
        self.raw = raw
        self.gathered: list[Fault] = []
        self.notes: list[str] = []  # values assumed where the file gives none: warnings of the wall
        self._lines = key_lines(text)

    def where(self, key_path: KeyPath) -> str:
        """Return file, key and line; the line of the section where the key has none."""
        known = key_path
        while known and known not in self._lines:
            known = known[:-1]
        line = f" (line {self._lines[known]})" if known else ""
        return f"{self.name}, {dotted(key_path)}{line}" if key_path else self.name

    def given(self, key_path: KeyPath) -> str:
        """Return the value of a key as written; empty where there is none."""
        value: Any = self.raw
        for part in key_path:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return ""
        return shown(value)

    def add(self, key_path: KeyPath, problem: str, expected: str = "", fix: str = "", given: str | None = None) -> None:
        """Add a fault of a key."""
        text = self.given(key_path) if given is None else given
        fault = Fault(self.where(key_path), problem, text, expected, fix)
        if fault not in self.gathered:
            self.gathered.append(fault)

    def add_schema(self, error: Mapping[str, Any], model: type[BaseModel]) -> None:
        """Add a fault that pydantic found."""
        key_path: KeyPath = tuple(error["loc"])
        kind = error["type"]
        context = error.get("ctx") or {}
        field, holder = _at(model, key_path)
        name = str(key_path[-1]) if key_path else ""
        if kind == "leaf":
            self.add(key_path, context["problem"], context["expected"], context["fix"])
        elif kind == "extra_forbidden":
            known = list(holder.model_fields) if holder else []
            fix = nearest(name[:60], known)
            if fix.startswith("known"):
                fix = _elsewhere(model, name) or fix
            section = dotted(key_path[:-1])
            section_kind = ".".join(part for part in key_path[:-1] if isinstance(part, str))
            if (section_kind, name) in REPLACED:
                self.add(key_path, "is no longer a key", *REPLACED[section_kind, name])
                return
            self.add(
                key_path,
                f"unknown key in {section}" if section else "unknown section",
                "a key of this section" if section else "a section of this file",
                fix,
            )
        elif kind == "missing":
            self.add(key_path, "is missing", _expected(field), _example(key_path, field), given="")
        elif kind in ("model_type", "dict_type", "model_attributes_type"):
            self.add(
                key_path, "is not a table", f"a section [{dotted(key_path)}] of keys", "write key = value pairs in it"
            )
        elif kind == "list_type":
            wanted = ".".join(str(part) for part in key_path if isinstance(part, str))
            self.add(key_path, "is not a list", f"one section [[{wanted}]] for each", "write double brackets")
        elif kind in ("too_short", "too_long"):
            limit = "at least one" if kind == "too_short" else f"at most {context.get('max_length')}"
            self.add(
                key_path, "has the wrong number of entries", f"{limit} [[{dotted(key_path)}]]", "check the sections"
            )
        else:
            self.add(key_path, error["msg"][:160], _expected(field), "check the value")


def _at(model: type[BaseModel], key_path: KeyPath) -> tuple[FieldInfo | None, type[BaseModel] | None]:
    """Return the schema field of a key, and the section that holds it."""
    field: FieldInfo | None = None
    holder: type[BaseModel] | None = model
    section: type[BaseModel] | None = model
    for part in key_path:
        if isinstance(part, int) or section is None:
            continue
        holder, field = section, section.model_fields.get(part)
        if field is None:
            # a name the user chose, such as NAME in [material.NAME], comes between section and keys
            continue
        section = next(_models(field.annotation), None)
    return field, holder


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


def _elsewhere(model: type[BaseModel], name: str) -> str:
    """Return a fix that names the sections which have a key of this name."""
    brackets = {
        part: "[[{}]]" if "list[" in str(field.annotation) else "[{}]" for part, field in model.model_fields.items()
    }
    sections = [
        text.format(part)
        for part, text in brackets.items()
        for inner in _models(model.model_fields[part].annotation)
        if name in inner.model_fields
    ]
    return f"it belongs in {' or '.join(dict.fromkeys(sections))}" if sections else ""


def leaf_of(field: FieldInfo | None) -> Leaf | None:
    """Return the value type of a schema field."""
    return next((part for part in (field.metadata if field else ()) if isinstance(part, Leaf)), None)


def _expected(field: FieldInfo | None) -> str:
    leaf = leaf_of(field)
    if leaf is not None:
        return leaf.describe()
    return (field.description or "") if field else ""


def _example(key_path: KeyPath, field: FieldInfo | None) -> str:
    leaf = leaf_of(field)
    name = str(key_path[-1])
    if leaf is None:
        annotation = str(field.annotation) if field else ""
        brackets = f"[[{dotted(key_path)}]]" if "list[" in annotation else f"[{dotted(key_path)}]"
        return f"add a section {brackets}"
    example = getattr(leaf, "example", None) or (leaf.words[0] if hasattr(leaf, "words") else None)
    if example is None:
        return f"add {name} = ..."
    quoted = example if leaf.__class__.__name__ == "Number" else f'"{example}"'
    return f"add {name} = {quoted}"
