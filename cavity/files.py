"""Files are written whole or not at all, and never over a file of another kind."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import itertools
import os
import platform
import re
import time
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from cavity.constants import HOUR
from cavity.errors import Fault, InputError

HTML, NETCDF, PDF = b"<!doctype html>", b"\x89HDF", b"%PDF"  # first bytes of files of these kinds
_KINDS = {
    "an HTML page": (HTML, b"<html"),
    "a NetCDF file": (NETCDF, b"CDF"),
    "a PDF file": (PDF,),
    "an SVG drawing": (b"<svg", b"<?xml"),
    "an office file": (b"PK\x03\x04",),
}
_PART = re.compile(r"\.cavity-([0-9a-f]{8})-(\d+)-\d+\.part")
_ABANDONED = HOUR  # s, age from which an unfinished file of another computer counts as abandoned
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet takes a cell that begins so for a formula
_counter = itertools.count()
_WRITABLE = "a file in a folder that can be written to"
_OWN_FILE = "a different file for every input and output"


def write_whole(path: str | os.PathLike[str], data: bytes | memoryview | str, *, over: bool = False) -> Path:
    """Write a file next to its target, then move it there; an existing file is kept until then.

    Parameters
    ----------
    path : path
        Target; missing folders are created.
    data : bytes or str
        The whole content; text becomes UTF-8.
    over : bool, keyword only
        Replace any file; otherwise only a file of the same kind is replaced.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If the target is a folder or a file of another kind, or cannot be written; nothing is left then.
    """
    target = Path(path)
    content = data.encode("utf-8") if isinstance(data, str) else data
    new_folders: list[Path] = []
    try:
        if not over:
            _check_kind(target, bytes(content[:64]), "")
        if target.is_dir():
            raise InputError(Fault(_shown(target), "is a folder", expected="a file name", fix="name a file in it"))
        if target.exists() and not target.is_file():  # a device or a pipe is written to, not replaced
            with target.open("wb") as stream:
                stream.write(content)
            return target
        destination = target.resolve() if target.is_symlink() else target
        new_folders = _make_folder(destination.parent)
        _fill(destination, content)
    except (OSError, ValueError, RuntimeError) as error:  # ValueError: a null character; RuntimeError: links in a ring
        for folder in new_folders:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise InputError(
            Fault(
                _shown(target), f"cannot be written: {_reason(error)}", "", _WRITABLE, "choose another file or folder"
            )
        ) from None
    return target


def _fill(target: Path, content: bytes | memoryview) -> None:
    part = target.with_name(f".cavity-{_host()}-{os.getpid()}-{next(_counter)}.part")
    _sweep(target.parent)
    try:
        with part.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())  # a disk that is full may say so only now
        with contextlib.suppress(OSError):
            part.chmod(target.stat().st_mode)  # who could read the old file can read the new one
        part.replace(target)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _make_folder(folder: Path) -> list[Path]:
    """Create a folder and those above it; return the new ones, innermost first."""
    missing = list(itertools.takewhile(lambda path: not path.exists(), (folder, *folder.parents)))
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _host() -> str:
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]


def _sweep(folder: Path) -> None:
    """Remove what a killed process left in a folder."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            match = _PART.fullmatch(entry.name)
            if match and not _at_work(match[1], int(match[2]), entry):
                Path(entry.path).unlink()


def _at_work(host: str, process: int, entry: os.DirEntry[str]) -> bool:
    """Whether the process that writes an unfinished file may still be at work."""
    if host == _host() and os.name == "posix":
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return False
        except OSError:
            return True
        return True
    return time.time() - entry.stat().st_mtime < _ABANDONED


def _shown(path: str | os.PathLike[str]) -> str:
    return os.fspath(path)[:200]


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


# ---- checks of outputs and inputs --------------------------------------------------------------------------------
def kind_of(start: bytes) -> str:
    """Return the kind of a file by its first bytes; of a table the name of its first column, of text its first line."""
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for kind, signs in _KINDS.items():
        if any(text.startswith(sign.lower()) for sign in signs):
            return kind
    return re.split(rb"[,;\r\n]", text, maxsplit=1)[0].decode("utf-8", "replace")


def check_outputs(
    outputs: Iterable[tuple[str, str | os.PathLike[str] | None, bytes]],
    inputs: Iterable[str | os.PathLike[str] | None],
) -> None:
    """Refuse, before the work, files that cannot be written or would overwrite something else.

    Parameters
    ----------
    outputs : iterable of (str, path or None, bytes)
        Option, file and first bytes of a file of its kind; empty for a folder. None is skipped.
    inputs : iterable of (path or None)
        Files read in the same run.

    Raises
    ------
    InputError
        If an output is an input, another output, a file of another kind, or cannot be written.
    """
    taken = {_identity(path): "an input of this run" for path in inputs if path}
    faults = []
    for option, path, start in outputs:
        if path is None:
            continue
        where = f"{option} {_shown(path)}"
        try:
            target = Path(path)
            if not start:
                faults += _folder_faults(where, target)
                continue
            if other := taken.get(_identity(target)):
                faults.append(Fault(where, f"would overwrite {other}", "", _OWN_FILE, "choose another file name"))
                continue
            taken[_identity(target)] = f"what {option} writes"
            if target.is_dir():
                faults.append(Fault(where, "is a folder", expected="a file name", fix="name a file in it"))
                continue
            _check_kind(target, start, option)
            faults += _folder_faults(where, target.parent)
        except InputError as error:
            faults += error.faults
        except (OSError, ValueError, RuntimeError) as error:
            problem = f"cannot be written: {_reason(error)}"
            faults.append(Fault(where, problem, "", _WRITABLE, "choose another file or folder"))
    if faults:
        raise InputError(*faults)


