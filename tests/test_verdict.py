"""The first screen in words: hand-made cases with a known right answer, and texts held to the numbers they quote."""

from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from dataset_factory import with_wall
from made_findings import made
from report_cases import make_case, make_wall

from cavity import finding_words
from cavity.report import display, verdict
from cavity.risk import judge
from cavity.wallfile.model import Column
from cavity.wallfile.recorded import to_json

MOULD = "mould index in the wall"


def finding(status, ratio, key="mould", rises=False, where=("OSB", "top")):
    units, limit = ("1", 3.0) if key == "mould" else ("kg/kg", 0.2)
    return made(key, ratio, status, limit=limit, units=units, layer=where[0], segment=where[1], rising=rises)


def bare(opening_set, depth, status, ratio, climate="A", column="plain", area=0.02, rain=1, more=(), rises=False):
    ds = xr.Dataset(
        {"opening_area": ("opening", [area / 2, area / 2]), "opening_height": ("opening", [0.0, 3.0]),
         "air_change_rate": ("time", [10.0, 20.0, 60.0])},
        attrs={"orientation": 180.0, "column": column, "column_bottom": 0.0, "column_top": 3.0, "has_rain": rain,
               "wall_json": to_json(make_wall("wall"))},
    )  # fmt: skip
    found = (finding(status, ratio, rises=rises), *more)
    return SimpleNamespace(
        opening_set=opening_set, depth=depth, climate_name=climate, dataset=ds, findings=found, wall_name="wall"
    )


def seen(*cases, **kw):
    return verdict.view(SimpleNamespace(cases=cases, **kw))


def test_the_smallest_adequate_case_is_named_and_counted():
    found = seen(bare("mesh", 0.02, "fail", 1.5), bare("slot", 0.02, "pass", 0.4), bare("slot", 0.04, "pass", 0.37))
    assert verdict.headline(found) == (
        "2 of 3 combinations pass in A; the smallest adequate is “slot” with a 20 mm cavity."
    )
    card = verdict.recommended(found)
    assert (card["heading"], card["name"], card["word"]) == ("Recommended", "slot", "passes")
    assert card["lines"][0] == "Nearest limit: mould index in the wall 1.2 (limit 3)."
    assert card["lines"][1] == "More vent area or depth lowers the mould index in the wall by 0.09 at most."
    assert card["runner_up"]["name"] == "slot" and card["runner_up"]["depth"][0] == "40 mm"
    assert verdict.start(found) == 1


def test_never_the_worst_of_the_passing_cases():
    """Two climates; the finding that happens to be listed first would name the mesh."""
    wood = [finding("pass", 0.7, "wood_moisture"), finding("pass", 0.72, "wood_moisture")]
    cases = [
        *(bare("fine mesh", 0.015, "pass", 2.79 / 3, place, area=0.008, more=wood[:1]) for place in "AB"),
        *(bare("10 mm slots", 0.03, "pass", 0.2, place, more=wood[1:]) for place in "AB"),
    ]
    found = seen(*cases)
    assert found.best.opening_set == "10 mm slots"
    assert verdict.headline(found) == (
        "All 2 combinations pass in both climates; the smallest adequate is “10 mm slots” with a 30 mm cavity."
    )


def test_several_climates_are_all_asked_for():
    found = seen(bare("slot", 0.02, "pass", 0.5, "A"), bare("slot", 0.02, "fail", 1.2, "B"))
    assert verdict.headline(found) == (
        f"“slot” with a 20 mm cavity fails in both climates: {MOULD} 3.6 (limit 3) in B."
    )


def test_without_a_safe_case_the_lowest_risk_is_named():
    found = seen(bare("mesh", 0.02, "fail", 1.5), bare("slot", 0.02, "fail", 1.1))
    assert verdict.headline(found) == (
        f"Every combination fails in A; the lowest risk is “slot” with a 20 mm cavity, which fails on {MOULD} 3.3 "
        "(limit 3)."
    )
    assert verdict.recommended(found)["heading"] == "Lowest risk, but it fails"
    assert verdict.recommended(found)["runner_up"] is None


def test_items_to_review_are_said():
    found = seen(bare("slot", 0.02, "review", 0.9), bare("mesh", 0.02, "fail", 1.1))
    said = verdict.headline(found)
    assert said.startswith("1 of 2 combinations do not fail in A, but need review, none with an adequate margin")
    assert "mould index in the wall 2.7 (limit 3)" in said


