"""Files are written whole or not at all, never over something else, and nothing is left of what failed."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import resource
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner

from cavity import files
from cavity.cli import main
from cavity.errors import InputError
from cavity.files import HTML, NETCDF, check_outputs, csv_text, write_whole
from cavity.result import save
from cavity.wallfile import starter

ROOT = Path(__file__).parents[1]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@contextlib.contextmanager
def small_files(size: int):
    """Let no file grow beyond some bytes: the kernel says no half way, as a full disk does."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, old)


@pytest.fixture
def dataset():
    rng = np.random.default_rng(1)
    return xr.Dataset({"a": (("time", "face"), rng.random((4000, 3)))})


# --------------------------------------------------------------------------- whole or not at all


def test_a_full_disk_leaves_the_old_file_and_nothing_else(tmp_path, dataset):
    page, data = tmp_path / "page.html", tmp_path / "data.nc"
    write_whole(page, "<!doctype html>good")
    save(dataset.isel(time=slice(0, 2)), data)
    before = data.read_bytes()
    with small_files(10_000):
        with pytest.raises(InputError, match="cannot be written"):
            write_whole(page, "<!doctype html>" + "x" * 20_000)
        with pytest.raises(InputError, match="cannot be written"):
            save(dataset, data)
        with pytest.raises(InputError, match="cannot be written"):
            save(dataset, tmp_path / "new" / "folder" / "data.nc")
    assert page.read_text() == "<!doctype html>good" and data.read_bytes() == before
    assert names(tmp_path) == ["data.nc", "page.html"]
    save(dataset, data)
    xr.testing.assert_identical(xr.open_dataset(data, engine="h5netcdf").load(), dataset)


@pytest.mark.skipif(os.geteuid() != 0, reason="mounting a small disk needs root")
def test_a_disk_that_is_really_full(tmp_path, dataset):
    disk = tmp_path / "disk"
    disk.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=16k", "none", str(disk)], check=False, capture_output=True
    )
    if done.returncode:
        pytest.skip("no mounting here")
    try:
        with pytest.raises(InputError, match="No space left on device"):
            save(dataset, disk / "data.nc")
        assert names(disk) == []
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_killed_write_leaves_nothing_after_the_next_run(tmp_path):
    code = f"""
        import os, signal
        from pathlib import Path
        from cavity import files
        Path.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
        files.write_whole({str(tmp_path / "a.html")!r}, "<!doctype html>")
    """
    subprocess.run([sys.executable, "-c", textwrap.dedent(code)], check=False)
    assert len(names(tmp_path)) == 1 and names(tmp_path)[0].endswith(".part")
    # what another process still writes stays, here and on another computer for an hour
    mine = tmp_path / f".cavity-{files._host()}-{os.getpid()}-99999.part"
    other = tmp_path / ".cavity-00000000-1-7.part"
    for path in (mine, other):
        path.write_text("at work")
    write_whole(tmp_path / "a.html", "<!doctype html>")
    assert names(tmp_path) == sorted([mine.name, other.name, "a.html"])
    os.utime(other, (time.time() - 7200,) * 2)
    write_whole(tmp_path / "a.html", "<!doctype html>")
    assert names(tmp_path) == sorted([mine.name, "a.html"])


def test_links_devices_and_rights_stay_what_they_are(tmp_path):
    page, link = tmp_path / "page.html", tmp_path / "link.html"
    write_whole(page, "<!doctype html>1")
    page.chmod(0o640)
    link.symlink_to(page)
    write_whole(link, "<!doctype html>2")
    assert link.is_symlink() and page.read_text() == "<!doctype html>2" and page.stat().st_mode & 0o777 == 0o640
    nowhere = tmp_path / "null"
    nowhere.symlink_to(os.devnull)
    write_whole(nowhere, "<!doctype html>")
    assert Path(os.devnull).is_char_device()


# --------------------------------------------------------------------------- never over something else


@pytest.mark.parametrize(
    ("there", "new", "allowed"),
    [
        ("<!doctype html><p>", "<!doctype html>", True),
        ("<!DOCTYPE HTML>", "<!doctype html>", True),
        ("", "<!doctype html>", True),
        ('[wall]\nname = "x"\n', "<!doctype html>", False),
        ("LOCATION,Harbour,-,-,x,1,52,5,1,20\n", b"\x89HDF\r\n", False),
        ("# name = Roof\ntime,rain\n", "climate,openings\n", False),
        ("climate,orientation [degree]\n", "climate,openings\n", True),
        (b"\x89HDF\r\n", "<!doctype html>", False),
        (b"\x89HDF\r\n", b"\x89HDF\r\n1", True),
    ],
)
def test_a_file_is_replaced_only_by_one_of_its_kind(tmp_path, there, new, allowed):
    path = tmp_path / "file"
    before = there.encode() if isinstance(there, str) else there
    path.write_bytes(before)
    if allowed:
        write_whole(path, new)
        assert path.read_bytes() != before or new == there
        return
    with pytest.raises(InputError, match="exists already and is not"):
        write_whole(path, new)
    assert path.read_bytes() == before
    write_whole(path, new, over=True)
    assert path.read_bytes() != before


