"""Compiling: kernels called by Python after kernels, nothing left behind, and what a first run says."""

from __future__ import annotations

import ast
import os
import subprocess
import sys

import numpy as np
import pytest

from cavity import terminal
from cavity.wallfile.starter import starter


def fresh(code: str, cache) -> str:
    """What a fresh interpreter prints with its own cache of compiled code."""
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | {"XDG_CACHE_HOME": str(cache)}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, (done.returncode, done.stderr)  # a call without the unpacking code ends the process
    return done.stdout


def test_a_kernel_is_called_by_kernels_and_by_python_in_any_order(tmp_path):
    """The twin for kernels cannot be called from Python; neither order, nor the cache, may ever hand it out."""
    head = "import numpy as np; from cavity.kernels import moist_air as air; out = np.empty(1)\n"
    within, alone = "air.saturation_array(np.array([290.0]), out); print(out[0])\n", "print(air.saturation(290.0)[0])\n"
    first = fresh(head + within + alone + within, tmp_path).split()
    assert len(set(first)) == 1
    assert fresh(head + alone + within + alone, tmp_path).split() == first  # from the cache, in the other order
    assert fresh(head + alone + within + alone, tmp_path / "other").split() == first
    kept = {kind for path in tmp_path.rglob("*.nbi") for kind in ("python", "kernel") if f".{kind}." in path.name}
    assert kept == {"python"}  # a part is in the code of its callers


@pytest.mark.parametrize(
    "gone",
    [
        "import numba.core.codegen; del numba.core.codegen.JITCodeLibrary",
        "from cavity import _parts; _parts._NEEDED = ('gone',)",
        "from cavity import _parts; _parts.pipeline = lambda: None",
    ],
)
def test_without_parts_kernels_are_compiled_as_numba_does_it(gone, tmp_path):
    """Same code of the kernel itself; where numba has changed, only the time that it takes to compile is another."""
    ask = (
        "from cavity.kernels.cavity_air import face_coefficients\n"
        "print(repr(face_coefficients(0.3, 290.0, 292.0, 291.0, 0.03, 3.0, 101325.0, 7.0)))"
    )
    head = "import numba.core.types, numba, numba.core.caching, numba.core.event\n"
    used = "from cavity import _jit; print(bool(_jit._PART))\n"
    with_parts = fresh(head + used + ask, tmp_path / "parts").splitlines()
    without = fresh(f"{head}{gone}\n{used}{ask}", tmp_path / "none").splitlines()
    assert with_parts[0] == "True" and without[0] == ("True" if "_NEEDED" in gone else "False")
    np.testing.assert_allclose(*(np.array(ast.literal_eval(lines[1])) for lines in (with_parts, without)), rtol=1e-13)


def test_the_collector_of_garbage_is_as_before(tmp_path):
    code = (
        "import gc, numpy as np\n{}\nfrom cavity.kernels import moist_air\n"
        "moist_air.saturation_array(np.array([290.0]), np.empty(1)); print(gc.isenabled())"
    )
    assert fresh(code.format(""), tmp_path) == "True\n"
    assert fresh(code.format("gc.disable()"), tmp_path / "other") == "False\n"


def test_only_the_last_watcher_is_told():
    first, second = [], []
    with terminal.watched(first.append):
        terminal.compiling(1)
        with terminal.watched(second.append):
            terminal.compiling(2)
        terminal.compiling(3)
    terminal.compiling(4)
    assert (first, second) == ([1, 3], [2])


def test_compiling_is_announced_once_and_only_if_it_takes_long(monkeypatch):
    clock, said = iter([10.0, 11.5, 12.5, 13.0]), []
    monkeypatch.setattr(terminal.time, "monotonic", lambda: next(clock))
    announce = terminal.Announced(said.append)
    announce(1)
    announce(2)
    assert said == []
    announce(3)
    announce(4)
    assert len(said) == 1 and "Compiling" in said[0]


@pytest.mark.parametrize(("count", "percent"), [(1, 0), (terminal.KERNELS, 99), (10 * terminal.KERNELS, 99)])
def test_the_text_never_says_that_all_is_done(count, percent):
    assert terminal.compiling_text(count).endswith(f"({percent} %)")


def test_a_first_run_says_that_it_compiles_and_a_second_does_not(tmp_path):
    (tmp_path / "wall.toml").write_text(starter(), encoding="utf-8")

    def told() -> str:
        done = subprocess.run(
            [sys.executable, "-m", "cavity", "airflow", "wall.toml"], cwd=tmp_path, capture_output=True, text=True,
            env=os.environ | {"XDG_CACHE_HOME": str(tmp_path / "cache")}, check=True,
        )  # fmt: skip
        assert "Compiling" not in done.stdout
        return done.stderr

    assert told().count("Compiling the model for this computer") == 1
    assert "Compiling" not in told()