@pytest.mark.parametrize("dry", ["AB", "B"])
def test_without_rain_nothing_is_said_to_pass_all(dry):
    found = seen(*(bare("slot", 0.02, "pass", 0.4, place, rain=int(place not in dry)) for place in "AB"))
    places = "" if dry == "AB" else " in B"
    assert verdict.headline(found).startswith(f"Without rain{places} (none in the weather file): “slot”")
    cell = verdict.matrix(found)["rows"][0]["cells"][0]
    assert cell["word"] == "passes (no rain)" and cell["status"] == "pass"
    assert verdict.recommended(found)["word"] == "passes (no rain)"
    assert verdict.word("fail", rain=False) == "fails"


def test_estimated_rain_is_in_the_headline():
    case = bare("slot", 0.02, "pass", 0.5)
    case.dataset.attrs["climate_rain"] = "780 mm; rain estimated WITHOUT weather codes, a guess"
    assert verdict.headline(seen(case)) == (
        "With rain estimated WITHOUT weather codes: “slot” with a 20 mm cavity passes in A."
    )


def test_what_still_rises_is_said_in_headline_and_cell():
    found = seen(bare("slot", 0.02, "pass", 0.5, rises=True), bare("slot", 0.04, "pass", 0.5))
    assert verdict.headline(found).endswith("Still rising when the run ended: mould index in the wall.")
    first, second = verdict.matrix(found)["rows"][0]["cells"]
    assert first["text"] == "mould 1.5 of 3 ↗" and second["text"] == "mould 1.5 of 3"


def test_a_set_passes_only_if_every_strip_passes():
    cases = [
        bare(name, 0.03, status, ratio, column=strip)
        for name, strip, status, ratio in (
            ("mesh", "plain", "pass", 0.2), ("mesh", "above the window", "fail", 1.5),
            ("slot", "plain", "pass", 0.1), ("slot", "above the window", "fail", 1.2),
        )
    ]  # fmt: skip
    found = seen(*cases)
    said = verdict.headline(found)
    assert said.startswith("Every combination fails on both strips in A")
    assert "on strip “above the window”" in said
    (line,) = verdict.lost_strips(found)
    assert line.startswith(
        "Strip “above the window” fails with every combination; at best mould index in the wall 3.6 (limit 3)"
    )
    cells = [row["cells"][0] for row in verdict.matrix(found)["rows"]]
    assert [cell["status"] for cell in cells] == ["fail", "fail"]
    assert [cell["case"] for cell in cells] == [1, 3]
    (pick,) = verdict.matrix(found)["selectors"]
    assert pick["values"] == ["plain", "above the window"]
    other = verdict.matrix(found)["other"]
    assert [row[0]["status"] for row in other["0"]] == ["pass", "pass"]
    assert [row[0]["status"] for row in other["1"]] == ["fail", "fail"]
    assert [row[0]["case"] for row in other["-1"]] == [1, 3]


def test_the_deciding_strip_is_named_with_its_fraction_of_the_wall():
    cases = [bare("slot", 0.03, "pass", ratio, column=strip) for strip, ratio in (("plain", 0.2), ("sill", 0.6))]
    columns = (Column("plain", 0.0, 3.0, 0.7), Column("sill", 0.0, 0.9, 0.3))
    for case in cases:
        case.dataset = with_wall(case.dataset, columns=columns)
    assert verdict.lost_strips(seen(*cases)) == ["Strip “sill” (30 % of the wall length) governs in all combinations."]


def test_order_of_cases_changes_no_word():
    cases = [
        bare(name, depth, "pass" if ratio < 1 else "fail", ratio, climate, column)
        for name, depth, ratio, climate, column in (
            ("a", 0.02, 0.8, "A", "x"), ("a", 0.02, 0.7, "B", "x"), ("a", 0.02, 0.5, "A", "y"),
            ("a", 0.02, 0.2, "B", "y"), ("b", 0.02, 0.3, "A", "x"), ("b", 0.02, 0.3, "B", "x"),
            ("b", 0.02, 1.3, "A", "y"), ("b", 0.02, 0.3, "B", "y"),
        )
    ]  # fmt: skip
    one, other = seen(*cases), seen(*reversed(cases))
    assert verdict.headline(one) == verdict.headline(other)
    assert verdict.recommended(one)["lines"] == verdict.recommended(other)["lines"]
    assert one.best.opening_set == "a"


