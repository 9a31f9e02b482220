"""A comparison in the terminal: progress, tables, and the lines below them."""

from __future__ import annotations

import contextlib
import json
from typing import TYPE_CHECKING, Any

from cavity.report import answer
from cavity.risk import verdict

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_MARK = {"pass": "✓ pass", "review": "! review", "fail": "✗ fail"}
_STYLE = {"pass": "cyan", "review": "yellow", "fail": "bold red"}  # shape and word carry the meaning, colour only helps


@contextlib.contextmanager
def shown_progress() -> Iterator[Callable[[int, int, str], None]]:
    """Show a progress bar on standard error; yields what `compare` calls after each case."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Preparing (the first run compiles, about a minute)", total=None)

        def advance(done: int, total: int, name: str) -> None:
            bar.update(task, completed=done, total=total, description=name)

        yield advance


def comparison_tables(comparison: Any) -> list[Any]:
    """Return one rich table a climate and column: opening sets by depths, each cell verdict, number and reason."""
    from rich.table import Table
    from rich.text import Text

    depths = answer.compared_depths(comparison)
    tables = []
    for group in answer.matrix(comparison.cases, depths, answer.failed_of(comparison)):
        title = f"{comparison.wall.name} in {group['title']}"
        table = Table(title=title, title_justify="left", show_lines=True)
        table.add_column("openings", overflow="fold")
        for depth in depths:
            table.add_column(answer.depth_text(depth))
        for row in group["rows"]:
            cells = []
            for cell in row["cells"]:
                if cell is None:
                    cells.append(Text("not run"))
                    continue
                if cell["status"] == "none":
                    cells.append(Text(f"- {cell['word']}\n{cell['reason']}"))
                    continue
                text = Text(f"{_MARK[cell['status']]}\n", style=_STYLE[cell["status"]])
                text.append(
                    f"{cell['title']} {cell['number']}, {cell['threshold']} {cell['limit']}\n{cell['rate']}",
                    style="default",
                )
                cells.append(text)
            table.add_row(Text(row["name"]), *cells)
        tables.append(table)
    return tables


def comparison_lines(comparison: Any) -> list[str]:
    """Return the verdict, what decides in the best case, and the warnings raised while reading."""
    lines = ["", answer.verdict(comparison.cases, answer.failed_of(comparison)), ""]
    if counted := answer.counted(comparison):
        lines.append(f"- {counted}")
    lines += [f"- {sentence}" for sentence in answer.advice(comparison)]
    best = min(comparison.cases, key=answer.severity)
    place = f" in {best.climate_name}" if len(comparison.climates) > 1 else ""
    lines.append(f"- Best case, “{best.opening_set}”, {best.depth * 1e3:g} mm{place}: {verdict(best.findings)[1]}")
    event = getattr(best, "event", None)
    if event is not None:
        lines.append(f"- Drying of {event.layer} there: {event.finding.sentence}")
    notes: dict[str, None] = {}
    for case in comparison.cases:
        notes |= dict.fromkeys(json.loads(case.dataset.attrs["warnings"]))
    return lines + [f"Note: {note}" for note in notes]
