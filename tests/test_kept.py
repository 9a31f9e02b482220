"""Weather, sun on a plane and material tables kept between runs: the same to the bit, never stale, never in the way."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import cavity
from cavity import kept
from cavity.climate import named, read, series
from cavity.climate.on_wall import sun_on_plane
from cavity.errors import InputError
from cavity.wall import grid
from cavity.wallfile import material
from cavity.wallfile.starter import starter

CLIMATE = named.packaged()["cool_marine"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder of kept results of its own."""
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))
    return tmp_path / "cases" / "read"


@pytest.fixture
def file(tmp_path):
    return Path(shutil.copy(CLIMATE, tmp_path / "place.epw"))


def unread(monkeypatch):
    """From here on a file that is read in earnest is an error."""

    def refuse(*_, **__):
        raise AssertionError("read again")

    monkeypatch.setattr(read, "_records", refuse)


def same(first: xr.Dataset, second: xr.Dataset) -> None:
    xr.testing.assert_identical(first, second)
    assert list(first.variables) == list(second.variables)
    assert {name: type(value) for name, value in first.attrs.items()} == {
        name: type(value) for name, value in second.attrs.items()
    }


def edited(file: Path, line: int, field: int, value: str) -> None:
    """Change one value of an EPW file and leave its length and time as they were."""
    before = file.stat()
    lines = file.read_text("latin-1").split("\n")
    parts = lines[line].split(",")
    parts[field] = value.rjust(len(parts[field]), "0")
    assert ",".join(parts) != lines[line]
    lines[line] = ",".join(parts)
    file.write_text("\n".join(lines), "latin-1", newline="")
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))


def test_a_file_is_read_once_and_comes_back_to_the_bit(folder, file, monkeypatch):
    first = cavity.read_weather(file)
    assert len(list(folder.iterdir())) == 1
    unread(monkeypatch)
    second = cavity.read_weather(file)
    same(first, second)
    second["rain"][:] = 1.0  # the caller's own: the next one does not see it
    second.attrs["name"] = "changed"
    same(first, cavity.read_weather(file))
    with pytest.raises(AssertionError, match="read again"):  # the name is cited in the result
        cavity.read_weather(shutil.copy(file, file.with_name("other.epw")))


def test_one_value_changed_in_a_file_of_the_same_size_and_time_is_seen(folder, file):
    first = cavity.read_weather(file)
    edited(file, 1000, 6, "2.6")
    second = cavity.read_weather(file)
    moved = first["temperature_outdoor"] != second["temperature_outdoor"]
    assert int(moved.sum()) == 1 and float(second["temperature_outdoor"][moved][0]) == pytest.approx(275.75)


def test_a_second_rain_file_is_part_of_it(folder, file, tmp_path):
    rain = Path(shutil.copy(CLIMATE, tmp_path / "rain.epw"))
    first = cavity.read_weather(file, rain)
    same(first, cavity.read_weather(file, rain))
    assert first.attrs["rain_source"] == "second file" != cavity.read_weather(file).attrs["rain_source"]
    edited(rain, 1000, 33, "9.1")
    second = cavity.read_weather(file, rain)
    assert int((first["rain"] != second["rain"]).sum()) == 1


def test_another_program_reads_again(folder, file, monkeypatch):
    first = cavity.read_weather(file)
    monkeypatch.setattr(kept, "code_digest", lambda: "of another version")
    same(first, cavity.read_weather(file))
    assert len(list(folder.iterdir())) == 2


@pytest.mark.parametrize("harm", ["flipped", "short", "empty", "foreign", "folder"])
def test_a_damaged_entry_is_read_and_kept_again(folder, file, harm, monkeypatch):
    first = cavity.read_weather(file)
    (entry,) = folder.iterdir()
    whole = entry.read_bytes()
    if harm == "folder":
        entry.unlink()
        entry.mkdir()
    else:
        place = len(whole) // 2
        entry.write_bytes(
            {
                "flipped": whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :],
                "short": whole[:-1],
                "empty": b"",
                "foreign": b"something else",
            }[harm]
        )
    same(first, cavity.read_weather(file))
    if harm != "folder":  # that one cannot be written, and costs only the keeping
        assert entry.read_bytes() == whole


def test_a_folder_that_cannot_be_made_or_is_full_costs_only_the_keeping(tmp_path, file, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "file" / "cases"))
    first = cavity.read_weather(file)
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "full"))

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    same(first, cavity.read_weather(file))
    assert not [path for path in (tmp_path / "full").rglob("*") if path.is_file()]


