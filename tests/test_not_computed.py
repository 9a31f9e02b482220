"""A case that cannot be solved takes no study with it: said with its reason, excluded from every ranking and count."""

from __future__ import annotations

import csv
import importlib
import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner
from made_findings import made
from report_cases import make_wall
from test_study_size import evaluator, small_wall

import cavity
from cavity.cli import main
from cavity.errors import ConvergenceError
from cavity.report import verdict
from cavity.study import advice, engine, lesson, size, uncertainty
from cavity.study.cases import Job, Store
from cavity.study.engine import Engine
from cavity.wallfile import parse_wall, starter
from cavity.wallfile.recorded import to_json

REASON = "no convergence in hour 7"


@pytest.fixture
def failing(monkeypatch):
    """Make simulate raise for the cases that a function of wall, set and depth picks."""
    module = importlib.import_module("cavity.hourly.run")
    real = module.simulate_case

    def fail(which, error=None):
        def simulate_case(case, weather, **options):
            if which(case.wall, case.opening_set.name, case.depth):
                raise error or ConvergenceError(REASON)
            return real(case, weather, **options)

        monkeypatch.setattr(module, "simulate_case", simulate_case)

    return fail


@pytest.fixture
def own_store(monkeypatch, tmp_path):
    """Finished cases of one test only: one computed before would not fail."""
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))


@pytest.fixture(scope="module")
def days(inland):
    """Three January days."""
    return inland.isel(time=slice(0, 72))


@pytest.fixture(scope="module")
def small(one_year):
    """One segment, two opening sets, two depths."""
    run = replace(one_year.run, segments=1)
    return replace(one_year, run=run, opening_sets=one_year.opening_sets[:2], depths=(0.02, 0.04))


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (ConvergenceError(REASON), REASON),
        (ZeroDivisionError("float division"), "internal error, please report it: ZeroDivisionError in test_not_com"),
    ],
)
def test_the_engine_returns_the_other_cases_and_keeps_no_failed_one(small, days, tmp_path, failing, error, reason):
    failing(lambda _wall, _name, depth: depth == 0.02, error)
    jobs = [
        Job(small.case(opening_set=chosen.name, depth=depth), days)
        for chosen in small.opening_sets
        for depth in small.depths
    ]
    told = []
    store = Store(tmp_path)
    with Engine(2, store=store) as own:
        results = own.run(jobs, progress=lambda done, count, result: told.append((done, count, result.failure)))
        assert [result.job for result in results] == jobs
        assert [bool(result.failure) for result in results] == [True, False, True, False]
        assert results[0].failure.startswith(reason) and results[0].findings == ()
        with pytest.raises(ConvergenceError, match=reason[:20]):
            _ = results[0].dataset
        assert results[1].dataset.sizes["time"] == 72 and results[1].findings
        assert len(told) == 4 and sum(bool(each[2]) for each in told) == 2
        assert [store.read(engine.key_of(job), "all") is not None for job in jobs] == [False, True, False, True]


def test_a_comparison_goes_on_and_the_report_says_what_is_missing(small, days, tmp_path, failing, own_store):
    first = small.opening_sets[0].name
    failing(lambda _wall, name, depth: (name, depth) == (first, 0.02))
    comparison = cavity.compare(small, days)
    assert [(case.opening_set, case.depth) for case in comparison.cases] == [
        (chosen.name, depth) for chosen in small.opening_sets for depth in small.depths
    ][1:]
    (missing,) = comparison.failed
    assert (missing.opening_set, missing.depth, missing.reason) == (first, 0.02, REASON)
    assert missing.orientation == small.orientation and missing.column == small.columns[0].name
    assert comparison.count_text == "3 of 4 cases computed"
    seen = verdict.view(comparison)
    # a row of which a case was computed stays where it was; the cell gives the reason and opens nothing
    cells = {row["name"]: row["cells"] for row in verdict.matrix(seen)["rows"]}
    assert cells[first][0]["status"] == "none" and cells[first][0]["reason"] == REASON
    assert "case" not in cells[first][0] and "case" in cells[first][1]
    assert verdict.headline(seen).startswith(
        "Without rain (none in the weather file), with 3 of 4 cases computed: "
    ) or (verdict.headline(seen).startswith("With 3 of 4 cases computed: "))
    page = cavity.write_report(comparison, tmp_path / "report.html").read_text("utf-8")
    assert "not computed" in page and REASON in page and "3 of 4 cases computed" in page


