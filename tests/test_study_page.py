"""The figures of sizing and uncertainty hold the numbers of the study."""

import dataclasses
import html
import re

import pytest
from test_study_size import at, evaluator, finding, judged
from test_study_size import sizing as made_sizing
from test_study_uncertainty import made_study, with_pairs

from cavity.report import study_page
from cavity.study.size import GAPS, Point, search
from cavity.study.study_text import size_parts, size_rows


def by_gap(batch):
    return [judged(point, [finding(0.009 * point.factor**-0.5 / point.gap)]) for point in batch]


def sizing():
    rows = search(
        evaluator(lambda depth, factor: 1.5 if depth < 0.015 else 0.02 / depth / factor), at(0.01, 0.02, 0.04)
    )
    found = made_sizing(rows, drawn=(("base", 0.01), ("head", 0.006)), least_depth=0.02, wall_name="w <script>")
    return dataclasses.replace(
        found, margin=0.1, halves=((0.01, 0.0), (0.006, 0.0)),
        gaps=search(by_gap, at(0.02, 0.04), GAPS, variable="gap"),
        together=search(by_gap, [Point(0.02, gap=gap) for gap in GAPS]),
    )  # fmt: skip


def test_the_frontier_shows_the_least_area_the_common_sizes_and_depths_where_none_passes():
    found = sizing()
    figure = study_page.frontier_figure(found)
    line, crosses, rule = figure.data
    assert list(line.x) == [20.0, 40.0]
    assert list(line.y) == pytest.approx([60.0 * row.least for row in found.rows[1:]])  # 60 cm2/m in the upper half
    assert list(crosses.x) == [10.0]
    assert "DIN 18516-1" in rule.name and list(rule.y) == [50.0]
    assert {shape.y0 for shape in figure.layout.shapes if shape.y0 == shape.y1} == {50.0}
    assert {shape.x0 for shape in figure.layout.shapes if shape.x0 == shape.x1} == {20.0}
    (gaps,) = study_page.gap_figure(found).data
    assert list(gaps.y) == pytest.approx([1e3 * row.least for row in found.gaps])


def test_severity_is_drawn_for_every_case_of_every_row():
    found = sizing()
    for rows, scale in ((found.rows, 1.0), (found.gaps, 1e3), (found.together, 1.0)):
        for trace, row in zip(study_page.severity_figure(found, rows).data, rows, strict=True):
            assert list(trace.x) == pytest.approx([scale * row.value(outcome) for outcome in row.outcomes])
            assert list(trace.y) == [outcome.severity for outcome in row.outcomes]


def test_page_and_terminal_are_made_of_the_same_rows_and_sentences(tmp_path):
    found = sizing()
    page = html.unescape(study_page.write_size_page(found, tmp_path / "page.html").read_text())
    for line in found.sentences:
        assert line in page
    for _, rows in size_parts(found):
        for row in size_rows(found, rows):
            assert "<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" in page
    # the numbers that the sentence quotes are those of the rows
    (factor,) = re.findall(r"every criterion with 10 % margin is (\S+) × the design area", found.sentence)
    assert factor == f"{min(row.least for row in found.rows if row.least):.2f}"


def test_drivers_are_ranked_with_the_strongest_on_top_and_the_band_holds_the_median():
    study = made_study([0.5, 0.7, 0.65, 1.1])
    bar = study_page.driver_figure(study).data[0]
    assert [abs(value) for value in bar.x] == sorted(abs(value) for value in bar.x)
    alone, total = study_page.index_figure(with_pairs(study)).data
    assert list(total.x) == sorted(total.x)
    assert list(total.error_x.array) == pytest.approx(
        [
            max(0.0, float(with_pairs(study)["total_high"].sel(criterion="overall")[at]) - x)
            for at, x in enumerate(total.x)
        ]
    )
    assert len(alone.x) == 2
    median = study_page.band_figure(study).data[-1]
    assert list(median.y) == pytest.approx([75.0] * 3)


def test_names_from_the_wall_file_stay_text(tmp_path):
    page = study_page.write_size_page(sizing(), tmp_path / "page.html").read_text()
    assert "w <script>" not in page
    assert "w &lt;script&gt;" in page
