"""One place for each fact: numbers that are physics or a rule are written once, in `cavity.constants`."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import cavity
from cavity import constants
from cavity.kernels import moist_air
from cavity.report import series
from cavity.risk import mould
from cavity.study import uncertainty
from cavity.wallfile import inputs, schema

ROOT = Path(cavity.__file__).parent
# published cases quote the numbers of their sources; the table is made from CoolProp
ELSEWHERE = {"moist_air_table.py"}
# number -> its name; what else has that value by chance, with the reason
ONCE = {
    3600.0: "HOUR",
    273.15: "ICE_POINT",
    9.80665: "GRAVITY",
    5.670374419e-8: "STEFAN_BOLTZMANN",
    8.314462618: "GAS_CONSTANT",
    287.055: "R_AIR",
    287.05: "R_AIR",
    461.5: "R_VAPOUR",
    461.52: "R_VAPOUR",
    2.306e-5: "VAPOUR_DIFFUSIVITY",
    2.0e-10: "ISO_AIR_PERMEABILITY",
    1.9e-10: "AIR_PERMEABILITY",
    1.898e-10: "AIR_PERMEABILITY",
    1.914e-10: "AIR_PERMEABILITY",
    7.0e-9: "LEWIS_VAPOUR",
    5.72135e-11: "US_PERM",
    101325.0: "STANDARD_PRESSURE",
    1500e-6: "WELL_VENTILATED_LIMIT",
    0.622: "WATER_TO_AIR",
}


def literals() -> list[tuple[str, int, float]]:
    """Return every number of the package, published cases aside: file, line, value."""
    rows = []
    for path in ROOT.rglob("*.py"):
        if "published" in path.parts or path.name in ELSEWHERE:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and type(node.value) in (int, float):
                rows.append((str(path.relative_to(ROOT)), node.lineno, float(node.value)))  # noqa: PERF401
    return rows


def test_a_constant_is_written_once_and_used_by_its_name():
    copies = [row for row in literals() if row[2] in ONCE and row[0] != "constants.py"]
    assert [(*row, ONCE[row[2]]) for row in copies] == []
    assert sum(row[0] == "constants.py" for row in literals()) > 20


def test_no_name_of_a_constant_is_given_a_second_value():
    names = {name for name in vars(constants) if name.isupper()}
    again = []
    for path in ROOT.rglob("*.py"):
        if path.name == "constants.py":
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            again += [(path.name, each.id) for each in targets if isinstance(each, ast.Name) and each.id in names]
    assert again == []


def test_permeability_of_air_is_one_law_and_one_named_design_value():
    law = moist_air.air_permeability(296.15, constants.STANDARD_PRESSURE)
    # the kernel takes the power 0.81 as its series, within 1e-5
    assert law == pytest.approx(constants.AIR_PERMEABILITY, rel=1e-5, abs=0.0)
    assert pytest.approx(law, rel=0.03, abs=0.0) == constants.ISO_AIR_PERMEABILITY


def test_mould_classes_stand_in_one_order():
    assert tuple(mould.CLASSES) == constants.MOULD_CLASSES == tuple(series._WEIGHT)
    growth = [mould.CLASSES[name][0] for name in constants.MOULD_CLASSES]
    assert growth == sorted(growth, reverse=True)  # from the fastest growth to the slowest


def test_uncertain_inputs_are_the_same_in_the_file_in_the_wall_and_in_the_study():
    assert set(inputs.INPUTS) == set(schema.UNCERTAIN)
    assert set(uncertainty.INPUTS) == set(inputs.INPUTS)
