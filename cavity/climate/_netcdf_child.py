"""Run by `netcdf.py` in its own process: copies series and attributes of a NetCDF file that may be damaged.

Usage: python _netcdf_child.py FILE COPY. COPY (npz) holds the series of numbers and, as JSON, the attributes of the
file and of each series. It imports nothing of the project, so that it starts fast.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import Any

import numpy as np

LARGEST = 40_000_000  # numbers in a series: 75 years of minutes
LONGEST = 100_000  # characters of an attribute


def plain(value: object) -> object:
    """Return an attribute as a JSON value; None where it is neither text nor a number."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", errors="replace")
    if isinstance(value, np.ndarray):
        value = value.ravel()[0] if value.size == 1 else None
        return plain(value)
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, str):
        return value[:LONGEST]
    return value if isinstance(value, (int, float)) else None


def attributes(pairs: Iterable[tuple[object, object]]) -> dict[str, object]:
    """Return the attributes that are text or a number."""
    texts = {str(key): plain(value) for key, value in pairs}
    return {key: value for key, value in texts.items() if value is not None}


def hdf(file: str) -> tuple[dict[str, np.ndarray], dict[str, object], dict[str, dict[str, object]]]:
    """Return the series, the attributes of the file and those of the series of a NetCDF 4 file."""
    import h5py

    series, notes = {}, {}
    with h5py.File(file, "r") as opened:
        head = attributes((key, opened.attrs[key]) for key in opened.attrs)
        for name in opened:
            item = opened[name]
            if not isinstance(item, h5py.Dataset) or item.dtype.kind not in "iuf" or item.size > LARGEST:
                continue
            series[name] = item[()]
            keys = [key for key in item.attrs if key not in ("DIMENSION_LIST", "REFERENCE_LIST", "CLASS", "NAME")]
            notes[name] = attributes((key, item.attrs[key]) for key in keys)
    return series, head, notes


def classic(file: str) -> tuple[dict[str, np.ndarray], dict[str, object], dict[str, dict[str, object]]]:
    """Return the same of a NetCDF 3 file."""
    from scipy.io import netcdf_file

    series, notes = {}, {}
    with netcdf_file(file, "r", mmap=False) as opened:
        head = attributes(opened._attributes.items())
        for name, item in opened.variables.items():
            if item.data.dtype.kind in "iuf" and item.data.size <= LARGEST:
                series[name] = item.data.astype(item.data.dtype.newbyteorder("="))
                notes[name] = attributes(item._attributes.items())
    return series, head, notes


def main(file: str, copy: str) -> None:
    """Write the copy."""
    with open(file, "rb") as opened:  # noqa: PTH123  no further import
        magic = opened.read(4)
    series, head, notes = classic(file) if magic[:3] == b"CDF" else hdf(file)
    text = np.frombuffer(json.dumps({"head": head, "series": notes}).encode(), dtype=np.uint8)
    arrays: dict[str, Any] = {f"series {name}": values for name, values in series.items()}
    np.savez(copy, **arrays, notes=text)


if __name__ == "__main__":
    try:
        main(*sys.argv[1:3])
    except Exception as error:  # each library raises its own kinds; the parent reports it
        print(str(error).splitlines()[0][:200] if str(error) else type(error).__name__)
        sys.exit(3)
