"""The wall that a result carries: written as JSON into its attributes, and read back as the same `Wall`.

Reading is strict in both directions: a key that is missing, or that no field of the dataclass takes, is an error. A
default never fills a gap: the result would then be shown with a wall that it was not computed for.
"""

from __future__ import annotations

import functools
import json
import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from cavity.errors import Fault, InputError
from cavity.wallfile.model import Wall


def to_json(wall: Wall) -> str:
    """Return a wall as JSON text; lengths and all else in SI, infinite values as ``Infinity``."""
    return json.dumps(wall, allow_nan=True, default=_fields)


def _fields(part: Any) -> dict[str, Any]:
    """Return the fields of a dataclass, not copied."""
    if not is_dataclass(part):
        raise TypeError(f"a wall has no {type(part).__name__}")
    return {field.name: getattr(part, field.name) for field in fields(part)}


@functools.lru_cache(maxsize=64)
def from_json(text: str) -> Wall:
    """Return the wall of a JSON text that `to_json` wrote.

    Parameters
    ----------
    text : str
        JSON.

    Returns
    -------
    Wall

    Raises
    ------
    InputError
        With every key that is missing or unknown.
    """
    faults: list[Fault] = []
    try:
        plain = json.loads(text)
    except ValueError:
        plain = None
    wall = _built(Wall, plain, "wall", faults)
    if faults:
        raise InputError(*faults)
    return typing.cast("Wall", wall)


@functools.lru_cache(maxsize=64)
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _built(kind: Any, value: Any, place: str, faults: list[Fault]) -> Any:
    """Return a value as a type of the model: a dataclass, a tuple, one of several, or a plain value."""
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        if value is None:
            return None
        return _built(next(each for each in typing.get_args(kind) if each is not type(None)), value, place, faults)
    if origin is tuple:
        inner = typing.get_args(kind)
        if not isinstance(value, list):
            faults.append(_fault(place, "is not a list", value))
            return ()
        of = [inner[0]] * len(value) if len(inner) == 2 and inner[1] is Ellipsis else list(inner)
        if len(of) != len(value):
            faults.append(_fault(place, f"has not {len(of)} entries", value))
            return ()
        return tuple(
            _built(each, item, f"{place}[{number}]", faults)
            for number, (each, item) in enumerate(zip(of, value, strict=True))
        )
    if not is_dataclass(kind):
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            return value  # as it was: 180 stays 180
        if not isinstance(value, kind):
            faults.append(_fault(place, f"is no {kind.__name__}", value))
        return value
    if not isinstance(value, Mapping):
        faults.append(_fault(place, "is missing or no table", value))
        return None
    names = [each.name for each in fields(kind)]
    faults.extend(_fault(f"{place}.{name}", "is missing", "") for name in names if name not in value)
    faults.extend(_fault(f"{place}.{name}", "is not known", value[name]) for name in value if name not in names)
    if any(name not in value for name in names):
        return None
    hints = _hints(typing.cast("type", kind))
    return typing.cast("Any", kind)(
        **{name: _built(hints[name], value[name], f"{place}.{name}", faults) for name in names}
    )


def _fault(place: str, problem: str, value: Any) -> Fault:
    return Fault(
        f"result, {place}", f"the wall carried by the result does not fit this version of cavity: it {problem}",
        str(value)[:80], "a result of this version", "compute the case again",
    )  # fmt: skip
