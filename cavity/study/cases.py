"""Finished cases kept on disk: one is not computed twice, and a study that was killed goes on where it stopped.

An entry is named by what its numbers depend on: the wall as simulated, the values of the weather, the choice of case,
the source text of all that computes, and the versions of the libraries it uses. Names, comments and paths are not part
of that; they are stamped on reading. An entry counts only if its findings are there, are whole, and name the digest of
the file beside them; anything else is taken for missing, so a process may be killed at any moment, and several may
share the folder.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import os
import sys
import time
import uuid
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cavity.constants import HOUR
from cavity.files import cache_folder
from cavity.risk import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    import xarray as xr

    from cavity.wallfile.model import Case

BOUND = 2_000_000_000  # bytes, oldest used first out: about 150 years of three segments
KEEPS = ("all", "daily", "water", "findings")  # kept of a case: the Dataset, daily humidity, water held, findings only
# parts of the package that only show; nothing that computes may import them (the contracts in pyproject)
_SHOWS = ("report", "live", "published", "cli.py", "__main__.py", "terminal.py")
_LIBRARIES = ("CoolProp", "llvmlite", "numba", "numpy", "pandas", "pint", "pvlib", "scipy", "xarray")  # that compute
_ABANDONED = HOUR  # s, age at which an unfinished file belongs to nobody
_ALIGNED = 64  # bytes, arrays begin at multiples of it
_TRIM = 0.9  # fraction of the bound that is left after a clean-up, so that not every new case causes one
# read by no number: what a reader sees, and choices among which the job has already chosen
_NOT_SIMULATED = (
    "name", "source", "text", "description", "invented", "warnings", "variants", "uncertain", "rules", "depths",
    "opening_sets", "columns",
)  # fmt: skip
_PLACE = ("latitude", "longitude", "utc_offset", "elevation", "has_rain")  # what the sun and the rain ask of a weather


@dataclass(frozen=True)
class Job:
    """One case to simulate and judge in one weather.

    Parameters
    ----------
    case : Case
        From `Wall.case`.
    weather : xarray.Dataset, (time,)
        From `read_weather`.
    hours : int or None
        Hours to run from the start month on; None: whole years.
    """

    case: Case
    weather: xr.Dataset
    hours: int | None = None


@functools.cache
def code_digest() -> str:
    """Return the digest of everything that turns a wall and a weather into numbers."""
    from importlib.metadata import version

    return _digest_of(Path(__file__).parents[1], {name: version(name) for name in ("cavity", *_LIBRARIES)})


def _digest_of(package: Path, versions: Mapping[str, str]) -> str:
    """Return the digest of the sources and tables of a package and of what it computes with; 10 ms."""
    digest = hashlib.sha256(f"{sys.version_info[:3]} {sorted(versions.items())}\n".encode())
    for path in sorted(package.rglob("*")):
        name = path.relative_to(package)
        if path.suffix in (".py", ".toml") and name.parts[0] not in _SHOWS:
            digest.update(f"{name.as_posix()}\n".encode() + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def weather_digest(weather: xr.Dataset) -> str:
    """Return the digest of the values of a weather; its name and file do not count."""
    import numpy as np

    digest = hashlib.sha256()
    for name in sorted([*map(str, weather.data_vars), "time"]):
        values = np.ascontiguousarray(weather[name].to_numpy())
        values = values.astype("datetime64[ns]") if values.dtype.kind == "M" else values
        digest.update(f"{name} {values.dtype} {values.shape}\n".encode() + values.tobytes())
    for name in _PLACE:
        digest.update(f"{name} {float(weather.attrs.get(name, 0.0))!r}\n".encode())
    return digest.hexdigest()


def key_of(job: Job, weather: str | None = None) -> str:
    """Return the name of a case's entry: equal names have equal numbers.

    Parameters
    ----------
    job : Job
        The case.
    weather : str, optional
        Digest of its weather, where it is known already.

    Returns
    -------
    str
        sha256, in hexadecimal.
    """
    case, wall = job.case, job.case.wall
    plain = asdict(wall)
    for name in _NOT_SIMULATED:
        del plain[name]
    plain["opening_set"] = asdict(case.opening_set)
    plain["column"] = asdict(case.column)
    plain["cavity"]["depth"] = case.depth
    plain["hours"] = job.hours
    if wall.indoor.file:  # hours of the room: their values count, not where they lie
        with contextlib.suppress(OSError):  # simulate says what is wrong with it
            plain["indoor"]["file"] = hashlib.sha256(Path(wall.indoor.file).read_bytes()).hexdigest()
    text = json.dumps(plain, sort_keys=True, default=str)
    parts = (code_digest(), weather or weather_digest(job.weather), text)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def default_folder() -> Path:
    """Return the folder of finished cases: CAVITY_CASES, or cavity/cases in the user's cache folder."""
    if named := os.environ.get("CAVITY_CASES"):
        return Path(named)
    import tempfile

    return (cache_folder() or Path(tempfile.gettempdir())) / "cavity" / "cases"


