"""The command line: thin, it parses, calls and prints. Heavy imports are inside the commands."""

from __future__ import annotations

import atexit
import gc
import os
import sys
from collections.abc import Callable, Sequence
from typing import Any

import click

# looking for cycles in all that the libraries hold takes a fifth of the time of a short command, and 0.7 s at its end
gc.set_threshold(100_000, 20, 20)
atexit.register(gc.freeze)

CAUTION = (
    "Results are estimates for comparison. Fire spread in open cavities, structure, mould and health, and electrical "
    "safety are decided by local codes and licensed practice, not by this program."
)
_SHOWN = 8  # faults printed at most: one screen


class Failure(click.ClickException):
    """What a command could not do, reported without a traceback."""

    def __init__(self, message: str, exit_code: int) -> None:
        super().__init__(message)
        self.exit_code = exit_code  # type: ignore[misc]  # click reads it from the instance

    def show(self, file: Any = None) -> None:
        """Print the message to standard error."""
        click.echo(self.message, file=file, err=file is None)


class Commands(click.Group):
    """The group of commands; the one place where what went wrong becomes a message and an exit code."""

    def main(self, *args: Any, **options: Any) -> Any:
        """Run the program; its output may be cut short or lack characters."""
        from cavity.terminal import patient

        with patient() as faults:
            try:
                return super().main(*args, **options)
            except SystemExit as end:
                code = end.code
        if faults and not code:  # a closed pipe is none
            click.echo(f"standard output cannot be written: {faults[0].strerror or faults[0]}", err=True)
            code = 1
        sys.exit(code)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; exit code 2 for wrong input, 1 where the computation failed, 130 where it was stopped."""
        from cavity.errors import CavityError, InputError

        if not _has_folder():  # neither paths nor the compiler work without one
            raise Failure("The working folder was deleted; change to another and start again.", 1)
        from cavity.terminal import Announced, watched

        try:
            with watched(Announced(lambda line: click.echo(line, err=True))):
                return super().invoke(ctx)
        except InputError as error:
            faults = [str(fault) for fault in error.faults]
            if len(faults) > _SHOWN:
                faults[_SHOWN:] = [f"... and {len(faults) - _SHOWN} more; fix these first"]
            raise Failure("\n".join(faults), error.exit_code) from None
        except CavityError as error:
            raise Failure(str(error), error.exit_code) from None
        except KeyboardInterrupt:
            raise Failure("Stopped. Finished cases are saved; the same command resumes from there.", 130) from None
        except MemoryError:
            raise Failure("There is not enough memory; give fewer cases, or a shorter weather file.", 1) from None
        except OSError as error:
            place = f": {error.filename}" if error.filename else ""
            raise Failure(f"{error.strerror or error}{place}", 1) from None

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Keep the commands in the order of the file."""
        return list(self.commands)


def _has_folder() -> bool:
    try:
        os.getcwd()  # noqa: PTH109  pathlib takes longer to load
    except OSError:
        return False
    return True


def _version(ctx: click.Context, _option: click.Parameter, asked: bool) -> None:
    if asked:
        import cavity

        click.echo(f"cavity {cavity.__version__}")
        ctx.exit()


@click.group(
    cls=Commands,
    epilog=CAUTION,
    context_settings={"help_option_names": ["-h", "--help"], "show_default": True, "max_content_width": 100},
)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Print the version and exit."
)
def main() -> None:
    """Compare vent openings and cavity depths behind panel cladding, on hourly weather."""


def _engine_options(command: Any) -> Any:
    """Add the options that say where the cases of a study are computed, and whether finished ones are used."""
    fresh = click.option(
        "--fresh", is_flag=True, help="Compute every case [default: cases finished in an earlier run are used]."
    )
    scheduler = click.option(
        "--scheduler", metavar="ADDRESS",
        help="Compute on a dask cluster, such as tcp://host:8786 [default: on all cores of this computer].",
    )  # fmt: skip
    return scheduler(fresh(command))


def _complete(counted: str, reasons: Sequence[str]) -> None:
    """End with exit code 1 where cases were not computed, after everything is written; say how many and why, once."""
    if reasons:
        rest = len(set(reasons)) - 1
        more = f" (and {rest} other reason{'s' if rest > 1 else ''})" if rest else ""
        raise Failure(f"{counted}; not computed: {reasons[0]}{more}", 1)


class _Files:
    """What a command writes: each file is written before anything is printed, and named at the end."""

    def __init__(self) -> None:
        self._written: list[str] = []
        self._problem: Exception | None = None

    def write(self, title: str, write: Callable[..., Any], *args: Any, **options: Any) -> Any:
        """Write a file, or several; what keeps it from being written is kept for the end."""
        from cavity.errors import InputError

        try:
            done = write(*args, **options)
        except InputError as error:
            self._problem = self._problem or error
            return None
        self._written += [f"{title}{path}" for path in (done if isinstance(done, list) else [done])]
        return done

    def tell(self) -> None:
        """Print the files written; raise what kept one from being written."""
        for line in self._written:
            click.echo(line)
        if self._problem:
            raise self._problem


