"""The kinds of values in a wall file: quantities with a unit, fractions, words, tables.

Each kind reads one TOML value into SI. Its error says what is expected and how to fix the value.
"""

from __future__ import annotations

import difflib
import itertools
import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic_core import PydanticCustomError, core_schema

from cavity.constants import ICE_POINT
from cavity.units import parse_quantity

COMPASS = (
    "north", "north-north-east", "north-east", "east-north-east", "east", "east-south-east", "south-east",
    "south-south-east", "south", "south-south-west", "south-west", "west-south-west", "west", "west-north-west",
    "north-west", "north-north-west",
)  # fmt: skip
MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_SLACK = 1e-6  # of the larger bound: they are printed with six digits
_LISTED = 240  # characters, three lines of a terminal


def nearest(word: str, known: Any) -> str:
    """Return a fix: the nearest of the known words, or their list where none is near."""
    names = [str(name) for name in known]
    folded = {name.casefold(): name for name in reversed(names)}
    close = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.6)
    if close:
        return f'did you mean "{folded[close[0]]}"?'
    listed = ", ".join(names)
    if len(listed) > _LISTED:
        listed = listed[:_LISTED].rpartition(",")[0] + ", ..."
    return f"known: {listed}" if listed else "none is defined yet"


def fail(problem: str, expected: str = "", fix: str = "") -> PydanticCustomError:
    """Return the error that a value raises; `Faults.add_schema` turns it into a Fault."""
    return PydanticCustomError("leaf", "{problem}", {"problem": problem, "expected": expected, "fix": fix})


def _plain(number: float) -> str:
    return f"{number:.6g}"


