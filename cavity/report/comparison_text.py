"""A comparison in the terminal: progress, tables, and the lines below them."""

from __future__ import annotations

import contextlib
import json
from typing import TYPE_CHECKING, Any

from cavity.report import display, inputs_and_sources, verdict
from cavity.report.digest import about
from cavity.terminal import compiling_text, watched

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

MARK = {"pass": "✓", "review": "!", "fail": "✗"}
STYLE = {"pass": "cyan", "review": "yellow", "fail": "bold red"}  # shape and word carry the meaning, colour only helps


@contextlib.contextmanager
def shown_progress() -> Iterator[Callable[[int, int, str], None]]:
    """Show a progress bar on standard error; yields what `compare` calls after each case."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("Preparing", total=None)

        def advance(done: int, total: int, name: str) -> None:
            bar.update(task, completed=done, total=total, description=name)

        if not console.is_terminal:
            yield advance
            return
        with watched(lambda percent: bar.update(task, description=compiling_text(percent))):
            yield advance


def comparison_tables(comparison: Any) -> list[Any]:
    """Return a rich table a variant: opening sets by depths, each cell the worst of all strips and places."""
    seen = verdict.view(comparison)
    return [_matrix_table(comparison, seen, name) for name in seen.variants]


def _matrix_table(comparison: Any, seen: verdict.View, variant: str) -> Any:
    from rich.table import Table
    from rich.text import Text

    named = f", {verdict.variant_text(variant)}" if len(seen.variants) > 1 else ""
    table = Table(
        title=f"{comparison.wall.name}{named}: worst {verdict.where(seen)}", title_justify="left", show_lines=True
    )
    table.add_column("openings", overflow="fold")
    for depth in verdict.compared_depths(comparison):
        table.add_column(verdict.depth_text(depth))
    names = dict.fromkeys(case.opening_set for case in (*seen.cases, *seen.failed))
    for name, row in zip(names, verdict.grid(seen, variant=variant), strict=True):
        cells = []
        for cell in row:
            if cell is None:
                cells.append(Text("not run"))
                continue
            if cell["status"] == "none":
                cells.append(Text(f"- {cell['word']}\n{cell['reason']}"))
                continue
            text = Text(f"{MARK[cell['status']]} {cell['word']}\n", style=STYLE[cell["status"]])
            text.append(f"{cell['text']}\n{cell['rate']}", style="default")
            cells.append(text)
        table.add_row(Text(name), *cells)
    return table


def comparison_lines(comparison: Any) -> list[str]:
    """Return the verdict, the recommended case and why, what to change, and the warnings raised while reading."""
    seen = verdict.view(comparison)
    best = verdict.recommended(seen)
    lines = ["", verdict.headline(seen), ""]
    named = f", variant “{best['variant']}”" if best["variant"] else ""
    sure = f", {best['percent']} probability that every criterion is met" if best["percent"] else ""
    lines.append(f"{best['heading']}: “{best['name']}” with a {best['depth'][0]} cavity{named}: {best['word']}{sure}")
    lines += [f"- {sentence}" for sentence in (*best["lines"], *verdict.still_pieces(seen))]
    if runner := best["runner_up"]:
        sure = f" ({runner['percent']})" if runner["percent"] else ""
        lines.append(f"- Runner-up: “{runner['name']}”, {runner['depth'][0]}{sure}. {runner['tips']}")
    lines += [
        f"- {row['strip']}, {row['piece']}: {row['word']}, {row['text']}; {row['rate']} air changes per hour"
        for row in verdict.compartments(seen)
    ]
    lines += ["", "What to change first:", *(f"- {sentence}" for sentence in verdict.changes(seen))]
    event = getattr(seen.cases[verdict.start(seen)], "event", None)
    if event is not None:
        lines += ["", f"Drying of {event.layer} with “{best['name']}”, {best['depth'][0]}: {event.finding.sentence}"]
    errors = [
        f"{name} {display.number(error, 1)} (limit {limit}{word})"
        for name, error, _, limit, word in inputs_and_sources.balances(seen.cases)
    ]
    lines += ["", f"Largest balance errors: {', '.join(errors)}."]
    notes: dict[str, None] = {}
    for case in comparison.cases:
        notes |= dict.fromkeys(json.loads(about(case).attrs["warnings"]))
    return lines + [f"Note: {note}" for note in notes]
