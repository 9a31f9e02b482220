"""One benchmark case: what goes in, what is expected and by whom, what this program computes, and whether it fits.

Not all are published: the tag says whether the expected figure was read or is recalled from a source, or is an exact
solution, another program's, a hand calculation, or a check of the program by itself.

Every module ``cavity/published/<area>_<topic>.py`` offers one function ``cases() -> tuple[Case, ...]``; the modules are
found by name, so a new file needs no registration; others have no underscore in their name.
Build a case with `value_case` (a number to be met within a
tolerance), `band_case` (a range that must hold the computed number) or `not_run` (with the reason).
"""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import dataclass
from typing import SupportsFloat

READ = "read"  # the figure was read in the named text
MEMORY = "recalled"  # a textbook value, cited from memory
DOUBTFUL = "recalled, uncertain"  # cited from memory and not confirmed: an order of magnitude only
ANALYTICAL = "analytical"  # an exact solution of the same equations
LIBRARY = "reference library"  # computed by an independent, published program library
HAND = (
    "hand calculation"  # worked from the source's formula, which the program uses too: finds slips, not wrong formulas
)
OWN = "own check"  # convergence and balances of the program itself: no figure from outside
# in the order of what they prove, with what each means
TAGS = {
    READ: "value taken from the source itself",
    MEMORY: "textbook value, source not re-read",
    DOUBTFUL: "order of magnitude only",
    ANALYTICAL: "exact solution of the same equations",
    LIBRARY: "computed by CoolProp, from which the tables of moist air are made",
    HAND: "worked by hand from a formula that the program uses too: finds slips, not a wrong formula",
    OWN: "convergence and balances of the program itself, no figure from outside",
}


@dataclass(frozen=True)
class Case:
    """One row of the table of `cavity verify`.

    Parameters
    ----------
    name : str
        What is compared.
    source : str
        Author, title, year, clause; or "common practice, no source".
    tag : str
        How the expected figure is known: one of `TAGS`.
    inputs : str
        Inputs in words, with units.
    units : str
        Unit of the numbers.
    lower, upper : float
        Accepted range. [units]
    expected : float or None
        The published number; None where the source gives a range only. [units]
    computed : float or None
        This program's number; None where the case was not run. [units]
    strict : bool
        True: being outside is a failure. False: a measured or uncertain range; being outside is said, not a failure.
    note : str
        One sentence that a reader of the table needs.
    """

    name: str
    source: str
    tag: str
    inputs: str
    units: str
    lower: float
    upper: float
    expected: float | None
    computed: float | None
    strict: bool = True
    note: str = ""

    def __post_init__(self) -> None:
        if self.tag not in TAGS:
            raise ValueError(f"unknown tag {self.tag!r}; known: {', '.join(TAGS)}")

    @property
    def outcome(self) -> str:
        """Outcome: "pass", "outside" or "not run"."""
        if self.computed is None:
            return "not run"
        return "pass" if self.lower <= self.computed <= self.upper else "outside"

    @property
    def deviation(self) -> float | None:
        """Relative deviation from the expected number [1]; from the nearer end of a range, 0 inside it."""
        if self.computed is None:
            return None
        if self.expected is not None:
            return (self.computed - self.expected) / abs(self.expected) if self.expected else self.computed
        nearest = min(max(self.computed, self.lower), self.upper)
        return (self.computed - nearest) / abs(nearest) if nearest else self.computed


def value_case(
    name: str,
    *,
    source: str,
    tag: str,
    inputs: str,
    units: str,
    expected: float,
    computed: SupportsFloat,
    rtol: float = 0.0,
    atol: float = 0.0,
    strict: bool = True,
    note: str = "",
) -> Case:
    """Return the case of one number; accepted within `atol` [units] plus `rtol` [1] times the expected number."""
    room = atol + rtol * abs(expected)
    return Case(
        name,
        source,
        tag,
        inputs,
        units,
        expected - room,
        expected + room,
        expected,
        float(computed),
        strict,
        note,
    )


def band_case(
    name: str,
    *,
    source: str,
    tag: str,
    inputs: str,
    units: str,
    band: tuple[float, float],
    computed: SupportsFloat,
    strict: bool = False,
    note: str = "",
) -> Case:
    """Return the case of a published range [units]; measured ranges are not strict: outside is reported, not hidden."""
    return Case(name, source, tag, inputs, units, band[0], band[1], None, float(computed), strict, note)


def not_run(name: str, *, source: str, tag: str, why: str) -> Case:
    """Return a case that cannot be run, with the reason as its note."""
    return Case(name, source, tag, "", "", 0.0, 0.0, None, None, False, why)


def areas() -> tuple[str, ...]:
    """Return the areas that have cases, in alphabetical order."""
    import cavity.published

    names = {info.name.split("_")[0] for info in pkgutil.iter_modules(cavity.published.__path__) if "_" in info.name}
    return tuple(sorted(names))


def run_area(area: str) -> tuple[Case, ...]:
    """Run all the cases of one area.

    Parameters
    ----------
    area : str
        One of `areas`.

    Returns
    -------
    tuple of Case
        In the order of the module names.
    """
    import cavity.published

    rows: list[Case] = []
    for info in pkgutil.iter_modules(cavity.published.__path__):
        if info.name.startswith(area + "_"):
            rows.extend(importlib.import_module(f"cavity.published.{info.name}").cases())
    return tuple(rows)
