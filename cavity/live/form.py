"""The inputs of the page: every section and key of the wall file with help, unit and bounds, from the schema itself."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from cavity.constants import ICE_POINT
from cavity.units import parse_quantity
from cavity.wallfile import schema
from cavity.wallfile.faults import leaf_of
from cavity.wallfile.starter import starter, starters
from cavity.wallfile.values import (
    COMPASS,
    MONTHS,
    Flag,
    Fraction,
    Height,
    Leaf,
    Many,
    Month,
    Number,
    Orientation,
    Quantity,
    Table,
    Water,
    Word,
)

Path = tuple[str | int, ...]


def sections() -> list[dict[str, Any]]:
    """Return the form, as plain lists and dicts: one entry a section of the wall file, in the order of the schema.

    Returns
    -------
    list of dict
        ``key``, ``title``, ``about``, ``many`` (a list of such sections), ``named`` (a table of such sections by name),
        ``fields`` and ``parts`` (sections inside, in the same form). A field has ``key``, ``label``, ``help``, ``kind``
        (text | words | flag), ``words``, ``expected``, ``example``, ``default``, ``required`` and ``often``: whether
        a wall file to start from has it; the page folds the others away.
    """
    often = {keys for name in starters() for keys in _keys(tomllib.loads(starter(name)))}
    return [_section(key, field, often) for key, field in schema.WallFile.model_fields.items() if key != "uncertain"]


def _keys(value: Any, keys: Path = ()) -> Iterator[Path]:
    """Return the places of all keys of a parsed file, positions in lists omitted."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*keys, key)
            yield from _keys(inner, (*keys, key))
    elif isinstance(value, list):
        for inner in value:
            yield from _keys(inner, keys)


def _model(annotation: Any) -> type[BaseModel] | None:
    """Return the section class inside an annotation such as list[X], dict[str, X] or X | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for part in get_args(annotation) if (model := _model(part)) is not None), None)


def _section(key: str, field: FieldInfo, often: set[Path], inside: Path = ()) -> dict[str, Any]:
    model = _model(field.annotation)
    assert model is not None, key
    keys = (*inside, key)
    section: dict[str, Any] = {
        "key": key,
        "title": _words(key),
        "about": _about(model),
        "many": "list[" in str(field.annotation),
        "named": str(field.annotation).startswith("dict["),
        "often": keys in often or field.is_required(),
        "fields": [],
        "parts": [],
    }
    for name, inner in model.model_fields.items():
        if leaf_of(inner) is None and _model(inner.annotation) is not None:
            section["parts"].append(_section(name, inner, often, keys))
        else:
            section["fields"].append(_field(name, inner, (*keys, name) in often))
    return section


def _about(model: type[BaseModel]) -> str:
    text = " ".join((model.__doc__ or "").split())
    head, _, rest = text.partition(": ")
    text = rest if head.startswith("[") and rest else text
    return text[:1].upper() + text[1:]


def _words(key: str) -> str:
    text = key.replace("_", " ")
    return text[:1].upper() + text[1:]


def _field(name: str, field: FieldInfo, often: bool) -> dict[str, Any]:
    leaf = leaf_of(field)
    inner = leaf.item if isinstance(leaf, Many) else leaf
    words: tuple[str, ...] = ()
    if isinstance(inner, (Word, Height)):
        words = inner.words
    elif isinstance(inner, Orientation):
        words = COMPASS
    elif isinstance(inner, Month):
        words = tuple(month.capitalize() for month in MONTHS)
    default = field.default
    return {
        "key": name,
        "label": _words(name),
        "help": field.description or "",
        "kind": "flag" if isinstance(leaf, Flag) else "words" if isinstance(leaf, Word) else "text",
        "words": list(words),
        "expected": leaf.describe() if leaf else "name = value pairs",
        "example": str(getattr(inner, "example", "")),
        "default": "" if default is PydanticUndefined else shown(default, leaf),
        "required": field.is_required(),
        "often": often or field.is_required(),
    }


def shown(value: Any, leaf: Leaf | None) -> str:
    """Return a value in SI as one would write it in the wall file; empty where there is none.

    Parameters
    ----------
    value : object
        As a field of the schema holds it.
    leaf : Leaf or None
        The kind of value.
    """
    if value is None or value in ("", (), [], {}):
        return ""
    if isinstance(leaf, Many):
        return ", ".join(shown(entry, leaf.item) for entry in value)
    if isinstance(leaf, Orientation):
        return COMPASS[round(value / 22.5) % 16]
    if isinstance(leaf, Month):
        return MONTHS[value - 1].capitalize()
    if isinstance(leaf, Quantity):
        unit = leaf.example.split(" ", 1)[1]
        if leaf.unit == "K":
            return f"{value - ICE_POINT:g} degC"
        return f"{value / parse_quantity(f'1 {unit}', leaf.unit):g} {unit}"
    if isinstance(leaf, Fraction):
        return f"{100 * value:g} %"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


def typed(text: str, keys: Path) -> Any:
    """Return what a text typed into the field at `keys` means in the file: text, number, flag, list or table.

    Whether it is allowed is not decided here: the reader of the wall file says that, in its own words.

    Parameters
    ----------
    text : str
        As typed.
    keys : tuple of str and int
        Key in the wall file, positions in lists counted from zero.

    Raises
    ------
    KeyError
        If the schema has no such key.
    """
    leaf = leaf_at(keys)
    text = text.strip()
    if leaf is None or isinstance(leaf, Table):
        return _toml_value(text)
    if isinstance(leaf, Many):
        inner = text[1:-1] if text.startswith("[") and text.endswith("]") else text
        parts = [_single(part.strip().strip("\"'"), leaf.item) for part in inner.split(",") if part.strip()]
        return parts[0] if leaf.single and len(parts) == 1 else parts
    return _single(text, leaf)


def _single(text: str, leaf: Leaf) -> Any:
    if isinstance(leaf, Flag):
        return {"true": True, "false": False}.get(text.casefold(), text)
    plain = _number(text)
    # a fraction may be written 0.2, a month as a number; elsewhere a bare number is for the reader to refuse
    if plain is not None and isinstance(leaf, (Number, Fraction, Month, Quantity, Orientation, Height, Water)):
        return plain
    return text


def _number(text: str) -> int | float | None:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return None


def _toml_value(text: str) -> Any:
    try:
        return tomllib.loads(f"x = {text}")["x"]
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return text


def leaf_at(keys: Path) -> Leaf | None:
    """Return the kind of value at a place of the wall file; KeyError where the schema has no such key."""
    model: type[BaseModel] | None = schema.WallFile
    field: FieldInfo | None = None
    named = False
    for part in keys:
        if isinstance(part, int):
            continue
        if named:  # the name of a [material.NAME]
            named = False
            continue
        if model is None or part not in model.model_fields:
            if field is not None and model is None:
                return None  # a key of a free table, such as a layer's water at the start
            raise KeyError(".".join(map(str, keys)))
        field = model.model_fields[part]
        model = _model(field.annotation) if leaf_of(field) is None else None
        named = str(field.annotation).startswith("dict[str, ") and model is not None
    return leaf_of(field)
