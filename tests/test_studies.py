"""Odd but valid walls through every command, its pages and its files; more of them in tests/benchmarks/fuzz.py."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

import fuzz

SEED = int(os.environ.get("CAVITY_SEED", "1"))  # another draws other walls


@pytest.fixture(autouse=True)
def _own_store(monkeypatch, tmp_path):
    monkeypatch.setenv("CAVITY_CASES", str(tmp_path / "cases"))


# one of each command; 20 and 40 run over a year
@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 6, 7, 8, 9, 20])
def test_an_odd_wall_gives_a_whole_result_or_a_clear_error(number, tmp_path):
    folder = tmp_path / "desk"
    folder.mkdir()
    assert fuzz.study(number, SEED, folder).split(": ")[1] in ("valid", "clear error")


def test_the_walls_are_odd_and_most_of_them_valid():
    from cavity.errors import InputError
    from cavity.wallfile import parse_wall

    made, seen = 0, set()
    for number in range(200):
        text, _, _ = fuzz.study_text(number, SEED)
        seen |= {word for word in ('"closed"', "-25 degC", "100 %", "clay brick", "[[storey]]") if word in text}
        try:
            parse_wall(text)
            made += 1
        except InputError as error:
            assert "internal" not in str(error)
    assert made > 130, made
    assert len(seen) == 5, seen
