"""Weather files damaged at random: an error that a user can act on, or weather within physical bounds; nothing else."""

from __future__ import annotations

import functools
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
import pytest
import weather_files as wf
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cavity.climate import read_weather
from cavity.errors import InputError
from cavity.variables import TABLE

WORDS = (
    "",
    "nan",
    "inf",
    "-inf",
    "1e999",
    "1_0",
    "-1",
    "0",
    "99999",
    "1_0",
    "0x10",
    '"',
    "'",
    "é",
    ",",
    "12,5",
    "-999",
    "9" * 400,
    "\t",
    " ",
)
CLOSE = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@functools.cache
def original(form: str) -> bytes:
    """Return an undamaged file of a form."""
    if form == "epw":
        return (wf.CLIMATES / "temperate_inland.epw").read_bytes()
    weather = read_weather(wf.CLIMATES / "temperate_inland.epw")
    if form == "csv":
        return wf.csv_text(weather).encode()
    with tempfile.TemporaryDirectory() as folder:
        weather.to_netcdf(Path(folder) / "w.nc", engine="h5netcdf")
        return (Path(folder) / "w.nc").read_bytes()


def judge(path) -> None:
    """Read a file: it is refused with words, or its weather is sound."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)  # a silent division by nought is nonsense on its way
        try:
            weather = read_weather(path)
        except InputError as error:
            text = str(error)
            assert path.name in text and 20 < len(text) < 5000
            assert len(error.faults) <= 12
            return
    assert weather.sizes["time"] >= 8760
    for name in weather.data_vars:
        values, row = weather[name].values, TABLE[name]
        assert np.isfinite(values).all(), name
        assert (values >= row.lower).all() and (values <= row.upper).all(), name


where = st.one_of(st.integers(0, 2500), st.integers(0, 690_000))  # the head of a file holds most of what can break


@given(st.lists(st.tuples(where, st.binary(min_size=0, max_size=6), st.integers(0, 300)), min_size=1, max_size=6))
@CLOSE
def test_an_epw_with_bytes_replaced_inserted_or_cut_out(tmp_path_factory, edits):
    data = original("epw")
    for place, insert, cut in edits:
        data = data[:place] + insert + data[place + cut :]
    path = tmp_path_factory.mktemp("damaged") / "w.epw"
    path.write_bytes(data)
    judge(path)


@given(st.lists(st.tuples(st.integers(0, 8767), st.integers(0, 36), st.sampled_from(WORDS)), min_size=1, max_size=4))
@CLOSE
def test_an_epw_with_fields_replaced(tmp_path_factory, edits):
    lines = original("epw").decode().split("\n")
    for number, field, word in edits:
        parts = lines[number].split(",")
        parts[field % len(parts)] = word
        lines[number] = ",".join(parts)
    path = tmp_path_factory.mktemp("damaged") / "w.epw"
    path.write_text("\n".join(lines), "utf-8")
    judge(path)


def test_an_hour_with_an_underscore_is_no_hour(tmp_path):
    lines = original("epw").decode().split("\n")
    parts = lines[300].split(",")
    parts[3] = "1_0"
    lines[300] = ",".join(parts)
    path = tmp_path / "w.epw"
    path.write_text("\n".join(lines), "utf-8")
    with pytest.raises(InputError, match="line 301: the date is not possible"):
        read_weather(path)


@given(st.lists(st.tuples(st.integers(0, 8766), st.integers(0, 10), st.sampled_from(WORDS)), min_size=1, max_size=4))
@CLOSE
def test_a_csv_with_fields_replaced(tmp_path_factory, edits):
    lines = original("csv").decode().split("\n")
    for number, field, word in edits:
        # every second edit goes to the head, where the meaning of the columns stands
        number = number % 9 if number % 2 else number
        parts = lines[number].split(",")
        parts[field % len(parts)] = word
        lines[number] = ",".join(parts)
    path = tmp_path_factory.mktemp("damaged") / "w.csv"
    path.write_text("\n".join(lines), "utf-8")
    judge(path)


@given(st.lists(st.tuples(st.integers(0, 9000), st.integers(0, 40)), min_size=1, max_size=3), st.booleans())
@CLOSE
def test_lines_taken_out_doubled_or_moved(tmp_path_factory, edits, epw):
    form = "epw" if epw else "csv"
    lines = original(form).decode().split("\n")
    for place, count in edits:
        some = lines[place : place + count]
        lines = lines[:place] + lines[place + count :] if count % 2 else [*lines, *some]
    path = tmp_path_factory.mktemp("damaged") / f"w.{form}"
    path.write_text("\n".join(lines), "utf-8")
    judge(path)


@given(
    st.lists(st.tuples(st.integers(0, 60_000), st.binary(min_size=1, max_size=8)), min_size=1, max_size=8),
    st.integers(0, 900_000),
)
@pytest.mark.filterwarnings("error::pytest.PytestUnraisableExceptionWarning")  # what is printed beside our error
@settings(CLOSE, max_examples=25)
def test_a_netcdf_with_bytes_replaced_or_cut_short(tmp_path_factory, edits, length):
    data = bytearray(original("nc"))
    for place, insert in edits:
        data[place : place + len(insert)] = insert
    path = tmp_path_factory.mktemp("damaged") / "w.nc"
    path.write_bytes(bytes(data[: max(length, 100)]) if length % 3 == 0 else bytes(data))
    judge(path)


@given(st.binary(max_size=3000), st.sampled_from(["w.epw", "w.csv", "w.nc", "w.txt"]))
@settings(CLOSE, max_examples=60)
def test_any_bytes_at_all_are_refused(tmp_path_factory, data, name):
    path = tmp_path_factory.mktemp("damaged") / name
    path.write_bytes(data)
    with pytest.raises(InputError):
        read_weather(path)


def test_a_damaged_netcdf_gives_one_error_screen_and_nothing_else_on_stderr(tmp_path):
    data = original("nc")
    damaged = {
        "chunks.nc": data.replace(b"OCHK", b"xxxx"),  # attributes of the root: where h5netcdf cannot close itself
        "heads.nc": data.replace(b"OHDR", b"xxxx"),
        "cut.nc": data[: len(data) // 2],
    }
    code = (
        "import gc, sys\n"
        "from cavity.cli import main\n"
        "for path in sys.argv[1:]:\n"
        "    try: main(['climate', path])\n"
        "    except SystemExit as stop: print(stop.code)\n"
        "    gc.collect()\n"
    )
    for name, content in damaged.items():
        assert content != data
        (tmp_path / name).write_bytes(content)
    command = [sys.executable, "-c", code, *(str(tmp_path / name) for name in damaged)]
    found = subprocess.run(command, capture_output=True, text=True, check=True)
    assert found.stdout.split() == ["2", "2", "2"]
    screens = found.stderr.split("the NetCDF file cannot be opened")
    assert len(screens) == 4 and all(name in found.stderr for name in damaged)
    assert not any(word in found.stderr for word in ("Traceback", "Exception", "h5netcdf", "Error:"))
    assert len(found.stderr.splitlines()) <= 12  # four lines a fault
