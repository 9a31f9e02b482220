"""Recipe of docs/wallfile.md, of the thresholds in docs/criteria.md, and of the benchmark cases' outcomes with their
counts in README.md: run it to write all of them again from the program."""

from __future__ import annotations

import json
import re
import textwrap
import types
import typing
from pathlib import Path

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from cavity.live import form
from cavity.published import verify
from cavity.report import inputs_and_sources
from cavity.risk.limits import LIMITS
from cavity.units import cite
from cavity.wallfile import schema
from cavity.wallfile.values import Leaf

TARGET = Path(__file__).parents[1] / "docs" / "wallfile.md"
CRITERIA = TARGET.with_name("criteria.md")
README = TARGET.parents[1] / "README.md"
CHECKS = Path(inputs_and_sources.__file__).with_name("published.json")
CASES_BEGIN = "<!-- cases: written by tests/make_docs.py -->"
LIMITS_BEGIN, LIMITS_END = "<!-- limits: written by tests/make_docs.py -->", "<!-- end -->"
HEAD = """# The wall file, key by key

TOML; quantities in quotes with their unit (`"25 mm"`, `"1 in"`, `"0.035 W/(m K)"`, `"60 ng/(Pa s m2)"`, `"1 perm"`),
fractions as `"5 %"` or `0.05`. A bare number where a unit is needed is refused, and so is a key not listed here.
`[name]` is a section, `[[name]]` one entry of a list. The [guide](guide.md) walks through the file; this page is
written from the program's own schema by `python tests/make_docs.py`, and a test holds the two together.
"""


