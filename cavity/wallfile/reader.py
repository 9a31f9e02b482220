"""Read a wall file: text, TOML, schema, cross checks; all faults are raised together."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from cavity.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from os import PathLike

    from cavity.wallfile.model import Rule, Wall

LARGEST = 1024 * 1024  # bytes; a wall file has a few thousand
_DEEPEST = 40  # brackets within brackets; a wall file has three
_DOTS = 60  # in one key; a wall file has one. The parser takes time by the square of their number


def read_wall(path: str | PathLike[str]) -> Wall:
    """Read a wall file.

    Parameters
    ----------
    path : str or path
        A TOML file; `cavity new FILE` writes one to start from.

    Returns
    -------
    Wall
        In SI, with the file's text in `text`, its name in `source`, and `warnings` where a value is unusual.

    Raises
    ------
    InputError
        With all faults of the file: key and line, what was given, what is expected, and the fix.
    """
    file = Path(path)
    text = read_text(path, "a wall file")
    return parse_wall(text, file.name, folder=file.resolve().parent)


def wall_files(paths: Sequence[str | PathLike[str]]) -> list[Path]:
    """Return the wall files, each once, sorted by name; for a folder all its TOML files.

    Parameters
    ----------
    paths : sequence of path
        Files and folders; `read_wall` checks whether a file exists.

    Raises
    ------
    InputError
        If a folder holds no TOML file.
    """
    files: dict[Path, Path] = {}
    faults = []
    for path in map(Path, paths):
        if path.is_dir():
            inside = sorted(file for file in path.glob("*.toml") if file.is_file())
            if not inside:
                faults.append(
                    Fault(
                        str(path)[:200], "contains no wall file", "", "files that end in .toml", "name another folder"
                    )
                )
        else:
            inside = [path]
        for file in inside:
            files.setdefault(file.absolute(), file)
    if faults:
        raise InputError(*faults)
    return [files[key] for key in sorted(files)]


def read_text(path: str | PathLike[str], kind: str) -> str:
    """Return the text of a TOML file that is called `kind` in errors; InputError where it cannot be one."""
    file = Path(path)

    def refuse(problem: str, expected: str, fix: str) -> InputError:
        return InputError(Fault(str(path)[:200], problem, "", expected, fix))

    try:
        if file.is_dir():
            raise refuse("is a folder", kind, "name the file in it")
        if not file.exists():
            raise refuse("no such file", kind, _neighbour(file))
        if not file.is_file():
            raise refuse("is not a regular file", kind, "check the name")
        with file.open("rb") as stream:
            data = stream.read(LARGEST + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"cannot be read: {reason}", "a readable file", "check name and permissions") from None
    if len(data) > LARGEST:
        raise refuse("larger than 1 MiB", f"{kind} of a few kilobytes", f"check that this is {kind}")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise refuse(
            f"is not UTF-8 text (line {line})", "a text file in UTF-8", "save it as UTF-8 in the editor"
        ) from None
    return text


def parse_wall(text: str, name: str = "wall file", *, folder: Path | None = None) -> Wall:
    """Read a wall from text.

    Parameters
    ----------
    text : str
        The content of a wall file.
    name : str
        Shown in errors and kept as `source`.
    folder : Path, optional, keyword only
        Where a file named by [indoor] is looked for.

    Returns
    -------
    Wall

    Raises
    ------
    InputError
        With all faults of the text.
    """
    raw = read_toml(text, name)
    from pydantic import TypeAdapter, ValidationError

    from cavity.wallfile.build import build
    from cavity.wallfile.faults import Faults
    from cavity.wallfile.schema import WallFile

    faults = Faults(name, text, raw)
    broken: set[str] = set()
    parts: dict[str, Any] = {}
    try:
        parts = dict(WallFile.model_validate(raw))
    except ValidationError as error:
        for schema_error in error.errors(include_url=False, include_input=False):
            faults.add_schema(schema_error, WallFile)
            broken.add(str(schema_error["loc"][0]))
        # sections without a fault still take part in the cross checks, so that one run reports all faults
        for key, field in WallFile.model_fields.items():
            if key in broken:
                continue
            parts[key] = (
                TypeAdapter(cast(Any, field.annotation)).validate_python(raw[key]) if key in raw else field.default
            )
    wall = build(parts, faults, folder)
    if faults.gathered or wall is None:
        raise InputError(*faults.gathered)
    return replace(wall, source=name, text=text)


def read_toml(text: str, name: str) -> dict[str, Any]:
    """Return the tables of a TOML text; InputError with the line where it is not TOML."""
    depth = deepest = dots = line = 0
    for sign in text:
        depth += (sign in "[{") - (sign in "]}")
        deepest = max(deepest, depth)
        line += sign == "\n"
        dots = 0 if sign in "\n=,[]{}" else dots + (sign == ".")
        if dots > _DOTS:
            where, fix = f"{name}, line {line + 1}", "check the line; long text may go on the next one"
            raise InputError(Fault(where, "too many dots in a row", "", f"at most {_DOTS} before a comma", fix))
    if deepest > _DEEPEST:
        raise InputError(Fault(name, "brackets are nested too deep", "", f"at most {_DEEPEST}", "check the brackets"))
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message = str(error) or "nested too deep"
        at = re.search(r"\(at line (\d+), column (\d+)\)", message)
        problem = message.split(" (at ")[0]
        # without a line: at the end, or a number too long to read
        number = int(at[1]) if at else len(text.rstrip().split("\n")) if "end of document" in message else 0
        where = f"{name}, line {number}" if number else name
        line_text = text.split("\n")[number - 1].strip()[:70] if number else ""
        line_text = "".join(sign if sign.isprintable() else "?" for sign in line_text)
        raise InputError(
            Fault(
                where,
                f"not TOML: {problem}"[:200],
                line_text,
                'key = value, with text and quantities in quotes: "25 mm"',
                _toml_fix(line_text),
            )
        ) from None


def _toml_fix(line: str) -> str:
    key_value = re.match(r"([\w.-]+)\s*=\s*(.*)", line)
    value = re.split(r"\s+#", key_value[2])[0].strip() if key_value else ""
    if key_value and not value:
        return f"give {key_value[1]} a value"
    if key_value and re.match(r"[^\"'\[{]*[A-Za-z%]", value):
        return f'write {key_value[1]} = "{value.strip(chr(34))}"'
    return "check quotes, brackets and the line before"


def _neighbour(file: Path) -> str:
    from cavity.wallfile.values import nearest

    try:
        names = [path.name for path in sorted(file.parent.glob("*.toml"))[:50]]
    except OSError:
        names = []
    return nearest(file.name, names) if names else f"`cavity new {file.name or 'wall.toml'}` writes one to start from"


def read_rules(path: str | PathLike[str]) -> tuple[Rule, ...]:
    """Read a file of rules: TOML with `[[rule]]` entries, as in a wall file.

    Parameters
    ----------
    path : str or path
        The file.

    Returns
    -------
    tuple of Rule
        In SI.

    Raises
    ------
    InputError
        With all faults of the file.
    """
    from pydantic import ValidationError

    from cavity.wallfile.faults import Faults
    from cavity.wallfile.rules import rules_of
    from cavity.wallfile.schema import RulesFile

    text = read_text(path, "a file of rules")
    name = Path(path).name
    raw = read_toml(text, name)
    faults = Faults(name, text, raw)
    try:
        rules = rules_of(RulesFile.model_validate(raw).rule, faults)
    except ValidationError as error:
        for schema_error in error.errors(include_url=False, include_input=False):
            faults.add_schema(schema_error, RulesFile)
        rules = ()
    if faults.gathered:
        raise InputError(*faults.gathered)
    return rules