class Store:
    """The folder of finished cases.

    Parameters
    ----------
    folder : path, optional
        Made when first needed; None: `default_folder()`.
    bound : int
        Bytes that its entries may fill; those not used for the longest time go first.
    """

    def __init__(self, folder: Path | str | None = None, bound: int = BOUND) -> None:
        self.folder = Path(folder) if folder else default_folder()
        self.bound = bound
        self._filled: int | None = None  # bytes, as far as this process knows

    def read(self, key: str, keep: str) -> tuple[bytes, tuple[Finding, ...]] | None:
        """Return what was kept of a case and its findings; None where it is missing or not whole."""
        note = self.folder / f"{key}.json"
        try:
            digest, body = note.read_bytes().split(b"\n", 1)
            if hashlib.sha256(body).hexdigest() != digest.decode("ascii"):
                return None
            entry = json.loads(body)
            findings = tuple(Finding.from_plain(row) for row in entry["findings"])
            data = b""
            if keep != "findings":
                data = (self.folder / f"{key}.{keep}.bin").read_bytes()
                if hashlib.sha256(data).hexdigest() != entry["files"].get(keep):
                    return None
            for name in [note, *self.folder.glob(f"{key}.*.bin")]:
                os.utime(name)  # used now
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return data, findings

    def write(self, key: str, keep: str, dataset: xr.Dataset | None, findings: tuple[Finding, ...]) -> bool:
        """Keep a case, whole or not at all; return False where the folder cannot be written.

        The Dataset is not compressed: it would cost a second to save a third of the bytes.
        """
        scratch = self.folder / "unfinished"
        part = scratch / uuid.uuid4().hex
        try:
            scratch.mkdir(parents=True, exist_ok=True)
            files: dict[str, str] = {}
            size = 0
            if dataset is not None:
                data = packed(dataset)
                part.write_bytes(data)
                files[keep], size = hashlib.sha256(data).hexdigest(), len(data)
                part.replace(self.folder / f"{key}.{keep}.bin")
            files = self._recorded(key) | files  # what an earlier study kept of the same case stays usable
            body = json.dumps({"files": files, "findings": [asdict(finding) for finding in findings]}).encode()
            part.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
            part.replace(self.folder / f"{key}.json")
        except OSError:
            return False
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
        self._filled = None if self._filled is None else self._filled + size + len(body)
        self.trim()
        return True

    def _recorded(self, key: str) -> dict[str, str]:
        """Digests of the files that the present entry of a case names."""
        try:
            return dict(json.loads((self.folder / f"{key}.json").read_bytes().split(b"\n", 1)[1])["files"])
        except (OSError, ValueError, KeyError, TypeError, IndexError):
            return {}

    def trim(self) -> None:
        """Remove the entries not used for the longest time until the bound is kept, and files nobody finished."""
        if self._filled is not None and self._filled <= self.bound:
            return
        entries: dict[str, list[Any]] = {}  # last use, bytes, paths
        for path in self.folder.glob("*.*"):
            try:
                status = path.stat()
            except OSError:  # another process removed it
                continue
            entry = entries.setdefault(path.name.split(".")[0], [0.0, 0, []])
            entry[0] = max(entry[0], status.st_mtime)
            entry[1] += status.st_size
            entry[2].append(path)
        filled = sum(entry[1] for entry in entries.values())
        if filled > self.bound:
            for _, size, paths in sorted(entries.values(), key=lambda entry: entry[0]):
                if filled <= _TRIM * self.bound:
                    break
                for path in sorted(paths, reverse=True):
                    path.unlink(missing_ok=True)
                filled -= size
        self._filled = filled
        for path in (self.folder / "unfinished").glob("*"):
            try:
                if time.time() - path.stat().st_mtime > _ABANDONED:
                    path.unlink(missing_ok=True)
            except OSError:
                continue


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
