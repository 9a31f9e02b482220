"""Many walls in one command: summary, order, faults of all files first, failed walls, interrupted runs; short runs."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from test_study_size import small_wall

import cavity
from cavity.cli import main
from cavity.errors import ConvergenceError
from cavity.report import summary, verdict
from cavity.study import engine
from cavity.wallfile.reader import wall_files
from cavity.wallfile.starter import starter

WORD = {"pass": "passes", "review": "review", "fail": "fails"}


@pytest.fixture(scope="module")
def days(inland):
    return inland.isel(time=slice(0, 72))


@pytest.fixture
def folder(tmp_path, days, monkeypatch):
    """Three wall files, read as small walls that differ in orientation and colour; a run of three days."""
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))
    walls = tmp_path / "walls"
    walls.mkdir()
    absorptance = {"a": 0.3, "b": 0.6, "c": 0.9}
    for name in absorptance:
        (walls / f"{name}.toml").write_text(starter(), "utf-8")
    small = replace(small_wall(), depths=(0.02,))

    def read(path):
        name = Path(path).stem
        return replace(small, name=f"invented {name}", solar_absorptance=absorptance[name], source=str(path))

    monkeypatch.setattr("cavity.wallfile.read_wall", read)
    monkeypatch.setattr("cavity.cli._weathers", lambda *_: [days])
    return walls


def run(*arguments, expect=0):
    result = CliRunner().invoke(
        main, ["compare", *map(str, arguments), "--climate", "x.epw"], env={"COLUMNS": "200", "NO_COLOR": "1"}
    )
    assert result.exit_code == expect, result.output
    assert "Traceback" not in result.output
    return result.output


def table(path):
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_a_folder_gives_a_report_a_wall_and_one_summary(folder, tmp_path, days):
    out = tmp_path / "out"
    said = run(folder, "--facing", "N,S", "--out", out, "--csv", tmp_path / "tables")
    assert {path.name for path in out.iterdir()} == {"a.html", "b.html", "c.html", "summary.html", "summary.csv"}
    assert (tmp_path / "tables" / "b" / "choices.csv").exists()
    rows = table(out / "summary.csv")
    assert [(row["wall"], row["facing"]) for row in rows] == [
        (f"invented {name}", facing) for name in "abc" for facing in ("north (0°)", "south (180°)")
    ]
    assert [row["decides"] for row in rows].count("yes") == 3
    page = (out / "summary.html").read_text("utf-8")
    assert all(f'<a href="{name}.html">invented {name}</a>' in page for name in "abc")
    # each line says what the report of its wall says
    for name in "abc":
        wall = cavity.wallfile.read_wall(folder / f"{name}.toml")
        seen = verdict.view(cavity.compare(wall, days, facings="N,S"))
        (row,) = [row for row in rows if row["wall"] == wall.name and row["decides"]]
        part, found = seen.best.decides
        assert row["facing"] == verdict.facing_text(part.orientation) and row["strip"] == part.column
        assert row["governing criterion"] == verdict.found_text(found)
        assert seen.best.opening_set in row["recommended case"] and verdict.depth_text(seen.best.depth) in said
        assert row["verdict"].startswith(WORD[seen.best.status])
        assert verdict.headline(seen) in (out / f"{name}.html").read_text("utf-8").replace("&#34;", '"')


def test_the_order_in_which_walls_are_named_does_not_matter(folder, tmp_path):
    names = [folder / f"{name}.toml" for name in "abc"]
    run(*names, "--out", tmp_path / "one")
    run(*names[::-1], names[1], folder, "--out", tmp_path / "two")
    for name in ("summary.csv", "summary.html"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_files_of_one_name_in_two_folders_do_not_overwrite_each_other(folder, tmp_path):
    other = tmp_path / "more"
    other.mkdir()
    (other / "a.toml").write_text(starter(), "utf-8")
    run(folder / "a.toml", other / "a.toml", "--out", tmp_path / "out")
    assert {path.name for path in (tmp_path / "out").glob("a*.html")} == {"a.html", "a-2.html"}
    assert len(table(tmp_path / "out" / "summary.csv")) == 2


def test_a_wall_that_cannot_be_computed_does_not_take_the_rest(folder, tmp_path, monkeypatch):
    genuine = engine.computed

    def failing(job, keep, code=""):
        if job.case.wall.solar_absorptance == 0.6:
            raise ConvergenceError("hour 7 does not settle")
        return genuine(job, keep, code)

    monkeypatch.setattr(engine, "computed", failing)
    said = run(folder, "--out", tmp_path / "out", expect=1)
    rows = table(tmp_path / "out" / "summary.csv")
    assert [row["verdict"] == "not computed" for row in rows] == [False, True, False]
    assert "hour 7 does not settle" in rows[1]["reason"] and "hour 7 does not settle" in said
    assert (tmp_path / "out" / "c.html").exists() and not (tmp_path / "out" / "b.html").exists()


def test_an_interrupted_run_goes_on_where_it_was(folder, tmp_path, monkeypatch):
    genuine, begun = engine.computed, []

    def counted(job, keep, code=""):
        begun.append(job)
        if job.case.wall.name == "invented c" and stop:
            raise KeyboardInterrupt
        return genuine(job, keep, code)

    monkeypatch.setattr(engine, "computed", counted)
    stop = True
    assert "Finished cases are saved" in run(folder, "--out", tmp_path / "out", expect=130)
    done = {job.case.wall.name for job in begun}
    assert done == {"invented a", "invented b", "invented c"}
    begun.clear()
    stop = False
    run(folder, "--out", tmp_path / "out")
    assert begun and {job.case.wall.name for job in begun} == {"invented c"}
    begun.clear()
    first = (tmp_path / "out" / "summary.csv").read_bytes()
    run(folder, "--out", tmp_path / "out")
    assert not begun and (tmp_path / "out" / "summary.csv").read_bytes() == first


def test_all_faults_of_all_files_are_said_first_and_nothing_runs(tmp_path, monkeypatch):
    good, bad, worse = (tmp_path / name for name in ("good.toml", "bad.toml", "worse.toml"))
    good.write_text(starter(), "utf-8")
    bad.write_text(starter().replace('orientation = "', 'orientation = "nowhere-', 1), "utf-8")
    worse.write_text("this is no wall", "utf-8")
    monkeypatch.setattr("cavity.study.compare", lambda *_, **__: pytest.fail("ran"))
    result = CliRunner().invoke(
        main,
        ["compare", str(tmp_path), "--climate", str(tmp_path / "none.epw"), "--facing", "up", "--variant", "no such",
         "--out", str(tmp_path / "out")],
    )  # fmt: skip
    assert result.exit_code == 2, result.output
    for text in ("bad.toml", "worse.toml", "none.epw", "--facing", "good.toml, --variant"):
        assert text in result.output
    assert not (tmp_path / "out").exists()


def test_an_empty_folder_and_one_file_for_many_walls_are_refused(folder, tmp_path):
    (tmp_path / "empty").mkdir()
    assert "contains no wall file" in run(tmp_path / "empty", expect=2)
    assert "a folder for all reports" in run(folder, "--out", tmp_path / "one.html", expect=2)


def test_wall_files_are_listed_once_and_in_order(tmp_path):
    for name in ("b.toml", "a.toml", "notes.txt"):
        (tmp_path / name).write_text("", "utf-8")
    found = wall_files([tmp_path / "b.toml", tmp_path])
    assert [path.name for path in found] == ["a.toml", "b.toml"]


def test_walls_are_counted_by_their_deciding_rows():
    def row(state, decides):
        return summary.Row("w", "north (0°)", "s", state, "", "", "", "", decides, "", "")

    found = [row("pass", False), row("fail", True), row("pass", True), row("none", True), row("pass", True)]
    assert summary.lines(found) == ["4 walls with the recommended case of each: 2 pass, 1 fail, 1 not computed."]
