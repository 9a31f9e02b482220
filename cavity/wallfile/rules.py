"""Rules of the user's own: `[[rule]]` of a wall file, or a file that holds nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic_core import PydanticCustomError

from cavity.wallfile.faults import Faults, Place
from cavity.wallfile.model import Rule
from cavity.wallfile.schema import RULE_QUANTITIES, RulesFile

if TYPE_CHECKING:
    from os import PathLike


def rules_of(entries: list[Any], faults: Faults) -> tuple[Rule, ...]:
    """Return the rules in SI; faults where a bound is missing, of the wrong kind, or the two cross."""
    found = []
    for index, entry in enumerate(entries):
        place: Place = ("rule", index)
        leaf = RULE_QUANTITIES[entry.quantity]
        bounds: dict[str, float | None] = {"at_least": None, "at_most": None}
        if not (entry.at_least or entry.at_most):
            faults.add(
                place, "neither at_least nor at_most", "a bound", f'add at_least = "{leaf.example}"', given=""
            )  # fmt: skip
        for key in bounds:
            if text := getattr(entry, key):
                try:
                    bounds[key] = leaf.read(text)
                except PydanticCustomError as error:
                    context = error.context or {}
                    faults.add((*place, key), context["problem"], context["expected"], context["fix"])
        low, high = bounds["at_least"], bounds["at_most"]
        if low is not None and high is not None and low > high:
            faults.add((*place, "at_least"), "above at_most", "at_least up to at_most", "exchange the two")
        found.append(Rule(entry.document, entry.quantity, low, high, entry.clause, entry.edition))
    return tuple(found)


def read_rules(path: str | PathLike[str]) -> tuple[Rule, ...]:
    """Read a file of rules: TOML with `[[rule]]` entries, as in a wall file.

    Parameters
    ----------
    path : str or path
        The file.

    Returns
    -------
    tuple of Rule
        In SI.

    Raises
    ------
    InputError
        With all faults of the file.
    """
    from pathlib import Path

    from pydantic import ValidationError

    from cavity.errors import InputError
    from cavity.wallfile.reader import read_text, read_toml

    text = read_text(path, "a file of rules")
    name = Path(path).name
    raw = read_toml(text, name)
    faults = Faults(name, text, raw)
    try:
        found = rules_of(RulesFile.model_validate(raw).rule, faults)
    except ValidationError as error:
        for one in error.errors(include_url=False, include_input=False):
            faults.add_schema(one, RulesFile)
        found = ()
    if faults.found:
        raise InputError(*faults.found)
    return found
