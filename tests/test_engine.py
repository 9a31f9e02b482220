"""The engine of studies: same bytes for any number of threads, finished cases kept whole, killed studies resumed."""

from __future__ import annotations

import ast
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import cavity
from cavity import kept
from cavity.errors import CavityError, Fault, InputError
from cavity.study import cases, engine
from cavity.study.cases import Job, Store, key_of
from cavity.study.engine import Engine


@pytest.fixture(scope="module")
def small(one_year):
    """One segment, three opening sets, two depths: six cases."""
    return replace(
        one_year,
        run=replace(one_year.run, segments=1),
        opening_sets=one_year.opening_sets[:3],
        depths=(0.02, 0.04),
    )


@pytest.fixture(scope="module")
def days(inland):
    """Three January days."""
    return inland.isel(time=slice(0, 72))


@pytest.fixture(scope="module")
def jobs(small, days):
    return [
        Job(small.case(opening_set=chosen.name, depth=depth), days)
        for chosen in small.opening_sets
        for depth in small.depths
    ]


def bytes_of(dataset) -> dict[str, bytes]:
    return {str(name): dataset[name].values.tobytes() for name in dataset.variables}


def same(one, other) -> None:
    """Equal in values to the bit, types, names and attributes; the time of computation apart."""
    assert bytes_of(one) == bytes_of(other)
    assert {name: data.dtype for name, data in one.variables.items()} == {
        name: data.dtype for name, data in other.variables.items()
    }
    for name in one.variables:
        assert one[name].dims == other[name].dims and one[name].attrs == other[name].attrs, name
    left, right = ({k: v for k, v in ds.attrs.items() if k != "created"} for ds in (one, other))
    assert left == right
    assert {k: type(v) for k, v in left.items()} == {k: type(v) for k, v in right.items()}


@pytest.fixture
def counted(monkeypatch):
    """Cases simulated in this process, runs of wetting events apart."""
    calls = []
    real = engine.computed

    def counting(job, keep, code=""):
        if keep != "water":
            calls.append(job)
        return real(job, keep, code)

    monkeypatch.setattr(engine, "computed", counting)
    return calls


@pytest.fixture(scope="module")
def straight(jobs):
    """What simulate gives, case by case, without an engine."""
    return [
        cavity.simulate(
            job.case.wall,
            job.weather,
            opening_set=job.case.opening_set.name,
            depth=job.case.depth,
            column=job.case.column.name,
        )
        for job in jobs
    ]


# --------------------------------------------------------------------------- threads


@pytest.mark.parametrize("threads", [1, 2, 3])
def test_results_are_the_same_to_the_bit_and_in_order_whatever_the_number_of_threads(jobs, straight, tmp_path, threads):
    with Engine(threads, store=Store(tmp_path)) as own:
        results = own.run(jobs)
        assert [result.job for result in results] == jobs
        for result, expected in zip(results, straight, strict=True):
            same(result.dataset, expected)
            assert result.findings == cavity.judge(expected, dict(result.job.case.wall.limits))


def test_progress_tells_each_case_once(jobs, tmp_path):
    told = []
    with Engine(2, store=Store(tmp_path)) as own:
        own.run(jobs, keep="findings", progress=lambda done, count, result: told.append((done, count, result.job)))
    assert [done for done, _, _ in told] == list(range(1, len(jobs) + 1))
    assert {count for _, count, _ in told} == {len(jobs)}
    assert sorted(id(job) for _, _, job in told) == sorted(id(job) for job in jobs)


def test_wrong_input_ends_the_study_and_keeps_what_was_done(jobs, tmp_path, monkeypatch):
    real = engine.computed

    def failing(job, keep, code=""):
        if job is jobs[3]:
            raise InputError(Fault("wall.toml, indoor.file", "is missing"))
        return real(job, keep, code)

    monkeypatch.setattr(engine, "computed", failing)
    with Engine(1, store=Store(tmp_path)) as own, pytest.raises(InputError, match="is missing"):
        own.run(jobs)
    store = Store(tmp_path)
    assert [store.read(key_of(job), "all") is not None for job in jobs] == [True] * 3 + [False] * 3