def _rain_options(several: bool = False) -> Any:
    """Add the options that say where the rain comes from; `several`: each may be given once for each climate."""
    each = "; once for all climates, or once for each in order, - for none" if several else ""
    rain = click.option(
        "--rain", type=click.Path(), multiple=several, help=f"Second weather file whose rain is used{each}."
    )
    total = click.option(
        "--rain-total", metavar="QUANTITY", multiple=several,
        help="Where a file has no rain: estimate it by weather codes, humidity, cloud and wind, with a yearly total, "
        f'such as "780 mm", or twelve monthly ones, "60, 55, ... mm"{each}.',
    )  # fmt: skip
    return lambda command: rain(total(command))


def _climate_option(several: bool = False) -> Any:
    """Add the option that names the weather."""
    more = "; may be repeated" if several else ""
    return click.option(
        "--climate", "climates" if several else "climate", multiple=several, metavar="FILE_OR_NAME",
        help="Hourly weather of a year (EPW, CSV or NetCDF), or one of the fictitious climates that `cavity climate` "
        f'lists{more}.  [default: "cool marine"]',
    )  # fmt: skip


def _weathers(climates: Any, rain: Any, rain_total: Any) -> list[Any]:
    """Read climates with their rain; an estimate or a default is said on stderr, whatever the command prints."""
    import json

    from cavity.climate.estimate import read_climates
    from cavity.climate.named import DEFAULT

    if not climates:
        _no_rain_alone({"--rain": rain, "--rain-total": rain_total})
    found = read_climates(climates or [DEFAULT], rain, rain_total)
    if not climates:
        place = str(found[0].attrs["name"]).removesuffix(" (fictitious)")
        click.echo(
            f'Note: no --climate is given; this is the fictitious climate "{DEFAULT}" ({place}). `cavity climate` '
            "lists the others; for a building give the weather of its place.",
            err=True,
        )
    for weather in found:
        if str(weather.attrs["rain_source"]).startswith("estimated"):
            said = [note for note in json.loads(weather.attrs["warnings"]) if note.lower().startswith("rain is")]
            click.echo(f"Note: {weather.attrs['name']}: {'; '.join(said)}.", err=True)
    return found


def _no_rain_alone(options: dict[str, Any]) -> None:
    """Refuse rain of a real place for the default climate."""
    from cavity.errors import Fault, InputError

    for option, given in options.items():
        if given:
            raise InputError(
                Fault(option, "there is no climate that it belongs to", str(given[0])[:80], "--climate as well",
                      "give the weather of the place by --climate")
            )  # fmt: skip


def _weather(climate: str | None, rain: str | None, rain_total: str | None) -> Any:
    """Read one climate with its rain."""
    return _weathers([climate] if climate else [], [rain] if rain else [], [rain_total] if rain_total else [])[0]


# A command: parse, call, print. Options show default and unit, heavy imports are inside, errors are CavityErrors.


@main.command()
@click.argument("file", type=click.Path(), required=False)
@click.option("--like", default="fibre-cement", metavar="NAME", help="The wall to start from; --list names them.")
@click.option("--list", "listed", is_flag=True, help="List the walls to start from.")
@click.option("--force", is_flag=True, help="Replace FILE where it exists.")
def new(file: str | None, like: str, listed: bool, force: bool) -> None:
    """Write a commented wall file to start from; it runs as it is."""
    from cavity.wallfile.starter import starters, write_starter

    if listed:
        for name, title in starters().items():
            click.echo(f"{name:<22}{title}")
        return
    if file is None:
        raise click.UsageError("name the FILE to write, or give --list")
    click.echo(write_starter(file, like=like, force=force))


