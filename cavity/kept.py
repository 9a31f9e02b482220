"""What was worked out before, kept on disk: how it is named, so that it is never stale, and how it is stored.

An entry is named by everything its numbers depend on: the inputs, the source text of all that computes, and the
versions of the libraries it uses. `study.cases` keeps finished cases, `recall` anything that is one Dataset.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cavity.files import cache_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import xarray as xr

BOUND = 200_000_000  # bytes of what `recall` keeps, oldest used first out: 200 years of weather
LARGEST = BOUND // 4  # bytes of one entry that is kept
# parts of the package that only show; nothing that computes may import them (the contracts in pyproject)
_SHOWS = ("report", "live", "published", "cli.py", "__main__.py", "terminal.py")
_LIBRARIES = (  # that compute, or read weather
    "CoolProp", "h5netcdf", "h5py", "llvmlite", "numba", "numpy", "pandas", "pint", "pvlib", "scipy", "xarray",
)  # fmt: skip
UNFINISHED = "unfinished"  # folder of entries being written; `study.cases` sweeps it
_SEAL = 32  # bytes of the digest at the start of an entry
_ALIGNED = 64  # bytes, arrays begin at multiples of it


@functools.cache
def code_digest() -> str:
    """Return the digest of everything that turns a wall and a weather into numbers."""
    return _digest_of(Path(__file__).parent, {name: _version(name) for name in ("cavity", *_LIBRARIES)})


def _version(name: str) -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:  # this package itself, run from a source tree that is not installed
        return ""


def _digest_of(package: Path, versions: Mapping[str, str]) -> str:
    """Return the digest of the sources and tables of a package and of what it computes with; 10 ms."""
    digest = hashlib.sha256(f"{sys.version_info[:3]} {sorted(versions.items())}\n".encode())
    for path in sorted(package.rglob("*")):
        name = path.relative_to(package)
        if path.suffix in (".py", ".toml") and name.parts[0] not in _SHOWS:
            digest.update(f"{name.as_posix()}\n".encode() + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def default_folder() -> Path:
    """Return the folder of finished cases: CAVITY_CASES, or cavity/cases in the user's cache folder."""
    if named := os.environ.get("CAVITY_CASES"):
        return Path(named)
    import tempfile

    return (cache_folder() or Path(tempfile.gettempdir())) / "cavity" / "cases"


def recall(key: Callable[[], str], make: Callable[[], xr.Dataset]) -> xr.Dataset:
    """Return a Dataset that was made before, or make and keep it.

    An entry that is damaged counts as missing. A folder that is full or cannot be written costs only the keeping.

    Parameters
    ----------
    key : callable
        Returns all that the Dataset depends on, but for the program. It is asked again when the Dataset has been made:
        what was made from inputs that changed meanwhile is not kept.
    make : callable
        Returns the Dataset.

    Returns
    -------
    xarray.Dataset
        In memory, the caller's own.
    """
    asked = key()
    path = default_folder() / "read" / hashlib.sha256(f"{code_digest()}\n{asked}".encode()).hexdigest()
    try:
        data = path.read_bytes()
        if hashlib.sha256(data[_SEAL:]).digest() == data[:_SEAL]:
            with contextlib.suppress(OSError):
                os.utime(path)  # used now
            return opened(data[_SEAL:])
    except (OSError, ValueError, KeyError, TypeError):
        pass
    dataset = make()
    if key() == asked:
        with contextlib.suppress(OSError):
            _keep(path, packed(dataset))
    return dataset


def write_entry(path: Path, data: bytes, scratch: Path) -> None:
    """Write an entry in the folder `scratch` and move it to its place: whole or not at all; OSError if it cannot be."""
    import uuid

    for folder in (scratch, path.parent):
        folder.mkdir(parents=True, exist_ok=True)
    part = scratch / uuid.uuid4().hex
    try:
        part.write_bytes(data)
        part.replace(path)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _keep(path: Path, data: bytes) -> None:
    """Write an entry of `recall`, and remove the ones not used for the longest time."""
    if len(data) > LARGEST:
        return
    write_entry(path, hashlib.sha256(data).digest() + data, path.parents[1] / UNFINISHED)
    entries = []
    for entry in os.scandir(path.parent):
        with contextlib.suppress(OSError):  # another process removed it
            entries.append((entry.stat().st_mtime, entry.stat().st_size, entry.path))
    filled = 0
    for _, size, name in sorted(entries, reverse=True):
        filled += size
        if filled > BOUND:
            with contextlib.suppress(OSError):
                Path(name).unlink(missing_ok=True)


def packed(dataset: xr.Dataset) -> bytes:
    """Return a Dataset as bytes: the length of a note (JSON), the note on dims, coordinates and attributes, the arrays.

    NetCDF is what users get; writing and reading it took longer than half of the simulation itself, numpy's archive
    three times as long as this.
    """

    def plain(attrs: Any) -> dict[str, Any]:
        return {name: value.item() if hasattr(value, "item") else value for name, value in attrs.items()}

    rows: list[list[Any]] = []
    pieces: list[bytes] = []
    reached = 0
    for name, var in dataset.variables.items():
        values = var.values if var.values.dtype.kind in "fiubMm" else var.values.astype(str)
        rows.append([str(name), [str(dim) for dim in var.dims], plain(var.attrs), values.dtype.str, reached])
        pieces += [values.tobytes(), bytes(-values.nbytes % _ALIGNED)]
        reached += len(pieces[-2]) + len(pieces[-1])
    coords = [str(name) for name in dataset.coords]
    sizes = {str(dim): size for dim, size in dataset.sizes.items()}
    note = json.dumps({"attrs": plain(dataset.attrs), "coords": coords, "sizes": sizes, "variables": rows}).encode()
    note += b" " * (-(len(note) + 8) % _ALIGNED)
    return b"".join([len(note).to_bytes(8, "little"), note, *pieces])


def opened(data: bytes) -> xr.Dataset:
    """Return the Dataset of an entry, in memory, as it was before it was written."""
    import math

    import numpy as np
    import xarray as xr

    held = bytearray(data)  # so that the arrays can be written to
    first = 8 + int.from_bytes(data[:8], "little")
    note = json.loads(data[8:first])
    variables = {}
    for name, dims, attrs, kind, at in note["variables"]:
        shape = [note["sizes"][dim] for dim in dims]
        values = np.frombuffer(held, np.dtype(kind), math.prod(shape), first + at)
        variables[name] = (tuple(dims), values.reshape(shape), attrs)
    coords = {name: variables.pop(name) for name in note["coords"]}
    return xr.Dataset(variables, coords=coords, attrs=note["attrs"])