# --------------------------------------------------------------------------- cached results


def test_a_kept_case_is_returned_equal_without_being_computed(jobs, straight, tmp_path, counted):
    with Engine(2, store=Store(tmp_path)) as own:
        first = own.run(jobs)
    assert len(counted) == len(jobs)
    with Engine(2, store=Store(tmp_path)) as own:
        second = own.run(jobs)
        for expected, before, after in zip(straight, first, second, strict=True):
            assert after.findings == before.findings
            same(after.dataset, expected)
    assert len(counted) == len(jobs)


def test_jobs_of_the_same_numbers_are_computed_once_and_each_told_under_its_own_name(jobs, straight, tmp_path, counted):
    named = replace(jobs[0], case=jobs[0].case.on(replace(jobs[0].case.wall, name="another name")))
    told = []
    with Engine(2, store=Store(tmp_path)) as own:
        wanted = [jobs[0], named, jobs[1], jobs[0]]
        results = own.run(wanted, progress=lambda done, count, result: told.append((done, count)))
        assert [result.job for result in results] == wanted and told == [(k, 4) for k in (1, 2, 3, 4)]
        same(results[0].dataset, straight[0])
        same(results[3].dataset, straight[0])
        same(results[2].dataset, straight[1])
        assert results[1].dataset.attrs["wall_name"] == "another name"
        assert bytes_of(results[1].dataset) == bytes_of(straight[0])
    assert len(counted) == 2


def test_cases_written_behind_are_on_disk_when_the_engine_is_closed(jobs, straight, tmp_path, counted):
    store = Store(tmp_path)
    with Engine(store=store, write_behind=True) as engine:
        first = engine.run(jobs)
        same(first[0].dataset, straight[0])
    begun = len(counted)
    with Engine(store=Store(tmp_path)) as engine:
        engine.run(jobs)
    assert len(counted) == begun


def test_fresh_computes_again_and_keeps_the_new_result(jobs, tmp_path, counted):
    for _ in range(2):
        with Engine(1, store=Store(tmp_path), fresh=True) as own:
            own.run(jobs[:2])
    assert len(counted) == 4
    with Engine(1, store=Store(tmp_path)) as own:
        own.run(jobs[:2])
    assert len(counted) == 4


@pytest.mark.parametrize("which", ["json", "all.bin"])
@pytest.mark.parametrize("harm", ["empty", "cut", "changed", "text", "gone"])
def test_a_damaged_entry_is_computed_again_without_a_word(jobs, straight, tmp_path, counted, which, harm, capsys):
    with Engine(1, store=Store(tmp_path)) as own:
        own.run(jobs[:1])
    path = next(tmp_path.glob(f"*.{which}"))
    data = path.read_bytes()
    middle = len(data) // 2
    damaged = {
        "empty": b"",
        "cut": data[:middle],
        "changed": data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :],
        "text": b"not what it was\nat all",
    }
    path.unlink() if harm == "gone" else path.write_bytes(damaged[harm])
    capsys.readouterr()
    with Engine(1, store=Store(tmp_path)) as own:
        same(own.run(jobs[:1])[0].dataset, straight[0])
    assert len(counted) == 2
    assert capsys.readouterr() == ("", "")
    with Engine(1, store=Store(tmp_path)) as own:
        own.run(jobs[:1])
    assert len(counted) == 2  # whole again


def test_an_entry_that_vanishes_under_a_result_is_computed_again(jobs, straight, tmp_path):
    with Engine(1, store=Store(tmp_path), held=0) as own:
        result = own.run(jobs[:1])[0]
        for path in tmp_path.glob("*.*"):
            path.unlink()
        same(result.dataset, straight[0])


def test_more_cases_than_memory_holds_are_read_again_from_disk(jobs, straight, tmp_path, counted):
    with Engine(1, store=Store(tmp_path), held=2) as own:
        results = own.run(jobs)
        assert len(own._held) == 2
        for result, expected in zip(results, straight, strict=True):
            same(result.dataset, expected)
            assert len(own._held) <= 2
        assert results[-1].dataset is results[-1].dataset  # held: not read twice
    assert len(counted) == len(jobs)


