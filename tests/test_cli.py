"""The command line: help without delay, `new` and `materials`, errors as text with an exit code."""

import importlib
import os
import pkgutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import cavity
from cavity.cli import CAUTION, main
from cavity.errors import ConvergenceError, Fault, InputError
from cavity.units import cite
from cavity.wallfile import material_names, materials, parse_wall, starter

# Libraries that take long to load; none may be loaded by the help text
HEAVY = {
    "numpy",
    "pandas",
    "xarray",
    "numba",
    "scipy",
    "pint",
    "pydantic",
    "plotly",
    "pvlib",
    "CoolProp",
    "rich",
    "jinja2",
}


def run(*arguments: str, width: int = 100, expect: int = 0):
    result = CliRunner().invoke(main, list(arguments), env={"COLUMNS": str(width), "NO_COLOR": "1"})
    assert result.exit_code == expect, result.output
    assert "Traceback" not in result.output
    return result


def fresh(code: str) -> str:
    """Return what a fresh interpreter prints."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_help_loads_no_heavy_library():
    loaded = fresh(
        "import sys, contextlib, io\n"
        "from cavity.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    main(['--help'], standalone_mode=False)\n"
        "print(' '.join(sys.modules))"
    ).split()
    assert not HEAVY & set(loaded)
    assert "click" in loaded


def test_importing_the_package_loads_no_heavy_library():
    assert not HEAVY & set(fresh("import sys, cavity; print(' '.join(sys.modules))").split())


def test_help_names_the_commands_and_the_caution():
    text = " ".join(run("--help").output.split())
    assert CAUTION in text
    for name in main.commands:
        assert f" {name} " in text
        shown = run(name, "--help").output
        assert shown.startswith("Usage")


def test_every_option_is_explained():
    for name, command in main.commands.items():
        assert command.help, name
        for option in command.params:
            if isinstance(option, click.Option):
                assert option.help, f"{name} {option.opts}"


def test_version_is_that_of_the_package():
    from importlib.metadata import version

    assert run("--version").output == f"cavity {version('cavity')}\n"


def test_the_package_runs_as_a_module():
    done = subprocess.run([sys.executable, "-m", "cavity", "--version"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, run("--version").output, "")
    wrong = subprocess.run([sys.executable, "-m", "cavity", "compair"], capture_output=True, text=True, check=False)
    assert wrong.returncode == 2 and wrong.stderr.startswith("Usage: cavity [")


def test_citation_and_package_agree():
    """Name, version and licence stand in two files; no person is named in either."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    cited = (ROOT / "CITATION.cff").read_text(encoding="utf-8").splitlines()
    assert f"version: {project['version']}" in cited and f"license: {project['license']}" in cited
    assert any(line.startswith(f'title: "{project["name"]}: ') for line in cited)
    assert "authors" not in project and not any("family-names" in line for line in cited)
    assert (Path(cavity.__file__).parent / "py.typed").is_file()


def test_an_unknown_command_is_wrong_use():
    assert "No such command" in run("compair", expect=2).output


# --------------------------------------------------------------------------- new


def test_new_writes_the_starter_and_prints_its_path(tmp_path):
    place = tmp_path / "wall.toml"
    assert run("new", str(place)).output == f"{place}\n"
    assert place.read_text(encoding="utf-8") == starter()
    parse_wall(place.read_text(encoding="utf-8"))
    assert list(tmp_path.iterdir()) == [place]  # no draft left behind


def test_new_does_not_overwrite_without_force(tmp_path):
    place = tmp_path / "wall.toml"
    place.write_text("mine")
    result = run("new", str(place), expect=2)
    assert "exists already" in result.stderr and "--force" in result.stderr and result.stdout == ""
    assert place.read_text() == "mine"
    run("new", str(place), "--force")
    assert place.read_text(encoding="utf-8") == starter()


def test_new_says_why_it_cannot_write(tmp_path):
    assert "is a folder" in run("new", str(tmp_path), expect=2).stderr
    assert "cannot be written" in run("new", str(tmp_path / "no" / "wall.toml"), expect=2).stderr
    assert "cannot be written" in run("new", str(tmp_path / ("x" * 300)), expect=2).stderr
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file_whole(tmp_path, monkeypatch):
    place = tmp_path / "wall.toml"
    place.write_text("mine")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    assert "No space left" in run("new", str(place), "--force", expect=2).stderr
    assert place.read_text() == "mine" and list(tmp_path.iterdir()) == [place]


# --------------------------------------------------------------------------- materials


@pytest.mark.parametrize("width", [80, 100, 120, 200])
def test_the_list_of_materials_fits_the_terminal(width):
    output = run("materials", width=width).output
    assert max(len(line.rstrip()) for line in output.split("\n")) <= width
    for name in material_names():
        assert name.split()[0] in output


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", ["OSB", "fibre cement", "aluminium", "smart vapour retarder", "still air, 25 mm"])
def test_one_material_is_shown_with_its_source(name, width):
    output = run("materials", name, width=width).output
    assert max(len(line.rstrip()) for line in output.split("\n")) <= width
    flat = " ".join(output.split())
    row = materials()[name]
    assert row.title in flat and f"{row.density:g} kg/m3" in flat
    assert " ".join(cite(row.source).split()[:3]) in flat


def test_materials_of_one_group():
    output = run("materials", "--group", "timber").output
    assert "spruce" in output and "OSB" not in output
    result = run("materials", "--group", "timbr", expect=2)
    assert '"timber"' in result.stderr


def test_an_unknown_material_gets_the_nearest_name():
    result = run("materials", "drywall", expect=2)
    assert 'did you mean "gypsum board"?' in result.stderr and result.stdout == ""