def test_what_never_happens_is_not_the_nearest_limit():
    frost = made("frost", 0.0, "pass", limit=1.0)
    case = bare("slot", 0.03, "pass", 0.4, more=[frost])
    assert verdict.what(case) == "Mould index in the wall 1.2 (limit 3)"
    case.findings = (frost,)
    assert verdict.what(case) == "No criterion comes near its limit"
    found = seen(case)
    assert verdict.recommended(found)["lines"][0] == "No criterion comes near its limit."
    assert verdict.matrix(found)["rows"][0]["cells"][0]["text"] == "far from every limit"


def test_a_missing_part_is_in_the_headline_and_keeps_a_choice_from_passing():
    lost = SimpleNamespace(
        opening_set="slot", depth=0.02, climate_name="B", column="plain", orientation=180.0, reason="no convergence"
    )
    cases = [
        bare("slot", 0.02, "pass", 0.1, "A"),
        bare("slot", 0.04, "pass", 0.2, "A"), bare("slot", 0.04, "pass", 0.2, "B"),
    ]  # fmt: skip
    found = seen(*cases, failed=[lost])
    assert verdict.headline(found) == (
        "With 3 of 4 cases computed: 1 of 2 combinations pass in both climates; the smallest adequate is “slot” with "
        "a 40 mm cavity."
    )
    first = verdict.matrix(found)["rows"][0]["cells"][0]
    assert first["status"] == "none" and first["reason"] == "no convergence" and "case" not in first


def test_probability_of_recommended_and_runner_up_is_shown_where_it_is_known():
    sure = [
        SimpleNamespace(opening_set="slot", depth=depth, probability=p, sentence=f"Met in {100 * p:.0f} %.")
        for depth, p in ((0.02, 0.88), (0.04, 0.94))
    ]
    cases = [bare("slot", 0.02, "pass", 0.5), bare("slot", 0.04, "pass", 0.45)]
    card = verdict.recommended(seen(*cases, confidence=SimpleNamespace(reason="", choices=tuple(sure))))
    assert card["percent"] == "88 %" and "Met in 88 %." in card["lines"]
    assert card["runner_up"]["percent"] == "94 %"
    assert verdict.headline(seen(*cases, confidence=SimpleNamespace(reason="", choices=tuple(sure)))).endswith(
        "“slot” with a 20 mm cavity, with a probability of 88 % that every criterion is met."
    )
    none = verdict.recommended(seen(*cases, confidence=SimpleNamespace(reason="would take 3 min", choices=())))
    assert none["percent"] == "" and "Probability not computed: would take 3 min." in none["lines"]


def test_criteria_are_printed_once_and_named_in_each_cell():
    cases = [
        bare("mesh", 0.02, "pass", 0.3, more=[finding("pass", 0.7, "wood_moisture")]),
        bare("slot", 0.02, "pass", 0.6), bare("slot", 0.04, "pass", 0.5),
    ]  # fmt: skip
    made = verdict.matrix(seen(*cases))
    assert [[cell and cell["text"] for cell in row["cells"]] for row in made["rows"]] == [
        ["wood 14 of 20 % by mass", None],
        ["mould 1.8 of 3", "mould 1.5 of 3"],
    ]
    assert made["legend"] == [
        "wood: wood moisture content, limit 20 % by mass (made up)",
        "mould: mould index in the wall, limit 3 (made up)",
    ]
    assert [cell["near"] for cell in made["rows"][1]["cells"]] == [0.6, 0.5]


def divided(case):
    """The case with a closed barrier at 2 m: its top segment is a compartment through which no air passes."""
    ds = case.dataset
    rate = np.asarray(ds["air_change_rate"].values, float)
    ds = ds.drop_dims("compartment").assign_coords(
        compartment=["0.00 to 2.00 m", "2.00 to 3.00 m"],
        compartment_bottom=("compartment", [0.0, 2.0]), compartment_top=("compartment", [2.0, 3.0]),
        segment_compartment=("segment", [0, 0, 1]),
    )  # fmt: skip
    ds["compartment_air_change_rate"] = (("time", "compartment"), np.stack([rate, 0.0 * rate], axis=1))
    return SimpleNamespace(**{**vars(case), "dataset": ds})


