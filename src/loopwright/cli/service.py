"""`loopwright service ...`: one command a calculation, built from its fields; and a service job as a file of events."""

from __future__ import annotations

import inspect
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from loopwright.cli.problems import problems_text
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.sheets import CALCULATORS, Calculator, Field

if TYPE_CHECKING:
    from loopwright.service.procedure import Event, Job, Noted

__all__ = ["app"]

BAD_INPUT = 2
_METAVARS = {"series": "FILE", "judgement": "FILE"}

app = typer.Typer(
    name="service",
    help="The arithmetic of refrigerant service: each command prints a sheet, or --json.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)


def _command(form: Calculator) -> Callable[..., None]:
    """Build the function whose signature typer turns into options: one a field, and --json."""

    def run(**given: Any) -> None:
        from loopwright.api.service import calculate, sheet_to_wire
        from loopwright.api.service_text import sheet_text

        as_json = given.pop("json")
        try:
            sheet = calculate(form.name, {item.name: _given(item, given[item.name]) for item in form.fields})
        except InputError as error:
            typer.echo(problems_text("", error.problems, say("No result: this cannot be used.")), err=True)
            raise typer.Exit(BAD_INPUT) from error
        typer.echo(json.dumps(sheet_to_wire(sheet), ensure_ascii=False, indent=2) if as_json else sheet_text(sheet))

    parameters = [_parameter(item) for item in form.fields]
    parameters.append(
        inspect.Parameter(
            "json",
            inspect.Parameter.KEYWORD_ONLY,
            default=False,
            annotation=Annotated[bool, typer.Option("--json", help="Print the sheet for machines.")],
        )
    )
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {p.name: p.annotation for p in parameters}
    run.__doc__ = f"{form.says}"
    return run


def _given(item: Field, value: Any) -> Any:
    """What was typed; here a series or a judgement is the name of a file."""
    return Path(value) if value and item.kind in ("series", "judgement") else value


def _parameter(item: Field) -> inspect.Parameter:
    name = f"--{item.name.replace('_', '-')}"
    kind = inspect.Parameter.KEYWORD_ONLY
    if item.kind == "flag":
        hint: Any = Annotated[bool, typer.Option(name, help=item.says)]
        return inspect.Parameter(item.name, kind, default=False, annotation=hint)
    hint = Annotated[
        str | None,
        typer.Option(name, help=_help(item), metavar=_METAVARS.get(item.kind) or item.unit or item.kind.upper()),
    ]
    return inspect.Parameter(item.name, kind, default=None, annotation=hint)


def _help(item: Field) -> str:
    needed = "" if item.required and not item.default else f" [{item.default or 'optional'}]"
    choices = f" ({', '.join(item.choices)})" if item.choices else ""
    return f"{item.says[:1].upper()}{item.says[1:]}{choices}{needed}"


for _form in CALCULATORS.values():
    app.command(_form.name)(_command(_form))


@app.command()
def job(
    file: Annotated[Path, typer.Argument(help="The job's file; made when it is opened.")],
    step: Annotated[str | None, typer.Argument(help="A step, as `recover`.")] = None,
    open_: Annotated[
        str | None,
        typer.Option(
            "--open", metavar="REFRIGERANT,MACHINE,COMPRESSOR,CHARGE[,ALTITUDE]", help="Open: R134a,R134a,fixed,500 g"
        ),
    ] = None,
    start: Annotated[bool, typer.Option("--start", help="Begin the step, or begin it anew.")] = False,
    note: Annotated[
        list[str] | None,
        typer.Option("--note", metavar="RECORD=VALUE", help="Write down a record: recovered_mass=420g"),
    ] = None,
    finish: Annotated[bool, typer.Option("--finish", help="The step is done as written.")] = False,
    deviate: Annotated[str | None, typer.Option("--deviate", metavar="REASON", help="Pass over it, with why.")] = None,
    accept: Annotated[str, typer.Option("--accept", help="The hazard of the deviation: mixing, vent or hurt.")] = "",
    by: Annotated[str, typer.Option("--by", help="Who does it.")] = "unnamed",
    vehicle: Annotated[str, typer.Option("--vehicle", help="What is served, when opening.")] = "",
) -> None:
    """Keep a service in its order: without options, show where it stands. Timers run on while nobody looks."""
    from loopwright.api.service import append_job, read_job
    from loopwright.cli.service_text import state_text
    from loopwright.service.procedure import Deviated, Finished, Opened, Started, derive

    now, name = time.time(), step or ""
    try:
        if (start or note or finish or deviate is not None) and step is None:
            raise InputError([Problem("step", say("nothing"), say("the step it belongs to"), say("No step named."))])
        if open_ is not None:
            append_job(file, Opened(now, by, _job(open_, vehicle)))
        if start:
            append_job(file, Started(now, by, name))
        for entry in note or ():
            append_job(file, _noted(read_job(file), now, by, name, entry))
        if deviate is not None:
            append_job(file, Deviated(now, by, name, deviate, accept))
        if finish:
            append_job(file, Finished(now, by, name))
        typer.echo(state_text(derive(read_job(file), now), now))
    except InputError as error:
        typer.echo(problems_text("", error.problems, say("Not written down: this stands against it.")), err=True)
        raise typer.Exit(BAD_INPUT) from error


def _noted(events: tuple[Event, ...], now: float, by: str, step: str, entry: str) -> Noted:
    from loopwright.api.service import note

    record, mark, value = entry.partition("=")
    if not mark:
        raise InputError([Problem("--note", entry, say("RECORD=VALUE"), say("No value."))])
    return note(events, now, by, step, record.strip(), value.strip())


def _job(opening: str, vehicle: str) -> Job:
    """A job of "R134a,R134a,fixed,500 g", and the altitude behind, where it is not the sea's."""
    from loopwright.api.service import new_job

    parts = [part.strip() for part in opening.split(",")]
    if len(parts) not in (4, 5):
        allowed = say("refrigerant,machine's refrigerant,fixed|variable|electric,charge and perhaps ,altitude")
        raise InputError([Problem("--open", opening, allowed, say("Not an opening."))])
    names = ("refrigerant", "machine_refrigerant", "compressor", "charge", "altitude")
    return new_job({"vehicle": vehicle, **dict(zip(names, parts, strict=False))})
