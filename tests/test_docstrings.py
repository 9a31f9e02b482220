"""Docstrings of the public functions and classes: present, whole, with a unit at every number."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "cavity"
# kernels explain their letters at the head of the file; commands are described by their help text
FILES = [path for path in sorted(PACKAGE.rglob("*.py")) if "kernels" not in path.parts and path.name != "cli.py"]
NUMBERS = re.compile(r"(float|float \| None|(np\.)?ndarray|NDArray\[np\.float64\]|ArrayLike|float \| (np\.)?ndarray)")
UNIT = re.compile(r"\[[^\]]+\]|\[\]|datetime64|bool|unit of|same unit|unit as|factor|[Nn]umber of|[Ss]hare of")
PHYSICS = ("airflow", "climate", "wall", "hourly", "risk", "study")


def parameters(docstring: str) -> dict[str, tuple[str, str]]:
    """Return name: (type, description) of the numpydoc section Parameters."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=\n\n[A-Z]\w*\n-{3,}|\Z)", docstring, re.S | re.M)
    found: dict[str, list[str]] = {}
    names: list[str] = []
    for line in section[1].splitlines() if section else ():
        if line and not line.startswith(" "):
            listed, _, kind = line.partition(" : ")
            fresh = [name.strip().lstrip("*") for name in listed.split(",")]
            # entries in a row without a text of their own share the next one
            names = fresh if not names or any(found[name][1] for name in names) else names + fresh
            found |= {name: [kind, ""] for name in fresh}
        else:
            for name in names:
                found[name][1] += " " + line.strip()
    return {name: (kind, text.strip()) for name, (kind, text) in found.items()}


def faults_of(node: ast.FunctionDef | ast.ClassDef, name: str, physics: bool) -> list[str]:
    """Return what is missing in one docstring."""
    text = ast.get_docstring(node)
    if not text:
        return [f"{name}: no docstring"]
    faults = [] if text.split("\n\n")[0].rstrip()[-1] in ".]:)" else [f"{name}: first sentence does not end"]
    if isinstance(node, ast.ClassDef):
        return faults
    given = [each for each in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs) if each.arg != "self"]
    extra = {each.arg for each in (node.args.vararg, node.args.kwarg) if each}
    described = parameters(text)
    for each in given:
        number = NUMBERS.fullmatch(ast.unparse(each.annotation)) if each.annotation else None
        if not described:
            # a short docstring may do, where it names the unit of what it takes
            if number and physics and number[0].startswith("float") and not UNIT.search(text):
                faults.append(f"{name}: unit of {each.arg} is not told")
            continue
        if each.arg not in described:
            faults.append(f"{name}: {each.arg} is not described")
            continue
        kind, meaning = described[each.arg]
        if not meaning:
            faults.append(f"{name}: {each.arg} has no description")
        elif number and not UNIT.search(f"{kind} {meaning}"):
            faults.append(f"{name}: {each.arg} has no unit")
    unknown = set(described) - {each.arg for each in given} - extra
    return faults + [f"{name}: {each} is described but not taken" for each in sorted(unknown)]


def public(tree: ast.Module) -> list[tuple[ast.FunctionDef | ast.ClassDef, str]]:
    """Return the public functions, classes and methods of a module with their names."""
    found = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            found.append((node, node.name))
            if isinstance(node, ast.ClassDef):
                found += [
                    (each, f"{node.name}.{each.name}")
                    for each in node.body
                    if isinstance(each, ast.FunctionDef) and not each.name.startswith("_")
                ]
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_public_docstrings_are_whole(path):
    physics = path.relative_to(PACKAGE).parts[0] in PHYSICS or path.name == "result.py"
    faults = []
    for node, name in public(ast.parse(path.read_text(encoding="utf-8"))):
        faults += faults_of(node, name, physics)
    assert faults == []


def test_the_walk_sees_what_is_missing():
    """A function with gaps of every kind, so that the test above cannot pass by seeing nothing."""
    tree = ast.parse(
        "def bad(a: float, b: float, c: int):\n"
        '    """Return nothing.\n\n    Parameters\n    ----------\n'
        "    a : float\n        Speed.\n    d : float\n        Old. [m]\n"
        '    """\n'
        "def bare(x: float): pass\n"
        'def short(x: float):\n    """Return half of x."""\n'
    )
    told = [fault for node, name in public(tree) for fault in faults_of(node, name, physics=True)]
    assert told == [
        "bad: a has no unit",
        "bad: b is not described",
        "bad: c is not described",
        "bad: d is described but not taken",
        "bare: no docstring",
        "short: unit of x is not told",
    ]
