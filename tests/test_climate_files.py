"""Weather files that are odd, huge or no files at all: read with care, or refused in words."""

from __future__ import annotations

import json
import os
import tracemalloc

import numpy as np
import pytest
import weather_files as wf

from cavity.climate import netcdf, read, read_weather
from cavity.errors import InputError


@pytest.fixture(scope="module")
def temperate():
    return read_weather(wf.CLIMATES / "temperate_inland.epw")


def fails(path, **more):
    with pytest.raises(InputError) as caught:
        read_weather(path, **more)
    text = str(caught.value)
    assert len(text) < 3000
    return text


def same(weather, temperate):
    for name in temperate.data_vars:
        found, expected = weather[name].values, temperate[name].values
        np.testing.assert_allclose(found, expected, rtol=2e-8, atol=1e-9)  # 10 digits written


# ---- separators ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("mark", [";", "\t"])
@pytest.mark.parametrize("comma", [True, False])
def test_semicolons_tabs_and_decimal_commas(tmp_path, temperate, mark, comma):
    lines = wf.csv_text(temperate).replace(",", mark).splitlines()
    if comma:
        first = next(i for i, line in enumerate(lines) if line.startswith("time"))
        lines = [line.replace(".", ",") if i != first else line for i, line in enumerate(lines)]
        assert "# latitude = 49,0" in lines
    path = tmp_path / "w.csv"
    path.write_text("\n".join(lines), "utf-8")
    weather = read_weather(path)
    same(weather, temperate)
    assert weather.attrs["latitude"] == 49.0


def test_the_habits_of_a_spreadsheet(tmp_path, temperate):
    # a byte order mark, dates with dots, quotes, empty columns at the end, keys padded with separators, DOS line ends
    made = []
    for line in wf.csv_text(temperate).splitlines():
        if line.startswith("#"):
            made.append(f'"{line}";;;')
        elif line.startswith("time"):
            made.append(";".join(f'"{head}"' for head in line.split(",")) + ";;")
        else:
            stamp, *rest = line.split(",")
            date, clock = stamp.split("T")
            dotted = ".".join(reversed(date.split("-")))
            made.append(f"{dotted} {clock};" + ";".join(rest).replace(".", ",") + ";;")
    path = tmp_path / "w.csv"
    path.write_bytes(("\ufeff" + "\r\n".join(made)).encode())
    same(read_weather(path), temperate)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda row: row.replace(".", ","), "separate the columns by semicolons"),
        (lambda row: row.rsplit(",", 1)[0], "wrong number of fields"),
    ],
)
def test_a_line_that_does_not_fit_its_heads(tmp_path, temperate, change, words):
    lines = wf.csv_text(temperate).splitlines()
    lines[100] = change(lines[100])
    text = fails(wf.save(tmp_path, lines, "w.csv"))
    assert "line 101" in text and words in text


def test_separators_of_thousands_are_refused(tmp_path, temperate):
    lines = wf.csv_text(temperate).replace(",", ";").splitlines()
    parts = lines[100].split(";")
    parts[3] = "1.013,25"
    lines[100] = ";".join(parts)
    assert "separators of thousands" in fails(wf.save(tmp_path, lines, "w.csv"))


def test_a_comma_at_the_end_of_lines_is_no_field(tmp_path, temperate):
    lines = wf.csv_text(temperate).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("time"))
    same(read_weather(wf.save(tmp_path, lines[:first] + [line + "," for line in lines[first:]], "w.csv")), temperate)