def test_findings_alone_and_daily_means_are_kept_beside_the_whole_case(jobs, straight, tmp_path, counted):
    with Engine(1, store=Store(tmp_path)) as own:
        first = own.run(jobs[:1], keep="findings")[0].findings
        assert not list(tmp_path.glob("*.bin"))
        daily = own.run(jobs[:1], keep="daily")[0].dataset["relative_humidity"]
        water = own.run(jobs[:1], keep="water")[0].dataset
        own.run(jobs[:1])
        assert len(counted) == 3
        again = [own.run(jobs[:1], keep=keep)[0] for keep in cases.KEEPS]
        assert len(counted) == 3
    np.testing.assert_array_equal(water["water"].values, straight[0]["water"].values)
    assert all(result.findings == first for result in again)
    hourly = straight[0]["relative_humidity"].values.astype(float)
    np.testing.assert_allclose(daily[1], hourly[24:48].mean(axis=0), rtol=1e-12)  # order of summation


def test_the_folder_stays_within_its_bound_and_the_oldest_go_first(jobs, tmp_path):
    with Engine(1, store=Store(tmp_path)) as own:
        own.run(jobs[:1])
    one = sum(path.stat().st_size for path in tmp_path.glob("*.*"))
    bound = int(3.5 * one)
    with Engine(1, store=Store(tmp_path, bound)) as own:
        for job in jobs:
            own.run([job])
            time.sleep(0.02)  # file times tell which was used last
            own.run(jobs[:1])  # used again and again, so never the oldest
            assert sum(path.stat().st_size for path in tmp_path.glob("*.*")) <= bound
    store = Store(tmp_path)
    kept = [store.read(key_of(job), "all") is not None for job in jobs]
    assert kept[0] and kept[-1] and not kept[1] and not kept[2]


def test_a_folder_that_cannot_be_written_costs_only_the_keeping(jobs, straight, tmp_path):
    (tmp_path / "file").write_text("in the way")
    with Engine(1, store=Store(tmp_path / "file"), held=0) as own:
        same(own.run(jobs[:1])[0].dataset, straight[0])


def test_names_comments_and_paths_do_not_count_but_are_told(small, days, tmp_path, counted):
    renamed = replace(small, name="another name", source="/elsewhere/w.toml", text="# a comment", depths=(0.02,))
    elsewhere = days.assign_attrs(name="Another place", source="b.epw", sha256="0" * 64)
    with Engine(1, store=Store(tmp_path)) as own:
        before = own.run([Job(small.case(), days)])[0].dataset
        after = own.run([Job(renamed.case(), elsewhere)])[0].dataset
    assert len(counted) == 1
    assert bytes_of(before) == bytes_of(after)
    expected = cavity.simulate(renamed, elsewhere)
    same(after, expected)
    assert before.attrs["wall_name"] == small.name


def test_whatever_moves_a_number_changes_the_key(small, days, tmp_path):
    case = small.case(opening_set=small.opening_sets[0].name, depth=0.02, column=small.columns[0].name)
    job = Job(case, days)
    known = {key_of(job)}
    assert key_of(Job(small.case(depth=0.02), days)) in known
    cold = days.copy(deep=True)
    cold["temperature_outdoor"][3] += 1e-9
    room = tmp_path / "room.csv"
    room.write_text("a")
    filed = replace(small, indoor=replace(small.indoor, file=str(room)))
    layer = replace(small.backup[-1], thickness=small.backup[-1].thickness * 1.0001)
    others = [
        replace(job, case=replace(case, depth=0.021)),
        replace(job, case=small.case(depth=0.02, opening_set=small.opening_sets[1].name)),
        replace(job, weather=cold),
        replace(job, weather=days.assign_attrs(latitude=days.attrs["latitude"] + 0.01)),
        replace(job, weather=days.isel(time=slice(0, 71))),
        replace(job, case=case.on(replace(small, orientation=small.orientation + 1.0))),
        replace(job, case=case.on(replace(small, backup=(*small.backup[:-1], layer)))),
        replace(job, case=case.on(replace(small, limits=(("mould", 1.0),)))),
        replace(job, case=case.on(replace(small, run=replace(small.run, max_years=2)))),
        replace(job, hours=48),
        replace(job, case=case.on(filed)),
    ]
    for other in others:
        assert key_of(other) not in known
        known.add(key_of(other))
    room.write_text("b")
    assert key_of(others[-1]) not in known