def inner_model(annotation: object) -> type[BaseModel] | None:
    """Return the section class inside an annotation such as list[X], dict[str, X] or X | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in typing.get_args(annotation):
        found = inner_model(part)
        if found is not None:
            return found
    return None


def leaf_of(annotation: object, metadata: list[object]) -> Leaf | None:
    """Return the kind of value of a key."""
    for part in metadata:
        if isinstance(part, Leaf):
            return part
    for part in typing.get_args(annotation):
        if isinstance(part, Leaf):
            return part
        found = leaf_of(part, [])
        if found is not None:
            return found
    return None


def shown(value: object, kind: Leaf | None) -> str:
    """Return a default as one would write it in the file."""
    return "required" if value is PydanticUndefined else form.shown(value, kind)


def rows(model: type[BaseModel], prefix: str = "", skip: frozenset[str] = frozenset()) -> list[str]:
    """Return the table rows of a section, nested ones by dotted key."""
    found = []
    for key, field in model.model_fields.items():
        if key in skip:
            continue
        nested = inner_model(field.annotation)
        kind = leaf_of(field.annotation, field.metadata)
        if nested is not None:
            if typing.get_origin(field.annotation) not in (list, types.NoneType) and nested is not schema.VentEntry:
                found.append(f"| `{prefix}{key}` | {field.description} | the keys below | |")
                found += rows(nested, f"{prefix}{key}.")
            continue
        written = kind.describe() if kind else "see the text"
        written = re.sub(
            r"a quantity with its unit, such as (\"[^\"]*\"), at least ([^,]+), at most", r"\1; \2 to", written
        )
        cells = (f"`{prefix}{key}`", field.description, written, shown(field.default, kind))
        found.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return found


SECTIONS = (
    ("[wall]", schema.WallSection),
    ("[site]", schema.SiteSection),
    ("[finish]", schema.FinishSection),
    ("[[cladding]] and [[backup]]", schema.LayerEntry),
    ("[cavity]", schema.CavitySection),
    ("[[storey]]", schema.StoreyEntry),
    ("[[window]]", schema.WindowEntry),
    ("[[column]]", schema.ColumnEntry),
    ("[[rail]]", schema.RailEntry),
    ("[[barrier]]", schema.BarrierEntry),
    ("[[openings]]", schema.OpeningsEntry),
    ("[[openings.vent]]", schema.VentEntry),
    ("[compare]", schema.CompareSection),
    ("[indoor]", schema.IndoorSection),
    ("[wetting]", schema.WettingSection),
    ("[run]", schema.RunSection),
    ("[limits]", schema.LimitsSection),
    ("[[variant]]", schema.VariantEntry),
    ("[[rule]]", schema.RuleEntry),
    ("[material.NAME]", schema.MaterialEntry),
)
NOTES = {
    schema.RuleEntry: "`cavity compare --rules FILE` takes more of them from a file that holds nothing else.",
    schema.OpeningsEntry: "Its vents follow as `[[openings.vent]]`; rails of this set alone as `[[openings.rail]]`.",
    schema.VariantEntry: "It takes all keys of a layer as well.",
    schema.MaterialEntry: "It takes all values that a layer may override (density to mould_class) as well.",
    schema.LimitsSection: "Default: the usual threshold, listed in [criteria.md](criteria.md#limits-you-can-set).",
}
INHERITED = {
    schema.OpeningsEntry: frozenset({"rail"}),
    schema.VariantEntry: frozenset(schema.LayerEntry.model_fields) - {"name"},
    schema.MaterialEntry: frozenset(schema.MaterialValues.model_fields),
}


def page() -> str:
    """Return the whole page."""
    parts = [HEAD]
    for title, model in SECTIONS:
        about = (model.__doc__ or "").split(": ", 1)[-1].split("\n")[0]
        parts.append(f"## `{title}`\n\n{about[0].upper()}{about[1:]}" + (f" {NOTES[model]}" if model in NOTES else ""))
        parts.append(
            "| key | meaning | written as | default |\n|---|---|---|---|\n"
            + "\n".join(rows(model, skip=INHERITED.get(model, frozenset())))
        )
    listed = "\n".join(f"- `{name}`: {kind.describe()}" for name, kind in schema.UNCERTAIN.items())
    parts.append(
        "## `[uncertain]`\n\nRanges for `cavity uncertainty`: `section.key = [low, high]`. The first three are factors "
        f"on all vents, rail gaps and vapour resistances.\n\n{listed}"
    )
    return "\n\n".join(part.strip() for part in parts) + "\n"


def limits_table() -> str:
    """Return the thresholds of the criteria as a table."""
    lines = ["| key | default | unit | meaning | source |", "|---|---|---|---|---|"]
    for key, limit in LIMITS.items():
        lines.append(f"| `{key}` | {limit.default:g} | {limit.units} | {limit.meaning} | {cite(limit.source)} |")
    return "\n".join(lines)


def with_limits(text: str) -> str:
    """Return the page of the criteria with the table of thresholds in its place."""
    head, _, rest = text.partition(LIMITS_BEGIN)
    _, _, tail = rest.partition(LIMITS_END)
    return f"{head}{LIMITS_BEGIN}\n{limits_table()}\n{LIMITS_END}{tail}"


def with_cases(text: str, found: dict[str, object]) -> str:
    """Return the README with the counts of the benchmark cases in their place."""
    head, _, rest = text.partition(CASES_BEGIN)
    _, _, tail = rest.partition(LIMITS_END)
    said = textwrap.fill(f"`cavity verify` runs {len(found['cases'])} cases. {found['provenance']}", 120)
    return f"{head}{CASES_BEGIN}\n{said}\n{LIMITS_END}{tail}"


def checks_text(found: dict[str, object]) -> str:
    """Return the outcomes of the benchmark cases as JSON, a line a case."""
    rows = ",\n".join(json.dumps(row, ensure_ascii=False) for row in found["cases"])
    head = ", ".join(f"{json.dumps(key)}: {json.dumps(found[key])}" for key in ("version", "provenance"))
    return f'{{{head}, "cases": [\n{rows}\n]}}\n'


if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8")
    CRITERIA.write_text(with_limits(CRITERIA.read_text(encoding="utf-8")), encoding="utf-8")
    found = verify.digest(verify.run(()))
    CHECKS.write_text(checks_text(found), encoding="utf-8")
    README.write_text(with_cases(README.read_text(encoding="utf-8"), found), encoding="utf-8")
