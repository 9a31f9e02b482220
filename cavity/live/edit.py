"""Changes to the text of a wall file that keep its comments and its order, with a round-trip TOML library."""

from __future__ import annotations

import copy
import tomllib
from itertools import pairwise
from typing import Any

import tomlkit
from tomlkit.items import AoT

from cavity.errors import Fault, InputError

Path = tuple[str | int, ...]
LONGEST = 200_000  # characters of a wall file on the page


def set_value(text: str, keys: Path, value: Any) -> str:
    """Return the text with one key set, or taken out where `value` is None.

    Parameters
    ----------
    text : str
        A wall file.
    keys : tuple of str and int
        Key, positions in lists counted from zero; sections on the way are made.
    value : object
        Text, number, flag, list or dict.

    Returns
    -------
    str

    Raises
    ------
    InputError
        If the text is not TOML or the place cannot be reached.
    """
    doc, plain = _read(text)
    holder: Any = doc
    mirror: Any = plain
    for part, after in pairwise(keys):
        if isinstance(part, int):
            holder, mirror = _item(holder, part, keys), mirror[part]
            continue
        if part not in mirror:
            if value is None:
                return text
            if isinstance(after, int):
                raise _lost(keys)
            holder[part], mirror[part] = tomlkit.table(), {}
        holder, mirror = holder[part], mirror[part]
        if not isinstance(mirror, (dict, list)):
            raise _lost(keys)
    last = keys[-1]
    if isinstance(mirror, list) or isinstance(last, int):
        raise _lost(keys)
    if value is None:
        if last in mirror:
            del holder[last]
            del mirror[last]
    elif last in mirror and not isinstance(mirror[last], (dict, list)):
        new = tomlkit.item(value)
        new.trivia.comment_ws, new.trivia.comment = _trivia(holder, last)
        holder[last] = new
        mirror[last] = copy.deepcopy(value)
    else:
        holder[last] = value
        mirror[last] = copy.deepcopy(value)
    return _written(doc, plain, keys)


def insert(text: str, keys: Path, index: int, values: dict[str, Any]) -> str:
    """Return the text with a section added to a list of sections, such as a layer to ``("backup",)``.

    Parameters
    ----------
    text : str
        A wall file.
    keys : tuple of str and int
        The list.
    index : int
        Position of the new section, counted from zero.
    values : dict
        Its keys; lists of dicts become sections of their own.

    Raises
    ------
    InputError
        As for `set_value`.
    """
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, keys[:-1])
    name = keys[-1]
    table = _table(values)
    if name not in mirror:
        rows = tomlkit.aot()
        rows.append(table)
        holder[name] = rows
        mirror[name] = [copy.deepcopy(values)]
    else:
        rows = holder[name]
        if not isinstance(rows, AoT):
            raise _lost(keys)
        index = max(0, min(index, len(rows)))
        rows.insert(index, table)
        mirror[name].insert(index, copy.deepcopy(values))
    return _written(doc, plain, keys)


def remove(text: str, keys: Path) -> str:
    """Return the text without the section at `keys`: a position in a list, or the name of a table."""
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, keys[:-1])
    last = keys[-1]
    try:
        del holder[last]
        del mirror[last]
    except (KeyError, IndexError, TypeError):
        raise _lost(keys) from None
    if isinstance(last, int) and not mirror:  # an empty list of sections is no section
        parent, shadow = _reach(doc, plain, keys[:-2])
        del parent[keys[-2]]
        del shadow[keys[-2]]
    return _written(doc, plain, keys)


def move(text: str, keys: Path, index: int) -> str:
    """Return the text with the section at `keys` moved to another position of its list."""
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, keys[:-1])
    last = keys[-1]
    if not isinstance(holder, AoT) or not isinstance(last, int) or not 0 <= last < len(holder):
        raise _lost(keys)
    index = max(0, min(index, len(holder) - 1))
    table = holder[last]
    del holder[last]
    holder.insert(index, table)
    mirror.insert(index, mirror.pop(last))
    return _written(doc, plain, keys)


def _read(text: str) -> tuple[tomlkit.TOMLDocument, dict[str, Any]]:
    if len(text) > LONGEST:
        raise InputError(Fault("wall file", "too long for the page", f"{len(text)} characters", f"at most {LONGEST}"))
    try:
        return tomlkit.parse(text), tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            Fault("wall file", f"not TOML: {error}"[:200], "", "a wall file", "correct the text first")
        ) from None


def _reach(doc: Any, plain: Any, keys: Path) -> tuple[Any, Any]:
    holder: Any = doc
    mirror: Any = plain
    try:
        for part in keys:
            holder, mirror = holder[part], mirror[part]
    except (KeyError, IndexError, TypeError):
        raise _lost(keys) from None
    return holder, mirror


def _item(holder: Any, index: int, keys: Path) -> Any:
    try:
        return holder[index]
    except (IndexError, KeyError, TypeError):
        raise _lost(keys) from None


def _lost(keys: Path) -> InputError:
    from cavity.wallfile.faults import dotted

    return InputError(
        Fault(f"wall file, {dotted(keys)}", "cannot be changed here", "", "a section of the wall file",
              "change it in the text of the wall file")
    )  # fmt: skip


def _trivia(holder: Any, key: str | int) -> tuple[str, str]:
    """Return blank and comment behind a value."""
    item = holder.value.item(key) if hasattr(holder, "value") and hasattr(holder.value, "item") else holder[key]
    trivia = getattr(item, "trivia", None)
    return (trivia.comment_ws, trivia.comment) if trivia is not None else ("", "")


def _table(values: dict[str, Any]) -> Any:
    table = tomlkit.table()
    for key, value in values.items():
        if isinstance(value, list) and value and all(isinstance(entry, dict) for entry in value):
            rows = tomlkit.aot()
            for entry in value:
                rows.append(_table(entry))
            table[key] = rows
        else:
            table[key] = value
    return table


def _written(doc: tomlkit.TOMLDocument, plain: dict[str, Any], keys: Path) -> str:
    """Return the text of a changed document, once it is known to say what was meant."""
    text = tomlkit.dumps(doc)
    try:
        if tomllib.loads(text) == plain:
            return text
    except ValueError:
        pass
    raise _lost(keys)
