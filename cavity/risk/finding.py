"""What a criterion returns, and the few ways of reading a result Dataset that all criteria share.

Zones. A cladding is exposed to the weather: its surfaces are wet for many hours of any year, and the cavity exists so
that this does no harm. A criterion therefore judges two zones apart. The *wall side* (exterior surface of the backup
wall and all within it) can fail. The *cladding side* (both surfaces of the cladding, and what is between) can at most
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
from dataclasses import KW_ONLY, dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from cavity import finding_words

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
WHOLE_YEAR = 365 * 24  # h of weather from which the criteria are those of a year
MONTH = 30 * 24  # h, of 30-day means
_JUST_BELOW = 1.0 - 1e-9  # a value at its limit that is still allowed


Fact = float | str | bool


@dataclass(frozen=True)
class Finding:
    """The outcome of one criterion at one place, in SI; `cavity.finding_words` says it.

    To read one: ``finding.sentence`` says it, ``finding.title`` and ``finding.where`` name criterion and place,
    ``finding.when`` the months and the worst hour; ``finding.shown`` is value, limit and unit as people write them.

    Parameters
    ----------
    key : str
        Short name of the criterion, e.g. ``"mould"``.
    value : float
        In `units`.
    limit : float
        What is allowed, in `units`.
    units : str
        SI: ``"1"``, ``"kg/kg"``, ``"kg/m2"``, ``"m2/m"``; durations ``"h"`` or ``"d"``.
    status : str
        ``"pass"``, ``"review"`` (the reader must act or check), ``"fail"``, or ``"information"`` (not judged).
    ratio : float
        Severity: 1 at the limit, more is worse. Used to rank; of what can fail 1 or more exactly when it fails.
    source : str
        Standard or paper, and whether from memory or our own choice.
    face : str
        Label along `face`, of a surface or interface; empty where it concerns none.
    between : tuple of str
        The two layers that meet there, outer one first; empty at a surface.
    layer : str
        Label along `layer`; empty where it concerns none.
    segment : str
        Label along `segment`; empty where there is one only.
    spot : str
        What else it concerns: a spot of rails, the air of the cavity; else empty.
    studs : bool
        Whether it belongs to the line through the studs.
    hours : float
        Hours of the year concerned. [h]
    months : tuple of int
        Months in which it happens, 1 to 12.
    worst_hour : str
        Start of the worst hour, ISO 8601; empty where it never happens.
    rising : bool
        Whether the value would still rise if the year were repeated further.
    facts : mapping
        Further values that its sentence states, in SI, by the names that the criterion gives them.
    """

    key: str
    value: float
    limit: float
    units: str
    status: str
    ratio: float
    source: str
    _: KW_ONLY
    face: str = ""
    between: tuple[str, ...] = ()
    layer: str = ""
    segment: str = ""
    spot: str = ""
    studs: bool = False
    hours: float = 0.0
    months: tuple[int, ...] = ()
    worst_hour: str = ""
    rising: bool = False
    facts: Mapping[str, Fact] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if self.status not in STATUSES:
            raise ValueError(f"status {self.status!r} is none of {', '.join(STATUSES)}")

    @classmethod
    def from_plain(cls, row: Mapping[str, Any]) -> Finding:
        """Return the finding of which `dataclasses.asdict` made a row, also after a way through JSON."""
        return cls(**{**row, "between": tuple(row["between"]), "months": tuple(row["months"])})

    @property
    def title(self) -> str:
        """What people call the criterion."""
        return finding_words.title(self)

    @property
    def where(self) -> str:
        """Surface, interface, layer or spot, and segment, in words."""
        return finding_words.where(self)

    @property
    def when(self) -> str:
        """Months, and date of the worst hour, in words; empty where it never happens."""
        return finding_words.when(self)

    @property
    def sentence(self) -> str:
        """One plain sentence."""
        return finding_words.sentence(self)

    @property
    def shown(self) -> finding_words.Shown:
        """Value, limit and unit as people write them: (18.2, 20.0, "% by mass")."""
        return finding_words.shown(self)

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
    labels = ds.variables  # without what a selection carries along: this is asked for every face
    layers = [str(name) for name in labels["layer"].values]
    pair = (str(labels["face_outer"].values[face]), str(labels["face_inner"].values[face]))
    return [layers.index(name) for name in pair if name in layers]


def at_segment(ds: xr.Dataset, segment: int) -> dict[str, Any]:
    """Return the field of a finding that says which segment it is; none of it where there is one only."""
    return {"segment": str(ds["segment"].values[segment])} if ds.sizes["segment"] > 1 else {}


def at_face(ds: xr.Dataset, face: int, segment: int) -> dict[str, Any]:
    """Return the fields of a finding that say which surface or interface it is, and in which segment."""
    fields: dict[str, Any] = {"face": str(ds["face"].values[face]), **at_segment(ds, segment)}
    if str(ds["face_kind"].values[face]) == "interface":
        fields["between"] = (str(ds["face_outer"].values[face]), str(ds["face_inner"].values[face]))
    return fields


def at_layer(ds: xr.Dataset, layer: int, segment: int) -> dict[str, Any]:
    """Return the fields of a finding that say which layer it is, and in which segment."""
    return {"layer": str(ds["layer"].values[layer]), **at_segment(ds, segment)}


def ratio_of(value: float, limit: float, status: str) -> float:
    """Return value over limit, held to 1 or more where the status is "fail" and below 1 where it is not. [1]."""
    ratio = max(value / limit, 0.0)
    return max(ratio, 1.0) if status == "fail" else min(ratio, _JUST_BELOW)


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


def when(time: np.ndarray, mask: np.ndarray, worst: int | None = None) -> dict[str, Any]:
    """Return the fields of a finding that say when: months in which `mask` (time,) holds in any hour; worst hour."""
    if not np.any(mask):
        return {}
    month = np.asarray(time, "datetime64[M]").astype(int) % 12
    fields: dict[str, Any] = {"months": tuple(int(m) + 1 for m in np.unique(month[np.asarray(mask, bool)]))}
    if worst is not None:
        fields["worst_hour"] = str(np.asarray(time[worst], "datetime64[h]"))
    return fields
