"""A comparison over orientations and variants: the numbers of single runs, whatever the order; real, short runs."""

import itertools
import json
from dataclasses import replace
from types import SimpleNamespace

import pytest
from test_recommend import choice as made_choice
from test_study_size import small_wall

import cavity
from cavity.errors import InputError
from cavity.report import comparison_text, page, tables, verdict
from cavity.risk.ranking import gather
from cavity.risk.recommend import recommend
from cavity.study.changes import with_variant
from cavity.study.compare import read_facings


@pytest.fixture(scope="module")
def days(inland):
    return inland.isel(time=slice(0, 72))


@pytest.fixture(scope="module")
def wall():
    wall = small_wall()
    old = wall.backup[0]
    thick = replace(old, name=f"{old.name}, thick", thickness=1.5 * old.thickness)
    thin = replace(old, name=f"{old.name}, thin", thickness=0.7 * old.thickness)
    return replace(
        wall, orientation=225.0, opening_sets=wall.opening_sets[:1], depths=(0.02,),
        variants=(("thick", old.name, thick), ("thin", old.name, thin)),
    )  # fmt: skip


@pytest.fixture(scope="module")
def found(wall, days):
    return cavity.compare(wall, days, facings="north, W", variants="all")


def names_of(comparison):
    return [(case.variant, case.orientation, case.opening_set, case.depth) for case in comparison.cases]


def test_every_facing_is_run_with_every_variant(found, wall):
    assert [each[:2] for each in names_of(found)] == list(itertools.product(("", "thick", "thin"), (0.0, 270.0)))
    choices = gather(found.cases)
    assert {each.variant for each in choices} == {"", "thick", "thin"}
    assert all([part.orientation for part in each.parts] == [0.0, 270.0] for each in choices)


def test_a_comparison_over_facings_and_variants_equals_single_runs(found, wall, days):
    for case in found.cases:
        alone = replace(with_variant(wall, case.variant) if case.variant else wall, orientation=case.orientation)
        single = cavity.compare(alone, days).cases[0]
        assert single.findings == case.findings
        assert (single.dataset["temperature"].values == case.dataset["temperature"].values).all()
    # and what is varied does something: else the test above could not fail
    assert len({case.findings for case in found.cases}) == len(found.cases)


def test_the_order_of_facings_and_variants_does_not_matter(found, wall, days):
    turned = cavity.compare(wall, days, facings=["W", 0], variants=["thin", "thick"])
    assert names_of(turned) == names_of(found)
    assert [case.findings for case in turned.cases] == [case.findings for case in found.cases]
    seen, other = verdict.view(found), verdict.view(turned)
    assert verdict.headline(seen) == verdict.headline(other)
    assert verdict.matrix(seen) == verdict.matrix(other)
    # nor does the order of the cases themselves
    back = SimpleNamespace(cases=found.cases[::-1], failed=())
    assert verdict.headline(verdict.view(back)) == verdict.headline(seen)


def test_the_matrix_selects_facing_and_variant(found):
    seen = verdict.view(found)
    matrix = verdict.matrix(seen)
    variant, facing = matrix["selectors"]
    assert (variant["key"], variant["values"]) == ("variant", ["as drawn", "thick", "thin"])
    assert (facing["key"], facing["values"], facing["start"]) == ("orientation", ["north (0°)", "west (270°)"], -1)
    assert variant["values"][variant["start"]] == verdict.variant_text(seen.best.variant)
    # three variants by two facings and the worst of them; no worst of all variants, for they are different walls
    assert set(matrix["other"]) == {f"{v},{f}" for v in range(3) for f in (-1, 0, 1)}
    for case in found.cases:
        at = f"{('', 'thick', 'thin').index(case.variant)},{(0.0, 270.0).index(case.orientation)}"
        cell = matrix["other"][at][0][0]
        assert cell["status"] == verdict.case_status(case)
        assert found.cases[cell["case"]] is case
    for v in range(3):
        levels = {f: ("pass", "review", "fail").index(matrix["other"][f"{v},{f}"][0][0]["status"]) for f in (-1, 0, 1)}
        assert levels[-1] == max(levels[0], levels[1])
    assert matrix["rows"][0]["cells"][0]["what"] == matrix["other"][f"{variant['start']},-1"][0][0]["what"]


