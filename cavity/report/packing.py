"""Packing of figures and hourly series for the page: whole numbers of a small step, differences, deflated, base64.

Every array of every figure is turned into 16-bit whole numbers of a step chosen from its range. Of these the
running difference is taken, or the difference from the like array of an earlier case, whichever varies less (cases of
one climate differ little), and the bytes of one significance are laid side by side, which deflate packs best. Equal
arrays (weather, shared axes) are kept once. The page undoes the same steps; no figure is computed again there.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import zlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

_SMALL = 48  # arrays up to this length stay readable numbers
_GONE = -32768  # code of a missing value
_LARGEST = 32000  # code of a value; differences may wrap, values may not


def deflate(data: bytes) -> str:
    """Return `data` deflated (zlib, RFC 1950) as base64 text; level 6 is ten times faster than 9 and 4 % larger."""
    return base64.b64encode(zlib.compress(data, 6)).decode("ascii")


def script_json(value: Any) -> str:
    """Return JSON that is safe inside a script element: no angle bracket, ampersand or line separator as such."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def step_for(low: float, high: float, count: int = 1000) -> float:
    """Return a step of the 1-2-5 series that cuts the range into at least `count` parts."""
    span = max(high - low, 1e-12)
    power = 10.0 ** math.floor(math.log10(span / count))
    return next((m * power for m in (5.0, 2.0) if m * power <= span / count), power)


def codes_of(values: np.ndarray, step: float) -> np.ndarray:
    """Return ``round(values / step)`` as whole numbers, missing values as a number of their own."""
    scaled = np.asarray(values, float) / step
    return np.where(np.isfinite(scaled), np.round(np.nan_to_num(scaled)), _GONE).astype(np.int64)


def _planes(codes: np.ndarray) -> bytes:
    """Return 16-bit numbers as two planes of bytes, high bytes first; they wrap modulo 65536 by design."""
    wrapped = codes.astype(np.uint16)
    return (wrapped >> 8).astype(np.uint8).tobytes() + (wrapped & 255).astype(np.uint8).tobytes()


def _restless(codes: np.ndarray) -> float:
    """Return roughly the bits that a series needs: the mean size of its numbers as a power of two."""
    return float(np.log2(1.0 + np.abs(codes)).mean())


def unpack(ref: dict[str, Any], blocks: Sequence[bytes]) -> np.ndarray:
    """Return the numbers behind a reference, as the page does; 2D arrays as (column, row)."""
    codes = _codes(ref, blocks)
    signed = np.where(codes >= 32768, codes - 65536, codes)
    values = np.where(signed == _GONE, np.nan, signed * ref["q"])
    values = values**2 if ref.get("r") else values
    return values.reshape(-1, ref["h"]) if ref.get("h") else values


def _codes(ref: dict[str, Any], blocks: Sequence[bytes]) -> np.ndarray:
    data, count = blocks[ref["b"]], ref["n"]
    high = np.frombuffer(data, np.uint8, count, ref["a"]).astype(np.int64)
    low = np.frombuffer(data, np.uint8, count, ref["a"] + count).astype(np.int64)
    codes = 256 * high + low
    if ref.get("d"):
        codes = np.cumsum(codes)
    if "l" in ref:
        codes = codes + _codes(ref["l"], blocks)
    return codes & 0xFFFF