def test_a_kept_dataset_of_any_kind_comes_back_to_the_bit():
    import xarray as xr

    odd = xr.Dataset(
        {
            "none": (("nothing", "place"), np.zeros((0, 3))),
            "no_text": ("nothing", np.zeros(0, dtype="<U3")),
            "single": ((), 3.5),
            "special": ("place", np.array([np.nan, -np.inf, -0.0])),
            "short": (
                ("place", "moment"),
                np.arange(3, dtype=np.float32)[:, None],
                {"units": "K", "count": np.int64(3)},
            ),
            "turned": (("place", "other"), np.arange(12.0).reshape(4, 3).T),
            "text": ("place", ["", "\u00e9", "abc"]),
        },
        coords={"place": ["p", "q", "r"], "moment": np.array(["2001-01-01"], "datetime64[ns]")},
        attrs={"number": np.float64(2.0), "word": "x"},
    )
    found = kept.opened(kept.packed(odd))
    assert found.identical(odd)
    for name in odd.variables:
        assert found[name].dtype == odd[name].dtype and found[name].values.tobytes() == odd[name].values.tobytes()
    found["short"][0, 0] = 7.0  # as free to be changed as a new one


def test_another_program_does_not_find_the_cases_of_this_one(jobs, monkeypatch):
    before = key_of(jobs[0])
    monkeypatch.setattr(cases, "code_digest", lambda: "another")
    assert key_of(jobs[0]) != before


# --------------------------------------------------------------------------- compare


def test_compare_gives_cases_by_the_engine_with_datasets_on_demand(small, days, straight, monkeypatch, tmp_path):
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path))
    monkeypatch.setattr(engine, "HELD", 1)
    told = []
    comparison = cavity.compare(small, days, progress=lambda *news: told.append(news), workers=2)
    # six cases; their wetting events, wetted and not, and two pairs with the vents closed, one a depth
    shut = 2 * len(small.depths)
    assert [news[:2] for news in told] == [(n, 6) for n in range(1, 7)] + [(n, 12 + shut) for n in range(1, 13 + shut)]
    assert [(case.opening_set, case.depth) for case in comparison.cases] == [
        (chosen.name, depth) for chosen in small.opening_sets for depth in small.depths
    ]
    for case, expected in zip(comparison.cases, straight, strict=True):
        same(case.dataset, expected)
        assert replace(case, depth=1.0).dataset is not None


STUDY = """
import sys
from dataclasses import replace
from pathlib import Path
import cavity
from cavity.wallfile import parse_wall
from cavity.wallfile.starter import starter
wall = parse_wall(starter(), "starter.toml")
wall = replace(wall, run=replace(wall.run, segments=1, max_years=1, start_humidity=0.7, start_month=1),
               opening_sets=wall.opening_sets[:3], depths=tuple(0.02 + 0.001 * k for k in range(6)))
weather = cavity.read_weather(Path(sys.argv[1])).isel(time=slice(0, 72))
print("ready", flush=True)
comparison = cavity.compare(wall, weather, workers=2)
print(len(comparison.cases), flush=True)
"""


