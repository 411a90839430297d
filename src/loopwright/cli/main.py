"""The command `loopwright`. Nothing heavy is imported before a command needs it: `--version` must answer at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from loopwright._version import __version__
from loopwright.language import speaking, spoken

__all__ = ["app", "run"]

MADE, BAD_INPUT = 0, 2  # exit codes
_LANGUAGE = "Language of sentences and numbers: en, es, or with a region, as es-MX."

app = typer.Typer(
    name="loopwright",
    help="Judge a vehicle air-conditioning test: verdict for today's weather, likely cause, next check.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def run() -> None:
    """Start the command line; text goes out as UTF-8 on every system."""
    for stream in (sys.stdout, sys.stderr):
        if (reconfigure := getattr(stream, "reconfigure", None)) is not None:
            reconfigure(encoding="utf-8", errors="replace")
    app()


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(f"loopwright {__version__}")
        raise typer.Exit


@app.callback()
def _whole(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version and stop.")
    ] = False,
    language: Annotated[str, typer.Option("--language", metavar="CODE", help=_LANGUAGE)] = "en",
) -> None:
    context.with_resource(speaking(language))


@app.command()
def judge(
    sheets: Annotated[
        list[str],
        typer.Argument(
            metavar="SHEET...", help="Test sheets: .json or .toml (one), .jsonl (one a line), - for standard input."
        ),
    ],
    json: Annotated[bool, typer.Option("--json", help="Print the machine-readable judgement.")] = False,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also draw the judgement of a single sheet: FILE.svg or FILE.png."),
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the sampler; the same seed gives the same answer.")] = 0,
    language: Annotated[str | None, typer.Option("--language", metavar="CODE", help=_LANGUAGE)] = None,
) -> None:
    """Judge test sheets. Exit code 0: judged; 2: a file held nothing that could be judged."""
    from loopwright.cli.judging import judge_sheets

    with speaking(language or spoken()):
        raise typer.Exit(judge_sheets(sheets, as_json=json, picture_file=picture, seed=seed))


@app.command()
def report(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The test sheet: .json or .toml.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Where the PDF goes.")],
    after: Annotated[
        Path | None,
        typer.Option("--after", metavar="SHEET", help="The test after the service, SHEET before it."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="a4|letter", help="Size of the paper.")] = "a4",
    job: Annotated[str, typer.Option("--job", help="Number of the job, on every page.")] = "",
    shop: Annotated[str, typer.Option("--shop", help="Name of the shop.")] = "",
    technician: Annotated[str, typer.Option("--technician", help="Name of the technician.")] = "",
    seed: Annotated[int, typer.Option(min=0, help="Seed of the sampler; the same seed gives the same answer.")] = 0,
    language: Annotated[str | None, typer.Option("--language", metavar="CODE", help=_LANGUAGE)] = None,
) -> None:
    """Write a report as PDF: a page for the customer, an appendix for the inspector."""
    from loopwright.cli.report import write_report

    about = {"job": job, "shop": shop, "technician": technician}
    with speaking(language or spoken()):
        raise typer.Exit(write_report(sheet, after, out, paper=paper, seed=seed, about=about))


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="Where the pictures and texts go.")] = Path("out"),
) -> None:
    """Judge the demo vehicles that come with Loopwright; print one in full, write all to FOLDER."""
    from loopwright.cli.demo import judge_demo

    raise typer.Exit(judge_demo(folder))


@app.command()
def serve(
    database: Annotated[
        str | None,
        typer.Option(
            envvar="LOOPWRIGHT_DATABASE",
            metavar="FILE|URL",
            help="Where the shop is kept: a file, or the URL of a PostgreSQL database.",
            show_default="loopwright.sqlite in your data folder",
        ),
    ] = None,
    host: Annotated[
        str, typer.Option(help="Address to answer at; beyond this computer, everybody needs an account.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes any free one.")] = 8765,
    tls_cert: Annotated[Path | None, typer.Option(exists=True, dir_okay=False, help="Certificate, as PEM.")] = None,
    tls_key: Annotated[Path | None, typer.Option(exists=True, dir_okay=False, help="Its private key.")] = None,
    name: Annotated[list[str] | None, typer.Option(help="A further name by which this server is reached.")] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Fill an empty shop with an invented one to look at.")] = False,
) -> None:
    """Start the shop: pages for telephones and screens, and an HTTP interface, from this computer."""
    from loopwright.cli.serve import serve_shop

    raise typer.Exit(serve_shop(database, host, port, tls_cert, tls_key, tuple(name or ()), demo))


@app.command(add_help_option=False, context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def service(context: typer.Context) -> None:
    """Do the arithmetic of refrigerant service: a sheet for each calculation, and a job kept in its order."""
    from loopwright.cli.service import app as service_app

    service_app(context.args, prog_name="loopwright service")


@app.command(add_help_option=False, context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def ledger(context: typer.Context) -> None:
    """Account for every gram of refrigerant: cylinders, vehicles, losses; verify, reconcile, export."""
    from loopwright.cli.ledger import app as ledger_app

    ledger_app(context.args, prog_name="loopwright ledger")


@app.command(add_help_option=False, context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def shop(context: typer.Context) -> None:
    """Export a shop's data, back it up, restore it; or load the demo shop."""
    from loopwright.cli.shop import app as shop_app

    shop_app(context.args, prog_name="loopwright shop")
