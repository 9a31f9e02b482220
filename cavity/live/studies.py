"""Longer work in the background, which the page can stop: all openings by all depths, size, advice, report ..."""

from __future__ import annotations

import re
import secrets
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity.errors import CavityError, Fault, InputError, Stopped

if TYPE_CHECKING:
    from cavity.live.desk import Desk

ALONE = 120.0  # s without a look from the page, after which a study is stopped: its tab is closed
MOST = 8  # studies remembered; the oldest ended ones go first


@dataclass
class Study:
    """One study: what it has found so far."""

    kind: str
    done: int = 0
    total: int = 0
    rows: list[dict[str, Any]] = field(default_factory=list)  # as they come
    text: list[str] = field(default_factory=list)  # the answer in sentences
    faults: list[dict[str, str]] = field(default_factory=list)
    ended: bool = False
    stopped: bool = False
    file: tuple[str, bytes] | None = None
    stop: np.ndarray = field(default_factory=lambda: np.zeros(1, dtype=np.int64))  # 1: not wanted any more
    asked: float = field(default_factory=time.monotonic)  # s, when the page last looked

    def advance(self, done: int, total: int, *_: object) -> None:
        """Note how far it is; raise `Stopped` where the user asked for it."""
        self.done, self.total = done, total
        if self.stop[0] or time.monotonic() - self.asked > ALONE:
            raise Stopped("the study was stopped")


class Studies:
    """The studies of one server, each in a thread of its own."""

    def __init__(self) -> None:
        self._all: dict[str, Study] = {}
        self._lock = threading.Lock()

    def start(self, work: Desk, asked: Mapping[str, Any]) -> str:
        """Begin a study and return its name.

        Parameters
        ----------
        work : Desk
            Climates and engine.
        asked : mapping
            ``kind`` (a key of `KINDS`), ``text``, ``climate``, ``opening_set``.

        Raises
        ------
        InputError
            If the kind is not known, or the wall or climate has faults.
        """
        from cavity.live import desk

        run = KINDS.get(str(asked.get("kind")))
        if run is None:
            raise InputError(Fault("study", "not known", str(asked.get("kind"))[:60], ", ".join(KINDS)))
        wall, weather = desk.read(str(asked["text"]), work.folder), work.weather(str(asked["climate"]))
        study = Study(str(asked["kind"]))
        name = secrets.token_hex(8)
        with self._lock:
            for old in [key for key, study in self._all.items() if study.ended][: max(0, len(self._all) - MOST + 1)]:
                del self._all[old]
            self._all[name] = study

        def work_on() -> None:
            try:
                run(study, wall, weather, str(asked.get("opening_set", "")), work)
            except Stopped:
                study.stopped = True
            except CavityError as error:
                study.faults = desk.faults_of(error)
            except Exception as error:  # the page shows it; the server goes on
                study.faults = desk.faults_of(CavityError(f"{type(error).__name__}: {error}"))
            study.ended = True

        threading.Thread(target=work_on, name=f"study {study.kind}", daemon=True).start()
        return name

    def state(self, name: str, after: int) -> dict[str, Any] | None:
        """Return how far a study is, with the rows found after the first `after`; None where there is none."""
        study = self._all.get(name)
        if study is None:
            return None
        study.asked = time.monotonic()
        rows = list(study.rows)
        return {
            "kind": study.kind, "done": study.done, "total": study.total, "rows": rows[after:], "text": study.text,
            "faults": study.faults, "ended": study.ended, "stopped": study.stopped, "file": study.file is not None,
        }  # fmt: skip

    def stop(self, name: str) -> None:
        """Ask a study to stop: the matrix within an hour of its year, the others after the case under way."""
        if (study := self._all.get(name)) is not None:
            study.stop[0] = 1

    def file(self, name: str) -> tuple[str, bytes] | None:
        """Return name and content of the file a study made."""
        study = self._all.get(name)
        return study.file if study is not None else None

    def close(self) -> None:
        """Stop all."""
        for study in self._all.values():
            study.stop[0] = 1