# --------------------------------------------------------------------------- errors


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (InputError(Fault("wall.toml, cavity.depth", "zero", "0 mm", "above 0", "give a depth")), 2),
        (ConvergenceError("hour 4213: no convergence"), 1),
    ],
)
def test_errors_become_text_and_an_exit_code(monkeypatch, error, code):
    def broken(**_):
        raise error

    monkeypatch.setattr(main.commands["new"], "callback", broken)
    result = run("new", "x.toml", expect=code)
    assert result.stderr == f"{error}\n" and result.stdout == ""


def test_many_faults_are_cut_to_one_screen(monkeypatch):
    def broken(**_):
        raise InputError(*(Fault(f"wall.toml, key{number}", "bad") for number in range(50)))

    monkeypatch.setattr(main.commands["new"], "callback", broken)
    lines = run("new", "x.toml", expect=2).stderr.strip().split("\n")
    assert len(lines) <= 24 and "42 more" in lines[-1]


def test_a_defect_of_the_program_keeps_its_traceback(monkeypatch):
    def broken(**_):
        raise ZeroDivisionError

    monkeypatch.setattr(main.commands["new"], "callback", broken)
    assert isinstance(CliRunner().invoke(main, ["new", "x.toml"]).exception, ZeroDivisionError)


# --------------------------------------------------------------------------- public names


def test_every_public_name_loads_and_is_listed():
    for name in cavity.__all__:
        assert getattr(cavity, name) is not None
        assert name in dir(cavity)
    with pytest.raises(AttributeError, match="no attribute"):
        cavity.no_such_name  # noqa: B018


@pytest.mark.parametrize(
    "before",
    [
        "import cavity",
        "import cavity.hourly.run, cavity",
        "import cavity.study, cavity",
        "import cavity.report, cavity",
    ],
)
def test_public_names_are_functions_whatever_was_imported_before(before):
    names = [name for name in cavity.__all__ if name != "__version__"]
    said = fresh(f"{before}\nprint(*(callable(getattr(cavity, name)) for name in {names!r}))")
    assert said.split() == ["True"] * len(names)


def test_no_module_of_the_package_has_a_public_name():
    """A module of that name would become an attribute of the package when imported, in place of the function."""
    modules = {module.name for module in pkgutil.iter_modules(cavity.__path__)}
    assert not modules & set(cavity.__all__)
    assert type(cavity) is type(pkgutil)  # a plain module
    assert cavity.simulate is importlib.import_module("cavity.hourly.run").simulate


# --------------------------------------------------------------------------- terminals and interruptions


ROOT = Path(__file__).parents[1]
PROGRAM = [sys.executable, "-c", "from cavity.cli import main; main()"]


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "cp437", "cp850", "latin-1", "gbk", "ascii"])
def test_a_terminal_that_lacks_a_symbol_shows_a_like_one(encoding):
    code = (
        "import click\nfrom cavity.cli import main\n"
        "@main.command()\ndef shown():\n    click.echo('✓ pass, ✗ fail, “slots”, 20 cm²/m, −0.1 K, ≤ 3, Söhne, 壁')\n"
        "main(['shown'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=False, env={**os.environ, "PYTHONIOENCODING": encoding}
    )
    assert done.returncode == 0, done.stderr
    text = done.stdout.decode(encoding)
    assert "pass" in text and "fail" in text and "slots" in text
    if encoding == "ascii":
        assert text.split("\n")[0] == '+ pass, x fail, "slots", 20 cm2/m, -0.1 K, <= 3, Sohne, ?'


def shell(command, **options):
    return subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False, **options)


def test_a_closed_pipe_is_no_error_and_a_full_one_is_one_line():
    program = " ".join(f"'{part}'" for part in PROGRAM)
    done = shell(f"{program} materials | head -1; echo ${{PIPESTATUS[0]}}")
    assert done.stdout.split("\n")[-2] == "0" and done.stderr == ""
    if Path("/dev/full").exists():
        done = shell(f"{program} materials > /dev/full")
        assert done.returncode == 1
        assert done.stderr == "standard output cannot be written: No space left on device\n"


def test_an_interrupted_command_ends_with_130(monkeypatch):
    def stopped(**_):
        raise KeyboardInterrupt

    monkeypatch.setattr(main.commands["new"], "callback", stopped)
    result = run("new", "x.toml", expect=130)
    assert result.stderr.startswith("Stopped.") and result.stdout == ""


def test_a_deleted_working_folder_and_a_user_without_a_home_are_no_traceback(tmp_path):
    wall = tmp_path / "wall.toml"
    wall.write_text(starter(), encoding="utf-8")
    program = " ".join(f"'{part}'" for part in PROGRAM)
    gone = f"mkdir gone; cd gone; rmdir ../gone; {program}"
    for arguments in ("materials OSB", f"airflow '{wall}' --wind 2", f"airflow '{wall}' --wind 2 --out page.html"):
        done = shell(f"{gone} {arguments}", cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)})
        assert done.returncode == 1
        assert done.stderr == "The working folder was deleted; change to another and start again.\n"
    code = (
        "import pathlib\n"
        "def lost(*_): raise RuntimeError('Could not determine home directory.')\n"
        "pathlib.Path.home = classmethod(lost)\n"
        "from cavity import _jit\nfrom cavity.study.cases import default_folder\n"
        "print(_jit._FOLDER, default_folder())"
    )
    env = {key: value for key, value in os.environ.items() if key not in ("XDG_CACHE_HOME", "CAVITY_CASES", "HOME")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=env)
    assert done.returncode == 0 and done.stdout.startswith("None /"), done.stderr