def test_the_report_and_the_tables_name_facings_and_variants(found):
    html = page.render(found)
    assert '<option value="0">north (0°)</option>' in html
    assert "3 variants" in html and "2 facings" in html
    assert html.count('class="pick-part"') == 2
    made = tables.tables(found)
    head, *rows = made["cases.csv"].splitlines()
    assert head.endswith(",variant")
    assert sorted(row.rsplit(",", 1)[1] for row in rows) == sorted(["as drawn", "thick", "thin"] * 2)
    assert len(comparison_text.comparison_tables(found)) == 3
    said = "\n".join(comparison_text.comparison_lines(found))
    assert "Variant “thick”" in said and "The wall as drawn" in said and said.count("best of all") == 1


def test_facings_are_read_in_any_form():
    assert read_facings("all") == [45.0 * k for k in range(8)]
    assert read_facings(["W,N", "south-west", 30, "360", "n"]) == [0.0, 30.0, 225.0, 270.0]
    assert read_facings(None) == []


def test_all_that_is_no_facing_or_variant_is_said_at_once(wall, days):
    with pytest.raises(InputError) as caught:
        cavity.compare(wall, days, facings=["nord", "N", 400], variants=["thick", "thicc"])
    said = str(caught.value)
    assert len(caught.value.faults) == 3
    assert "'nord'" in said or "nord" in said
    assert "thicc" in said and "thick, thin" in said and "400" in said


def of_variant(name, index, depth=0.02):
    return replace(made_choice("slots", depth, 0.02, index), variant=name)


def test_the_wall_as_drawn_is_kept_unless_a_variant_is_clearly_safer():
    """A tenth of the limit of 3 is 0.3 of mould index; below 1.0 nothing counts as a gain."""
    drawn = of_variant("", 1.5)
    for index, named in ((1.4, ""), (1.1, "thick"), (0.2, "thick")):
        found = recommend([of_variant("thick", index), drawn])
        assert found.choice.variant == named, index
        assert [one.choice.variant for one in found.others] == [{"": "thick", "thick": ""}[named]]
    # a wall that fails as drawn gives way to any variant that does not, and has no recommendation of its own
    found = recommend([of_variant("", 3.5), of_variant("thick", 2.9), of_variant("thin", 4.0)])
    assert found.choice.variant == "thick" and found.others == ()
    assert recommend([of_variant("", 3.5), of_variant("thin", 4.0)]) is None


def test_what_a_variant_gains_is_not_put_down_to_larger_vents():
    """The deeper cavity of the wall as drawn gains nothing; that of the variant is another wall."""
    choices = [of_variant("", 1.5), of_variant("", 1.5, 0.04), of_variant("thick", 0.9, 0.04)]
    found = recommend(choices)
    assert (found.choice.variant, found.choice.depth) == ("thick", 0.04)
    (drawn,) = found.others
    assert drawn.choice.depth == 0.02 and drawn.more == "more vent area or depth improves no criterion"


def test_the_order_of_choices_does_not_matter_to_the_recommendation(found):
    choices = gather(found.cases)
    one, other = recommend(choices), recommend(choices[::-1])
    assert (one and one.choice) == (other and other.choice)


def test_facing_and_strip_are_known_without_reading_a_case_from_disk(found, monkeypatch):
    """A page of many facings asks for them often, and each Dataset on disk is 13 MB."""
    told = [(case.dataset.attrs["orientation"], case.dataset.attrs["column"]) for case in found.cases]
    monkeypatch.setattr("cavity.study.engine.Result.dataset", property(lambda _: pytest.fail("read")))
    assert [(case.orientation, case.column) for case in found.cases] == told
    names = [verdict.place_text(case, found.cases) for case in found.cases]
    assert len(set(names)) == len(names)


def test_results_carry_the_layers_of_their_variant(found):
    for case in found.cases:
        layers = [one["name"] for one in json.loads(case.dataset.attrs["wall_json"])["backup"]]
        assert (f"{layers[0]}".endswith(f", {case.variant}")) is bool(case.variant)