def _workers() -> int:
    """Return the threads of a study: one core is left to the year that the page may ask for."""
    from cavity.study.engine import cores

    return max(1, cores() - 1)


def _matrix(study: Study, wall: Any, weather: Any, *_: Any) -> None:
    """Every set of openings by every depth, all strips; a row a choice once its strips are done.

    In an engine of its own: a year asked for meanwhile does not wait behind the matrix.
    """
    from cavity.study.engine import Engine, Job

    choices = [(opening_set.name, depth) for opening_set in wall.opening_sets for depth in wall.depths]
    jobs = [
        Job(wall.case(opening_set=name, depth=depth, column=column.name), weather)
        for name, depth in choices
        for column in wall.columns
    ]
    left = {choice: len(wall.columns) for choice in choices}
    results: dict[tuple[str, float], list[Any]] = {choice: [] for choice in choices}

    def after(done: int, total: int, result: Any) -> None:
        choice = (result.job.case.opening_set.name, result.job.case.depth)
        results[choice].append(result)
        left[choice] -= 1
        if not left[choice]:
            study.rows.append({"opening_set": choice[0], "depth": choice[1], **_cell(results[choice])})
        study.advance(done, total)

    study.advance(0, len(jobs))
    with Engine(_workers()) as engine:
        engine.run(jobs, keep="findings", progress=after, stop=study.stop)


def _cell(results: list[Any]) -> dict[str, Any]:
    """Return what a cell of the matrix says: the worst over the strips."""
    from cavity.risk import ranking

    failed = [result.failure for result in results if result.failure]
    if failed:
        return {"status": "none", "reason": failed[0]}
    worst = max(results, key=lambda result: ranking.order(result.findings))
    finding = ranking.worst_first(worst.findings)[0]
    ratios = ranking.ratios(worst.findings).values()
    return {
        "status": ranking.status(worst.findings), "title": finding.title, "value": finding.shown.value,
        "units": finding.shown.units, "limit": finding.shown.limit, "threshold": finding.threshold,
        "strip": worst.job.case.column.name,        "severity": max(ratios, default=0.0),
    }  # fmt: skip


def _report(study: Study, wall: Any, weather: Any, *_: Any) -> None:
    """The whole report of `cavity compare`, as a file."""
    from cavity.report import write_report
    from cavity.study.compare import compare

    comparison = compare(wall, weather, workers=_workers(), progress=study.advance)
    with tempfile.TemporaryDirectory() as folder:
        path = write_report(comparison, Path(folder) / "report.html")
        study.file = (f"{_file_name(wall.name)}.html", path.read_bytes())


def _size(study: Study, wall: Any, weather: Any, opening_set: str, *_: Any) -> None:
    """The minimum vents and depth."""
    from cavity.study import size

    sizing = size.size(
        wall,
        weather,
        opening_set=opening_set or None,
        workers=_workers(),
        progress=study.advance,
    )
    study.text = list(sizing.sentences)


def _advise(study: Study, wall: Any, weather: Any, opening_set: str, *_: Any) -> None:
    """What to change first, each change simulated."""
    from cavity.study import advice

    changes = advice.advise(
        wall,
        weather,
        opening_set=opening_set or None,
        workers=_workers(),
        progress=study.advance,
    )
    study.text = list(advice.lines(changes, most=len(changes)))


def _uncertainty(study: Study, wall: Any, weather: Any, opening_set: str, *_: Any) -> None:
    """How sure the verdict of the present choice is."""
    from cavity.study.uncertainty import confidence

    sureness = confidence(
        wall, weather, ((opening_set or wall.opening_sets[0].name, wall.cavity.depth),), budget=None,
        workers=_workers(), progress=study.advance,
    )  # fmt: skip
    study.text = [choice.sentence for choice in sureness.choices] or [sureness.reason]


def _file_name(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "wall"


KINDS: dict[str, Callable[[Study, Any, Any, str, Desk], None]] = {
    "matrix": _matrix, "size": _size, "advise": _advise, "uncertainty": _uncertainty, "report": _report,
}  # fmt: skip
