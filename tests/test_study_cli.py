"""The commands size, uncertainty and advise: what they hand on and print, wrong options. The studies are stood in."""

import dataclasses
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from made_findings import compare_findings
from test_study_size import at, evaluator, finding, sizing
from test_study_uncertainty import made_study, with_pairs

from cavity.cli import CAUTION, main
from cavity.study import advice, uncertainty, wetting
from cavity.study import size as size_module
from cavity.study.study_text import input_rows

CLIMATE = str(Path(__file__).parents[1] / "climates" / "cool_marine.epw")


@pytest.fixture
def wallfile(tmp_path):
    from cavity.wallfile.starter import write_starter

    return str(write_starter(str(tmp_path / "wall.toml")))


def run(*arguments, expect=0):
    result = CliRunner().invoke(main, list(arguments), env={"COLUMNS": "160", "NO_COLOR": "1"})
    assert result.exit_code == expect, result.output
    assert "Traceback" not in result.output
    return result.output


def test_size_hands_its_options_on_and_prints_frontier_and_sentence(wallfile, monkeypatch, tmp_path):
    asked = {}

    def stand_in(wall, weather, **options):
        asked.update(options, wall=wall.name, climate=weather.attrs["name"])
        rows = size_module.search(evaluator(lambda depth, factor: 0.02 / depth / factor), at(0.02, 0.04))
        found = sizing(rows, drawn=(("base mesh", 0.004),), least_depth=0.02)
        return dataclasses.replace(found, margin=0.1, accept="pass")

    monkeypatch.setattr(size_module, "size", stand_in)
    output = run(
        "size", wallfile, "--climate", CLIMATE, "--openings", "fine mesh", "--depth", "20 mm", "--depth", "4 cm",
        "--scale", "base mesh", "--margin", "10 %", "--strict", "--out", str(tmp_path / "size.html"),
    )  # fmt: skip
    assert asked["opening_set"] == "fine mesh"
    assert asked["depths"] == pytest.approx([0.02, 0.04])
    assert asked["openings"] == ("base mesh",)
    assert asked["margin"] == pytest.approx(0.1)
    assert asked["accept"] == "pass"
    assert "40 mm" in output
    assert "The minimum free vent area that meets every criterion with 10 % margin" in output
    assert CAUTION in output
    page = (tmp_path / "size.html").read_text()
    assert "Minimum free vent area by depth" in page
    assert "base mesh" in page


def test_uncertainty_prints_probabilities_and_influences_and_saves(wallfile, monkeypatch, tmp_path):
    study = with_pairs(made_study([0.5, 0.7, 0.9, 1.1])).assign_attrs(sentence="In 3 of 4 samples.")
    asked = {}

    def stand_in(*_, **options):
        asked.update(options)
        return study

    monkeypatch.setattr(uncertainty, "uncertainty", stand_in)
    target = tmp_path / "study.nc"
    page = tmp_path / "study.html"
    output = run("uncertainty", wallfile, "--climate", CLIMATE, "--save", str(target), "--out", str(page))
    assert asked["influence"] is True
    text = page.read_text()
    assert "Fraction of the variance caused by each input" in text
    assert "75 %" in output and "total-order" in output
    assert "shift of the indoor relative humidity" in output
    for row in input_rows(study):  # page and terminal from the same rows
        assert row[3] in output and row[3] in text
    assert target.exists()
    run("uncertainty", wallfile, "--climate", CLIMATE, "--quick")
    assert asked["influence"] is False


def test_advise_prints_the_most_helpful_change_first_and_the_drying_time(wallfile, monkeypatch):
    first = compare_findings("doubling the base slot", [finding(1.2)], [finding(0.4)])
    facts = {"amount": 0.5, "half": 13.0, "nine_tenths": 37.0, "closed": 39.0, "followed": 90.0}
    drying = replace(finding(0.2, key="drying"), facts=facts)
    event = wetting.WettingEvent("sheathing", 0.5, np.zeros(1), np.zeros(1), drying)
    monkeypatch.setattr(advice, "advise", lambda *_, **__: (first,))
    monkeypatch.setattr(wetting, "wetting_event", lambda *_, **__: event)
    output = run("advise", wallfile, "--climate", CLIMATE, "--depth", "30 mm")
    assert (
        "Starting from “as described” with a 0 mm cavity, which fails: mould index in the wall at sheathing 3.6 "
        "(limit 3.0)." in output
    )
    assert (
        "- Doubling the base slot lowers the mould index in the wall at sheathing from 3.6 to 1.2 (limit 3.0)" in output
    )
    assert "Drying of sheathing: Of the 500 g/m² added, 50 % has dried after 13 days and 90 % after 37 days" in output


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("size", "--margin", "10 mm"), "--margin"),
        (("size", "--margin", "95 %"), "--margin"),
        (("size", "--depth", "25"), "--depth"),
        (("advise", "--depth", "3 m"), "--depth"),
        (("uncertainty", "--samples", "2"), "samples"),
        (("size", "--openings", "no such set"), "no such set"),
        (("size", "--scale", "no such opening"), "no such opening"),
    ],
)
def test_wrong_options_are_one_clear_error(wallfile, arguments, word):
    command, *options = arguments
    assert word in run(command, wallfile, "--climate", CLIMATE, *options, expect=2)