class Leaf:
    """Base of the value types: reads one TOML value, raises `fail` where it does not fit."""

    def read(self, value: Any) -> Any:
        """Return the value in SI."""
        raise NotImplementedError

    def describe(self) -> str:
        """Return what is expected, in words."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: Callable[..., Any]) -> Any:
        return core_schema.no_info_plain_validator_function(self.read)


@dataclass(frozen=True)
class Quantity(Leaf):
    """Text with a unit, read into the SI `unit`; the bounds are shown in the unit of `example`."""

    unit: str
    example: str
    low: float = -math.inf
    high: float = math.inf

    @property
    def _shown(self) -> str:
        return self.example.split(" ", 1)[1]

    def _guess(self, value: float) -> str:
        """Return the unit that a bare number most likely has: the first that keeps it in bounds."""
        for unit in (self._shown, *(("mm", "m") if self.unit == "m" else ())):
            if abs(value) < 1e9 and self.low <= parse_quantity(f"{value:.9g} {unit}", self.unit) <= self.high:
                return unit
        return ""

    def describe(self) -> str:
        """Return what is expected, in words."""
        shown = self._shown
        scale = 1.0 if self.unit == "K" else parse_quantity(f"1 {shown}", self.unit)
        shift = ICE_POINT if self.unit == "K" and shown == "degC" else 0.0
        low, high = (self.low - shift) / scale, (self.high - shift) / scale
        text = f'a quantity with its unit, such as "{self.example}"'
        if math.isfinite(low):
            text += f", at least {_plain(low)} {shown}"
        if math.isfinite(high):
            text += f", at most {_plain(high)} {shown}"
        return text

    def read(self, value: Any) -> float:
        """Return the quantity in `unit`."""
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            unit = self._guess(value)
            fix = f'write "{value} {unit}"' if unit else f'write it like "{self.example}"'
            raise fail(f"a bare number; a unit such as {unit or self._shown} is needed", self.describe(), fix)
        try:
            quantity = parse_quantity(value, self.unit)
        except ValueError as error:
            fix = ""
            if isinstance(value, str) and re.search(r"\d,\d", value):
                fix = f'write a decimal point: "{value[:40].replace(",", ".")}"'
            elif self.unit == "K" and isinstance(value, str) and re.fullmatch(r"\s*-?[\d.]+\s*[CF]\s*", value):
                fix = f'write "{value.strip()[:-1].strip()} deg{value.strip()[-1]}"'
            raise fail(str(error)[:160], self.describe(), fix or f'write it like "{self.example}"') from None
        slack = _SLACK * max(abs(bound) for bound in (self.low, self.high, 0.0) if math.isfinite(bound))
        if self.low - slack <= quantity <= self.high + slack:  # the bounds as printed are within them
            quantity = min(max(quantity, self.low), self.high)
        else:
            problem = "too small" if quantity < self.low else "too large"
            if quantity == 0.0 and self.low > 0.0:
                problem = "zero"
            elif quantity < 0.0 <= self.low:
                problem = "negative"
            fix = f'did you mean "{str(value).strip().lstrip("-")}"?' if problem == "negative" else ""
            raise fail(problem, self.describe(), fix or "check the number and its unit")
        return quantity


@dataclass(frozen=True)
class Number(Leaf):
    """A plain number without a unit."""

    low: float = -math.inf
    high: float = math.inf
    example: str = "1.0"
    whole: bool = False
    infinite: bool = False  # `inf` allowed: vapour tight

    def describe(self) -> str:
        """Return what is expected, in words."""
        text = "a whole number" if self.whole else "a plain number"
        if math.isfinite(self.low) and math.isfinite(self.high):
            text += f" from {_plain(self.low)} to {_plain(self.high)}"
        elif math.isfinite(self.low):
            text += f", at least {_plain(self.low)}"
        return text + (", or inf for vapour tight" if self.infinite else "") + f", such as {self.example}"

    def read(self, value: Any) -> Any:
        """Return the number."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            problem = "not a number"
            if isinstance(value, str) and re.fullmatch(r"\s*[\d.]+\s*", value):
                problem = "a number in quotes"
            raise fail(problem, self.describe(), f"write it without quotes and unit, like {self.example}")
        if self.whole and not isinstance(value, int):
            raise fail("not a whole number", self.describe(), f"write {self.example}")
        if self.infinite and value == math.inf:
            return math.inf
        if isinstance(value, float) and not math.isfinite(value):
            raise fail("not a finite number", self.describe(), f"write {self.example}")
        if not self.low <= value <= self.high:
            raise fail("too small" if value < self.low else "too large", self.describe(), "check the number")
        return int(value) if self.whole else float(value)


@dataclass(frozen=True)
class Fraction(Leaf):
    """A fraction: ``"45 %"`` or 0.45. A number above one is refused with the percent sign as fix."""

    low: float = 0.0
    high: float = 1.0
    example: str = "45 %"

    def describe(self) -> str:
        """Return what is expected, in words."""
        return (
            f'a fraction from {_plain(100 * self.low)} % to {_plain(100 * self.high)} %, such as "{self.example}" '
            f"or {_plain(float(self.example.split()[0]) / 100)}"
        )

    def read(self, value: Any) -> float:
        """Return the fraction, 0 to 1."""
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise fail("not a fraction", self.describe(), f'write "{self.example}"')
        if isinstance(value, str):
            percentage = re.fullmatch(r"\s*([+-]?\d{1,12}(?:\.\d{0,12})?)\s*%\s*", value)
            if not percentage:
                bare = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,12})?)\s*", value)
                fix = f'write "{self.example}"'
                if bare and self.low <= float(bare[1]) <= min(self.high, 1.0):
                    fix = f"write {bare[1]} without quotes"
                elif bare and self.low <= float(bare[1]) / 100.0 <= self.high:
                    fix = f'write "{bare[1]} %"'
                raise fail("not a percentage", self.describe(), fix)
            fraction = float(percentage[1]) / 100.0
        else:
            if 1.0 < value <= 100.0:
                raise fail("above 1", self.describe(), f'write "{value:g} %"')
            if not 0.0 <= value <= 1.0:  # catches nan as well
                raise fail("not between 0 and 1", self.describe(), f'write "{self.example}"')
            fraction = float(value)
        if self.low - _SLACK <= fraction <= self.high + _SLACK:
            fraction = min(max(fraction, self.low), self.high)
        else:
            raise fail("too small" if fraction < self.low else "too large", self.describe(), "check the number")
        return fraction


