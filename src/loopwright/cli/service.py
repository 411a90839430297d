"""`loopwright service ...`: one command a calculation, built from its fields; and a service job as a file of events."""

from __future__ import annotations

import inspect
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from loopwright.cli.problems import problems_text
from loopwright.errors import InputError
from loopwright.service.sheets import CALCULATORS, Calculator, Field

__all__ = ["app"]

BAD_INPUT = 2

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
        from loopwright.cli.service_text import sheet_text

        as_json = given.pop("json")
        try:
            sheet = calculate(form.name, {name: value for name, value in given.items() if value not in (None, False)})
        except InputError as error:
            typer.echo(problems_text(f"service {form.name}", error.problems), err=True)
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


def _parameter(item: Field) -> inspect.Parameter:
    name = f"--{item.name.replace('_', '-')}"
    kind = inspect.Parameter.KEYWORD_ONLY
    if item.kind == "flag":
        hint: Any = Annotated[bool, typer.Option(name, help=item.says)]
        return inspect.Parameter(item.name, kind, default=False, annotation=hint)
    hint = Annotated[str | None, typer.Option(name, help=_help(item), metavar=item.unit or item.kind.upper())]
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
        typer.Option("--open", metavar="REFRIGERANT,MACHINE,COMPRESSOR,CHARGE", help="Open: R134a,R134a,fixed,500 g"),
    ] = None,
    start: Annotated[bool, typer.Option("--start", help="Begin the step, or begin it anew.")] = False,
    note: Annotated[
        list[str] | None, typer.Option("--note", metavar="RECORD=VALUE", help="Write down a record (SI).")
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
    from loopwright.service.procedure import derive

    now = time.time()
    try:
        for event in _events(step, open_, start, note or [], finish, deviate, accept, by, vehicle, now):
            append_job(file, event)
        typer.echo(state_text(derive(read_job(file), now), now))
    except InputError as error:
        typer.echo(problems_text("service job", error.problems), err=True)
        raise typer.Exit(BAD_INPUT) from error


def _events(
    step: str | None,
    opening: str | None,
    start: bool,
    notes: list[str],
    finish: bool,
    deviate: str | None,
    accept: str,
    by: str,
    vehicle: str,
    now: float,
) -> list[Any]:
    from loopwright.errors import Problem
    from loopwright.service.procedure import Deviated, Finished, Noted, Opened, Started

    events: list[Any] = []
    if opening is not None:
        events.append(Opened(now, by, _job(opening, vehicle)))
    if (start or notes or finish or deviate is not None) and step is None:
        raise InputError([Problem("step", "nothing", "the step it belongs to", "No step named.")])
    name = step or ""
    if start:
        events.append(Started(now, by, name))
    for entry in notes:
        record, mark, value = entry.partition("=")
        if not mark:
            raise InputError([Problem("--note", entry, "RECORD=VALUE", "No value.")])
        events.append(Noted(now, by, name, record.strip(), _value(value.strip())))
    if deviate is not None:
        events.append(Deviated(now, by, name, deviate, accept))
    if finish:
        events.append(Finished(now, by, name))
    return events


def _job(opening: str, vehicle: str) -> Any:
    from loopwright.errors import Problem
    from loopwright.quantities import parse
    from loopwright.service.procedure import Job

    parts = [part.strip() for part in opening.split(",")]
    if len(parts) != 4 or parts[2] not in ("fixed", "variable", "electric"):
        allowed = "refrigerant,machine's refrigerant,fixed|variable|electric,charge"
        raise InputError([Problem("--open", opening, allowed, "Not an opening.")])
    return Job(parts[0], parts[1], parts[2], parse(parts[3], "mass", default="g").value, vehicle)  # type: ignore[arg-type]


def _value(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