@main.command(short_help="Compare vent openings and cavity depths; write the report.")
@click.argument("wallfiles", nargs=-1, required=True, type=click.Path(), metavar="WALLFILE...")
@_climate_option(several=True)
@_rain_options(several=True)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="NAME",
    help="Column (strip) of the cavity, may be repeated.  [default: all]",
)
@click.option(
    "--facing", "facings", multiple=True, metavar="DIRECTION",
    help="Orientation, may be repeated or a list: N,SW or 30,210 (degrees clockwise from north); all: the eight of the "
    "compass.  [default: that of the wall file]",
)  # fmt: skip
@click.option(
    "--variant", "variants", multiple=True, metavar="NAME",
    help="[[variant]] of the wall file to compare with the wall as drawn, may be repeated; all: every one.",
)  # fmt: skip
@click.option("--rules", type=click.Path(), metavar="FILE", help="File of [[rule]] entries for the rule check (TOML).")
@click.option(
    "--out",
    type=click.Path(),
    help="The report (HTML); of several walls the folder of all reports.  [default: reports/NAME-OF-WALLFILE.html]",
)
@click.option("--save", type=click.Path(), metavar="FOLDER", help="Also write every case as NetCDF into this folder.")
@click.option(
    "--csv", type=click.Path(), metavar="FOLDER", help="Also write the report's tables as CSV into this folder."
)
@click.option("--pdf", is_flag=True, help="Also print the report as a PDF file next to it; needs Chromium.")
@click.option(
    "--docx", type=click.Path(), metavar="FILE",
    help="Also write the summary as a document, with pictures where Chromium is installed (DOCX); of several walls the "
    "folder of all documents.",
)  # fmt: skip
@click.option(
    "--xlsx", type=click.Path(), metavar="FILE",
    help="Also write findings, vent schedule, months and hours as a spreadsheet (XLSX); of several walls the folder of "
    "all spreadsheets.",
)  # fmt: skip
@click.option(
    "--confidence", is_flag=True,
    help="Sample the uncertain inputs for the recommended case and the runner-up, however long it takes "
    "[default: only if it takes under half a minute].",
)  # fmt: skip
@_engine_options
def compare(
    wallfiles: tuple[str, ...],
    climates: tuple[str, ...],
    rain: tuple[str, ...],
    rain_total: tuple[str, ...],
    columns: tuple[str, ...],
    facings: tuple[str, ...],
    variants: tuple[str, ...],
    rules: str | None,
    out: str | None,
    save: str | None,
    csv: str | None,
    pdf: bool,
    docx: str | None,
    xlsx: str | None,
    confidence: bool,
    scheduler: str | None,
    fresh: bool,
) -> None:
    """Compare all opening sets and depths of WALLFILE in each climate; write the interactive report.

    Of several wall files, or a folder of them, every wall has its report, and one summary (page and CSV) lists verdict,
    governing criterion and recommended case of each. All are read and checked before the first is computed.
    """
    from pathlib import Path

    from rich.console import Console

    from cavity.errors import ConvergenceError, Fault, InputError
    from cavity.files import HTML, PDF, check_outputs, write_whole
    from cavity.report import office, summary, summary_page, write_docx, write_report, write_xlsx
    from cavity.report.comparison_text import comparison_lines, comparison_tables, shown_progress
    from cavity.report.tables import write_tables
    from cavity.study import compare as run
    from cavity.study import save_cases
    from cavity.wallfile.reader import wall_files

    if pdf:
        from cavity.report.pdf import needed_browser, write_pdf

        needed_browser()  # before the work, not after it
    paths = wall_files(wallfiles)
    many = len(paths) > 1 or Path(wallfiles[0]).is_dir()
    if many and out and Path(out).suffix.lower() in (".html", ".htm"):
        raise InputError(
            Fault("--out", "is one file, but there are several walls", out[:200], "a folder for all reports",
                  f"--out {Path(out).with_suffix('')}")
        )  # fmt: skip
    folder = Path(out) if out and many else Path("reports")
    names = _own_names(paths)
    documents = office.targets("--docx", docx, names if many else None)  # before the work, not after it
    spreadsheets = office.targets("--xlsx", xlsx, names if many else None)
    targets = [folder / f"{name}.html" if many or not out else Path(out) for name in names]
    overview = folder / "summary.html" if many else None
    outputs: list[tuple[str, Any, bytes]] = [("--out", target, HTML) for target in (*targets, overview)]
    if overview:
        outputs.append(("--out", overview.with_suffix(".csv"), b"wall,"))
    outputs += [("--pdf", target.with_suffix(".pdf"), PDF) for target in targets if pdf]
    outputs += [("--docx", target, office.START) for target in documents]
    outputs += [("--xlsx", target, office.START) for target in spreadsheets]
    outputs += [("--save", save, b""), ("--csv", csv, b"")]
    inputs = [*paths, *climates, *rain, rules]
    check_outputs(outputs, inputs)  # before anything is read
    walls, weathers = _checked(paths, climates, rain, rain_total, rules, columns, facings, variants)
    check_outputs(outputs, [*inputs, *(wall.indoor.file for wall in walls)])
    if documents and (missing := office.no_pictures()):
        click.echo(f"Note: --docx: {missing}", err=True)
    if many and scheduler:
        from cavity.study.engine import Engine

        with Engine(scheduler=scheduler):  # one that does not answer concerns all walls
            pass
    files, found, reasons, computed = _Files(), [], [], 0
    with shown_progress() as progress:

        def led(lead: str) -> Callable[[int, int, str], None]:
            return lambda done, total, text: progress(done, total, f"{lead}{text}")

        for at, (wall, name, path, target) in enumerate(zip(walls, names, paths, targets, strict=True)):
            lead = f"{wall.name}: " if many else ""
            try:
                comparison = run(
                    wall, weathers, columns=columns or None, facings=facings, variants=variants, progress=led(lead),
                    scheduler=scheduler, fresh=fresh, confidence=confidence or None,
                )  # fmt: skip
            except (ConvergenceError, InputError) as error:
                if not many:
                    raise
                reasons.append(f"{path}: {' '.join(str(error).split())}")
                found.append(summary.lost(wall.name, " ".join(str(error).split()), file=str(path)))
                continue
            page = files.write("Report: ", write_report, comparison, target)
            if pdf and page:
                files.write("PDF: ", write_pdf, page, target.with_suffix(".pdf"))
            if documents:
                files.write("Document: ", write_docx, comparison, documents[at], page=page)
            if spreadsheets:
                files.write("Spreadsheet: ", write_xlsx, comparison, spreadsheets[at])
            if save:
                files.write("", save_cases, comparison, Path(save) / name if many else save)
            if csv:
                files.write("", write_tables, comparison, Path(csv) / name if many else csv)
            computed += len(comparison.cases)
            reasons += [f"{path}: {each.reason}" if many else each.reason for each in comparison.failed]
            if many:
                found += summary.rows(comparison, file=str(path), report=target.name if page else "")
    if overview:
        files.write("Summary: ", summary_page.write_summary, found, overview)
        files.write("Summary: ", write_whole, overview.with_suffix(".csv"), summary.csv(found))
    console = Console(highlight=False)
    for table in [summary.table(found)] if many else comparison_tables(comparison):
        console.print(table)
    for line in summary.lines(found) if many else comparison_lines(comparison):
        click.echo(line)
    click.echo(f"\n{CAUTION}\n")
    files.tell()
    counted = comparison.count_text if not many else f"{computed} cases of {len(walls)} walls computed"
    _complete(counted, reasons)


