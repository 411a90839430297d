"""What leaves the ledger: labels, a verification with its receipt, the chain, and the records that the law asks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response, StreamingResponse

from loopwright.api.ledger import Jurisdiction, Records, how_sure, jurisdictions, receipt, to_csv
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.web.books import ledger_of
from loopwright.web.pages.ledger.acts import known
from loopwright.web.render import page
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter()
_PICTURE = {"Content-Security-Policy": "default-src 'none'; sandbox", "Cache-Control": "private, no-cache"}
_DAY = r"^(\d{4}-\d{2}-\d{2})?$"
Since = Annotated[str, Query(pattern=_DAY)]
Names = Annotated[list[str], Query(max_length=60)]


# --- labels


@router.get("/ledger/label.svg", dependencies=[needs("trainee")])
def label_picture(request: Request, name: str) -> Response:
    """Return the label of an account as a picture, 90 mm by 50 mm."""
    ledger = ledger_of(request)
    known(ledger, name)
    return Response(ledger.label(name, "svg"), media_type="image/svg+xml", headers=_PICTURE)


@router.get("/ledger/label.png", dependencies=[needs("trainee")])
def label_file(request: Request, name: str) -> Response:
    """Return the label as pixels, 300 to the inch, for a label printer."""
    ledger = ledger_of(request)
    known(ledger, name)
    headers = {"Content-Disposition": 'attachment; filename="label.png"'}
    return Response(ledger.label_png(name), media_type="image/png", headers=headers)


@router.get("/ledger/labels", dependencies=[needs("trainee")])
def labels(request: Request, name: Names = []) -> Response:  # noqa: B006
    """Show labels on a sheet to print."""
    accounts = ledger_of(request).accounts(("cylinder", "machine", "hoses"))
    chosen = [one for one in name if one in accounts]
    return page(request, "ledger/labels.html", accounts=[a for a in accounts.values() if not a.closed], chosen=chosen)


# --- verification


@router.get("/ledger/verify", dependencies=[needs("trainee")])
def ask_verify(request: Request) -> Response:
    """Show the receipt of the last entry, and ask whether to verify."""
    return _verification(request, None)


@router.post("/ledger/verify", dependencies=[needs("technician")])
def verify(request: Request) -> Response:
    """Read everything again, and hold it to a receipt that was kept elsewhere."""
    written = str(request.state.form.get("receipt", "")).strip()[:100]
    try:
        kept = [receipt(written)] if written else []
    except InputError as error:
        return _verification(request, None, written, error.problems)
    return _verification(request, ledger_of(request).verify(kept), written)


def _verification(request: Request, report: object, written: str = "", problems: tuple[Problem, ...] = ()) -> Response:
    head = ledger_of(request).head()
    status = 422 if problems else 200
    told = {"report": report, "written": written, "problems": problems, "head": f"{head.seq}:{head.hash}"}
    return page(request, "ledger/verify.html", status_code=status, **told)


# --- export


@router.get("/ledger/export", dependencies=[needs("owner")])
def export(request: Request, since: Since = "") -> Response:
    """Offer the chain, the movements, and what each jurisdiction asks."""
    return page(request, "ledger/export.html", laws=[_law(one) for one in jurisdictions().values()], since=since)


def _law(asked: Jurisdiction) -> dict[str, object]:
    kept = (
        say("at least {years} years", years=asked.keep_years) if asked.keep_years else say("how long is not known here")
    )
    rules = [(rule.provision, say(rule.asks), [_sure(says) for says in how_sure(rule)]) for rule in asked.rules]
    return {"id": asked.id, "title": say(asked.title), "kept": kept, "note": say(asked.note), "rules": rules}


def _sure(says: str) -> tuple[str, bool]:
    """A source with how it reached us, and whether it is only remembered."""
    return says, says.rstrip(")").endswith(say("from memory, not read"))


@router.get("/ledger/export/chain.jsonl", dependencies=[needs("owner")])
def chain(request: Request) -> Response:
    """Hand out the whole chain, which anyone can verify."""
    ledger = ledger_of(request)
    lines: Iterator[str] = (line + "\n" for line in ledger.export())
    return StreamingResponse(lines, media_type="application/jsonl", headers=_file("ledger.jsonl"))


@router.get("/ledger/export/movements.csv", dependencies=[needs("owner")])
def movements(request: Request, since: Since = "") -> Response:
    """Hand out every movement as a table."""
    text = to_csv(ledger_of(request).movements(since))
    return Response("\ufeff" + text, media_type="text/csv; charset=utf-8", headers=_file("movements.csv"))


@router.get("/ledger/export/movements.json", dependencies=[needs("owner")])
def movements_json(request: Request, since: Since = "") -> Response:
    """Hand out every movement for programs."""
    text = json.dumps(ledger_of(request).movements(since), ensure_ascii=False)
    return Response(text, media_type="application/json", headers=_file("movements.json"))


@router.get("/ledger/records", dependencies=[needs("owner")])
def records(request: Request, law: str, since: Since = "") -> Response:
    """Answer what a jurisdiction asks, and name what is missing."""
    found = ledger_of(request).records(law, since)
    return page(
        request, "ledger/records.html", law=_law(found.jurisdiction), found=found, tables=_tables(found), since=since
    )


@router.get("/ledger/records.csv", dependencies=[needs("owner")])
def records_csv(request: Request, law: str, table: str, since: Since = "") -> Response:
    """Hand out one table of a jurisdiction's records.

    Raises
    ------
    InputError : there is no such table
    """
    found = ledger_of(request).records(law, since)
    if table not in _TITLES:
        raise InputError([Problem("table", table, ", ".join(_TITLES), say("There is no such table."))])
    return Response(
        "\ufeff" + to_csv(getattr(found, table)), media_type="text/csv; charset=utf-8", headers=_file("records.csv")
    )


_TITLES = {
    "sent": later("Sent to a reclaimer or to destruction"),
    "operators": later("Operators"),
    "equipment": later("Equipment"),
    "quarters": later("Quarters"),
}


def _tables(found: Records) -> list[tuple[str, str, list[str], list[list[str]]]]:
    tables = []
    for name, title in _TITLES.items():
        rows = getattr(found, name)
        heads = [say(one.replace("_", " ")) for one in rows[0]] if rows else []
        cells = [["" if value is None else str(value) for value in row.values()] for row in rows]
        tables.append((name, say(title), heads, cells))
    return tables


def _file(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