@dataclass(frozen=True)
class Word(Leaf):
    """One of a list of words, whatever the capitals."""

    words: tuple[str, ...]

    def describe(self) -> str:
        """Return what is expected, in words."""
        return "one of " + ", ".join(f'"{word}"' for word in self.words)

    def read(self, value: Any) -> str:
        """Return the word as listed."""
        if not isinstance(value, str):
            raise fail("not a word in quotes", self.describe(), f'write "{self.words[0]}"')
        folded = re.sub(r"[\s_-]+", " ", value.strip().casefold())
        for word in self.words:
            if re.sub(r"[\s_-]+", " ", word.casefold()) == folded:
                return word
        raise fail("an unknown word", self.describe(), nearest(value[:60], self.words))


@dataclass(frozen=True)
class Text(Leaf):
    """Free text in quotes, on one line unless `lines`."""

    longest: int = 80
    lines: bool = False

    def describe(self) -> str:
        """Return what is expected, in words."""
        return f"text in quotes, 1 to {self.longest} characters"

    def read(self, value: Any) -> str:
        """Return the text without blanks around it."""
        if not isinstance(value, str):
            raise fail("not text", self.describe(), "put it in quotes")
        text = value.strip()
        if not text or len(text) > self.longest:
            raise fail("too long" if text else "empty", self.describe(), "shorten it" if text else "write a name")
        one_line = text.replace("\n", " ") if self.lines else text
        if any(unicodedata.category(sign) in ("Cc", "Cs") for sign in one_line):
            raise fail("holds control characters", self.describe(), "remove them")
        return text


@dataclass(frozen=True)
class Flag(Leaf):
    """true or false."""

    def describe(self) -> str:
        """Return what is expected, in words."""
        return "true or false, without quotes"

    def read(self, value: Any) -> bool:
        """Return the flag."""
        if not isinstance(value, bool):
            raise fail("not true or false", self.describe(), "write true or false")
        return value


@dataclass(frozen=True)
class Orientation(Leaf):
    """A compass word or an angle: the direction the wall faces."""

    def describe(self) -> str:
        """Return what is expected, in words."""
        return 'a compass word such as "south-west", or an angle such as "225 deg" clockwise from north'

    def read(self, value: Any) -> float:
        """Return degrees clockwise from north, 0 to 360."""
        if isinstance(value, str):
            folded = re.sub(r"[\s_-]+", "", value.casefold())
            for index, word in enumerate(COMPASS):
                short = "".join(part[0] for part in word.split("-"))
                if folded in (word.replace("-", ""), short):
                    return index * 22.5
            if not re.match(r"\s*[+-]?\.?\d", value):
                raise fail("an unknown direction", self.describe(), nearest(value[:60], COMPASS))
        return Quantity("deg", "225 deg", 0.0, 360.0).read(value) % 360.0


@dataclass(frozen=True)
class Height(Leaf):
    """A height above the base of the wall, or a word for places of the strips that the vent serves."""

    words = ("base", "head", "wall base", "wall top", "window sill", "window head", "above barriers", "below barriers")

    def describe(self) -> str:
        """Return what is expected, in words."""
        names = ", ".join(f'"{word}"' for word in self.words)
        return f'{names}, or a height above the base of the wall such as "3.0 m"'

    def read(self, value: Any) -> float | str:
        """Return metres, or the word."""
        if isinstance(value, str) and not re.match(r"\s*[+-]?\.?\d", value):
            return Word(self.words).read(value)
        return Quantity("m", "3.0 m", -50.0, 500.0).read(value)