def _checked(
    paths: Sequence[Any], climates: Any, rain: Any, rain_total: Any, rules: str | None, columns: Sequence[str],
    facings: Sequence[str], variants: Sequence[str],
) -> tuple[list[Any], list[Any]]:  # fmt: skip
    """Read walls and climates of a comparison; raise all their faults at once, the first of each before the rest."""
    from dataclasses import replace
    from itertools import chain, zip_longest

    from cavity.errors import Fault, InputError
    from cavity.study.compare import axes_of, read_facings
    from cavity.study.engine import check_one_year
    from cavity.wall.indoor import indoor_climate
    from cavity.wallfile import read_rules, read_wall

    faults: list[Sequence[Fault]] = []

    def tried(what: Callable[..., Any], *given: Any) -> Any:
        try:
            return what(*given)
        except InputError as error:
            faults.append(error.faults)
            return None

    more = tried(read_rules, rules) if rules else ()
    tried(read_facings, facings)
    walls = []
    for path in paths:
        wall = tried(read_wall, path)
        if wall is None:
            continue
        tried(axes_of, wall, None, variants)
        for name in columns:
            tried(wall.column, name)
        walls.append(replace(wall, rules=(*wall.rules, *(more or ()))))
    weathers = tried(_weathers, climates, rain, rain_total) or []
    for weather in weathers:
        tried(check_one_year, weather)
        for wall in walls:
            if wall.indoor.file:
                tried(indoor_climate, wall.indoor, weather)
    told = list(dict.fromkeys(one for one in chain(*zip_longest(*faults)) if one))
    if told:
        raise InputError(*told)
    return walls, weathers


def _own_names(paths: Sequence[Any]) -> list[str]:
    """Return a name for the outputs of each wall file: its own, with a number where two share it."""
    taken = {"summary"}
    names = []
    for path in paths:
        name, number = path.stem, 2
        while name.casefold() in taken:
            name, number = f"{path.stem}-{number}", number + 1
        taken.add(name.casefold())
        names.append(name)
    return names


@main.command(short_help="List the built-in materials, or all values of one.")
@click.argument("name", required=False)
@click.option("--group", help="Only this group, such as cladding or membrane [default: all].")
def materials(name: str | None, group: str | None) -> None:
    """List the built-in materials, or all values of the material NAME."""
    from rich.console import Console

    from cavity.wallfile.materials_text import material_detail, materials_table

    console = Console(highlight=False)
    console.print(material_detail(name) if name else materials_table(console.width, group))
    if name:
        from cavity.wall.monthly_text import material_curves
        from cavity.wallfile import material

        console.print(material_curves(material(name), console.width))


@main.command(short_help="Summarise hourly weather and rank the orientations.")
@click.argument("files", nargs=-1, metavar="[FILE_OR_NAME]...")
@_rain_options()
@click.option("--wall", type=click.Path(), help="Wall file whose site (terrain, height, rain factors) is used.")
@click.option(
    "--year",
    metavar="YEAR",
    help="Of several years: critical (severe, by the moisture index), mean, or a calendar year.",
)
@click.option("--warmer", type=float, metavar="KELVIN", help="Shift the temperature at constant relative humidity. [K]")
@click.option("--out", type=click.Path(), help="Write a page (HTML).")
@click.option("--save", type=click.Path(), help="Write the weather as used (NetCDF), to be read as a climate again.")
def climate(
    files: tuple[str, ...],
    rain: str | None,
    rain_total: str | None,
    wall: str | None,
    year: str | None,
    warmer: float | None,
    out: str | None,
    save: str | None,
) -> None:
    """Summarise hourly weather: months, driving rain, drying, and the most critical orientation.

    Without a FILE: list the fictitious climates of the program; each may be named in place of a file.
    FILE is EPW, CSV or NetCDF; several files are taken as years of one place. The CSV form:

    \b
      # name = Our roof
      # latitude = 52.0        # north positive, degrees
      # longitude = 5.0        # east positive, degrees
      # utc offset = 1         # local standard time, hours
      # elevation = 20         # m
      # time label = start     # what a stamp marks: start, middle or end
      time,temperature_outdoor [degC],relative_humidity_outdoor [%],wind_speed [m/s],
           wind_direction [degree],global_horizontal [W/m2],rain [mm/h]   (in one line)
      2021-01-01T00:00,4.2,91,3.1,230,0,0.2

    Further columns: dew_point, vapour_pressure_outdoor, pressure, direct_normal, diffuse_horizontal,
    infrared_horizontal, cloud_cover. Any compatible unit is read. Empty fields are missing values.
    """  # noqa: D301
    from rich.console import Console

    from cavity.climate.climate_text import climates_table, notes, prepare, table

    if not files:
        if rain or rain_total or wall or year or warmer is not None or out or save:
            raise click.UsageError("name a FILE or a climate; `cavity climate` alone lists the climates")
        Console(highlight=False).print(climates_table())
        click.echo("\nAll are fictitious, for trying things out: no such place exists. Use one by its name:")
        click.echo('cavity compare wall.toml --climate "cool marine"')
        return
    from cavity.climate.summary import STANDARD_SITE, summarise
    from cavity.files import HTML, NETCDF, check_outputs
    from cavity.report import climate_page
    from cavity.result import save as write

    check_outputs([("--out", out, HTML), ("--save", save, NETCDF)], [*files, rain, wall])
    weather = prepare(files, rain=rain, rain_total=rain_total, year=year, warmer=warmer)
    site: Any = STANDARD_SITE
    if wall:
        from cavity.wallfile import read_wall

        site = read_wall(wall).site
    summary = summarise(weather, site=site)
    written = _Files()
    if save:
        written.write("", write, weather, save)
    if out:
        written.write("", climate_page.write_climate_page, summary, out)
    console = Console(highlight=False)
    console.print(table(climate_page.month_head(summary), climate_page.month_rows(summary), weather.attrs["name"]))
    console.print(
        table(
            climate_page.ranking_head(summary), climate_page.ranking_rows(summary), "Orientations, most critical first"
        )
    )
    click.echo(f"\n{summary.attrs['sentence']}")
    for note in notes(weather):
        click.echo(f"Note: {note}.")
    written.tell()