# ---- no files, and files that are too much ---------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["w.csv", "w.txt", "w.epw"])
@pytest.mark.parametrize("start", ["", "time,", "# name = ", "LOCATION,"])
def test_a_first_line_of_absurd_length(tmp_path, name, start):
    (tmp_path / name).write_text(start + "x" * 300_000)
    assert name in fails(tmp_path / name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes of this kind here")
def test_pipes_devices_and_folders_are_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe.epw")
    rain = wf.CLIMATES / "temperate_inland.epw"
    for path in (tmp_path / "pipe.epw", "/dev/zero", "/dev/null"):
        assert "a pipe or a device" in fails(path)
        assert "a pipe or a device" in fails(rain, rain_file=path)
    assert "a folder" in fails(tmp_path)
    assert "cannot be read" in fails("no\x00name.epw")


def test_files_above_the_limit_are_refused_also_as_rain(tmp_path, temperate, monkeypatch):
    path = tmp_path / "w.csv"
    path.write_text(wf.csv_text(temperate))
    monkeypatch.setattr(read, "LARGEST_FILE", 100_000)
    assert "too large for hourly weather" in fails(path)
    assert "too large for hourly weather" in fails(wf.CLIMATES / "hot_dry.epw", rain_file=path)
    monkeypatch.setattr(read, "LARGEST_EPW", 100_000)
    assert "too large for hourly weather" in fails(wf.CLIMATES / "hot_dry.epw")


def test_the_memory_stays_in_proportion_to_the_file(tmp_path, temperate):
    # a year of five minutes, 10 MB: read whole into lists it took twenty-five times its size
    lines = wf.csv_text(temperate).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("time"))
    path = tmp_path / "w.csv"
    with path.open("w") as out:
        out.write("\n".join(lines[: first + 1]) + "\n")
        for line in lines[first + 1 :]:
            stamp, rest = line.split(",", 1)
            for minute in range(0, 60, 5):
                out.write(f"{stamp[:14]}{minute:02d},{rest}\n")
    size = path.stat().st_size
    read_weather(wf.CLIMATES / "hot_dry.epw")  # imports are not counted
    tracemalloc.start()
    try:
        weather = read_weather(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert weather.sizes["time"] == 8760
    assert peak < 5 * size, peak / size


# ---- NetCDF ----------------------------------------------------------------------------------------------------------
def test_json_nested_too_deep_is_left_aside(tmp_path, temperate):
    temperate.assign_attrs(warnings="[" * 60_000).to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    same(read_weather(tmp_path / "w.nc"), temperate)


def test_a_file_that_keeps_its_library_busy_is_given_up(tmp_path, temperate, monkeypatch):
    temperate.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    monkeypatch.setattr(netcdf, "PATIENCE", 0.01)
    assert "no answer after" in fails(tmp_path / "w.nc")


def test_a_library_that_dies_takes_nothing_with_it(tmp_path, temperate, monkeypatch):
    import sys

    killer = tmp_path / "python"
    killer.write_text("#!/bin/sh\nkill -SEGV $$\n")
    killer.chmod(0o755)
    temperate.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    monkeypatch.setattr(sys, "executable", str(killer))
    assert "cannot be opened" in fails(tmp_path / "w.nc")


def test_packed_netcdf_of_both_kinds_is_unpacked(tmp_path, temperate):
    import xarray as xr

    celsius = temperate.copy(deep=True)
    celsius["temperature_outdoor"].data -= 273.15
    celsius["temperature_outdoor"].attrs["units"] = "degC"
    packing = {"dtype": "int16", "scale_factor": 0.01, "add_offset": 5.0, "_FillValue": -32768}
    gap = slice(2000, 2003)
    for name, form, engine in (("w4.nc", "NETCDF4", "h5netcdf"), ("w3.nc", "NETCDF3_64BIT", "scipy")):
        made = celsius.copy(deep=True)
        made["temperature_outdoor"].data[gap] = np.nan
        made.to_netcdf(tmp_path / name, format=form, engine=engine, encoding={"temperature_outdoor": packing})
        weather = read_weather(tmp_path / name)
        assert "temperature outdoor 3 h" in " ".join(json.loads(weather.attrs["warnings"]))
        apart = np.abs(weather["temperature_outdoor"].values - temperate["temperature_outdoor"].values)
        assert np.delete(apart, range(2000, 2003)).max() < 0.0051  # packed in hundredths
        with xr.open_dataset(tmp_path / name) as opened:
            assert weather.sizes["time"] == opened.sizes["time"]
