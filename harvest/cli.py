"""The door: parse, one call, report. No computation; heavy imports happen inside the commands."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from harvest import __version__
from harvest.errors import HarvestError

PROJECT = click.argument("project", type=click.Path(path_type=Path))


def _say(text: str) -> None:
    click.echo(text, err=True)


@contextmanager
def _told() -> Iterator[None]:
    """Faults as one message and an exit code instead of a traceback."""
    try:
        yield
    except HarvestError as error:
        _say(f"harvest: {error}")
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        _say("harvest: stopped; the last good result, if any, is untouched.")
        sys.exit(130)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="harvest")
def main() -> None:
    """Roof by roof, what rain a town could catch: ranked parcels, tables and a map from open data.

    Begin with: harvest start FOLDER, where FOLDER holds your building footprints, parcels and rainfall grid.
    """


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def start(folder: Path) -> None:
    """Look at the files in FOLDER and write a commented project file for them."""
    with _told():
        from harvest.start import start as started

        report = started(folder)
        for line in report.lines:
            click.echo(line)


@main.command()
@PROJECT
def check(project: Path) -> None:
    """Read every input of PROJECT and compare extents and ids; nothing is computed or written."""
    with _told():
        from harvest.check import check as checked
        from harvest.clock import Clock
        from harvest.project import read_project

        report = checked(read_project(project), Clock(_say))
        for line in report.lines:
            click.echo(line)
        for one in report.findings:
            click.echo(f"{one.severity}: {one.message} {one.remedy}")


@main.command()
@PROJECT
@click.option("--out", type=click.Path(path_type=Path), help="Result folder instead of the project's own.")
def run(project: Path, out: Path | None) -> None:
    """Do everything: areas, litres, ranked parcels, tables and map."""
    with _told():
        from harvest.clock import Clock
        from harvest.project import read_project
        from harvest.run import run as ran
        from harvest.show.headline import doubts, headline

        gc.freeze()  # what the libraries loaded stays; walking it again and again only takes time
        result = ran(read_project(project), out, Clock(_say))
        for line in headline(result):
            click.echo(line)
        for line in doubts(result):
            _say(line)


@main.command()
@PROJECT
@click.argument("parcel")
@click.option("--out", type=click.Path(path_type=Path), help="Result folder instead of the project's own.")
@click.option(
    "--claim", type=click.FloatRange(min=0), metavar="USD", help="Check a claimed saving of USD a year here."
)
def explain(project: Path, parcel: str, out: Path | None, claim: float | None) -> None:
    """Work the numbers of one PARCEL (its id or address) step by step, from the last run of PROJECT."""
    with _told():
        from harvest.explain import explain as explained
        from harvest.project import read_project

        for line in explained(read_project(project), parcel, out, claim):
            click.echo(line)


@main.command()
@PROJECT
@click.argument("parcels", metavar="[PARCEL]...", nargs=-1)
@click.option("--best", type=int, help="Cards for the best N homes instead of named parcels.", metavar="N")
@click.option("--street", help="Cards for all ranked homes of a street; with --best, for its best.")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), required=True, help="File to write, .pdf or .html."
)
@click.option("--out", type=click.Path(path_type=Path), help="Result folder instead of the project's own.")
def cards(
    project: Path,
    parcels: tuple[str, ...],
    best: int | None,
    street: str | None,
    target: Path,
    out: Path | None,
) -> None:
    """Write door cards, one page each in street order, from the last run of PROJECT.

    Give PARCELs (ids or whole addresses), or --best, or --street.
    """
    with _told():
        from harvest.cards import cards as made
        from harvest.project import read_project

        for line in made(read_project(project), parcels, best=best, street=street, target=target, out=out):
            click.echo(line)


if __name__ == "__main__":
    main()