def _folder_faults(where: str, folder: Path) -> list[Fault]:
    existing = next((path for path in (folder, *folder.parents) if path.exists()), None)
    fix = "choose another file or folder"
    if existing is not None and not existing.is_dir():
        return [Fault(where, f"{_shown(existing)} is a file, not a folder", "", _WRITABLE, fix)]
    if existing is not None and not os.access(existing, os.W_OK | os.X_OK):
        return [Fault(where, "cannot be written: no permission", "", _WRITABLE, fix)]
    return []


def _identity(path: str | os.PathLike[str]) -> object:
    """Return a key that is equal for two names of one file."""
    try:
        resolved = Path(path).resolve()
    except (OSError, ValueError, RuntimeError):  # the working folder may have been deleted
        return os.fspath(path)
    try:
        status = resolved.stat()
    except (OSError, ValueError):
        return str(resolved)
    return status.st_dev, status.st_ino


def _check_kind(target: Path, start: bytes, option: str) -> None:
    if not target.is_file():
        return
    with target.open("rb") as stream:
        existing = stream.read(4096)
    if not existing or kind_of(existing) == kind_of(start):
        return
    wanted = kind_of(start) if kind_of(start) in _KINDS else "a table of this kind"
    existing_kind = kind_of(existing) if kind_of(existing) in _KINDS else "a file of another kind"
    where = f"{option} {_shown(target)}".strip()
    fix = "choose another name, or remove that file first"
    raise InputError(
        Fault(where, f"exists already and is not {wanted}", existing_kind, f"a new file, or {wanted}", fix)
    )


def check_file(path: str | os.PathLike[str], most: int, what: str) -> Path:
    """Return the path of a regular file; a pipe or a device, which may never end, is refused without opening it.

    Parameters
    ----------
    path : path
        The file.
    most : int
        Bytes it may have.
    what : str
        What it should be, such as "a weather file".

    Raises
    ------
    InputError
        If it is missing, of another kind, or too large.
    """
    file = Path(path)
    try:
        if file.is_dir():
            raise InputError(
                Fault(_shown(file), "cannot be read: it is a folder", expected=what, fix="name the file in it")
            )
        if not file.exists():
            raise InputError(Fault(_shown(file), "cannot be read: no such file", expected=what, fix="check the path"))
        if not file.is_file():
            raise InputError(
                Fault(_shown(file), "cannot be read: not a regular file", expected=what, fix="save it to a file first")
            )
        large = file.stat().st_size > most
    except (OSError, ValueError) as error:
        raise unreadable(file, what, error) from None
    if large:
        raise _too_large(file, most, what)
    return file


def _too_large(path: Path, most: int, what: str) -> InputError:
    expected = f"at most {most / 1e6:.0f} MB"
    return InputError(Fault(_shown(path), f"is too large for {what}", _size(path), expected, "check the file"))


def unreadable(path: Path, what: str, error: Exception) -> InputError:
    """Return the error for a file that the system cannot read."""
    fix = "check path and permissions"
    return InputError(Fault(_shown(path), f"cannot be read: {_reason(error)}", expected=what, fix=fix))


def read_bytes(path: str | os.PathLike[str], most: int, what: str) -> bytes:
    """Return the content of a file that `check_file` accepts.

    Parameters
    ----------
    path, most, what
        As for `check_file`. [-, bytes, -]

    Raises
    ------
    InputError
        As `check_file`, or if the file cannot be read.
    """
    file = check_file(path, most, what)
    try:
        with file.open("rb") as stream:
            data = stream.read(most + 1)
    except OSError as error:
        raise unreadable(file, what, error) from None
    if len(data) > most:  # it grew meanwhile
        raise _too_large(file, most, what)
    return data


def _size(path: Path) -> str:
    try:
        return f"{path.stat().st_size / 1e6:.0f} MB"
    except OSError:
        return ""


# ---- folders and tables ----------------------------------------------------------------------------------------------
def cache_folder() -> Path | None:
    """Return the user's cache folder: XDG_CACHE_HOME, or .cache at home; None for a user without a home."""
    if named := os.environ.get("XDG_CACHE_HOME"):
        return Path(named)
    try:
        return Path.home() / ".cache"
    except (RuntimeError, OSError):
        return None


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV text; an apostrophe marks text that a spreadsheet would take for a formula."""

    def cell(value: Any) -> Any:
        return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) and not _is_number(value) else value

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([cell(value) for value in row] for row in rows)
    return text.getvalue()


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text))
