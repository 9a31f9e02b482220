"""The written pages against the program: keys, commands, options, examples, excerpts and links."""

from __future__ import annotations

import ast
import doctest
import re
import shlex
from pathlib import Path

import click
import make_docs
import pytest
from click.testing import CliRunner

import cavity
from cavity.cli import main
from cavity.wallfile.starter import starter

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])
GUIDE, README = ROOT / "docs" / "guide.md", ROOT / "README.md"


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A folder as the pages assume it: the starter as mywall.toml, and a broken copy of it."""
    (tmp_path / "mywall.toml").write_text(starter(), encoding="utf-8")
    broken = starter().replace('depth = "30 mm"', "depth = 30")
    assert broken != starter()
    (tmp_path / "broken.toml").write_text(broken, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def commands_in(text: str) -> list[list[str]]:
    """All commands of the program in code blocks and inline code, as words."""
    blocks = re.findall(r"```(?:console|text|sh)?\n(.*?)```", text, re.S)
    lines = [line.split("  #")[0] for block in blocks for line in block.splitlines()]
    spans = re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.S))
    found = []
    for line in [*lines, *spans]:
        for part in line.split("&&"):
            words = re.fullmatch(r"\s*(?:\$ )?(?:\S*/)?cavity ([a-z]+\b.*)", part.strip())
            if words:
                found.append(shlex.split(words[1]))
    return found


def test_every_key_of_the_wall_file_is_on_its_page():
    """docs/wallfile.md is what the schema says; `python tests/make_docs.py` writes it again."""
    assert (ROOT / "docs" / "wallfile.md").read_text(encoding="utf-8") == make_docs.page()


def test_every_threshold_is_in_the_theory():
    """docs/theory.md lists the thresholds as the program has them, with their sources."""
    text = make_docs.CRITERIA.read_text(encoding="utf-8")
    assert text == make_docs.with_limits(text) and "`drying_days`" in text


def test_every_section_of_the_schema_is_on_the_page():
    """The recipe lists sections by hand: none may be forgotten."""
    listed = {model for _, model in make_docs.SECTIONS}
    for key, field in make_docs.schema.WallFile.model_fields.items():
        model = make_docs.inner_model(field.annotation)
        assert key == "uncertain" or model in listed, key


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_and_options_on_the_pages_exist(page):
    """A command or option that a page names is one that the program has."""
    for name, *words in commands_in(page.read_text(encoding="utf-8")):
        assert name in main.commands, f"{page.name}: cavity {name}"
        known = {option for each in main.commands[name].params for option in each.opts} | {"--help"}
        for word in words:
            if word.startswith("--"):
                assert word in known, f"{page.name}: cavity {name} {word}"


def test_the_pages_name_every_command():
    """README and guide together name each command; so the check above does not pass on empty pages."""
    named = {words[0] for page in (README, GUIDE) for words in commands_in(page.read_text(encoding="utf-8"))}
    assert named == set(main.commands)


def test_arguments_in_the_readme_are_complete():
    """Each command in a block of the README parses: nothing required is missing."""
    for name, *words in commands_in("\n".join(re.findall(r"```\n.*?```", README.read_text(encoding="utf-8"), re.S))):
        command = main.commands[name]
        with click.Context(command) as context:
            command.parse_args(context, words)


def test_the_readme_has_two_set_up_commands():
    """The script in .ci takes them from the README, letter by letter."""
    lines = README.read_text(encoding="utf-8").splitlines()
    setup = [line for line in lines if line.startswith("python3 -m venv")]
    assert len(setup) == 2 and "cavity compare" in setup[0] and setup[1].endswith("pytest")


def test_examples_of_the_guide_run(desk):
    """The Python examples give what the page shows."""
    parsed = doctest.DocTestParser().get_doctest(GUIDE.read_text(encoding="utf-8"), {}, GUIDE.name, str(GUIDE), 0)
    assert len(parsed.examples) > 15
    told: list[str] = []
    done = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(parsed, out=told.append)
    assert done.failed == 0, "".join(told)


def test_example_of_the_readme_runs(desk, monkeypatch):
    """The Python example runs as printed; ten days and one case stand for the year and all cases."""
    (example,) = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    full = cavity.read_weather("temperate inland")
    monkeypatch.setattr(cavity, "read_weather", lambda _: full.isel(time=slice(0, 240)), raising=False)
    short = starter().replace("[compare] ", "[compare]\nopenings = ['10 mm slots']\n#").replace(
        'depths = ["15 mm", "20 mm", "30 mm", "40 mm", "60 mm"]', 'depths = ["30 mm"]'
    )  # fmt: skip
    assert short != starter()
    (desk / "mywall.toml").write_text(short, encoding="utf-8")
    exec(compile(example, "README.md", "exec"), {})
    assert (desk / "reports" / "mywall.html").stat().st_size > 100_000


def plain(text: str) -> str:
    """Text without the size of its numbers, arrows and spacing: results move a little, words do not."""
    return " ".join(re.sub(r"[+-]?\d+(\.\d+)?", "0", text).split())


def excerpts() -> list[tuple[str, list[str]]]:
    found = []
    for block in re.findall(r"```console\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.S):
        command, *lines = block.splitlines()
        found.append((command.removeprefix("$ cavity "), lines))
    return found


@pytest.mark.parametrize(("command", "lines"), excerpts(), ids=[command for command, _ in excerpts()])
def test_excerpts_in_the_guide_are_real(desk, command, lines):
    """Each line of an excerpt stands in the output of its command, numbers aside."""
    result = CliRunner().invoke(main, shlex.split(command), env={"COLUMNS": "100", "NO_COLOR": "1"})
    assert result.exit_code in (0, 2) and "Traceback" not in result.output
    shown = [plain(line) for line in result.output.splitlines()]
    for line in lines:
        assert plain(line) in shown, line


def anchors(page: Path) -> set[str]:
    text = page.read_text(encoding="utf-8")
    heads = re.findall(r"^#+ (.*)$", text, re.M)
    made = {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}
    return made | set(re.findall(r'<a id="([^"]+)"', text))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    """Links to files of the project and to headings are not broken."""
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if target.startswith(("http:", "https:")):
            continue
        name, _, anchor = target.partition("#")
        linked = (page.parent / name).resolve() if name else page
        assert linked.is_file(), f"{page.name}: {target}"
        if anchor:
            assert anchor in anchors(linked), f"{page.name}: {target}"


def test_every_key_that_a_page_names_is_a_key_of_the_wall_file():
    """`section.key` in the pages: a section and a key that the reader knows."""
    import re

    import cavity
    from cavity.wallfile.faults import _models
    from cavity.wallfile.schema import UNCERTAIN, WallFile

    keys = {
        section: {key for model in _models(field.annotation) for key in model.model_fields}
        for section, field in WallFile.model_fields.items()
    }
    for page in sorted((Path(__file__).parents[1] / "docs").glob("*.md")):
        for section, key in re.findall(r"`([a-z]+)\.([a-z_]+)`", page.read_text("utf-8")):
            module = section == "cavity" and ((Path(cavity.__file__).parent / key).exists() or key in cavity.__all__)
            if keys.get(section) and not module and f"{section}.{key}" not in UNCERTAIN:
                assert key in keys[section], f"{page.name}: {section}.{key}"


def cited_equations() -> dict[int, list[str]]:
    """The numbers of equations that docstrings cite, with the files that do."""
    package = ROOT / "cavity"
    files = [*package.glob("*.py")]
    for folder in ("kernels", "airflow", "climate", "wall", "hourly"):
        files += (package / folder).glob("*.py")
    files += [package / "risk" / f"{name}.py" for name in ("decay", "condensate", "wood_moisture")]
    found: dict[int, list[str]] = {}
    for file in files:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            text = ast.get_docstring(node) if isinstance(node, ast.FunctionDef) else None
            for first, last in re.findall(r"\bE(\d{1,2})\b(?: to E(\d{1,2})\b)?", text or ""):
                for number in range(int(first), int(last or first) + 1):
                    found.setdefault(number, []).append(f"{file.name}: {node.name}")
    return found


def test_every_equation_of_the_theory_is_cited_where_it_is_computed_and_no_other():
    text = (ROOT / "docs" / "theory.md").read_text(encoding="utf-8")
    listed = [int(number) for number in re.findall(r"^ +\(E(\d+)\)", text, re.MULTILINE)]
    assert listed == list(range(1, len(listed) + 1)) and len(listed) > 60
    cited = cited_equations()
    assert set(listed) - set(cited) == set(), "equations that no docstring cites"
    assert {number: where for number, where in cited.items() if number not in listed} == {}
    for number in re.findall(r"\(E(\d+)\)", text):
        assert int(number) in listed