def test_a_study_killed_at_any_moment_leaves_nothing_broken_and_goes_on(tmp_path, days, small, monkeypatch, counted):
    """kill -9 three times, then the rest in this process: what was finished is not computed again."""
    from conftest import ROOT

    chance = random.Random(20)  # fixed, so that a failure can be looked at; the moments differ with the load anyway
    environment = os.environ | {"CAVITY_CASES": str(tmp_path)}
    climate = str(ROOT / "climates" / "temperate_inland.epw")
    wall = replace(small, depths=tuple(0.02 + 0.001 * k for k in range(6)))
    wanted = [
        Job(wall.case(opening_set=chosen.name, depth=depth), days)
        for chosen in wall.opening_sets
        for depth in wall.depths
    ]
    for least in (1, 4, 9):
        study = subprocess.Popen([sys.executable, "-c", STUDY, climate], stdout=subprocess.PIPE, env=environment)
        assert study.stdout is not None and study.stdout.readline().strip() == b"ready"
        while len(list(tmp_path.glob("*.json"))) < least and study.poll() is None:
            time.sleep(0.001)
        time.sleep(chance.random() * 0.1)
        study.send_signal(signal.SIGKILL)
        study.wait()
        study.stdout.close()
        done = len(list(tmp_path.glob("*.json")))
        store = Store(tmp_path)
        assert sum(store.read(key_of(job), "all") is not None for job in wanted) == done >= least  # all whole
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path))
    comparison = cavity.compare(wall, days)
    assert len(comparison.cases) == len(wanted)
    assert len(counted) == len(wanted) - done
    whole = cavity.simulate(wall, days, opening_set=wanted[0].case.opening_set.name, depth=wanted[0].case.depth)
    same(comparison.cases[0].dataset, whole)


def test_weather_of_several_years_is_refused_before_any_case_with_the_way_to_one_year(small, days, tmp_path, counted):
    """Hours a year, sums of months, repeated years of mould: all would be those of one long year."""
    import xarray as xr

    hours = np.datetime64("2001-01-01", "ns") + np.arange(2 * 8760) * np.timedelta64(1, "h")
    long = days.isel(time=np.arange(2 * 8760) % days.sizes["time"]).assign_coords(time=hours)
    assert isinstance(long, xr.Dataset)
    for study in (
        lambda: cavity.compare(small, long),
        lambda: Engine(1, store=Store(tmp_path)).run([Job(small.case(), long)], keep="findings"),
    ):
        with pytest.raises(InputError) as caught:
            study()
        for word in ("several years", "17520 hours, 2001-01-01 to 2002-12-31", "--year critical --save year.nc"):
            assert word in str(caught.value)
    assert counted == []
    leap = days.isel(time=np.arange(8784) % days.sizes["time"]).assign_coords(time=hours[:8784])
    engine.check_one_year(leap)  # a leap year is one


# --------------------------------------------------------------------------- cluster


def test_a_cluster_that_loses_a_worker_half_way_gives_the_complete_result(jobs, straight, tmp_path):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, local_directory=str(tmp_path / "d")
    ) as cluster:
        victim = cluster.workers[0].pid
        many = [
            replace(job, case=replace(job.case, depth=job.case.depth + 0.0005 * k)) for k in range(3) for job in jobs
        ]
        struck = threading.Event()

        def strike(done, _count, _result):
            if done == 4 and not struck.is_set():
                struck.set()
                os.kill(victim, signal.SIGKILL)

        with Engine(scheduler=cluster.scheduler_address, store=Store(tmp_path / "cases")) as own:
            results = own.run(many, progress=strike)
            assert struck.is_set()
            assert [result.job for result in results] == many
            for result, expected in zip(results, straight, strict=False):  # the first six are those of `straight`
                same(result.dataset, expected)


def test_a_scheduler_that_goes_away_is_one_clear_error(jobs, tmp_path):
    class Gone:
        def nthreads(self):
            raise OSError("Timed out trying to connect")

        def close(self, timeout):
            raise OSError("no connection")

    with pytest.raises(CavityError, match=r"^the scheduler is no longer reachable; finished cases are saved$"):  # noqa: SIM117
        with Engine(1, store=Store(tmp_path)) as own:
            own._client = Gone()
            own.run(jobs)


def test_a_scheduler_that_does_not_answer_is_one_clear_error():
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="cannot be reached") as caught:
        Engine(scheduler="tcp://127.0.0.1:9")
    assert caught.value.exit_code == 2
    with pytest.raises(InputError, match="cannot be reached"):
        Engine(scheduler="no address at all")


