"""Texts of wall files for the tests: the starter, bare, with every optional section, and with changes."""

import re

import pytest

from cavity.errors import Fault, InputError
from cavity.wallfile import parse_wall, starter

STARTER = starter()
# without comments
PLAIN = "\n".join(line.split("  #")[0].rstrip() for line in STARTER.split("\n") if not line.startswith("#"))
# with all that the starter shows in comments
FULL = "\n".join(
    line.split("  #")[0].rstrip()
    for line in re.sub(r"^# (?=\[|[a-z_.]+ = )", "", STARTER, flags=re.MULTILINE).split("\n")
    if not line.startswith("#")
)


def edit(*changes: tuple[str, str]) -> str:
    """Return the bare starter with each first text replaced by the second."""
    text = PLAIN
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def faults(text: str, **keywords) -> dict[str, Fault]:
    """Return the faults of a text by their key."""
    with pytest.raises(InputError) as caught:
        parse_wall(text, "wall.toml", **keywords)
    assert caught.value.exit_code == 2
    found = {}
    for fault in caught.value.faults:
        assert fault.where.startswith("wall.toml")
        found[re.sub(r" \(line \d+\)", "", fault.where.removeprefix("wall.toml, "))] = fault
    return found