def test_the_command_writes_the_report_and_ends_with_1(small, days, tmp_path, failing, own_store, monkeypatch):
    path = tmp_path / "wall.toml"
    path.write_text(starter(), "utf-8")
    monkeypatch.setattr("cavity.cli._weathers", lambda *_: [days])
    monkeypatch.setattr("cavity.wallfile.read_wall", lambda *_: small)
    first = small.opening_sets[0].name
    failing(lambda _wall, name, depth: (name, depth) == (first, 0.02))
    result = CliRunner().invoke(
        main,
        ["compare", str(path), "--climate", str(path), "--out", str(tmp_path / "r.html"), "--csv", str(tmp_path / "t")],
        env={"COLUMNS": "160", "NO_COLOR": "1"},
    )
    assert result.exit_code == 1, result.output
    assert (tmp_path / "r.html").exists()
    assert f"3 of 4 cases computed; not computed: {REASON}" in result.output
    with (tmp_path / "t" / "cases.csv").open(newline="") as file:
        head, *rows = csv.reader(file)
    assert len(rows) == 4 and {len(row) for row in rows} == {len(head)}
    assert [row[5] for row in rows].count("not computed") == 1


def test_no_case_at_all_is_one_message(small, days, failing, own_store):
    failing(lambda *_: True)
    with pytest.raises(ConvergenceError, match="none of the 4 cases could be computed; the first: no convergence"):
        cavity.compare(small, days)


def test_a_combination_without_one_of_its_climates_is_not_said_to_meet_all():
    def case(name, depth, climate):
        dataset = xr.Dataset(
            {"opening_area": ("opening", [0.01]), "opening_height": ("opening", [0.0]),
             "air_change_rate": ("time", [1.0])},
            attrs={"orientation": 180.0, "column": "plain", "column_bottom": 0.0, "column_top": 3.0,
                   "wall_json": to_json(make_wall("wall"))},
        )  # fmt: skip
        found = made("mould", 0.4, "pass")
        return SimpleNamespace(opening_set=name, depth=depth, climate_name=climate, dataset=dataset, findings=(found,))

    cases = [case("a", 0.02, "one"), case("a", 0.04, "one"), case("a", 0.04, "two")]
    missing = SimpleNamespace(
        opening_set="a", depth=0.02, climate_name="two", orientation=180.0, column="plain", reason=REASON
    )
    seen = verdict.view(SimpleNamespace(cases=cases, failed=[missing]))
    assert verdict.headline(seen) == (
        "With 3 of 4 cases computed: 1 of 2 combinations pass in both climates; the smallest adequate is “a” with a "
        "40 mm cavity."
    )


# --------------------------------------------------------------------------- size


def test_the_search_goes_round_a_case_that_fails():
    good = evaluator(lambda depth, factor: 0.9 / factor)

    def evaluate(batch):
        return [
            replace(found, failure=REASON, severity=float("nan"), passes=False, decisive=None)
            if point.factor in (1.0, 2.0**-0.5)  # a probe, and the first split of the bracket
            else found
            for found, point in zip(good(batch), batch, strict=True)
        ]

    (row,) = size.search(evaluate, [size.Point(0.02)], (0.5, 1.0, 2.0))
    assert {factor for factor, _ in row.failed} >= {1.0}
    assert row.least == pytest.approx(0.9, rel=0.05)
    assert all(np.isfinite(outcome.severity) for outcome in row.outcomes)
    assert f"{len(row.outcomes)} of {len(row.outcomes) + len(row.failed)} cases computed" in row.note
    bare = size.search(
        lambda batch: [size.Outcome(point, np.nan, False, None, failure=REASON) for point in batch], [size.Point(0.02)]
    )[0]
    assert bare.best is None and bare.least is None and bare.note == f"Not computed: {REASON}."


def test_a_search_in_which_every_split_fails_ends():
    good = evaluator(lambda depth, factor: 0.9 / factor)

    def evaluate(batch):
        return [
            found if point.factor in (0.5, 2.0) else replace(found, failure=REASON, passes=False, decisive=None)
            for found, point in zip(good(batch), batch, strict=True)
        ]

    (row,) = size.search(evaluate, [size.Point(0.02)], (0.5, 2.0))
    assert row.least == 2.0 and len(row.failed) == 3