def test_without_the_extra_the_option_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"cavity\[cluster\]"):
        Engine(scheduler="tcp://127.0.0.1:8786")


# --------------------------------------------------------------------------- no stale cases


def _copy_of_the_package(folder: Path) -> Path:
    here = Path(cavity.__file__).parent
    return Path(shutil.copytree(here, folder / "cavity", ignore=shutil.ignore_patterns("__pycache__", "packaged")))


def _change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, (path, old)
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_any_source_or_library_that_computes_is_part_of_a_kept_case(tmp_path):
    package = _copy_of_the_package(tmp_path)
    versions = {"scipy": "1"}
    before = kept._digest_of(package, versions)
    assert before == kept._digest_of(package, versions)
    for name in ("wallfile/model.py", "wallfile/materials.toml", "kernels/film.py", "study/wetting.py", "units.py"):
        old = (package / name).read_bytes()
        (package / name).write_bytes(old + b"\n# changed\n")
        assert kept._digest_of(package, versions) != before, name
        (package / name).write_bytes(old)
    assert kept._digest_of(package, versions) == before
    (package / "wallfile" / "added.py").write_text("")
    assert kept._digest_of(package, versions) != before
    (package / "wallfile" / "added.py").unlink()
    assert kept._digest_of(package, {"scipy": "2"}) != before
    # what only shows does not make a study compute again
    for name in ("report/page.py", "live/server.py", "cli.py"):
        (package / name).write_text("# changed")
    assert kept._digest_of(package, versions) == before


def test_every_library_that_computes_is_among_those_whose_versions_count():
    """Those omitted read text, check it, draw, or carry what was computed elsewhere."""
    others = {
        "click",
        "dask",
        "distributed",
        "h5netcdf",
        "h5py",
        "jinja2",
        "plotly",
        "pydantic",
        "pydantic_core",
        "rich",
    }
    here = Path(cavity.__file__).parent
    found = set()
    for path in here.rglob("*.py"):
        if path.relative_to(here).parts[0] in kept._SHOWS:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.split(".")[0])
    foreign = found - set(sys.stdlib_module_names) - {"cavity"} - others
    assert foreign <= set(kept._LIBRARIES), foreign
    assert {"numba", "pvlib", "scipy"} <= foreign


_ONE_CASE = """
import sys
from dataclasses import replace
import cavity
from cavity.study.engine import Engine, Job
from cavity.wallfile import parse_wall, starter
assert cavity.__file__.startswith(sys.argv[1]), cavity.__file__
wall = parse_wall(starter(), "starter")
wall = replace(wall, run=replace(wall.run, segments=1, max_years=1))
weather = cavity.read_weather(sys.argv[2]).isel(time=slice(0, 2))
with Engine(1) as engine:
    (result,) = engine.run([Job(wall.case(), weather)])
print(result.dataset.attrs["iso6946_class"])
"""


def test_a_case_kept_before_the_model_was_edited_is_not_returned(tmp_path):
    package = _copy_of_the_package(tmp_path)
    climate = Path(__file__).parents[1] / "climates" / "temperate_inland.epw"

    def class_of_the_layer() -> str:
        done = subprocess.run(
            [sys.executable, "-c", _ONE_CASE, str(tmp_path), str(climate)],
            # two hours, uncompiled: a copy of the kernels would be compiled again
            env=os.environ | {"PYTHONPATH": str(tmp_path), "CAVITY_CASES": str(tmp_path / "kept"),
                              "NUMBA_DISABLE_JIT": "1"},
            capture_output=True, text=True, check=False, cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    assert class_of_the_layer() == class_of_the_layer() == "slightly ventilated"  # 600 mm2/m
    assert len(list((tmp_path / "kept").glob("*.json"))) == 1
    _change(package / "constants.py", "WELL_VENTILATED_LIMIT = 500e-6,", "WELL_VENTILATED_LIMIT = 700e-6,")
    assert class_of_the_layer() == "unventilated"
    assert len(list((tmp_path / "kept").glob("*.json"))) == 2