class Packer:
    """Gathers arrays into blocks; equal arrays are kept once, in the block of the first case that uses them.

    Block 0 is shared by all cases: arrays met again under another case, and those that others refer to, go there.
    """

    def __init__(self) -> None:
        self._known: dict[str, dict[str, Any]] = {}
        self._data: dict[str, bytes] = {}
        self._owner: dict[str, int] = {}
        self._models: dict[Any, tuple[dict[str, Any], np.ndarray, str]] = {}

    def add(
        self,
        values: Any,
        owner: int,
        *,
        like: Any = None,
        step: float | None = None,
        parts: int = 1000,
        root: bool = False,
    ) -> dict[str, Any]:
        """Return the reference of an array.

        Parameters
        ----------
        values : array, 1D or 2D, or evenly spaced times
            What the page needs.
        owner : int
            Number of the block of its case, from 1.
        like : hashable, keyword only
            What the array is; a later array of that name may be stored as its difference from the first.
        step : float, keyword only
            Step of the packed numbers; a part of the range where not given. [as the values]
        parts : int, keyword only
            Least number of steps in the range.
        root : bool, keyword only
            Pack the square root, for positive values over decades.
        """
        array = np.asarray(values)
        if array.dtype.kind == "M":
            stamp = array.astype("datetime64[m]").astype(np.int64)
            apart = int(stamp[1] - stamp[0]) if len(stamp) > 1 else 60
            if not (np.diff(stamp) == apart).all():
                raise ValueError("the hours of a figure are not evenly spaced")
            return {"t": int(stamp[0]), "s": apart, "n": len(stamp)}
        flat = np.asarray(array, float).T.ravel()
        if root:
            flat = np.sqrt(np.clip(flat, 0.0, None))
        finite = flat[np.isfinite(flat)]
        low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
        model = self._models.get(like) if like is not None else None
        if model is not None and (model[0]["n"] != flat.size or max(abs(low), abs(high)) / model[0]["q"] > _LARGEST):
            model = None
        step = model[0]["q"] if model is not None else step or step_for(low, high, parts)
        while max(abs(low), abs(high)) / step > _LARGEST:
            step *= 10.0
        step = float(f"{step:.6g}")
        codes = codes_of(flat, step)
        key = hashlib.sha256(codes.tobytes() + repr((step, array.shape, root)).encode()).hexdigest()
        if key in self._known:
            if self._owner[key] != owner:
                self._owner[key] = 0
            return self._known[key]
        made: dict[str, Any] = {"i": len(self._known), "a": 0, "n": int(flat.size), "q": step, "b": 0, "d": 1}
        moved = np.diff(codes, prepend=0)
        if model is not None:
            apart_from = codes - model[1]
            if _restless(apart_from) < 0.9 * _restless(moved):  # a dependence must be worth it
                moved = apart_from
                made |= {"d": 0, "l": model[0]}
                self._owner[model[2]] = 0
        if array.ndim == 2:
            made["h"] = array.shape[0]
        if root:
            made["r"] = 1
        self._known[key], self._data[key], self._owner[key] = made, _planes(moved), owner
        if like is not None and like not in self._models:
            self._models[like] = (made, codes, key)
        return made

    def blocks(self, count: int) -> list[str]:
        """Place every array, complete the references, and return the blocks 0 to `count` as base64 text."""
        parts: list[list[bytes]] = [[] for _ in range(count + 1)]
        filled = [0] * (count + 1)
        for key, made in self._known.items():
            block = self._owner[key]
            made["b"], made["a"] = block, filled[block]
            parts[block].append(self._data[key])
            filled[block] += len(self._data[key])
        with ThreadPoolExecutor() as pool:  # zlib lets the other threads go on
            return list(pool.map(deflate, (b"".join(rows) for rows in parts)))


def plain(value: Any) -> Any:
    """Return `value` as plain JSON: arrays as lists, numbers to six digits, missing ones as null, times as text."""
    if isinstance(value, np.ndarray):
        if value.dtype.kind == "M":
            return [str(item) for item in value.astype("datetime64[m]")]
        if value.dtype.kind == "f" and value.ndim == 1:
            return [float(f"{item:.6g}") if math.isfinite(item) else None for item in value.tolist()]
        return [plain(item) for item in (value if value.ndim > 1 else value.tolist())]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return float(f"{value:.6g}") if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    return value


def split(figure: dict[str, Any], packer: Packer, owner: int, like: tuple[Any, ...] = ()) -> dict[str, Any]:
    """Return a figure in plain dicts as plain JSON in which long number arrays are replaced by references of `packer`.

    Arrays of a trace with a `meta` text are hourly series that the page has already: only the text stays. `like` names
    the figure for `Packer.add`. The template, the same in all, is omitted; the page adds it.
    """
    traces = []
    for number, fields in enumerate(figure["data"]):
        made: dict[str, Any] = {}
        for key, value in fields.items():
            array = value if isinstance(value, np.ndarray) else None
            if array is not None and array.dtype.kind == "M":
                made[key] = {"$": packer.add(array, owner)}
            elif array is not None and array.dtype.kind in "fiu" and "meta" in fields:
                made[key] = {"live": f"{fields['meta']}:{key}"}
            elif array is not None and array.dtype.kind in "fiu" and array.size > _SMALL:
                made[key] = {"$": packer.add(array, owner, like=(*like, number, key))}
            else:
                made[key] = plain(value)
        traces.append(made)
    layout = {key: plain(value) for key, value in figure["layout"].items() if key != "template"}
    return {"data": traces, "layout": layout}


def plain_figure(figure: Any) -> dict[str, Any]:
    """Return a plotly Figure as plain JSON without its template, times as text."""
    traces = [plain(trace.to_plotly_json()) for trace in figure.data]
    layout = {key: plain(value) for key, value in figure.layout.to_plotly_json().items() if key != "template"}
    return {"data": traces, "layout": layout}
