"""The types that users of the Python interface see: no public name is Any."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import cavity

ROOT = Path(__file__).parents[1]
NAMES = sorted(set(cavity.__all__) - {"__version__"})


def test_public_names_have_types(tmp_path):
    pytest.importorskip("mypy")
    script = tmp_path / "use.py"
    script.write_text("import cavity\n" + "".join(f"reveal_type(cavity.{name})\n" for name in NAMES), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(ROOT / "pyproject.toml"), "--cache-dir",
         str(ROOT / ".mypy_cache"), str(script)],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    shown = dict(zip(NAMES, re.findall(r'Revealed type is "(.*)"', done.stdout), strict=True))
    for name, kind in shown.items():
        assert kind.startswith("def (") and not kind.endswith("-> Any"), f"{name}: {kind}"
    assert shown["read_wall"].endswith("-> cavity.wallfile.model.Wall")
    assert shown["read_weather"].endswith("-> xarray.core.dataset.Dataset")
    assert "cavity.wallfile.model.Wall" in shown["simulate"].split("->")[0]


def test_annotations_of_the_public_names_are_complete():
    """Each parameter and the result: what mypy cannot see through the lazy package, seen at run time."""
    for name in NAMES:
        function = getattr(cavity, name)
        count = function.__code__.co_argcount + function.__code__.co_kwonlyargcount
        assert len(function.__annotations__) >= count + 1, name
