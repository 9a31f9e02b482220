"""The vent schedule, its details and the elevation: what the wall file says, worked by hand."""

import csv
import io
import math
import re
from types import SimpleNamespace

import pytest
from dataset_factory import make_dataset
from markupsafe import escape
from report_cases import NASTY, make_case
from test_elevation import ROW, TWO, wall_with
from test_recommend import mould

import cavity
from cavity.errors import InputError
from cavity.report import elevation, page, schedule, tables, verdict
from cavity.wallfile import parse_wall

RAIL = '[[rail]]\nname = "rail"\nheights = ["1.5 m", "3 m"]\ngap = "20 mm"\nbay = "600 mm"\n'
BARRIER = '[[barrier]]\nname = "closer"\nheight = "3 m"\ncolumns = ["between windows, storeys 1 and 2"]\n'


@pytest.fixture(scope="module")
def results(inland):
    """Ten days of the strips of a wall with windows, rails and a closed barrier above the first windows."""
    wall = parse_wall(wall_with(TWO + ROW + RAIL + BARRIER))
    weather = inland.isel(time=slice(0, 240))
    return [
        cavity.simulate(wall, weather, opening_set="fine mesh", depth=0.03, column=column.name, hours=240)
        for column in wall.columns
    ]


def test_the_schedule_lists_every_vent_of_the_wall_with_its_place_and_length(results):
    found = {(row.place, row.heights): row for row in schedule.rows(results[0])}
    assert [(row.place, row.heights[0]) for row in schedule.rows(results[0])] == [
        ("base of the wall", 0.0), ("window sill", 0.9), ("window head", 2.4), ("window sill", 3.9),
        ("window head", 5.4), ("top of the wall", 6.0), ("rail", 1.5), ("barrier", 3.0),
    ]  # fmt: skip
    base = found["base of the wall", (0.0,)]
    assert base.length == pytest.approx(12.0) and base.free_area == pytest.approx(0.004)  # 10 mm, 40 % open
    assert base.geometry == "10 mm clear height, mesh 40 % open, wire 0.3 mm" and base.pieces == "continuous"
    assert found["window head", (2.4,)].length == pytest.approx(3.0)  # two windows of 1.5 m
    rail = found["rail", (1.5, 3.0)]
    assert rail.free_area == pytest.approx(0.02 * 0.03 / 0.6)
    # at 1.5 m only the 9 m between the windows, at 3 m all 12 m, a gap every 600 mm
    assert rail.pieces == "1 gap per 0.6 m, 15 to 20 per rail line"
    assert found["barrier", (3.0,)].geometry == "closed"


def test_every_strip_gives_the_same_schedule(results):
    assert all(schedule.rows(ds) == schedule.rows(results[0]) for ds in results)


def test_the_schedule_as_csv_has_a_line_a_row_and_no_formula():
    text = schedule.csv_text(schedule.rows(make_case().dataset))
    lines = list(csv.reader(io.StringIO(text)))
    assert tuple(lines[0]) == schedule.HEAD and all(len(line) == len(schedule.HEAD) for line in lines)
    assert not any(cell[:1] in "=+-@" for line in lines for cell in line if cell)
    # strips listed by hand without a fraction: the length is not known, and not guessed
    assert all(line[7] == "" for line in lines[1:])


def test_a_result_without_its_wall_has_no_schedule_and_says_so():
    ds = make_dataset(hours=48)
    ds.attrs["wall_json"] = "{}"
    for reads in (schedule.rows, schedule.details):
        with pytest.raises(InputError, match="wall in the result"):
            reads(ds)


def test_details_show_depth_and_clear_height_of_each_place(results):
    details = dict(schedule.details(results[0]))
    assert list(details) == ["Base of the wall", "Window head", "Window sill", "Top of the wall"]
    for drawing in details.values():
        assert ">30 mm</text>" in drawing and ">10 mm</text>" in drawing and 'class="mesh"' in drawing