def test_a_file_that_changes_while_it_is_read_is_not_kept(folder, file, monkeypatch):
    true = read._records

    def slow(path, *rest, **more):
        edited(file, 1000, 6, "2.6")
        return true(path, *rest, **more)

    monkeypatch.setattr(read, "_records", slow)
    cavity.read_weather(file)
    assert not folder.exists()


def test_a_file_that_is_refused_is_refused_again(folder, file):
    edited(file, 1000, 6, "75.0")
    for _ in range(2):
        with pytest.raises(InputError):
            cavity.read_weather(file)
    assert not folder.exists()


def test_entries_not_used_for_the_longest_time_go_first(folder, file, monkeypatch):
    files = [Path(shutil.copy(file, file.with_name(f"{number}.epw"))) for number in range(4)]
    cavity.read_weather(files[0])
    (entry,) = folder.iterdir()
    monkeypatch.setattr(kept, "BOUND", int(3.5 * entry.stat().st_size))
    monkeypatch.setattr(kept, "LARGEST", kept.BOUND)
    for number in (1, 2):
        cavity.read_weather(files[number])
    for number, path in enumerate(sorted(folder.iterdir(), key=lambda each: each.stat().st_mtime_ns)):
        os.utime(path, (1000 + number, 1000 + number))
    cavity.read_weather(files[0])  # used again, so that the second is the oldest
    cavity.read_weather(files[3])
    assert len(list(folder.iterdir())) == 3
    unread(monkeypatch)
    cavity.read_weather(files[0])
    with pytest.raises(AssertionError, match="read again"):
        cavity.read_weather(files[1])


def test_sun_on_a_plane_depends_on_all_that_it_is_made_from(folder, inland):
    weather = inland.isel(time=slice(4000, 4048))
    plane = {"orientation": 180.0, "tilt": 90.0, "albedo": 0.2}
    first = sun_on_plane(weather, **plane)
    np.testing.assert_array_equal(first, sun_on_plane(weather, **plane))
    assert len(list(folder.iterdir())) == 1
    others = [sun_on_plane(weather, **plane | {name: 60.0}) for name in ("orientation", "tilt")]
    others.append(sun_on_plane(weather, **plane | {"albedo": 0.5}))
    moved = [weather.assign({name: 1.1 * weather[name]}) for name in series.SUN]
    place = ("latitude", "longitude", "utc_offset")
    moved += [weather.assign_attrs({name: weather.attrs[name] + 1.0}) for name in place]
    others += [sun_on_plane(each, **plane) for each in moved]
    later = weather.assign_coords(time=weather["time"] + np.timedelta64(30, "D"))
    others.append(sun_on_plane(later, **plane))
    for other in others:
        assert not np.array_equal(first, other)
    assert len(list(folder.iterdir())) == 1 + len(others)


def test_material_tables_depend_on_the_material_and_on_contact_with_water(folder):
    from dataclasses import replace

    brick = material("clay brick")
    grid._tables_of.cache_clear()
    tables, cubics = grid._tables_of(brick, False)
    grid._tables_of.cache_clear()
    again, same_cubics = grid._tables_of(brick, False)
    for name in ("water", "water_slope", "mu", "potential", "potential_slope"):
        np.testing.assert_array_equal(getattr(tables, name), getattr(again, name))
    np.testing.assert_array_equal(cubics, same_cubics)
    np.testing.assert_array_equal(cubics, grid._cubics_of(tables))
    assert not np.array_equal(cubics, grid._tables_of(brick, True)[1])
    assert not np.array_equal(cubics, grid._tables_of(replace(brick, mu_wet=brick.mu_wet * 1.01), False)[1])
    grid._tables_of.cache_clear()


_FIRST = """
import sys
import cavity
weather = cavity.read_weather(sys.argv[2])
result = cavity.simulate(cavity.read_wall(sys.argv[1]), weather.isel(time=slice(0, 24)))
print(float(result["air_change_rate"].sum()).hex())
print(*sorted({"pvlib", "scipy.interpolate", "scipy.linalg", "pydantic", "tomlkit"} & set(sys.modules)))
"""


def test_a_second_start_needs_neither_pvlib_nor_scipy_and_gives_the_same(tmp_path):
    (tmp_path / "wall.toml").write_text(starter(), "utf-8")

    def started() -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", _FIRST, "wall.toml", str(CLIMATE)], cwd=tmp_path, capture_output=True, text=True,
            env=os.environ | {"CAVITY_CASES": str(tmp_path / "cases")}, check=True,
        )  # fmt: skip
        return done.stdout.splitlines()

    first, second = started(), started()
    assert "pvlib" in first[1] and "scipy.interpolate" in first[1]
    assert second == [first[0], "pydantic"]
