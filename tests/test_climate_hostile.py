"""Files that are no weather at all, or too much of it: one message in good time, memory in proportion."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
import weather_files as wf

from cavity.climate import netcdf, read_weather
from cavity.errors import InputError

ROOT = Path(__file__).parents[1]
WHOLE = wf.CLIMATES / "temperate_inland.epw"


def refused(path, **options) -> str:
    start = time.monotonic()
    with pytest.raises(InputError) as caught:
        read_weather(path, **options)
    assert time.monotonic() - start < 20.0
    assert len(str(caught.value)) < 3000
    return str(caught.value)


@pytest.mark.parametrize("first", ["x" * 200_000, "time," + "x" * 200_000, '"' + "x" * 200_000])
def test_a_line_without_end_is_refused(tmp_path, first):
    path = tmp_path / "w.csv"
    path.write_text(first + "\n1,2\n")
    assert "far too long" in refused(path)
    good = wf.csv_text(read_weather(WHOLE))
    path.write_text(good + "x" * 200_000)
    assert "far too long" in refused(path)


def test_a_pipe_and_a_device_are_not_opened(tmp_path):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero"), Path("/dev/null")):
        assert "not a regular file" in refused(path)
        assert "not a regular file" in refused(WHOLE, rain_file=path)
    assert "is a folder" in refused(tmp_path) and "no such file" in refused(tmp_path / "none.csv")


def test_a_file_too_large_is_refused_before_it_is_read_whole(tmp_path, monkeypatch):
    monkeypatch.setattr("cavity.climate.read.LARGEST_FILE", 1000)
    path = tmp_path / "w.csv"
    path.write_text("time,rain [mm/h]\n" + "x" * 2000)
    assert "too large" in refused(path)
    monkeypatch.setattr("cavity.climate.read.LARGEST_FILE", WHOLE.stat().st_size)
    path.write_text("time,rain [mm/h]\n" + "x\n" * WHOLE.stat().st_size)
    assert "too large" in refused(WHOLE, rain_file=path)


def test_a_trailing_comma_is_not_a_decimal_comma(tmp_path):
    lines = wf.csv_text(read_weather(WHOLE)).split("\n")
    head = next(at for at, line in enumerate(lines) if line.startswith("time"))
    path = tmp_path / "w.csv"
    all_lines = [line + "," if at >= head and line else line for at, line in enumerate(lines)]
    path.write_text("\n".join(all_lines))
    assert read_weather(path).sizes["time"] == 8760
    only_data = [line + ",," if at > head and line else line for at, line in enumerate(lines)]
    path.write_text("\n".join(only_data))
    assert read_weather(path).sizes["time"] == 8760
    lines[head + 5] = lines[head + 5].replace(".", ",", 1)
    path.write_text("\n".join(lines))
    said = refused(path)
    assert f"line {head + 6}" in said and "decimal point, not a comma" in said
    lines[head + 5] = lines[head + 5].rsplit(",", 3)[0]
    path.write_text("\n".join(lines))
    assert "decimal" not in refused(path)


def test_a_computed_column_is_not_said_to_be_in_the_file(tmp_path):
    weather = read_weather(WHOLE)
    for name in ("direct_normal", "diffuse_horizontal"):
        weather[name] = weather[name] * 0.0
    lines = wf.csv_text(weather).split("\n")
    start = next(at for at, line in enumerate(lines) if line.startswith("time,"))
    at = lines[start].split(",").index("global_horizontal [W/m2]")
    rows = [",".join([*line.split(",")[:at], *line.split(",")[at + 1 :]]) for line in lines[start:] if line]
    text = "\n".join([*lines[:start], *rows])
    assert "global_horizontal" not in text
    path = tmp_path / "w.csv"
    path.write_text(text)
    said = refused(path)
    assert "column global_horizontal" not in said and "as computed" in said and "direct_normal" in said


def test_an_attribute_with_brackets_without_end_and_a_damaged_file_are_one_message(tmp_path):
    path = tmp_path / "w.nc"
    weather = read_weather(WHOLE)
    weather.attrs["warnings"] = "[" * 50_000
    weather.to_netcdf(path, engine="h5netcdf")
    assert read_weather(path).sizes["time"] == 8760
    assert json.loads(read_weather(path).attrs["warnings"]) is not None
    data = path.read_bytes()
    chance = np.random.default_rng(3)
    for _ in range(4):
        harmed = bytearray(data)
        for at in chance.integers(0, len(data), 200):
            harmed[at] ^= 0xFF
        path.write_bytes(harmed)
        try:
            read_weather(path)
        except InputError as error:
            assert len(str(error)) < 3000


def test_a_file_in_which_the_library_hangs_is_given_up(tmp_path, monkeypatch):
    path = tmp_path / "w.nc"
    with h5py.File(path, "w") as file:
        file["x"] = [1.0]
    monkeypatch.setattr(netcdf, "TIME_LIMIT", 0.01)  # no process starts as fast
    assert "reading does not end" in refused(path)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="units of the peak")
def test_memory_stays_in_proportion_to_the_file(tmp_path):
    """Four months of minutes, 13 MB: the file, its text and its numbers, not ten times as much."""
    path = tmp_path / "w.csv"
    stamps = (np.datetime64("2021-01-01T00:00") + np.arange(170_000) * np.timedelta64(1, "m")).astype(str)
    head = "# latitude = 52\n# longitude = 5\n# utc offset = 1\n# elevation = 5\n"
    head += "time,temperature_outdoor [degC],relative_humidity_outdoor [%],wind_speed [m/s],wind_direction [degree],"
    head += "global_horizontal [W/m2],rain [mm/h],pressure [Pa]\n"
    path.write_text(head + "".join(f"{stamp},10.25,81.123,3.1234,230.12,100.123,0.05,101325.0\n" for stamp in stamps))
    code = f"""
        import resource
        from cavity.climate import read_weather
        from cavity.errors import InputError
        read_weather({str(WHOLE)!r})
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        try: read_weather({str(path)!r})
        except InputError: pass  # four months are no year
        print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert float(done.stdout) < 6.0 * path.stat().st_size  # it was 25 times