def test_compartments_are_judged_and_named_one_by_one():
    """The dead pocket does not hide behind the rate of the column."""
    case = divided(make_case(hours=24 * 70, damp=0.4))
    found = seen(case)
    rows = verdict.compartments(found)
    assert [row["piece"] for row in rows] == ["0.00 to 2.00 m", "2.00 to 3.00 m"]
    assert rows[1]["rate"] == "0, no air passes" and not rows[0]["rate"].startswith("0,")
    (said,) = verdict.still_pieces(found)
    assert "from 2.00 to 3.00 m: dead between closed ends" in said
    assert verdict.matrix(found)["rows"][0]["cells"][0]["rate"] == "a part without air"
    # each is judged by its own segments, and the worse of the two is what the whole strip is
    alone = judge(case.dataset.isel(segment=[2]))
    assert rows[1]["status"] == verdict.status(alone)
    levels = [verdict.level(row["status"]) for row in rows]
    assert max(levels) == verdict.level(verdict.status(judge(case.dataset)))


def test_a_wet_compartment_is_told_apart_from_a_dry_one_and_by_its_worst_climate():
    """The top segment alone is warm and wet behind the sheathing, and only in the second climate."""
    dry, wet = (divided(make_case(hours=24 * 70, climate=name)) for name in ("Dry Bay", "Wet Bay"))
    face = list(wet.dataset["face"].values).index("OSB | mineral wool")
    for name, value in (("relative_humidity", 0.99), ("temperature", 298.15)):
        wet.dataset[name] = wet.dataset[name].copy()
        wet.dataset[name].values[:, 2, face] = value
    wet.findings = judge(wet.dataset)
    low, high = verdict.compartments(seen(dry, wet))
    assert (low["piece"], low["status"]) == ("0.00 to 2.00 m", "pass")
    assert (high["piece"], high["status"], high["climate"]) == ("2.00 to 3.00 m", "fail", "Wet Bay")


def test_a_clogged_set_is_a_state_and_no_design():
    """It is smaller and passes, but nobody builds it; what clogging does to the recommended set is said."""
    cases = [bare("mesh", 0.03, "pass", 0.5), bare("mesh, clogged", 0.03, "pass", 0.6, area=0.005)]
    found = seen(*cases)
    assert found.best.opening_set == "mesh" and found.recommendation.runner_up is None
    assert (
        "With its meshes clogged it passes: mould index in the wall 1.8 (limit 3)."
        in verdict.recommended(found)["lines"]
    )
    assert found.recommendation.smaller is None
    failing = seen(bare("mesh", 0.03, "fail", 1.5), bare("mesh, clogged", 0.03, "fail", 1.4, area=0.005))
    assert failing.best.opening_set == "mesh"


def test_advice_of_the_comparison_is_told_before_our_own():
    cases = [bare("slot", 0.02, "pass", 0.5)]
    given = seen(*cases, advice=[SimpleNamespace(sentence="Open the head."), "Then the base."])
    assert verdict.changes(given) == ["Open the head.", "Then the base."]
    assert verdict.changes(seen(*cases))[0] == "Nothing need change for slot with 20 mm."


def test_a_page_of_many_cases_keeps_those_that_matter():
    """Many strips: all parts of the recommended and the runner-up, and the part that decides each choice."""
    cases = [
        bare(name, 0.03, "pass", base + 0.001 * strip, column=f"strip {strip}", area=area)
        for name, base, area in (("slot", 0.2, 0.02), ("mesh", 0.25, 0.021), ("wide", 0.3, 0.04))
        for strip in range(15)
    ]
    found = seen(*cases)
    page = verdict.shown(found, most=32)
    assert len(page.number) == 32 and sorted(page.number.values()) == list(range(32))
    for choice in (found.recommendation.choice, found.recommendation.runner_up):
        assert all(id(part.case) in page.number for part in choice.parts)
    assert all(id(choice.decides[0].case) in page.number for choice in found.choices)
    assert verdict.shown(found) is not found and verdict.shown(found, most=45) is found
    cells = [row[0] for row in verdict.matrix(page)["other"]["3"]]
    assert [cell["case"] is None for cell in cells] == [False, False, True]
    # the order of the page is that of the comparison
    kept = [case for case in found.cases if id(case) in page.number]
    assert [page.number[id(case)] for case in kept] == list(range(32))


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [(3.004, 3.0, "3.004"), (2.9996, 3.0, "2.9996"), (3.0, 3.0, "3"), (2.95, 3.0, "2.95"), (19.996, 20.0, "19.996")],
)
def test_a_value_beside_its_limit_has_the_digits_that_tell_the_two_apart(value, limit, text):
    assert finding_words.apart(value, limit, 3, display.number) == text
