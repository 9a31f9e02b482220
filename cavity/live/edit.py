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


def put(text: str, place: Path, value: Any) -> str:
    """Return the text with one key set, or taken out where `value` is None.

    Parameters
    ----------
    text : str
        A wall file.
    place : tuple of str and int
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
    for part, after in pairwise(place):
        if isinstance(part, int):
            holder, mirror = _item(holder, part, place), mirror[part]
            continue
        if part not in mirror:
            if value is None:
                return text
            if isinstance(after, int):
                raise _lost(place)
            holder[part], mirror[part] = tomlkit.table(), {}
        holder, mirror = holder[part], mirror[part]
        if not isinstance(mirror, (dict, list)):
            raise _lost(place)
    last = place[-1]
    if isinstance(mirror, list) or isinstance(last, int):
        raise _lost(place)
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
    return _written(doc, plain, place)


def insert(text: str, place: Path, index: int, values: dict[str, Any]) -> str:
    """Return the text with a section added to a list of sections, such as a layer to ``("backup",)``.

    Parameters
    ----------
    text : str
        A wall file.
    place : tuple of str and int
        The list.
    index : int
        Position of the new section, counted from zero.
    values : dict
        Its keys; lists of dicts become sections of their own.

    Raises
    ------
    InputError
        As for `put`.
    """
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, place[:-1])
    name = place[-1]
    table = _table(values)
    if name not in mirror:
        rows = tomlkit.aot()
        rows.append(table)
        holder[name] = rows
        mirror[name] = [copy.deepcopy(values)]
    else:
        rows = holder[name]
        if not isinstance(rows, AoT):
            raise _lost(place)
        index = max(0, min(index, len(rows)))
        rows.insert(index, table)
        mirror[name].insert(index, copy.deepcopy(values))
    return _written(doc, plain, place)


def remove(text: str, place: Path) -> str:
    """Return the text without the section at `place`: a position in a list, or the name of a table."""
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, place[:-1])
    last = place[-1]
    try:
        del holder[last]
        del mirror[last]
    except (KeyError, IndexError, TypeError):
        raise _lost(place) from None
    if isinstance(last, int) and not mirror:  # an empty list of sections is no section
        parent, shadow = _reach(doc, plain, place[:-2])
        del parent[place[-2]]
        del shadow[place[-2]]
    return _written(doc, plain, place)


def move(text: str, place: Path, index: int) -> str:
    """Return the text with the section at `place` moved to another position of its list."""
    doc, plain = _read(text)
    holder, mirror = _reach(doc, plain, place[:-1])
    last = place[-1]
    if not isinstance(holder, AoT) or not isinstance(last, int) or not 0 <= last < len(holder):
        raise _lost(place)
    index = max(0, min(index, len(holder) - 1))
    table = holder[last]
    del holder[last]
    holder.insert(index, table)
    mirror.insert(index, mirror.pop(last))
    return _written(doc, plain, place)


def _read(text: str) -> tuple[tomlkit.TOMLDocument, dict[str, Any]]:
    if len(text) > LONGEST:
        raise InputError(Fault("wall file", "too long for the page", f"{len(text)} characters", f"at most {LONGEST}"))
    try:
        return tomlkit.parse(text), tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(
            Fault("wall file", f"not TOML: {error}"[:200], "", "a wall file", "correct the text first")
        ) from None


def _reach(doc: Any, plain: Any, place: Path) -> tuple[Any, Any]:
    holder: Any = doc
    mirror: Any = plain
    try:
        for part in place:
            holder, mirror = holder[part], mirror[part]
    except (KeyError, IndexError, TypeError):
        raise _lost(place) from None
    return holder, mirror


def _item(holder: Any, index: int, place: Path) -> Any:
    try:
        return holder[index]
    except (IndexError, KeyError, TypeError):
        raise _lost(place) from None


def _lost(place: Path) -> InputError:
    from cavity.wallfile.faults import dotted

    return InputError(
        Fault(f"wall file, {dotted(place)}", "cannot be changed here", "", "a section of the wall file",
              "change it in the text of the wall file")
    )  # fmt: skip


def _trivia(holder: Any, key: str | int) -> tuple[str, str]:
    """Return blank and comment behind a value."""
    found = holder.value.item(key) if hasattr(holder, "value") and hasattr(holder.value, "item") else holder[key]
    trivia = getattr(found, "trivia", None)
    return (trivia.comment_ws, trivia.comment) if trivia is not None else ("", "")


def _table(values: dict[str, Any]) -> Any:
    table = tomlkit.table()
    for key, value in values.items():
        if isinstance(value, list) and value and all(isinstance(each, dict) for each in value):
            rows = tomlkit.aot()
            for each in value:
                rows.append(_table(each))
            table[key] = rows
        else:
            table[key] = value
    return table


def _written(doc: tomlkit.TOMLDocument, plain: dict[str, Any], place: Path) -> str:
    """Return the text of a changed document, once it is known to say what was meant."""
    text = tomlkit.dumps(doc)
    try:
        if tomllib.loads(text) == plain:
            return text
    except ValueError:
        pass
    raise _lost(place)
