"""Files written whole or not at all, and never over something that is not theirs."""

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

HTML, NETCDF, PDF = b"<!doctype html>", b"\x89HDF", b"%PDF"  # how files of these kinds begin
_KINDS = {
    "an HTML page": (HTML, b"<html"),
    "a NetCDF file": (NETCDF, b"CDF"),
    "a PDF file": (PDF,),
    "an SVG drawing": (b"<svg", b"<?xml"),
    "an office file": (b"PK\x03\x04",),
}
_PART = re.compile(r"\.cavity-([0-9a-f]{8})-(\d+)-\d+\.part")
_ABANDONED = HOUR  # s, age at which an unfinished file of another computer belongs to nobody
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet takes a cell that begins so for a formula
_counter = itertools.count()


def write_whole(path: str | os.PathLike[str], data: bytes | memoryview | str, *, over: bool = False) -> Path:
    """Write a file beside its target, then move it there; what was there stays until then.

    Parameters
    ----------
    path : path
        Target; missing folders are made.
    data : bytes or str
        The whole content; text becomes UTF-8.
    over : bool, keyword only
        Replace whatever is there; otherwise only a file of the same kind is replaced.

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
    made: list[Path] = []
    try:
        if not over:
            _check_kind(target, bytes(content[:64]), "")
        if target.is_dir():
            raise InputError(Fault(_shown(target), "is a folder", expected="a file name", fix="name a file in it"))
        if target.exists() and not target.is_file():  # a device or a pipe is written to, not replaced
            with target.open("wb") as stream:
                stream.write(content)
            return target
        place = target.resolve() if target.is_symlink() else target
        made = _make_folder(place.parent)
        _fill(place, content)
    except (OSError, ValueError, RuntimeError) as error:  # ValueError: a null character; RuntimeError: links in a ring
        for folder in made:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise InputError(
            Fault(_shown(target), f"cannot be written: {_said(error)}", fix="choose another file or folder")
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
    """Make a folder and those above it; return those made, innermost first."""
    missing = list(itertools.takewhile(lambda each: not each.exists(), (folder, *folder.parents)))
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _host() -> str:
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]


def _sweep(folder: Path) -> None:
    """Remove what a killed process left in a folder."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            found = _PART.fullmatch(entry.name)
            if found and not _at_work(found[1], int(found[2]), entry):
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


def _said(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


# ---- what an output may not replace --------------------------------------------------------------------------------
def kind_of(start: bytes) -> str:
    """Return what a file is by how it begins; of a table the name of its first column, of other text its first line."""
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for kind, signs in _KINDS.items():
        if any(text.startswith(sign.lower()) for sign in signs):
            return kind
    return re.split(rb"[,;\r\n]", text, maxsplit=1)[0].decode("utf-8", "replace")


def check_outputs(
    outputs: Iterable[tuple[str, str | os.PathLike[str] | None, bytes]],
    inputs: Iterable[str | os.PathLike[str] | None],
) -> None:
    """Refuse, before the work, files that cannot be written or would take the place of something else.

    Parameters
    ----------
    outputs : iterable of (str, path or None, bytes)
        Option, file and how a file of its kind begins; empty for a folder. None is passed over.
    inputs : iterable of (path or None)
        Files read in the same run.

    Raises
    ------
    InputError
        If an output is an input, another output, a file of another kind, or cannot be written.
    """
    taken = {each: "an input of this run" for path in inputs if path for each in [_identity(path)]}
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
            if said := taken.get(_identity(target)):
                faults.append(Fault(where, f"would overwrite {said}", fix="choose another file name"))
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
            faults.append(Fault(where, f"cannot be written: {_said(error)}", fix="choose another file or folder"))
    if faults:
        raise InputError(*faults)


def _folder_faults(where: str, folder: Path) -> list[Fault]:
    there = next((each for each in (folder, *folder.parents) if each.exists()), None)
    fix = "choose another file or folder"
    if there is not None and not there.is_dir():
        return [Fault(where, f"{_shown(there)} is a file, not a folder", fix=fix)]
    if there is not None and not os.access(there, os.W_OK | os.X_OK):
        return [Fault(where, "cannot be written: no permission", fix=fix)]
    return []


def _identity(path: str | os.PathLike[str]) -> object:
    """Return what two names of one file have in common."""
    try:
        resolved = Path(path).resolve()
    except (OSError, ValueError, RuntimeError):  # the working folder may have been deleted
        return os.fspath(path)
    try:
        found = resolved.stat()
    except (OSError, ValueError):
        return str(resolved)
    return found.st_dev, found.st_ino


def _check_kind(target: Path, start: bytes, option: str) -> None:
    if not target.is_file():
        return
    with target.open("rb") as stream:
        there = stream.read(4096)
    if not there or kind_of(there) == kind_of(start):
        return
    wanted = kind_of(start) if kind_of(start) in _KINDS else "a table of this kind"
    where = f"{option} {_shown(target)}".strip()
    fix = "choose another name, or remove that file first"
    raise InputError(Fault(where, f"is there already and is not {wanted}", fix=fix))


def check_file(path: str | os.PathLike[str], most: int, what: str) -> Path:
    """Return the path of a regular file that may be read; a pipe or a device, which may never end, is refused unopened.

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
    place = Path(path)
    try:
        if place.is_dir():
            raise InputError(
                Fault(_shown(place), "cannot be read: it is a folder", expected=what, fix="name the file in it")
            )
        if not place.exists():
            raise InputError(Fault(_shown(place), "cannot be read: no such file", expected=what, fix="check the path"))
        if not place.is_file():
            raise InputError(
                Fault(_shown(place), "cannot be read: not a regular file", expected=what, fix="save it to a file first")
            )
        large = place.stat().st_size > most
    except (OSError, ValueError) as error:
        raise unreadable(place, what, error) from None
    if large:
        said = f"at most {most / 1e6:.0f} MB"
        raise InputError(Fault(_shown(place), f"is too large for {what}", f"{_size(place)}", said, "check the file"))
    return place


def unreadable(path: Path, what: str, error: Exception) -> InputError:
    """Return the error for a file that the system does not let be read."""
    fix = "check path and permissions"
    return InputError(Fault(_shown(path), f"cannot be read: {_said(error)}", expected=what, fix=fix))


def read_bytes(path: str | os.PathLike[str], most: int, what: str) -> bytes:
    """Return the content of a regular file; a pipe or a device, which may never end, is not opened.

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
        If it is missing, of another kind, too large, or cannot be read.
    """
    place = check_file(path, most, what)
    try:
        with place.open("rb") as stream:
            data = stream.read(most + 1)
    except OSError as error:
        raise unreadable(place, what, error) from None
    if len(data) > most:  # it grew meanwhile
        said = f"at most {most / 1e6:.0f} MB"
        raise InputError(Fault(_shown(place), f"is too large for {what}", f"{_size(place)}", said, "check the file"))
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
    """Return a table as CSV text; text that a spreadsheet would take for a formula gets an apostrophe before it."""

    def cell(value: Any) -> Any:
        return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) and not _is_number(value) else value

    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([cell(value) for value in row] for row in rows)
    return held.getvalue()


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text))