@dataclass(frozen=True)
class Month(Leaf):
    """A month by name or number."""

    def describe(self) -> str:
        """Return what is expected, in words."""
        return 'a month such as "October" or 10'

    def read(self, value: Any) -> int:
        """Return 1 to 12."""
        if isinstance(value, str):
            names = [name for name in MONTHS if len(value.strip()) >= 3 and name.startswith(value.strip().casefold())]
            if len(names) != 1:
                raise fail("an unknown month", self.describe(), nearest(value[:60], MONTHS))
            return MONTHS.index(names[0]) + 1
        return Number(1, 12, "10", whole=True).read(value)


@dataclass(frozen=True)
class Water(Leaf):
    """A water content: kg/m3, or % of the dry mass (returned negative, until the density is known)."""

    def describe(self) -> str:
        """Return what is expected, in words."""
        return 'a water content such as "45 kg/m3", or "4.5 %" of the dry mass'

    def read(self, value: Any) -> float:
        """Return kg/m3, or minus the fraction of the dry mass."""
        if isinstance(value, str) and value.strip().endswith("%"):
            return -Fraction(0.0, 100.0, "4.5 %").read(value)
        return Quantity("kg/m3", "45 kg/m3", 0.0, 1000.0).read(value)


@dataclass(frozen=True)
class Table(Leaf):
    """A list of [x, y] pairs, x rising."""

    x: Leaf
    y: Leaf
    rows: int = 1  # least number of pairs

    def describe(self) -> str:
        """Return what is expected, in words."""
        return f"a list of pairs [x, y], x rising; x: {self.x.describe()}; y: {self.y.describe()}"

    def read(self, value: Any) -> tuple[tuple[float, float], ...]:
        """Return the pairs in SI."""
        if not isinstance(value, list) or not self.rows <= len(value) <= 200:
            raise fail(f"not a list of {self.rows} to 200 pairs", self.describe(), "write [[x, y], [x, y]]")
        pairs = []
        for index, pair in enumerate(value, 1):
            if not isinstance(pair, list) or len(pair) != 2:
                raise fail(f"pair {index} is not [x, y]", self.describe(), "write [[x, y], [x, y]]")
            try:
                pairs.append((self.x.read(pair[0]), self.y.read(pair[1])))
            except PydanticCustomError as error:
                context = error.context or {}
                raise fail(
                    f"pair {index}: {context.get('problem')}", str(context.get("expected")), str(context.get("fix"))
                ) from None
        for index, (before, after) in enumerate(itertools.pairwise(pairs), 2):
            if after[0] <= before[0]:
                raise fail(f"pair {index} does not rise in x", self.describe(), "sort the pairs, each x once")
        return tuple(pairs)


@dataclass(frozen=True)
class Many(Leaf):
    """A list of values of one kind; a single value counts as a list of one where `single`."""

    item: Leaf
    counts: tuple[int, ...] = ()  # allowed lengths; empty: 1 to 50
    single: bool = False

    def describe(self) -> str:
        """Return what is expected, in words."""
        item = self.item.describe()
        size = " or ".join(str(count) for count in self.counts) or "1 to 50"
        return f"{item}" + (f", or a list of {size}" if self.single else f"; a list of {size} of them")

    def read(self, value: Any) -> tuple[Any, ...]:
        """Return the values in SI."""
        if self.single and not isinstance(value, list):
            return (self.item.read(value),)
        if not isinstance(value, list):
            raise fail("not a list", self.describe(), "write it in [ ]")
        if len(value) not in (self.counts or range(1, 51)):
            raise fail(f"a list of {len(value)}", self.describe(), "check how many values there are")
        values = []
        for index, part in enumerate(value, 1):
            try:
                values.append(self.item.read(part))
            except PydanticCustomError as error:
                context = error.context or {}
                raise fail(
                    f"value {index}: {context.get('problem')}", str(context.get("expected")), str(context.get("fix"))
                ) from None
        return tuple(values)
