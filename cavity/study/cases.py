"""Finished cases kept on disk: one is not computed twice, and a study that was killed goes on where it stopped.

An entry is named by what its numbers depend on: the wall as simulated, the values of the weather, the choice of case,
the source text of all that computes, and the versions of the libraries it uses. Names, comments and paths are not part
of that; they are stamped on reading. An entry counts only if its findings are there, are whole, and name the digest of
the file beside them; anything else is taken for missing, so a process may be killed at any moment, and several may
share the folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cavity.constants import HOUR
from cavity.kept import UNFINISHED, code_digest, default_folder, packed, write_entry
from cavity.risk import Finding

if TYPE_CHECKING:
    import xarray as xr

    from cavity.wallfile.model import Case

BOUND = 2_000_000_000  # bytes, oldest used first out: about 150 years of three segments
KEEPS = ("all", "daily", "water", "findings")  # kept of a case: the Dataset, daily humidity, water held, findings only
_ABANDONED = HOUR  # s, age at which an unfinished file belongs to nobody
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
        scratch = self.folder / UNFINISHED
        try:
            files: dict[str, str] = {}
            size = 0
            if dataset is not None:
                data = packed(dataset)
                files[keep], size = hashlib.sha256(data).hexdigest(), len(data)
                write_entry(self.folder / f"{key}.{keep}.bin", data, scratch)
            files = self._recorded(key) | files  # what an earlier study kept of the same case stays usable
            body = json.dumps({"files": files, "findings": [asdict(finding) for finding in findings]}).encode()
            sealed = hashlib.sha256(body).hexdigest().encode() + b"\n" + body
            write_entry(self.folder / f"{key}.json", sealed, scratch)
        except OSError:
            return False
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
        for path in (self.folder / UNFINISHED).glob("*"):
            try:
                if time.time() - path.stat().st_mtime > _ABANDONED:
                    path.unlink(missing_ok=True)
            except OSError:
                continue
