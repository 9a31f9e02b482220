"""The wall in the attributes of a result: written as JSON, and read back as the same `Wall`.

Reading is strict: a missing or unknown key is an error. Defaults do not fill gaps, because the result would then be
shown with a wall that it was not computed for.
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


def _built(kind: Any, value: Any, key: str, faults: list[Fault]) -> Any:
    """Return a value as a type of the model: a dataclass, a tuple, one of several, or a plain value."""
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        if value is None:
            return None
        return _built(next(kind for kind in typing.get_args(kind) if kind is not type(None)), value, key, faults)
    if origin is tuple:
        inner = typing.get_args(kind)
        if not isinstance(value, list):
            faults.append(_fault(key, "is not a list", value))
            return ()
        of = [inner[0]] * len(value) if len(inner) == 2 and inner[1] is Ellipsis else list(inner)
        if len(of) != len(value):
            faults.append(_fault(key, f"does not have {len(of)} entries", value))
            return ()
        return tuple(
            _built(item_kind, item, f"{key}[{number}]", faults)
            for number, (item_kind, item) in enumerate(zip(of, value, strict=True))
        )
    if not is_dataclass(kind):
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            return value  # unchanged: 180 stays 180
        if not isinstance(value, kind):
            faults.append(_fault(key, f"is not a {kind.__name__}", value))
        return value
    if not isinstance(value, Mapping):
        faults.append(_fault(key, "is missing or not a table", value))
        return None
    names = [field.name for field in fields(kind)]
    faults.extend(_fault(f"{key}.{name}", "is missing", "") for name in names if name not in value)
    faults.extend(_fault(f"{key}.{name}", "is not known", value[name]) for name in value if name not in names)
    if any(name not in value for name in names):
        return None
    hints = _hints(typing.cast("type", kind))
    return typing.cast("Any", kind)(
        **{name: _built(hints[name], value[name], f"{key}.{name}", faults) for name in names}
    )


def _fault(key: str, problem: str, value: Any) -> Fault:
    return Fault(
        f"result, {key}", f"the wall in the result does not fit this version of cavity: it {problem}",
        str(value)[:80], "a result of this version", "compute the case again",
    )  # fmt: skip
