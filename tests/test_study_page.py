"""The figures of sizing and uncertainty hold the numbers of the study."""

import pytest
from test_study_size import evaluator
from test_study_uncertainty import made_study, with_pairs

from cavity.report import study_page
from cavity.study.size import Sizing, search


def sizing():
    rows = search(evaluator(lambda depth, factor: 1.5 if depth < 0.015 else 0.02 / depth / factor), [0.01, 0.02, 0.04])
    return Sizing("w <script>", "c", "slots", "plain", 0.1, "review", (("base", 0.01), ("head", 0.006)), rows, 0.02)


def test_the_frontier_shows_the_least_area_and_marks_depths_where_none_passes():
    found = sizing()
    line, crosses = study_page.frontier_figure(found).data
    assert list(line.x) == [20.0, 40.0]
    assert list(line.y) == pytest.approx([16000 * row.least for row in found.rows[1:]])  # 0.016 m2/m as drawn
    assert list(crosses.x) == [10.0]


def test_severity_is_drawn_for_every_case_of_every_depth():
    found = sizing()
    for trace, row in zip(study_page.severity_figure(found).data, found.rows, strict=True):
        assert list(trace.x) == [outcome.factor for outcome in row.outcomes]
        assert list(trace.y) == [outcome.severity for outcome in row.outcomes]


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