def test_size_goes_on_and_its_page_says_what_is_missing(days, tmp_path, failing, own_store):
    from cavity.report.study_page import write_size_page
    from cavity.study.study_text import size_tables

    wall = small_wall()
    failing(lambda _wall, _name, depth: depth == 0.02)
    found = size.size(wall, days, depths=(0.02, 0.04), factors=(0.5, 2.0))
    assert found.rows[0].outcomes == () and found.rows[1].outcomes
    assert found.count_text == f"{found.tried - 2} of {found.tried} cases computed"
    assert all(row.least is None for row in found.rows if not row.outcomes)
    page = write_size_page(found, tmp_path / "size.html").read_text("utf-8")
    assert "not computed" in page and REASON in page
    assert size_tables(found)[0].row_count == 2


# --------------------------------------------------------------------------- advise, uncertainty, lesson


def test_a_change_that_fails_is_named_last_and_the_others_are_ranked(days, failing, own_store):
    wall = small_wall()
    drawn = wall.opening_sets[0].openings[0].free_area
    failing(lambda changed, *_: changed.opening_sets[0].openings[0].free_area < 0.6 * drawn)
    found = advice.advise(wall, days)
    assert [bool(each.failure) for each in found] == [False] * (len(found) - 1) + [True]
    assert advice.lines(found)[-1] == f"Not computed: halving all vents ({REASON})."
    failing(lambda *_: True)
    with pytest.raises(ConvergenceError, match="the case as described could not be computed"):
        advice.advise(wall, days, fresh=True)


@pytest.mark.parametrize("described", [False, True])
def test_a_sample_that_fails_is_left_out_of_probabilities_and_counts(days, tmp_path, failing, own_store, described):
    from cavity.report.study_page import write_uncertainty_page

    wall = small_wall()
    seen = []

    def which(changed, *_):
        if changed == wall:
            return described
        seen.append(changed)
        return len(seen) <= 2

    failing(which)
    study = uncertainty.uncertainty(wall, days, samples=8, workers=1)
    assert (study.attrs["samples"], study.attrs["samples_asked"], study.sizes["sample"]) == (6, 8, 6)
    assert len(json.loads(study.attrs["not_computed"])) == 2 + described
    assert "of 6 samples (95 % interval" in study.attrs["sentence"]
    assert "6 of 8 samples computed" in study.attrs["sentence"]
    page = write_uncertainty_page(study, tmp_path / "u.html").read_text("utf-8")
    assert "6 of 8 samples computed" in page and REASON in page


def test_a_lesson_goes_on_without_a_step(days, tmp_path, failing, own_store):
    from cavity.report.lesson_page import write_lesson

    wall = parse_wall(starter(), "starter")
    wall = replace(wall, run=replace(wall.run, segments=1))
    failing(lambda _wall, _name, depth: depth in (0.010, 0.020))
    done = lesson.lessons(wall, days)
    by_key = {each.key: each for each in done}
    assert [label for label, _ in by_key["depth"].failed] == ["10 mm", "20 mm"]
    assert len(by_key["depth"].steps) == 3
    page = write_lesson(
        [replace(by_key["wind"], steps=(), failed=(("0 %", REASON),)), *done], tmp_path / "lesson.html",
        wall_name="w", climate_name="c",
    ).read_text("utf-8")  # fmt: skip
    assert f"Not computed: 10 mm ({REASON})." in page and f"Not computed: 0 % ({REASON})." in page


def test_commands_end_with_1_after_writing(failing, own_store, monkeypatch, tmp_path, days):
    path = tmp_path / "wall.toml"
    path.write_text(starter(), "utf-8")
    wall = small_wall()
    drawn = wall.opening_sets[0].openings[0].free_area
    monkeypatch.setattr("cavity.cli._weathers", lambda *_: [days])
    monkeypatch.setattr("cavity.wallfile.read_wall", lambda *_: wall)
    failing(lambda changed, *_: 0.0 < changed.opening_sets[0].openings[0].free_area < 0.6 * drawn)
    page = tmp_path / "size.html"
    for arguments, words in (
        (["size", "--out", str(page)], ["cases computed; not computed: no convergence", "Page: "]),
        (["advise"], ["changes computed; not computed: no convergence", "Drying of"]),
    ):
        command, *options = arguments
        result = CliRunner().invoke(main, [command, str(path), "--climate", str(path), *options])
        assert result.exit_code == 1, result.output
        assert all(word in result.output for word in words), result.output
    assert page.exists()
