"""`loopwright ledger ...`: the refrigerant ledger from the command line. Masses may carry their unit ("1 lb 5 oz")."""

from __future__ import annotations

import getpass
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from loopwright.cli import ledger_text as text
from loopwright.errors import InputError, Problem
from loopwright.language import say

if TYPE_CHECKING:
    from loopwright.api.ledger import Ledger

__all__ = ["app"]

BAD_INPUT = 2
UNSOUND = 3
_VENTING = "Booked as an estimate of what escaped. Releasing refrigerant on purpose is unlawful in most places."

app = typer.Typer(
    name="ledger",
    help="The refrigerant ledger: every gram is somewhere. Nothing is ever changed; a mistake is reversed.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)

Database = Annotated[
    str,
    typer.Option(envvar="LOOPWRIGHT_LEDGER", help="The ledger's file, or the URL of a PostgreSQL database."),
]
By = Annotated[str, typer.Option(envvar="LOOPWRIGHT_OPERATOR", help="Who acts.", show_default="your user name")]
At = Annotated[str | None, typer.Option(help="When it happened, with offset; now, where it is not given.")]
Note = Annotated[str, typer.Option(help="Anything worth keeping with the entry.")]
Job = Annotated[str, typer.Option(help="The job it belongs to.")]
Key = Annotated[str, typer.Option(help="Unique name of this act: sent again with it, it is written once.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print for machines.")]
FILE = "ledger.sqlite"


@contextmanager
def _opened(database: str, by: str = "", begin: bool = False, make: bool = False) -> Iterator[Ledger]:
    """The ledger. It must be there, unless it is to `begin` (with the basic accounts) or to be made empty.

    A refusal is told as text, with exit code 2.
    """
    from loopwright.api.ledger import Ledger

    try:
        if not (begin or make) and "://" not in database and not Path(database).is_file():
            says = say("There is no ledger here yet: it begins with `loopwright ledger open` or `cylinder`.")
            raise InputError([Problem("--database", database, say("a ledger's file"), says)])
        ledger = Ledger(database, by=by or getpass.getuser())
        try:
            if begin:
                ledger.start()
            yield ledger
        finally:
            ledger.close()
    except InputError as error:
        typer.echo(text.refusal_text(error.problems), err=True)
        raise typer.Exit(BAD_INPUT) from error


def _mg(written: str) -> int:
    from loopwright.quantities import parse

    return round(parse(written, "mass", default="g").value * 1e6)


def _written(entry: int) -> None:
    typer.echo(say("Entry {entry} written.", entry=entry))


@app.command(name="open")
def open_account(
    name: str,
    kind: Annotated[
        str, typer.Argument(help="supplier, machine, hoses, vehicle, reclaimer, destruction; cylinders: `cylinder`.")
    ],
    refrigerant: Annotated[str | None, typer.Option(help="What it holds: machines, hoses, vehicles.")] = None,
    state: Annotated[str | None, typer.Option(help="What a machine delivers: recycled, or recovered.")] = None,
    title: Annotated[str, typer.Option(help="Full name.")] = "",
    address: Annotated[str, typer.Option(help="Where it is; the law asks it of facilities and equipment.")] = "",
    make: Annotated[str, typer.Option(help="Of a machine.")] = "",
    model: Annotated[str, typer.Option(help="Of a machine.")] = "",
    serial: Annotated[str, typer.Option(help="Of a machine.")] = "",
    manufactured: Annotated[str, typer.Option(help="Date of manufacture of a machine.")] = "",
    standard: Annotated[str, typer.Option(help="What a machine is certified to, e.g. SAE J2788.")] = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Open an account: where refrigerant comes from, is, or goes."""
    from loopwright.api.ledger import Equipment

    machine = Equipment(make, model, serial, manufactured, standard) if kind == "machine" else None
    told: dict[str, Any] = {"refrigerant": refrigerant, "state": state, "title": title, "address": address}
    with _opened(database, by, begin=True) as ledger:
        _written(ledger.open(name, kind, equipment=machine, **told))  # type: ignore[arg-type]  # the ledger checks it


@app.command()
def cylinder(
    name: str,
    refrigerant: str,
    state: Annotated[str, typer.Argument(help="virgin, reclaimed, recycled, recovered or contaminated.")],
    tare: Annotated[str, typer.Option(help="Stamped tare weight, e.g. 5.4 kg.")],
    water_capacity: Annotated[str, typer.Option(help="Stamped water capacity (WC), e.g. 12 kg.")],
    fill_limit: Annotated[str | None, typer.Option(help="Most refrigerant; worked out where it is not given.")] = None,
    disposable: Annotated[bool, typer.Option(help="Never to be refilled.")] = False,
    due: Annotated[str, typer.Option(help="Requalification due, e.g. 2028-05-01.")] = "",
    specification: Annotated[str, typer.Option(help="e.g. DOT 4BA-400.")] = "",
    serial: Annotated[str, typer.Option(help="Stamped serial number.")] = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Open a cylinder, by what is stamped on it."""
    with _opened(database, by, begin=True) as ledger:
        entry = ledger.open_cylinder(
            name,
            refrigerant,
            state,  # type: ignore[arg-type]  # the ledger checks it
            tare_mg=_mg(tare),
            water_capacity_mg=_mg(water_capacity),
            type="disposable" if disposable else "refillable",
            fill_limit_mg=None if fill_limit is None else _mg(fill_limit),
            requalification_due=due,
            specification=specification,
            serial=serial,
        )
        _written(entry)
        stamped = ledger.account(name).cylinder
        if stamped is not None and stamped.fill_limit_mg is not None:
            typer.echo(
                say(
                    "Most refrigerant: {mass:.0f} g. A marked gross rating may be lower.",
                    mass=stamped.fill_limit_mg / 1000,
                )
            )


@app.command()
def amend(
    name: str,
    changes: Annotated[list[str], typer.Argument(metavar="FIELD=VALUE...", help="e.g. state=recycled closed=true")],
    note: Note = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Change what is known about an account: state, address, closed, requalification_due, tare_mg, ..."""
    with _opened(database, by) as ledger:
        _written(ledger.amend(name, note=note, **dict(_change(change) for change in changes)))


def _change(written: str) -> tuple[str, Any]:
    field, _, value = written.partition("=")
    if field.endswith("_mg"):
        return field, _mg(value)
    return field, value == "true" if field == "closed" else value


@app.command()
def operator(
    name: str,
    certificate: Annotated[str, typer.Option(help="Its number.")] = "",
    programme: Annotated[str, typer.Option(help="Who certified.")] = "",
    issued: Annotated[str, typer.Option(help="Day, e.g. 2024-03-01.")] = "",
    proof: Annotated[str, typer.Option(help="Where the document is kept.")] = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Register a person who handles refrigerant, with the proof that they may."""
    from loopwright.api.ledger import Operator

    with _opened(database, by, begin=True) as ledger:
        _written(ledger.register(Operator(name, programme, certificate, issued, proof)))


@app.command()
def post(
    source: str,
    target: str,
    mass: Annotated[str, typer.Argument(help="e.g. 480 g, 1 lb 5 oz")],
    uncertainty: Annotated[str, typer.Option(help="Standard uncertainty; a limit of ± 15 g is about 9 g.")],
    refrigerant: Annotated[str | None, typer.Option(help="Where the accounts do not tell it.")] = None,
    method: Annotated[str, typer.Option(help="How the mass is known: scale, machine, label or estimate.")] = "scale",
    deviation: Annotated[str, typer.Option(help="Why a rule was not kept, where the ledger refused without.")] = "",
    at: At = None,
    note: Note = "",
    job: Job = "",
    key: Key = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Book refrigerant from SOURCE to TARGET."""
    with _opened(database, by) as ledger:
        entry = ledger.move(
            source,
            target,
            mass_mg=_mg(mass),
            uncertainty_mg=_mg(uncertainty),
            refrigerant=refrigerant,
            method=method,  # type: ignore[arg-type]  # the ledger checks it
            deviation=deviation,
            at=at,
            note=note,
            job=job,
            key=key,
        )
        _written(entry)
        if ledger.account(target).kind == "atmosphere":
            typer.echo(_VENTING)


@app.command()
def reverse(
    entry: int,
    because: Annotated[str, typer.Option(help="The reason, kept with the entry.")],
    key: Key = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Take an entry back, by a new entry."""
    with _opened(database, by) as ledger:
        _written(ledger.reverse(entry, why=because, key=key))


@app.command()
def weigh(
    name: str,
    uncertainty: Annotated[str, typer.Option(help="Standard uncertainty of the net mass.")],
    gross: Annotated[str | None, typer.Option(help="What the scale shows, cylinder and all.")] = None,
    found: Annotated[str | None, typer.Option(help="Or the refrigerant alone.")] = None,
    against: Annotated[str | None, typer.Option(help="Book the difference to this account (unexplained).")] = None,
    at: At = None,
    note: Note = "",
    key: Key = "",
    database: Database = FILE,
    by: By = "",
) -> None:
    """Record a scale reading and set it against the books: what is unexplained, and is that within uncertainty."""
    with _opened(database, by) as ledger:
        statement = ledger.weigh(
            name,
            uncertainty_mg=_mg(uncertainty),
            gross_mg=None if gross is None else _mg(gross),
            found_mg=None if found is None else _mg(found),
            against=against,
            at=at,
            note=note,
            key=key,
        )
        typer.echo(statement.says)


@app.command()
def reconcile(as_json: AsJson = False, database: Database = FILE) -> None:
    """Set the whole stock against the last weighing of each account: what is unexplained, what was never weighed."""
    with _opened(database) as ledger:
        answer = ledger.reconcile()
        typer.echo(text.reconciliation_json(answer) if as_json else text.reconciliation_text(answer))


@app.command()
def balance(
    name: Annotated[str | None, typer.Argument(help="One account; all of them, where it is not given.")] = None,
    as_json: AsJson = False,
    database: Database = FILE,
) -> None:
    """What accounts hold by the books, with one standard uncertainty."""
    with _opened(database) as ledger:
        held = ledger.balances() if name is None else {(name, r): b for r, b in ledger.holdings(name).items()}
        if as_json:
            rows = [
                {"account": a, "refrigerant": r, "mass_mg": b.mass_mg, "uncertainty_mg": round(b.uncertainty_mg)}
                for (a, r), b in held.items()
            ]
            typer.echo(json.dumps(rows, ensure_ascii=False, indent=2))
            return
        typer.echo(text.balances_text(held, ledger.accounts()))
        if name is None and held:
            typer.echo("\n" + text.summary_text(ledger.summary()))


@app.command()
def history(
    name: str,
    newest: Annotated[int, typer.Option(min=1, help="How many lines.")] = 20,
    before: Annotated[int | None, typer.Option(help="Only entries before this one.")] = None,
    database: Database = FILE,
) -> None:
    """An account's lines, newest first."""
    with _opened(database) as ledger:
        typer.echo(text.history_text(ledger.history(name, newest, before)))


@app.command()
def verify(
    receipts: Annotated[list[str] | None, typer.Option("--receipt", help="A receipt kept elsewhere (N:hash).")] = None,
    export_file: Annotated[
        Path | None,
        typer.Option("--export", exists=True, dir_okay=False, help="Verify an exported file, not the database."),
    ] = None,
    database: Database = FILE,
) -> None:
    """Read everything again and name whatever was changed. Exit code 3 when something was."""
    from loopwright.api.ledger import check_export, receipt

    try:
        kept = [receipt(written) for written in receipts or ()]
        if export_file is not None:
            with export_file.open(encoding="utf-8") as lines:
                report = check_export(lines, kept)
        else:
            with _opened(database) as ledger:
                report = ledger.verify(kept)
    except InputError as error:
        typer.echo(text.refusal_text(error.problems), err=True)
        raise typer.Exit(BAD_INPUT) from error
    typer.echo(text.report_text(report))
    raise typer.Exit(0 if report.sound else UNSOUND)


@app.command()
def receipt(database: Database = FILE) -> None:
    """Print the receipt of the last entry, to keep away from this machine."""
    with _opened(database) as ledger:
        typer.echo(text.receipt_text(ledger.head()))


@app.command()
def export(
    form: Annotated[str, typer.Option(help="chain (JSON Lines, verifiable), csv or json (movements).")] = "chain",
    since: Annotated[str, typer.Option(help="Movements on or after this day.")] = "",
    database: Database = FILE,
) -> None:
    """Write the ledger to standard output."""
    from loopwright.api.ledger import to_csv

    with _opened(database) as ledger:
        if form == "chain":
            for line in ledger.export():
                sys.stdout.write(line + "\n")
        elif form == "csv":
            sys.stdout.write(to_csv(ledger.movements(since)))
        elif form == "json":
            typer.echo(json.dumps(ledger.movements(since), ensure_ascii=False, indent=2))
        else:
            typer.echo(say("A ledger is exported as chain, csv or json."), err=True)
            raise typer.Exit(BAD_INPUT)


@app.command()
def load(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="An export of the form `chain`.")],
    database: Database = FILE,
) -> None:
    """Fill a new database with an exported chain, unchanged."""
    with _opened(database, make=True) as ledger, file.open(encoding="utf-8") as lines:
        typer.echo(say("{count} entries loaded and verified.", count=ledger.load(lines)))


@app.command()
def records(
    jurisdiction: Annotated[str | None, typer.Argument(help="One of those listed where none is given.")] = None,
    since: Annotated[str, typer.Option(help="From this day on.")] = "",
    as_json: AsJson = False,
    database: Database = FILE,
) -> None:
    """What the law asks to be kept, answered from the ledger, with what is missing and how sure we are of the rule."""
    if jurisdiction is None:
        from loopwright.api.ledger import jurisdictions

        typer.echo("\n".join(f"{name:<16} {found.title}" for name, found in jurisdictions().items()))
        return
    with _opened(database) as ledger:
        answer = ledger.records(jurisdiction, since)
        if not as_json:
            typer.echo(text.records_text(answer))
            return
        tables = {f: getattr(answer, f) for f in ("since", "sent", "operators", "equipment", "quarters", "gaps")}
        typer.echo(json.dumps({"jurisdiction": jurisdiction, **tables}, ensure_ascii=False, indent=2))


@app.command()
def label(
    name: str,
    to: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw it: FILE.svg or FILE.png, 90 by 50 mm.")] = None,
    database: Database = FILE,
) -> None:
    """A cylinder's label with its code, to print."""
    with _opened(database) as ledger:
        if to is None:
            typer.echo(ledger.label(name), nl=False)
        elif to.suffix == ".svg":
            to.write_text(ledger.label(name, "svg"), encoding="utf-8")
        elif to.suffix == ".png":
            to.write_bytes(ledger.label_png(name))
        else:
            raise InputError(
                [Problem("--to", to.name, say("a name that ends in .svg or .png"), say("A label is not drawn so."))]
            )
