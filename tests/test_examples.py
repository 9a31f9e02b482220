"""The scripts of docs/examples run as they stand, in an empty folder, and say what they promise."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from pathlib import Path

import pytest

import cavity

DOCS = Path(__file__).parents[1] / "docs"
SCRIPTS = sorted((DOCS / "examples").glob("*.py"))


def run(name: str, folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, str(DOCS / "examples" / name)], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_every_script_is_shown_and_has_a_test():
    page, here = (DOCS / "examples.md").read_text(encoding="utf-8"), Path(__file__).read_text(encoding="utf-8")
    assert len(SCRIPTS) == 3
    for script in SCRIPTS:
        assert f"{{literalinclude}} examples/{script.name}\n" in page and f'run("{script.name}"' in here


def test_the_page_of_the_interface_has_every_public_name():
    text = (DOCS / "api.md").read_text(encoding="utf-8")
    assert set(re.findall(r"autofunction:: (\w+)", text)) == set(cavity.__all__) - {"__version__"}


def test_consultant(tmp_path):
    told = run("consultant.py", tmp_path).splitlines()
    rows = [line for line in told if "air changes per hour" in line]
    assert len(rows) == 8 and told[-1] == "report.html"
    assert {line.split(" degrees")[0].strip() for line in rows} == {"0", "225"}
    # the taller free openings move more air, facing the same way with the same depth
    rate = [float(re.search(r"(\d+) air changes", line)[1]) for line in rows]
    assert all(rate[i + 2] > rate[i] for i in (0, 1, 4, 5))
    assert (tmp_path / "report.html").stat().st_size > 100_000


def test_plots(tmp_path):
    told = run("plots.py", tmp_path)
    share = float(re.search(r"([\d.]+) % of the year", told)[1])
    assert 0.0 < share < 50.0 and "air_change_rate ('time',) 1/h" in told
    assert "Air change rate" in (tmp_path / "plots.html").read_text(encoding="utf-8")


def test_many_walls(tmp_path):
    pytest.importorskip("distributed")
    run("many_walls.py", tmp_path)
    with (tmp_path / "many_walls.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["facing"], row["sun absorbed"]) for row in rows] == [
        ("0.0", "0.3"), ("0.0", "0.9"), ("225.0", "0.3"), ("225.0", "0.9"),
    ]  # fmt: skip
    air = [float(row["air changes per hour"]) for row in rows]
    assert air[1] > air[0] and air[3] > air[2]  # the sun on a dark panel drives the stack
