"""What a criterion returns, and the few ways of reading a result Dataset that all criteria share.

Zones. A cladding is exposed to the weather: its surfaces are wet for many hours of any year, and the cavity exists so
that this does no harm. A criterion therefore judges two zones apart. The *wall side* (exterior surface of the backup
wall and all within it) can fail. The *cladding side* (both surfaces of the cladding, and what lies between) can at most
be a "review", and only where the reader must act: choose a grade, a coating or a drain. Whatever else happens there is
"information". This split is our own choice (common practice, no source). Mould on the cavity side of the outermost
membrane belongs to the cladding side, for it is outside the plane that keeps the weather out (ASHRAE 160 judges what is
inside of it, from memory); so does metal there.

Status. "fail": a criterion of the wall side is not met. "review": the reader must act or check. "pass": met.
"information": reported, not judged; it never decides a verdict. The threshold beside a value is therefore
named by what it can do: a *limit* can fail, *review from* can call for a check, a *reference* is there to compare with.

Time. The series of a result begin where the weather file does, the run in another month: 31 December is followed by
1 January of the same series. The first hour of the run follows the last one only where the year has settled, that is,
repeats itself; else the two states have nothing to do with each other and nothing is counted across that seam.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import xarray as xr

STATUSES = ("information", "pass", "review", "fail")  # from the lightest to the gravest
# Criteria of the wall side that can fail; the others are a review item at most.
CAN_FAIL = frozenset(
    {
        "mould", "mould_room", "wood_moisture", "decay", "condensate_face", "condensate_inside", "condensate_wood",
        "residue", "frost", "wetness_wall", "drying",
    }
)  # fmt: skip
HOUR = 3600.0  # s
WHOLE_YEAR = 365 * 24  # h
_JUST_BELOW = 1.0 - 1e-9  # a value at its limit that is still allowed
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Finding:
    """The outcome of one criterion at one place.

    Parameters
    ----------
    key : str
        Short name of the criterion, e.g. ``"mould"``.
    title : str
        What people call it.
    where : str
        Face or layer, and segment.
    value : float
        What was found, in `units`.
    limit : float
        What is allowed, in `units`.
    units : str
        Unit as text for display.
    status : str
        ``"pass"``, ``"review"`` (the reader must act or check), ``"fail"``, or ``"information"`` (not judged).
    when : str
        Months, and date of the worst; empty where it never happens.
    hours : float
        Hours of the year concerned. [h]
    source : str
        Standard or paper, and whether from memory or our own choice.
    sentence : str
        One plain sentence.
    ratio : float
        Severity: 1 at the limit, more is worse. Used to rank; of what can fail 1 or more exactly when it fails.
    rising : bool
        Whether the value would still rise if the year were repeated further.
    """

    key: str
    title: str
    where: str
    value: float
    limit: float
    units: str
    status: str
    when: str
    hours: float
    source: str
    sentence: str
    ratio: float
    rising: bool = False

    def __post_init__(self) -> None:
        if self.status not in STATUSES:
            raise ValueError(f"status {self.status!r} is none of {', '.join(STATUSES)}")

    @property
    def can_fail(self) -> bool:
        """Whether this criterion can condemn a wall."""
        return self.key in CAN_FAIL

    @property
    def threshold(self) -> str:
        """What `limit` is called: a "limit" can fail, "review from" cannot, a "reference" is not judged."""
        if self.status == "information":
            return "reference"
        # of drying only the whole year fails, not the days from which to review
        return "limit" if self.status == "fail" or (self.can_fail and self.key != "drying") else "review from"


def first_wall_face(ds: xr.Dataset) -> int:
    """Return the position along `face` of the outer face of the backup wall, where the wall side begins."""
    return list(ds["face_role"].values).index("outer face of wall")


def first_sheltered_face(ds: xr.Dataset) -> int:
    """Return the position along `face` of the first plane that the wall keeps from the weather.

    The exterior surface of the backup wall, or, where its outermost layer is a membrane, the inner side of that: the
    cavity side of the membrane is outside the plane that keeps the weather out.
    """
    start = first_wall_face(ds)
    outermost = np.flatnonzero(is_wall_layer(ds))[0]
    return start + int(bool(ds["layer_membrane"].values[outermost]))


def is_wall_layer(ds: xr.Dataset) -> np.ndarray:
    """Return which layers belong to the backup wall, (layer,) of bool."""
    return np.asarray(ds["layer_part"].values) == "backup"


def neighbours(ds: xr.Dataset, face: int) -> list[int]:
    """Return the positions along `layer` of the layers that meet at a face, outer one first."""
    layers = [str(name) for name in ds["layer"].values]
    pair = (str(ds["face_outer"].values[face]), str(ds["face_inner"].values[face]))
    return [layers.index(name) for name in pair if name in layers]


def place(ds: xr.Dataset, dim: str, index: int, segment: int) -> str:
    """Return the text for a face, layer or film face and its segment, left out when there is one only."""
    name = str(ds[dim].values[index])
    return f"{name}, {ds['segment'].values[segment]}" if ds.sizes["segment"] > 1 else name


def at(ds: xr.Dataset, face: int, segment: int) -> str:
    """Return where a face is, for a sentence: ``at room face, top`` or ``between OSB and mineral wool, top``."""
    if str(ds["face_kind"].values[face]) != "interface":
        return f"at {place(ds, 'face', face, segment)}"
    both = f"between {ds['face_outer'].values[face]} and {ds['face_inner'].values[face]}"
    return f"{both}, {ds['segment'].values[segment]}" if ds.sizes["segment"] > 1 else both


def ratio_of(value: float, limit: float, status: str) -> float:
    """Return value over limit, held to 1 or more where the status is "fail" and below 1 where it is not. [1]."""
    found = max(value / limit, 0.0)
    return max(found, 1.0) if status == "fail" else min(found, _JUST_BELOW)


def settled(ds: xr.Dataset) -> bool:
    """Return whether the last simulated year repeats the one before."""
    return bool(ds.attrs.get("cycle_repeats", 0))


def repeats(ds: xr.Dataset, limits: Mapping[str, float]) -> int:
    """Return how often the series of a result may be repeated as a year; once where it is shorter than one. [1]."""
    return round(limits["mould_years"]) if ds.sizes["time"] >= WHOLE_YEAR else 1


def run_through(ds: xr.Dataset, follow: Callable[..., np.ndarray], *series: np.ndarray) -> np.ndarray:
    """Apply what must follow the hours one by one, in the order of the run.

    Parameters
    ----------
    ds : xarray.Dataset
        The result; knows its first hour and whether the year has settled.
    follow : callable
        Takes arrays (time, ...) and returns one of as many hours.
    series : array, (time, ...)
        In the order of the Dataset.

    Returns
    -------
    array, (time, ...)
        In the order of the Dataset. Where the year has settled, of its second run through.
    """
    first = int(ds.attrs.get("first_hour", 0))
    rolled = [np.roll(values, -first, axis=0) for values in series]
    hours = len(rolled[0])
    if settled(ds):
        rolled = [np.concatenate([values, values]) for values in rolled]
    return np.roll(follow(*rolled)[-hours:], first, axis=0)


def year_mean(values: np.ndarray, hours: int) -> np.ndarray:
    """Return the running mean over the last `hours` hours along axis 0, the year taken as a cycle."""
    span = min(hours, values.shape[0])
    wrapped = np.concatenate([values[-span:], values]).astype(float)
    total = np.cumsum(wrapped, axis=0)
    return (total[span:] - total[:-span]) / span


def worst_place(values: np.ndarray) -> tuple[int, ...]:
    """Return the index of the largest value of an array of any shape."""
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(values)), values.shape))


def stamp(time: np.ndarray, index: int) -> str:
    """Return date and hour as text, e.g. ``14 Feb 05:00``; the year is left out, for it stands for any year."""
    text = str(np.asarray(time[index], "datetime64[h]"))
    return f"{int(text[8:10])} {_MONTHS[int(text[5:7]) - 1]} {text[11:13]}:00"


def months(time: np.ndarray, mask: np.ndarray) -> str:
    """Return the months in which `mask` (time,) holds in any hour, as ranges over the turn of the year."""
    month = np.asarray(time, "datetime64[M]").astype(int) % 12
    present = [bool(np.any(mask[month == m])) for m in range(12)]
    if not any(present):
        return ""
    if all(present):
        return "all year"
    starts = [m for m in range(12) if present[m] and not present[m - 1]]
    parts = []
    for begin in starts:
        end = begin
        while present[(end + 1) % 12]:
            end = (end + 1) % 12
        parts.append(_MONTHS[begin] if begin == end else f"{_MONTHS[begin]} to {_MONTHS[end]}")
    return ", ".join(parts)


def when(time: np.ndarray, mask: np.ndarray, worst: int | None = None) -> str:
    """Return months in which it happens and the worst hour, as one text; empty where it never happens."""
    text = months(time, mask)
    if text and worst is not None:
        text += f"; worst {stamp(time, worst)}"
    return text


def number(value: Any, digits: int = 0) -> str:
    """Return a number for a sentence, without a minus before zero."""
    text = f"{float(value):.{digits}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def apart(value: float, limit: float, digits: int = 0) -> str:
    """Return a number with the digits that show on which side of its limit it is: 3.004, not 3.0 of 3.

    Parameters
    ----------
    value, limit : float
        In one unit. [as the sentence says]
    digits : int
        Least number of decimals.
    """
    for more in range(digits, digits + 3):
        text = number(value, more)
        if value == limit or text != number(limit, more):
            break
    return text
