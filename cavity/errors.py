"""Errors that a user can act on: what, where, what was given, what is expected, how to fix it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

_LONGEST = 360  # characters in one line of a message


class CavityError(Exception):
    """Base of all errors raised on purpose; `exit_code` is what the command line returns."""

    exit_code = 1


@dataclass(frozen=True)
class Fault:
    """One defect of one input.

    Parameters
    ----------
    where : str
        File and key or line, e.g. ``wall.toml, cladding[1].thickness``.
    problem : str
        What is wrong, in one clause.
    given : str
        The value, as the user wrote it.
    expected : str
        What is allowed.
    fix : str
        The nearest repair.
    """

    where: str
    problem: str
    given: str = ""
    expected: str = ""
    fix: str = ""

    def __str__(self) -> str:
        lines = [_clipped(f"{self.where}: {self.problem}")]
        for title, text in (
            ("given", self.given),
            ("expected", self.expected),
            ("fix", self.fix),
        ):
            if text:
                lines.append(f"    {title:<9}{_clipped(text)}")
        return "\n".join(lines)


def _clipped(text: str) -> str:
    """Shorten what would fill the screen, such as a number of a thousand digits."""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


class InputError(CavityError):
    """All the faults of one input, gathered and raised once."""

    exit_code = 2

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class ConvergenceError(CavityError):
    """The solver gave up; the text says in which hour, where, how far off and what to try."""


class Stopped(CavityError):
    """A run ended on request, before it was done: there is no result."""


def why(error: Exception) -> str:
    """Return in one line why something was not computed; an internal error with file and line."""
    if isinstance(error, CavityError):
        return " ".join(str(error).split())
    frame = error.__traceback__
    while frame is not None and frame.tb_next is not None:
        frame = frame.tb_next
    at = f" in {Path(frame.tb_frame.f_code.co_filename).name}, line {frame.tb_lineno}" if frame else ""
    text = f"internal error, please report it: {type(error).__name__}{at}: {error}"
    return _clipped(" ".join(text.split()))
