"""Compiling: kernels called by Python after kernels, nothing left behind, and what a first run says."""

from __future__ import annotations

import ast
import importlib
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from cavity import _jit, terminal
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
        "from cavity import _parts; _parts._TRIED = 0",
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


def test_a_kernel_compiled_beside_ones_from_the_cache_is_the_same(tmp_path):
    """What is loaded needs less of numba than what is compiled: the rest must still come when it is asked for."""
    code = (
        "import numpy as np; from cavity.kernels import moist_air as air; out = np.empty(2)\n"
        "air.saturation_array(np.array([260.0, 290.0]), out); print(out.tolist(), air.saturation(260.0), air.density("
        "290.0, 1000.0, 101325.0))"
    )
    first = fresh(code, tmp_path)
    entries = list(tmp_path.rglob("*.nbi"))
    for lost in ("saturation_array-", "saturation-", "density-"):
        gone = [path for path in entries if lost in path.name and path.exists()]
        assert gone, (lost, entries)
        for path in gone:
            path.unlink()
        assert fresh(code, tmp_path) == first


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


def test_the_percentage_rests_on_the_kernels_there_are():
    """A kernel is what a module of the package defines and numba compiles; none is counted twice or forgotten."""
    kernels = set()
    for path in (Path(_jit.__file__).parent / "kernels").glob("*.py"):
        module = importlib.import_module(f"cavity.kernels.{path.stem}")
        kernels |= {each.py_func for each in vars(module).values() if hasattr(each, "py_func")}
    assert len(kernels) == _jit.KERNELS > 100


def test_the_percentage_rises_with_each_kernel_and_never_says_that_all_is_done(monkeypatch):
    def started(function):
        return SimpleNamespace(data={"dispatcher": SimpleNamespace(py_func=function)})

    def kernel():
        pass

    kernel.__module__ = "cavity.kernels.film"
    monkeypatch.setattr(_jit, "KERNELS", 4)
    said = []
    listener = _jit._Compilations()
    with terminal.watched(said.append):
        listener.on_start(started(kernel))
        listener.on_start(started(kernel))  # another signature of the same
        listener.on_start(started(len))  # one of numba's own, which builds the answer of a kernel
        for _ in range(4):
            other = type(kernel)(kernel.__code__, {}, "other")
            other.__module__ = kernel.__module__
            listener.on_start(started(other))
        for _ in range(7):
            listener.on_end(None)
    assert said == [25, 25, 25, 50, 75, 99, 99]
    assert terminal.compiling_text(said[-1]).endswith("(99 %)")


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
