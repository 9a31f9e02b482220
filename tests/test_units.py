"""Quantities as text: published conversions, round trips, refusals."""

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cavity import units
from cavity.units import parse_quantity

# text, SI unit, value, source of the conversion
CONVERSIONS = [
    ("25 mm", "m", 0.025, "SI prefix"),
    ("1 in", "m", 0.0254, "international yard and pound agreement 1959, exact"),
    ("1/8 in", "m", 0.003175, "same"),
    ("1 1/2 in", "m", 0.0381, "same"),
    ("1-1/2 in", "m", 0.0381, "same"),
    ("1 ft", "m", 0.3048, "same"),
    ("60 ng/(Pa s m2)", "kg/(Pa s m2)", 60e-12, "SI prefix"),
    ("1 perm", "kg/(Pa s m2)", 5.72135e-11, "ASTM E96: 1 grain/(h ft2 inHg) at 0 degC"),
    ("50 cm2/m", "m2/m", 0.005, "SI prefix"),
    ("50 cm²/m", "m2/m", 0.005, "SI prefix"),
    ("5000 mm2/m", "m2/m", 0.005, "SI prefix"),
    ("2.4 in2/ft", "m2/m", 2.4 * 0.0254**2 / 0.3048, "inch and foot exact"),
    ("20 degC", "K", 293.15, "ITS-90, exact"),
    ("20 °C", "K", 293.15, "ITS-90, exact"),
    ("68 degF", "K", 293.15, "68 degF = 20 degC"),
    ("0.035 W/(m K)", "W/(m K)", 0.035, "SI"),
    ("0.2 1/h", "1/h", 0.2, "same unit"),
    ("90 kg/m³", "kg/m3", 90.0, "SI"),
    ("0.02 kg/(m2 s0.5)", "kg/(m2 s0.5)", 0.02, "SI"),
    ("0.3 kg/(m2 h0.5)", "kg/(m2 s0.5)", 0.3 / 60.0, "square root of 3600 s"),
    ("0.001 W/(m K)/(kg/m3)", "W/(m K)/(kg/m3)", 0.001, "SI"),
    ("45 %", "", 0.45, "per cent"),
    ("270 deg", "deg", 270.0, "same unit"),
    ("3.6 m3/(m2 h)", "m/s", 0.001, "3600 s"),
]


@pytest.mark.parametrize(("text", "unit", "value", "source"), CONVERSIONS)
def test_a_quantity_is_read_in_the_unit_asked_for(text, unit, value, source):
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-9, abs=0.0)  # rounding of the conversion only


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        (25, "m", "has no unit"),
        (True, "m", "is needed"),
        (None, "m", "is needed"),
        ("25", "m", "has no unit"),
        ("25 kg", "m", "not a unit of this kind"),
        ("25 foo", "m", "not known"),
        ("about 25 mm", "m", "does not start with a number"),
        ("2,5 mm", "m", "not understood"),
        ("1/0 in", "m", "divides by zero"),
        ("1e400 m", "m", "not a finite number"),
        ("1 m**99", "m", "not understood"),
        ("1 " + "m" * 200, "m", "too long"),
        ("1 __import__('os')", "m", "not"),
        ("nan m", "m", "does not start with a number"),
        ("inf m", "m", "does not start with a number"),
        ("", "m", "does not start with a number"),
    ],
)
def test_what_is_not_a_quantity_is_refused_with_a_reason(text, unit, words):
    with pytest.raises(ValueError, match=words.replace("(", r"\(")):
        parse_quantity(text, unit)


@given(
    st.floats(-1e9, 1e9, allow_nan=False),
    st.sampled_from([("mm", "m", 1e-3), ("in", "m", 0.0254), ("g/m2", "kg/m2", 1e-3), ("cm2/m", "m2/m", 1e-4)]),
)
@settings(max_examples=100, deadline=None)
def test_a_number_written_with_a_unit_comes_back_scaled_by_that_unit(number, unit):
    name, into, factor = unit
    found = parse_quantity(f"{number:.6f} {name}", into)
    assert math.isclose(found, float(f"{number:.6f}") * factor, rel_tol=1e-12, abs_tol=1e-300)  # one rounding


@given(st.text(max_size=40), st.sampled_from(["m", "K", "", "kg/(Pa s m2)"]))
@settings(max_examples=300, deadline=None)
def test_any_text_gives_a_finite_number_or_a_value_error(text, unit):
    try:
        assert math.isfinite(parse_quantity(text, unit))
    except ValueError as error:
        assert str(error)


@given(st.from_regex(r"[0-9]{1,4}(\.[0-9])? ?[a-zA-Z0-9*/^() .%-]{0,12}", fullmatch=True))
@settings(max_examples=300, deadline=None)
def test_a_number_with_any_unit_text_gives_a_finite_number_or_a_value_error(text):
    try:
        assert math.isfinite(parse_quantity(text, "m"))
    except ValueError as error:
        assert str(error)


@given(st.floats(-1e9, 1e9, allow_nan=False))
@settings(max_examples=50)
def test_everyday_units_read_without_pint_are_to_the_bit_what_pint_gives(number):
    everyday = list(units._EVERYDAY)
    for spelled, target in [*everyday, *((name, name) for name in ("m", "W/(m*K)", "kg/m**3", "J/(kg*K)", "1/h"))]:
        asked = "" if target == "dimensionless" else target.replace("**", "").replace("*", " ")
        text = f"{number!r} {spelled.replace('**', '').replace('*', ' ').replace('percent', '%')}"
        assert parse_quantity(text, asked) == float(units.registry().Quantity(number, spelled).to(target).magnitude)


def test_the_starter_is_read_without_loading_pint():
    code = (
        "import sys; sys.modules['dask'] = None; from cavity.wallfile import parse_wall, starter; "
        "parse_wall(starter(), 'w.toml'); assert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
