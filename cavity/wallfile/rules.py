"""Rules of the user: `[[rule]]` of a wall file, or of a file of rules alone."""

from __future__ import annotations

from typing import Any

from pydantic_core import PydanticCustomError

from cavity.wallfile.faults import Faults, KeyPath
from cavity.wallfile.model import Rule
from cavity.wallfile.schema import RULE_QUANTITIES


def rules_of(entries: list[Any], faults: Faults) -> tuple[Rule, ...]:
    """Return the rules in SI; faults where a bound is missing or of the wrong kind, or at_least is above at_most."""
    rules = []
    for index, entry in enumerate(entries):
        key_path: KeyPath = ("rule", index)
        leaf = RULE_QUANTITIES[entry.quantity]
        bounds: dict[str, float | None] = {"at_least": None, "at_most": None}
        if not (entry.at_least or entry.at_most):
            fix = f'add at_least = "{leaf.example}"'
            faults.add(key_path, "neither at_least nor at_most", "one bound or both", fix, given="")
        for key in bounds:
            if text := getattr(entry, key):
                try:
                    bounds[key] = leaf.read(text)
                except PydanticCustomError as error:
                    context = error.context or {}
                    faults.add((*key_path, key), context["problem"], context["expected"], context["fix"])
        low, high = bounds["at_least"], bounds["at_most"]
        if low is not None and high is not None and low > high:
            faults.add((*key_path, "at_least"), "above at_most", "at_least up to at_most", "exchange the two")
        rules.append(Rule(entry.document, entry.quantity, low, high, entry.clause, entry.edition))
    return tuple(rules)