def test_the_elevation_marks_strips_and_compartments(results):
    rows = elevation.strip_rows(results, ["pass", "review", "fail", "pass"])
    assert [row.letter for row in rows] == ["A", "B", "C", "D"]
    assert [row.area for row in rows] == pytest.approx([9.0 * 6.0, 3.0 * 0.9, 3.0 * 1.5, 3.0 * 0.6])
    assert [part.mark for part in rows[2].compartments] == ["C1", "C2"]
    drawing = elevation.draw(results, ["pass", "review", "fail", "pass"])
    assert {"A", "B", "C1", "C2", "D"} <= set(re.findall(r'class="letter"[^>]*>([^<]+)<', drawing))
    assert drawing.count('class="barrier"') == 1 and drawing.count('class="glass"') == 4
    # drawn to one scale: the strip below the windows is as wide and as high as its metres
    box = re.search(
        r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" class="strip st-review"', drawing
    )
    whole = re.search(r'width="([\d.]+)" height="([\d.]+)" class="outline"', drawing)
    assert float(box[3]) / float(whole[1]) == pytest.approx(1.5 / 12.0, abs=1e-3)
    assert float(box[4]) / float(whole[2]) == pytest.approx(0.9 / 6.0, abs=1e-3)


def test_names_are_text_in_the_drawings():
    case = make_case()
    drawing = elevation.draw([case.dataset], ["review"])
    assert "<script" not in drawing and math.isnan(elevation.strip_rows([case.dataset], ["review"])[0].length)
    assert NASTY not in drawing


def cases_of(results, failing=()):
    """The results as cases of one choice; the strips named fail on mould, the others pass."""
    return [
        SimpleNamespace(
            wall_name="invented", climate_name="Coast", opening_set="fine mesh", depth=0.03, dataset=ds, event=None,
            column=ds.attrs["column"], findings=(mould(3.6 if ds.attrs["column"] in failing else 1.0),),
        )
        for ds in results
    ]  # fmt: skip


def test_the_verdict_counts_the_wall_concerned(results):
    """12 m by 6 m with four windows of 1.5 m by 1.5 m: 63 m2, of which the 9 m beside the windows are 54 m2."""
    full = next(ds.attrs["column"] for ds in results if ds.attrs["column_top"] - ds.attrs["column_bottom"] == 6.0)
    lines = verdict.recommended(verdict.view(SimpleNamespace(cases=cases_of(results, {full}))))["lines"]
    (line,) = [line for line in lines if line.startswith("Wall concerned")]
    assert line == (
        f"Wall concerned: 54 of 63 m² fail (strip “{full}”, 9 m of strips); 9 of 63 m² pass (3 strips, 9 m of strips)."
    )
    (line,) = verdict.concerned(verdict.view(SimpleNamespace(cases=cases_of(results))))
    assert line == "Wall concerned: 63 of 63 m² pass (4 strips, 18 m of strips)."
    # one strip alone is the whole wall: nothing to count
    assert verdict.concerned(verdict.view(SimpleNamespace(cases=[make_case()]))) == []


def test_tables_and_first_part_of_the_report_hold_the_schedule_of_the_recommended_case(results):
    comparison = SimpleNamespace(cases=cases_of(results), created="2026-03-01 12:00 UTC")
    wanted = schedule.table(schedule.rows(results[0]))
    lines = list(csv.reader(io.StringIO(tables.tables(comparison)["schedule.csv"])))
    assert lines[1:] == wanted and len(wanted) == 8
    html = page.render(comparison)
    first = html[html.index('id="answer"') : html.index('id="explore"')]
    part = first[first.index('id="schedule"') :]
    for row in wanted:
        assert all(f">{escape(text)}<" in part for text in row if text)
    for place in ("Base of the wall", "Window head", "Window sill", "Top of the wall"):
        assert f"<h3>{place}</h3><svg" in part
