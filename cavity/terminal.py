"""Standard output that lacks characters, is closed early or is full, without harm to the run."""

from __future__ import annotations

import codecs
import contextlib
import io
import os
import sys
import time
import unicodedata
from collections.abc import Callable, Iterator
from typing import Any, cast

# substitutes for a terminal that lacks the character
_PLAIN = {
    "✓": "+", "✗": "x", "“": '"', "”": '"', "‘": "'", "’": "'", "–": "-", "—": "-", "−": "-", "…": "...", "·": ".",
    "×": "x", "√": "sqrt", "²": "2", "³": "3", "°": "", "µ": "u", "μ": "mu", "λ": "lambda", "ρ": "rho", "α": "alpha",
    "≤": "<=", "≥": ">=", "≈": "~", "±": "+-", "→": "->", "←": "<-", "↑": "up", "↓": "down", "†": "+", "\u202f": " ",
    "\u00a0": " ", "•": "-", "─": "-", "━": "-", "│": "|", "┃": "|", "ß": "ss", "ø": "o", "æ": "ae",
}  # fmt: skip
_NAME = "cavity-plain"


def plain(text: str) -> str:
    """Return text in ASCII: similar symbols where known, letters without accents, "?" if nothing is left."""
    symbols = "".join(_PLAIN.get(sign, sign) for sign in text)
    return unicodedata.normalize("NFKD", symbols).encode("ascii", "ignore").decode() or "?"


def _instead(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(plain(sign) for sign in error.object[error.start : error.end]), error.end


codecs.register_error(_NAME, _instead)


class _Output(io.BufferedIOBase):
    """Bytes passed on until the other end closes; later bytes are dropped, and any other error is kept."""

    def __init__(self, to: Any) -> None:
        self._to = to
        self.fault: OSError | None = None
        self._gone = False

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return int(self._to.fileno())

    def isatty(self) -> bool:
        return bool(self._to.isatty())

    def write(self, data: Any) -> int:
        if not self._gone:
            try:
                self._to.write(data)
                self._to.flush()
            except OSError as error:
                self._lost(error)
        return len(data)

    def flush(self) -> None:
        """Nothing is held back here."""

    def _lost(self, error: OSError) -> None:
        self._gone = True
        if not isinstance(error, BrokenPipeError):
            self.fault = error
        # what Python itself still holds would fail once more when it ends
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._to.fileno())
            os.close(nowhere)


class _Text(io.TextIOWrapper):
    """Text as the terminal can show it."""

    @property
    def encoding(self) -> str:  # type: ignore[override]  # typeshed has a plain attribute
        """The encoding; ASCII by another name, because click writes UTF-8 where the encoding is ASCII."""
        real = super().encoding
        return "plain-ascii" if codecs.lookup(real).name == "ascii" else real


@contextlib.contextmanager
def patient() -> Iterator[list[OSError]]:
    """Let standard output and error lose characters or their reader without an error.

    Yields
    ------
    list of OSError
        At the end: what kept standard output from being written, such as a full disk; a closed pipe does not count.
    """
    before = sys.stdout, sys.stderr
    faults: list[OSError] = []
    outputs: list[_Output] = []
    try:
        for name, stream in zip(("stdout", "stderr"), before, strict=True):
            if isinstance(stream, io.TextIOWrapper):
                stream.flush()
                output = _Output(stream.buffer)
                outputs.append(output)
                options: dict[str, Any] = {"encoding": stream.encoding, "newline": "", "write_through": True}
                if os.linesep != "\n":
                    options["newline"] = os.linesep
                setattr(sys, name, _Text(cast(Any, output), errors=_NAME, **options))
        yield faults
    finally:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError):
                stream.flush()
        sys.stdout, sys.stderr = before
        faults += [output.fault for output in outputs[:1] if output.fault]


_watchers: list[Callable[[int], None]] = []


def compiling(percent: int) -> None:
    """Tell the watcher that came last that a kernel is about to be compiled, and what share of all has been."""
    if _watchers:
        _watchers[-1](percent)


@contextlib.contextmanager
def watched(watcher: Callable[[int], None]) -> Iterator[None]:
    """Call `watcher` for each kernel that is compiled meanwhile."""
    _watchers.append(watcher)
    try:
        yield
    finally:
        _watchers.remove(watcher)


def compiling_text(percent: int) -> str:
    """Return what is said of the compilation: that it happens once, and how far it is."""
    return f"Compiling the model for this computer, once ({percent} %)"


class Announced:
    """A watcher that says once, as a line, that compiling has begun; a few small kernels are not worth it.

    Parameters
    ----------
    write : callable
        Writes a line to standard error.
    """

    def __init__(self, write: Callable[[str], Any]) -> None:
        self._write, self._first, self._said = write, 0.0, False

    def __call__(self, percent: int) -> None:  # noqa: ARG002
        """Say so once the first kernel was two seconds ago."""
        now = time.monotonic()
        self._first = self._first or now
        if not self._said and now - self._first > 2.0:
            self._said = True
            self._write("Compiling the model for this computer: once after each update, half a minute to a minute ...")