@main.command(short_help="Check a wall by monthly means (ISO 13788, ISO 6946).")
@click.argument("wallfile", type=click.Path())
@_climate_option()
@_rain_options()
@click.option("--openings", metavar="NAME", help="Set of openings [default: first in the wall file].")
@click.option("--depth", metavar="QUANTITY", help='Cavity depth such as "30 mm" [default: that of the wall file].')
@click.option("--column", metavar="NAME", help="Column of the cavity [default: first in the wall file].")
def monthly(
    wallfile: str, climate: str | None, rain: str | None, rain_total: str | None, openings: str | None,
    depth: str | None,
    column: str | None,
) -> None:  # fmt: skip
    """Check a wall by monthly means: condensate, drying, temperature factor f_Rsi (ISO 13788), U-value (ISO 6946)."""
    from rich.console import Console

    from cavity.climate.climate_text import notes
    from cavity.errors import Fault, InputError
    from cavity.units import parse_quantity
    from cavity.wall.monthly import DIFFERENCES
    from cavity.wall.monthly import monthly as run
    from cavity.wall.monthly_text import monthly_lines, monthly_table
    from cavity.wallfile import read_wall

    metres = None
    if depth is not None:
        try:
            metres = parse_quantity(depth, "m")
        except ValueError as error:
            raise InputError(
                Fault("--depth", str(error), depth[:80], 'a length such as "30 mm"', "add a unit")
            ) from None
        if not 0.001 <= metres <= 0.5:
            raise InputError(Fault("--depth", "not a possible cavity depth", depth[:80], "1 mm to 500 mm", ""))
    wall, weather = read_wall(wallfile), _weather(climate, rain, rain_total)
    case = wall.case(opening_set=openings, depth=metres, column=column)
    result = run(case, weather)
    click.echo(f"{wall.name}, openings {case.opening_set.name!r}, in {weather.attrs['name']}\n")
    Console(highlight=False).print(monthly_table(result))
    click.echo("Condensate: monthly change = amount at month end.")
    click.echo()
    for line in monthly_lines(result):
        click.echo(line)
    click.echo("\nWhere the hourly result differs, look here first:")
    for line in DIFFERENCES:
        click.echo(f"- {line}")
    for note in notes(weather):
        click.echo(f"Note: {note}.")
    click.echo(f"\n{CAUTION}")


@main.command(short_help="Show flows and what restricts them for given wind and sun.")
@click.argument("wallfile", type=click.Path())
@click.option("--openings", metavar="NAME", help="Set of openings [default: first in the wall file].")
@click.option("--depth", metavar="LENGTH", help='Cavity depth such as "30 mm" [default: that of the wall file].')
@click.option("--column", "columns", multiple=True, metavar="NAME", help="Column, may be repeated [default: all].")
@click.option("--wind", default="0,2,5", metavar="M/S", help="Wind at roof height, numbers with commas. [m/s]")
@click.option("--angle", default=0.0, type=float, metavar="DEG", help="Between wind and wall normal. [degree]")
@click.option("--outdoor", default=10.0, type=float, metavar="C", help="Outdoor air. [degC]")
@click.option("--indoor", default=20.0, type=float, metavar="C", help="Room air. [degC]")
@click.option("--sun", metavar="W/M2", help="Sun on the wall, numbers with commas. [W/m2]  [default: 0,300,700]")
@click.option("--cavity", "warm", metavar="C", help="Instead of sun: temperature of the cavity air. [degC]")
@click.option("--out", type=click.Path(), help="Write a small page (HTML).")
def airflow(
    wallfile: str,
    openings: str | None,
    depth: str | None,
    columns: tuple[str, ...],
    wind: str,
    angle: float,
    outdoor: float,
    indoor: float,
    sun: str | None,
    warm: str | None,
    out: str | None,
) -> None:
    """Show flows, air change rates and the main flow restriction for given wind and sun, without weather."""
    from rich.console import Console

    from cavity.airflow.steady import difference_sentence, numbers, steady_columns
    from cavity.climate.climate_text import table
    from cavity.constants import ICE_POINT
    from cavity.errors import Fault, InputError
    from cavity.files import HTML, check_outputs
    from cavity.report import airflow_page
    from cavity.units import parse_quantity
    from cavity.wallfile import read_wall

    wall = read_wall(wallfile)
    check_outputs([("--out", out, HTML)], [wallfile, wall.indoor.file])
    options = {"angle": angle, "outdoor": outdoor + ICE_POINT, "indoor": indoor + ICE_POINT}
    metres = None
    if depth is not None:
        try:
            metres = parse_quantity(depth, "m")
        except ValueError as error:
            raise InputError(Fault("--depth", str(error), depth, 'a length such as "30 mm"', "add a unit")) from None
    winds = numbers(wind, "--wind")
    heated: dict[str, Any] = {}
    if warm is not None:
        heated["cavity"] = [value + ICE_POINT for value in numbers(warm, "--cavity")]
    if sun is not None or warm is None:
        heated["sun"] = numbers("0,300,700" if sun is None else sun, "--sun")
    case = wall.case(opening_set=openings, depth=metres, column=columns[0] if columns else None)
    found = steady_columns(wall, columns, opening_set=openings, depth=metres, wind=winds, **options, **heated)
    notes = [difference_sentence(case, wind=winds, **options)]
    files = _Files()
    if out:
        files.write("", airflow_page.write_airflow_page, found, out, notes=notes)
    console = Console(highlight=False)
    for ds in found:
        for title, head, rows in airflow_page.terminal_tables(ds):
            console.print(table(head, rows, title))
        for line in airflow_page.sentences(ds):
            click.echo(line)
        click.echo()
    for line in (*notes, *airflow_page.CAUTIONS):
        click.echo(line)
    files.tell()


