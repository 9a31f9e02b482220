"""The page over all walls of a run: verdicts in one table, with links to the report of each."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from cavity.report import display, summary, verdict
from cavity.report.page import write_page


def write_summary(found: Sequence[summary.Row], path: str | os.PathLike[str]) -> Path:
    """Write the summary as a page that links to the report of each wall.

    Parameters
    ----------
    found : sequence of Row
        Of all walls.
    path : path
        The HTML file; raises what `files.write_whole` does.
    """
    parts: list[dict[str, Any]] = [
        {
            "heading": "All walls",
            "nav": "Walls",
            "text": ["One line per wall: governing strip and orientation, with the recommended case."],
            "table": {
                "head": summary.heads(),
                "rows": [summary.cells(row) for row in found if row.decides],
                "caption": "",
            },
        },
        {
            "heading": "Every facing and strip",
            "nav": "Facings and strips",
            "text": [
                "Each with the recommended case of its wall, in its worst climate. One that fails fails the wall."
            ],
            "table": {
                "head": [*summary.heads(), "Climate"],
                "rows": [[*summary.cells(row), row.climate] for row in found if row.strip],
                "caption": "",
            },
        },
    ]
    climates = len({row.climate for row in found if row.climate})
    said = summary.lines(found) + (
        [f"{display.number(climates)} climates govern in at least one wall."] if climates > 1 else []
    )
    return write_page(path, "Summary of all walls", lead=said, caution=verdict.CAUTIONS, parts=parts)
