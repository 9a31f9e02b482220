"""No module needs, by however many steps, a module that needs it; imports inside functions count."""

from __future__ import annotations

import ast
from pathlib import Path

import cavity

ROOT = Path(cavity.__file__).parent


def needs() -> dict[str, set[str]]:
    """Return for every module of the package those that it imports anywhere in its text."""
    paths = {
        ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(".__init__"): path
        for path in ROOT.rglob("*.py")
    }
    found: dict[str, set[str]] = {}
    for name, path in paths.items():
        wanted = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                wanted |= {f"{node.module}.{each.name}" for each in node.names}
                wanted |= (
                    {node.module} if not all(f"{node.module}.{each.name}" in paths for each in node.names) else set()
                )
            elif isinstance(node, ast.Import):
                wanted |= {each.name for each in node.names}
        found[name] = (wanted & set(paths)) - {name}
    del found["cavity"]  # the door: it names everything and loads it on first use
    return found


def test_no_module_needs_itself_by_way_of_others():
    graph = needs()
    assert len(graph) > 100 and "cavity.report.page" in graph["cavity.report.airflow_page"]
    while leaves := [name for name, wanted in graph.items() if not wanted & set(graph)]:
        for name in leaves:  # what needs nothing that is left is in no circle
            del graph[name]
    # what is only needed by a circle is none
    while roots := [name for name in graph if not any(name in wanted for wanted in graph.values())]:
        for name in roots:
            del graph[name]
    assert sorted(graph) == []
