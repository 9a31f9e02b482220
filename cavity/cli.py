"""The command line: thin, it parses, calls and prints. Heavy imports stand inside the commands."""

from __future__ import annotations

from typing import Any

import click

CAUTION = (
    "Results are estimates for comparison. Fire spread in open cavities, structure, mould and health, and electrical "
    "safety are decided by local codes and licensed practice, not by this program."
)
_SHOWN = 8  # faults printed at most: one screen


class Failure(click.ClickException):
    """What a command could not do, told without a traceback."""

    def __init__(self, message: str, exit_code: int) -> None:
        super().__init__(message)
        self.exit_code = exit_code

    def show(self, file: Any = None) -> None:
        """Print the message to standard error."""
        click.echo(self.message, file=file, err=file is None)


class Commands(click.Group):
    """The group of commands; the one place where a CavityError becomes a message and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; exit code 2 for wrong input, 1 where the computation failed."""
        from cavity.errors import CavityError, InputError

        try:
            return super().invoke(ctx)
        except InputError as error:
            faults = [str(fault) for fault in error.faults]
            if len(faults) > _SHOWN:
                faults[_SHOWN:] = [f"... and {len(faults) - _SHOWN} more; cure these first"]
            raise Failure("\n".join(faults), error.exit_code) from None
        except CavityError as error:
            raise Failure(str(error), error.exit_code) from None

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Keep the commands in the order of the file."""
        return list(self.commands)


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


# A command: parse, call, print. Options show default and unit, heavy imports stand inside, errors are CavityErrors.


@main.command()
@click.argument("file", type=click.Path())
@click.option("--force", is_flag=True, help="Replace FILE where it exists.")
def new(file: str, force: bool) -> None:
    """Write a commented wall file to start from; it runs as it is."""
    from cavity.wallfile.starter import write_starter

    click.echo(write_starter(file, force=force))


@main.command()
@click.argument("name", required=False)
@click.option("--group", help="Only this group, such as cladding or membrane; left out: all.")
def materials(name: str | None, group: str | None) -> None:
    """List the built-in materials, or all values of the material NAME."""
    from rich.console import Console

    from cavity.wallfile.listing import material_detail, materials_table

    console = Console(highlight=False)
    console.print(material_detail(name) if name else materials_table(console.width, group))


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(), metavar="FILE...")
@click.option("--rain", type=click.Path(), help="Second file whose rain is used.")
@click.option("--wall", type=click.Path(), help="Wall file whose site (terrain, height, rain factors) is used.")
@click.option("--year", metavar="YEAR", help="Of several years: critical, mean, or a calendar year.")
@click.option("--warmer", type=float, metavar="KELVIN", help="Shift the temperature, relative humidity kept. [K]")
@click.option("--out", type=click.Path(), help="Write a page (HTML).")
@click.option("--save", type=click.Path(), help="Write the weather as used (NetCDF), to be read as a climate again.")
def climate(
    files: tuple[str, ...],
    rain: str | None,
    wall: str | None,
    year: str | None,
    warmer: float | None,
    out: str | None,
    save: str | None,
) -> None:
    """Summarise hourly weather: months, driving rain, drying, and which wall to check.

    FILE is EPW, CSV or NetCDF; several files are years of one place.
    """
    from rich.console import Console

    from cavity.climate.listing import notes, prepare, save_weather, table
    from cavity.climate.summary import STANDARD_SITE, summarise
    from cavity.report import climate_page

    weather = prepare(files, rain=rain, year=year, warmer=warmer)
    site: Any = STANDARD_SITE
    if wall:
        from cavity.wallfile import read_wall

        site = read_wall(wall).site
    summary = summarise(weather, site=site)
    console = Console(highlight=False)
    console.print(table(climate_page.MONTH_HEAD, climate_page.month_rows(summary), weather.attrs["name"]))
    console.print(table(climate_page.RANK_HEAD, climate_page.ranking_rows(summary), "Orientations, hardest first"))
    click.echo(f"\n{summary.attrs['sentence']}")
    for note in notes(weather):
        click.echo(f"Note: {note}.")
    if save:
        click.echo(save_weather(weather, save))
    if out:
        click.echo(climate_page.write_climate_page(summary, out))