@main.command(short_help="Run the benchmark cases: expected, computed, deviation.")
@click.argument("areas", nargs=-1, metavar="[AREA]...")
@click.option("--report", type=click.Path(), help="Write all cases, with sources, as a page (HTML).")
@click.option("--short", is_flag=True, help="Omit passed cases from the tables.")
def verify(areas: tuple[str, ...], report: str | None, short: bool) -> None:
    """Run the benchmark cases of AREA (default: all): expected, computed, deviation. Exit code 1 where one fails."""
    from rich.console import Console

    from cavity.files import HTML, check_outputs
    from cavity.published import verify as published

    check_outputs([("--report", report, HTML)], [])
    found = published.run(areas)
    files = _Files()
    if report:
        files.write("", published.write_verify_page, found, report)
    console = Console(highlight=False)
    for area, cases in found.items():
        console.print(published.terminal_table(area, cases, every=not short))
    click.echo(f"\n{published.summary(found)}\n{published.provenance(found)}")
    files.tell()
    bad = published.failed(found)
    if bad:
        raise Failure("Outside: " + "; ".join(case.name for case in bad), 1)


def _case_options(several_depths: bool = False) -> Any:
    """Add the options that choose one case of a wall file: climate, rain, openings, depth, column."""
    depth = (
        click.option(
            "--depth",
            "depths",
            multiple=True,
            metavar="QUANTITY",
            help='Depth to search such as "30 mm", may be repeated [default: those of the wall file].',
        )
        if several_depths
        else click.option(
            "--depth", metavar="QUANTITY", help='Cavity depth such as "30 mm" [default: that of the wall file].'
        )
    )
    options = (
        click.argument("wallfile", type=click.Path()),
        _climate_option(),
        _rain_options(),
        click.option("--openings", metavar="NAME", help="Set of openings [default: first in the wall file]."),
        depth,
        click.option("--column", metavar="NAME", help="Column of the cavity that must pass [default: all]."),
    )

    def add(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def _quantity(option: str, text: str, unit: str, low: float, high: float, example: str) -> float:
    """Read an option with a unit; a fault names the option."""
    from cavity.errors import Fault, InputError
    from cavity.units import parse_quantity, slip

    try:
        value = parse_quantity(text, unit)
    except ValueError as error:
        raise InputError(Fault(option, str(error), text[:80], f'such as "{example}"', "add a unit")) from None
    if not low <= value <= high:
        shown = f"{low:g} {unit} to {high:g} {unit}" if unit else f"{100 * low:g} % to {100 * high:g} %"
        fix = slip(value, unit, low, high) or f'such as "{example}"'
        raise InputError(Fault(option, "out of range", text[:80], shown, fix))
    return value


def _depth(text: str | None) -> float | None:
    return None if text is None else _quantity("--depth", text, "m", 0.001, 0.5, "30 mm")


@main.command(short_help="Find the minimum vents, rail gaps and cavity depth.")
@_case_options(several_depths=True)
@click.option(
    "--scale",
    "scaled",
    multiple=True,
    metavar="NAME",
    help="Opening to scale, may be repeated [default: all of the set].",
)
@click.option("--margin", default="0 %", metavar="PERCENT", help='Distance to keep from every limit, such as "10 %".')
@click.option("--strict", is_flag=True, help="A case with items to review does not pass.")
@click.option("--out", type=click.Path(), help="Write a page with the minima and all cases (HTML).")
@click.option(
    "--xlsx", type=click.Path(), metavar="FILE", help="Write the minima and all cases as a spreadsheet (XLSX)."
)
@_engine_options
def size(
    wallfile: str, climate: str | None, rain: str | None, rain_total: str | None, openings: str | None,
    depths: tuple[str, ...], column: str | None,
    scaled: tuple[str, ...], margin: str, strict: bool, out: str | None, xlsx: str | None, scheduler: str | None,
    fresh: bool,
) -> None:  # fmt: skip
    """Find the minimum vents, gaps at the rail ends and cavity depth with which WALLFILE meets every criterion."""
    from rich.console import Console

    from cavity.files import HTML, check_outputs
    from cavity.report import office
    from cavity.report.comparison_text import shown_progress
    from cavity.report.study_page import write_size_page
    from cavity.report.workbook import write_size_xlsx
    from cavity.study.size import size as run
    from cavity.study.study_text import size_tables
    from cavity.wallfile import read_wall

    share = _quantity("--margin", margin, "", 0.0, 0.9, "10 %")
    metres = [_quantity("--depth", text, "m", 0.001, 0.5, "30 mm") for text in depths]
    outputs = [("--out", out, HTML), *(("--xlsx", each, office.START) for each in office.targets("--xlsx", xlsx, None))]
    check_outputs(outputs, [wallfile, climate, rain])  # before anything is read
    wall = read_wall(wallfile)
    check_outputs(outputs, [wallfile, climate, rain, wall.indoor.file])
    weather = _weather(climate, rain, rain_total)
    with shown_progress() as progress:
        found = run(
            wall, weather, opening_set=openings, column=column, openings=scaled, depths=metres, margin=share,
            accept="pass" if strict else "review", progress=progress, scheduler=scheduler, fresh=fresh,
        )  # fmt: skip
    files = _Files()
    if out:
        files.write("Page: ", write_size_page, found, out)
    if xlsx:
        files.write("Spreadsheet: ", write_size_xlsx, found, xlsx)
    click.echo(f"{found.wall_name}, openings {found.opening_set!r}, {found.column}, in {found.climate_name}\n")
    console = Console(highlight=False)
    for table in size_tables(found):
        console.print(table)
        click.echo()
    for line in found.sentences:
        click.echo(f"- {line}")
    click.echo(f"\n{CAUTION}\n")
    files.tell()
    _complete(found.count_text, [reason for _, reason in found.failed])


@main.command(short_help="Propagate the uncertain inputs: probabilities, influence.")
@_case_options()
@click.option("--samples", default=64, help="Samples, raised to a power of two.")
@click.option("--seed", default=0, help="Seed of the sample sequence.")
@click.option(
    "--quick", is_flag=True, help="Probabilities and rank correlations only: no first- and total-order indices."
)
@click.option("--out", type=click.Path(), help="Write a page with bands and influential inputs (HTML).")
@click.option("--save", type=click.Path(), metavar="FILE", help="Also write the study as NetCDF.")
@_engine_options
def uncertainty(
    wallfile: str, climate: str | None, rain: str | None, rain_total: str | None, openings: str | None,
    depth: str | None, column: str | None,
    samples: int, seed: int, quick: bool, out: str | None, save: str | None, scheduler: str | None, fresh: bool,
) -> None:  # fmt: skip
    """Propagate the uncertain inputs of WALLFILE: probability that each criterion is met, most influential inputs."""
    import json

    from rich.console import Console

    from cavity.files import HTML, NETCDF, check_outputs
    from cavity.report.comparison_text import shown_progress
    from cavity.report.study_page import write_uncertainty_page
    from cavity.result import save as write
    from cavity.study.study_text import range_lines, range_table, uncertainty_table
    from cavity.study.uncertainty import uncertainty as run
    from cavity.wallfile import read_wall

    metres = _depth(depth)
    wall = read_wall(wallfile)
    check_outputs([("--out", out, HTML), ("--save", save, NETCDF)], [wallfile, climate, rain, wall.indoor.file])
    weather = _weather(climate, rain, rain_total)
    with shown_progress() as progress:
        study = run(
            wall,
            weather,
            opening_set=openings,
            depth=metres,
            column=column,
            samples=samples,
            influence=not quick,
            seed=seed,
            progress=progress,
            scheduler=scheduler,
            fresh=fresh,
        )
    files = _Files()
    if out:
        files.write("Page: ", write_uncertainty_page, study, out)
    if save:
        files.write("", write, study, save)
    console = Console(highlight=False)
    console.print(uncertainty_table(study))
    click.echo()
    console.print(range_table(study))
    click.echo()
    for line in range_lines(study):
        click.echo(f"- {line}")
    click.echo(f"\n{study.attrs['sentence']}\n\n{CAUTION}\n")
    files.tell()
    reasons = json.loads(study.attrs.get("not_computed", "[]"))
    asked = study.attrs.get("samples_asked", study.attrs["samples"])
    _complete(f"{study.attrs['samples']} of {asked} samples computed", reasons)


@main.command(short_help="Find what to change first; each change is simulated.")
@_case_options()
@_engine_options
def advise(
    wallfile: str, climate: str | None, rain: str | None, rain_total: str | None, openings: str | None,
    depth: str | None, column: str | None,
    scheduler: str | None, fresh: bool,
) -> None:  # fmt: skip
    """Find what to change first about WALLFILE; each change is simulated.

    Also reports the drying time after a wetting event.
    """
    from cavity.errors import ConvergenceError
    from cavity.report.comparison_text import shown_progress
    from cavity.study.advice import advise as run
    from cavity.study.advice import lines
    from cavity.study.wetting import wettable, wetting_event
    from cavity.wallfile import read_wall

    metres = _depth(depth)
    wall, weather = read_wall(wallfile), _weather(climate, rain, rain_total)
    with shown_progress() as progress:
        advice = run(
            wall, weather, opening_set=openings, depth=metres, column=column, progress=progress, scheduler=scheduler,
            fresh=fresh,
        )  # fmt: skip
    click.echo(advice[0].start)
    for line in lines(advice, most=len(advice)):
        click.echo(f"- {line}")
    reasons = [each.failure for each in advice if each.failure]
    counted = f"{len(advice) - len(reasons)} of {len(advice)} changes computed"
    if wettable(wall):
        try:
            event = wetting_event(
                wall, weather, opening_set=openings, depth=metres, column=column or advice[0].column,
                scheduler=scheduler, fresh=fresh,
            )  # fmt: skip
            click.echo(f"\nDrying of {event.layer}: {event.finding.sentence}")
        except ConvergenceError as error:
            click.echo(f"\nNot computed: {error}.")
            reasons.append(str(error))
    click.echo(f"\n{CAUTION}")
    _complete(counted, reasons)


@main.command(short_help="Write a page for teaching: twelve lessons with sliders.")
@click.argument("wallfile", required=False, type=click.Path())
@_climate_option()
@_rain_options()
@click.option("--openings", metavar="NAME", help="Set of openings [default: the one most open at base and head].")
@click.option("--out", type=click.Path(), default="reports/lesson.html", show_default=True, help="The page (HTML).")
@_engine_options
def lesson(
    wallfile: str | None, climate: str | None, rain: str | None, rain_total: str | None, openings: str | None, out: str,
    scheduler: str | None, fresh: bool,
) -> None:  # fmt: skip
    """Write a page for teaching: twelve lessons on what depth, openings, wind, sun and rails do to flow and wetness.

    Computed for WALLFILE [default: the fictitious wall of `cavity new`]; rails and barriers are omitted.
    """
    from cavity.files import HTML, check_outputs
    from cavity.report.comparison_text import shown_progress
    from cavity.report.lesson_page import write_lesson
    from cavity.study.lesson import base_case, lessons
    from cavity.wallfile import parse_wall, read_wall, starter

    wall = read_wall(wallfile) if wallfile else parse_wall(starter(), "starter")
    check_outputs([("--out", out, HTML)], [wallfile, climate, rain, wall.indoor.file])
    wall.case(opening_set=openings)  # an unknown name is reported before the weather is read
    weather = _weather(climate, rain, rain_total)
    with shown_progress() as progress:
        done = lessons(wall, weather, opening_set=openings, progress=progress, scheduler=scheduler, fresh=fresh)
    invented = ["wall"] * wall.invented + ["climate"] * bool(weather.attrs.get("invented", 0))
    name = str(weather.attrs.get("name", ""))
    told: dict[str, Any] = {"wall_name": wall.name, "climate_name": name, "invented": invented}
    page = write_lesson(done, out, rain=bool(weather.attrs.get("has_rain", 1)), base=base_case(wall, openings), **told)
    click.echo(f"{CAUTION}\n\nPage: {page}")
    reasons = [reason for each in done for _, reason in each.failed]
    steps = sum(len(each.steps) for each in done)
    _complete(f"{steps} of {steps + len(reasons)} years computed", reasons)


@main.command()
@click.argument("wallfile", required=False, type=click.Path())
@click.option(
    "--climate",
    metavar="FILE_OR_NAME",
    help="An hourly weather file, or a fictitious climate; `cavity climate` lists them.",
)
@click.option(
    "--port", default=0, type=click.IntRange(0, 65535), metavar="PORT", help="Port of the page; 0: a free one."
)
@click.option("--no-open", is_flag=True, help="Print the address only; the browser is not opened.")
def live(wallfile: str | None, climate: str | None, port: int, no_open: bool) -> None:
    """Change a wall in the browser and see its hourly year.

    Only this computer can reach the page. Ctrl-C ends it; the browser keeps the wall.
    """
    from pathlib import Path

    from cavity.climate import packaged, read_weather
    from cavity.climate.named import weather_file
    from cavity.live.desk import Desk
    from cavity.live.server import serve
    from cavity.live.studies import Studies
    from cavity.study.engine import Engine
    from cavity.wallfile import read_wall

    wall = read_wall(wallfile) if wallfile else None
    climates = packaged()
    with Engine(write_behind=True) as engine:
        work = Desk(engine, climates)
        if wall is not None and wall.indoor.file:
            place = Path(wall.indoor.file)
            work.add_indoor(str(place.relative_to(Path(str(wallfile)).resolve().parent)), place.read_bytes())
        chosen = ""
        if climate:
            file = weather_file(climate)
            chosen = next((name for name, known in climates.items() if known == file), "")
            if not chosen:
                weather = read_weather(file)
                chosen = work.add(str(weather.attrs.get("name") or climate), weather)

        def opened(address: str) -> None:
            click.echo(f"The page is at {address}\nCtrl-C ends it.")
            click.echo(CAUTION, err=True)
            if not no_open:
                import webbrowser

                webbrowser.open(address)

        serve(work, Studies(), first={"text": wall.text if wall else "", "climate": chosen}, port=port, opened=opened)
