"""`loopwright shop ...`: a shop's data in and out: export, backup, restore, and the demo shop."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loopwright.cli.problems import problems_text
from loopwright.cli.serve import default_database
from loopwright.errors import InputError, Problem
from loopwright.language import say

if TYPE_CHECKING:
    from loopwright.api.shop import Shop

__all__ = ["app"]

BAD_INPUT = 2

app = typer.Typer(
    name="shop",
    help="A shop's data: export it, back it up, restore it; or load the demo shop.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)

Database = Annotated[
    str | None,
    typer.Option(
        envvar="LOOPWRIGHT_DATABASE",
        metavar="FILE|URL",
        help="The shop's file, or the URL of a PostgreSQL database.",
        show_default="where `loopwright serve` keeps it",
    ),
]


@contextmanager
def _refusing(what: str) -> Iterator[None]:
    """Tell a refusal as text, with exit code 2."""
    try:
        yield
    except (InputError, OSError) as error:
        typer.echo(problems_text(what, error.problems) if isinstance(error, InputError) else str(error), err=True)
        raise typer.Exit(BAD_INPUT) from error


@contextmanager
def _opened(where: str | None, make: bool = False) -> Iterator[Shop]:
    from loopwright.api.shop import Shop

    database = _there(where)
    if not make and "://" not in database and not Path(database).is_file():
        says = say("There is no shop here; `loopwright serve` begins one.")
        raise InputError([Problem("--database", database, say("a shop's file"), says)])
    shop = Shop(database)
    try:
        yield shop
    finally:
        shop.close()


def _there(database: str | None) -> str:
    """The database named, or where `serve` keeps it; a folder that is missing is made."""
    if database is not None:
        return database
    found = default_database()
    found.parent.mkdir(parents=True, exist_ok=True)
    return str(found)


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(help="A new or an empty folder.")],
    form: Annotated[str, typer.Option(help="csv, json or parquet.")] = "csv",
    database: Database = None,
) -> None:
    """Write everything into FOLDER: tables, photographs, the ledger's chain, and a README that explains each column."""
    from loopwright.api.export import export as export_shop

    with _refusing(str(folder)), _opened(database) as shop:
        _say_rows(export_shop(shop, folder, form))  # type: ignore[arg-type]  # the export checks it


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The file to write; an older one is replaced.")],
    database: Database = None,
) -> None:
    """Back everything up into FILE, also while the shop is open. It restores into SQLite or PostgreSQL."""
    from loopwright.api.backup import back_up_to

    with _refusing(str(file)), _opened(database) as shop:
        _say_rows(back_up_to(shop, file))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A file that `backup` wrote.")],
    database: Database = None,
) -> None:
    """Fill an empty database with a backup: all of it, verified, or nothing."""
    from loopwright.api.backup import restore_from

    with _refusing(str(file)):
        _say_rows(restore_from(_there(database), file))


@app.command()
def demo(
    database: Database = None,
    judged: Annotated[bool, typer.Option(help="Judge its tests too; about a second each.")] = True,
) -> None:
    """Fill an empty shop with invented vehicles, tests, a service, notes and pictures."""
    import threading

    from loopwright.api.demo_shop import judge_demo, load_demo

    with _refusing(_there(database)), _opened(database, make=True) as shop:
        made = load_demo(shop)
        typer.echo(say("{count} jobs.", count=made) if made else say("There are jobs here already; nothing was added."))
        if judged and made:
            typer.echo(say("{count} tests judged.", count=judge_demo(shop, threading.Event().wait)))


def _say_rows(rows: Mapping[str, int]) -> None:
    width = max(map(len, rows), default=0)
    for name, count in rows.items():
        typer.echo(f"{name:<{width}}  {count:>9}")