def test_outputs_are_checked_before_the_work(tmp_path):
    wall = tmp_path / "w.toml"
    wall.write_text(starter())
    data = tmp_path / "w.nc"
    data.write_bytes(NETCDF)
    (tmp_path / "link.nc").symlink_to(data)
    for outputs, said in (
        ([("--out", wall, HTML)], "--out .*w.toml: would overwrite an input of this run"),
        ([("--save", tmp_path / "link.nc", NETCDF)], "would overwrite an input"),
        ([("--save", tmp_path / "x" / ".." / "w.nc", NETCDF)], "exists already|would overwrite|cannot be"),
        ([("--out", tmp_path / "a", HTML), ("--save", tmp_path / "a", NETCDF)], "would overwrite what --out writes"),
        ([("--out", tmp_path, HTML)], "is a folder"),
        ([("--out", wall / "a.html", HTML)], "is a file, not a folder"),
        ([("--csv", wall, b"")], "is a file, not a folder"),
    ):
        with pytest.raises(InputError, match=said):
            check_outputs(outputs, [wall, data, None])
    check_outputs([("--out", tmp_path / "new" / "a.html", HTML), ("--csv", None, b"")], [wall])
    assert names(tmp_path) == ["link.nc", "w.nc", "w.toml"]


CLIMATE = str(ROOT / "climates" / "cool_marine.epw")


@pytest.mark.parametrize(
    "command",
    [
        "compare {w} --climate {c} --out {w}",
        "compare {w} --climate {c} --out {c}",
        "compare {w} --climate {c} --rain {r} --out {r}",
        "compare {w} --climate {c} --csv {w}",
        "airflow {w} --out {w}",
        "climate {c} --save {c}",
        "climate {c} --out {c}",
        "climate {c} --wall {w} --save {w}",
        "size {w} --climate {c} --out {c}",
        "uncertainty {w} --climate {c} --save {c}",
        "lesson {w} --climate {c} --out {w}",
        "verify --report {w}",
    ],
)
def test_no_command_writes_over_its_inputs(tmp_path, command):
    paths = {"w": tmp_path / "w.toml", "c": tmp_path / "c.epw", "r": tmp_path / "r.csv"}
    paths["w"].write_text(starter(), encoding="utf-8")
    paths["c"].write_bytes(Path(CLIMATE).read_bytes())
    paths["r"].write_text("time,rain [mm/h]\n")
    before = {path: path.read_bytes() for path in paths.values()}
    result = CliRunner().invoke(main, [part.format(**paths) for part in command.split()])
    assert result.exit_code == 2, result.output
    assert (
        "would overwrite an input" in result.output or "exists already" in result.output or "is a file" in result.output
    )
    assert {path: path.read_bytes() for path in paths.values()} == before
    assert names(tmp_path) == ["c.epw", "r.csv", "w.toml"]


# --------------------------------------------------------------------------- tables


def test_text_that_looks_like_a_formula_is_escaped_and_numbers_stay_numbers():
    cells = ["=1+1", "+cmd", "-cmd", "@x", "\tx", "-0.5", "+3", "1e-3", "-.5e3", "a=b", -0.5, 3]
    ((row),) = list(csv.reader(io.StringIO(csv_text(["h"], [cells]))))[1:]
    assert row == ["'=1+1", "'+cmd", "'-cmd", "'@x", "'\tx", "-0.5", "+3", "1e-3", "-.5e3", "a=b", "-0.5", "3"]


# --------------------------------------------------------------------------- compiled code


def test_damaged_compiled_code_is_compiled_again_and_a_full_or_closed_folder_costs_the_keeping_only(tmp_path):
    """Single bits, halves and empty files; then a disk that takes nothing."""
    script = tmp_path / "work.py"
    script.write_text(
        textwrap.dedent("""
        import random, resource, signal, sys
        from pathlib import Path
        from cavity import _jit
        folder = Path(sys.argv[1])
        _jit._FOLDER = str(folder)

        def polynomial(x):
            return 3.0 * x * x - x + 1.0

        def new():
            compiled = _jit.jit(polynomial)
            assert compiled(2.0) == 11.0
            return compiled

        new()
        assert new().stats.cache_hits
        chance = random.Random(1)
        for number in range(40):
            kept = sorted(folder.rglob("*.nb?"))
            assert [path.suffix for path in kept] == [".nbc", ".nbi"], kept
            path = kept[number % 2]
            data = bytearray(path.read_bytes())
            if number < 36:
                data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
            else:
                data = data[: len(data) // 2 * (number % 2)]
            path.write_bytes(data)
            assert not new().stats.cache_hits, number
            assert new().stats.cache_hits, number  # whole again
        for path in folder.rglob("*.nb?"):
            path.unlink()
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, resource.RLIM_INFINITY))
        new()
        assert not [path for path in folder.rglob("*") if path.is_file()]
        _jit._FOLDER = "/proc/nothing"  # nobody can write there
        new()
        print("whole")
        """),
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path / "compiled")], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.stdout == "whole\n" and done.returncode == 0, done.stderr
