"""Weather files of other habits: semicolons, decimal commas, spreadsheets, packed NetCDF."""

from __future__ import annotations

import json

import numpy as np
import pytest
import weather_files as wf

from cavity.climate import read_weather
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
        (lambda row: row.replace(".", ","), "unless semicolons separate the columns"),
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


def test_a_library_that_dies_takes_nothing_with_it(tmp_path, temperate, monkeypatch):
    import sys

    killer = tmp_path / "python"
    killer.write_text("#!/bin/sh\nkill -SEGV $$\n")
    killer.chmod(0o755)
    temperate.to_netcdf(tmp_path / "w.nc", engine="h5netcdf")
    monkeypatch.setattr(sys, "executable", str(killer))
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))  # not what another test has read already
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
