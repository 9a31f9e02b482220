"""The list of mutants stays alive: every old text stands exactly once in its file, every test it names is there."""

from __future__ import annotations

import importlib.util
import shlex
import sys
from collections import Counter
from pathlib import Path

import pytest

HERE = Path(__file__).parent
_spec = importlib.util.spec_from_file_location("mutants", HERE / "benchmarks" / "mutants.py")
mutants = importlib.util.module_from_spec(_spec)
sys.modules["mutants"] = mutants
_spec.loader.exec_module(mutants)


@pytest.mark.parametrize("mutant", mutants.MUTANTS, ids=lambda one: f"{one.file}: {one.what}")
def test_the_old_text_of_a_mutant_is_found_once(mutant):
    assert mutants.found(mutant) == 1, "the text has moved: change it in tests/benchmarks/mutants.py too"
    assert mutant.old != mutant.new
    for argument in mutant.tests:
        assert (HERE.parent / shlex.split(argument)[0].split("::")[0]).is_file(), argument


def test_the_mutants_are_many_different_and_spread():
    assert len(mutants.MUTANTS) >= 80
    assert len({(one.file, one.old, one.new) for one in mutants.MUTANTS}) == len(mutants.MUTANTS)
    areas = Counter(one.area for one in mutants.MUTANTS)
    for area in ("kernel", "joint", "climate", "wallfile", "airflow", "wall", "risk", "study", "report"):
        assert areas[area] >= 5, area


def test_a_mutant_is_put_into_a_copy_and_taken_out_again(tmp_path, monkeypatch):
    """A package of one file: the bench notices a bug, lets an equal text live, and leaves everything as it was."""
    (tmp_path / "root" / "cavity").mkdir(parents=True)
    (tmp_path / "root" / "cavity" / "__init__.py").write_text("")
    source = tmp_path / "root" / "cavity" / "sums.py"
    source.write_text("def total(a, b):\n    return a + b\n")
    (tmp_path / "root" / "test_sums.py").write_text(
        "from cavity.sums import total\n\ndef test_total():\n    assert total(2, 2) == 4\n"
    )
    monkeypatch.setattr(mutants, "ROOT", tmp_path / "root")
    bench = mutants.Bench(tmp_path / "bench")
    held = bench.package / "sums.py"
    before, age = held.read_bytes(), held.stat().st_mtime_ns
    for new, outcome in (("a - b", "failed"), ("a * b", "passed")):
        mutant = mutants.Mutant("sums", "wrong sign", "sums.py", "a + b", new, ("test_sums.py",), compiled=False)
        assert bench.passes_without(mutant)
        assert bench.run(mutant)[0] == outcome
        assert (held.read_bytes(), held.stat().st_mtime_ns) == (before, age)
    assert source.read_text().count("a + b") == 1
