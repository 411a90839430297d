"""The ledger's answers as text, 80 characters wide."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from loopwright.errors import Problem
from loopwright.figures.layout import folded
from loopwright.language import decimal_mark, say, say_many

if TYPE_CHECKING:
    from loopwright.api.ledger import (
        Account,
        Balance,
        Head,
        Jurisdiction,
        Line,
        Reconciliation,
        Records,
        Report,
        Row,
        Summary,
    )

__all__ = [
    "balances_text",
    "history_text",
    "law_text",
    "receipt_text",
    "reconciliation_json",
    "reconciliation_text",
    "records_text",
    "refusal_text",
    "report_text",
    "summary_text",
]


def refusal_text(problems: Sequence[Problem]) -> str:
    """Say why nothing was written, each problem with what was found and what would do.

    >>> print(refusal_text([Problem("mass", "0.0 g", "above 0", "Wrong mass.")]))
    Nothing was written: 1 problem.
    <BLANKLINE>
      mass: Wrong mass.
          found    0.0 g
          allowed  above 0
    """
    count = say_many("{n} problem", "{n} problems", len(problems))
    return "\n\n".join([say("Nothing was written: {count}.", count=count), *("\n".join(_problem(p)) for p in problems)])


def _problem(problem: Problem) -> list[str]:
    line = say("line {number}", number=problem.line) + ", " if problem.line is not None else ""
    lines = folded(f"{line}{problem.field}: {problem.says}", "  ", "    ")
    for label, text in ((say("found"), problem.found), (say("allowed"), problem.allowed)):
        lines += folded(text, f"      {label:<9}")
    return lines


def _mass(balance: Balance) -> str:
    return f"{balance.mass_mg / 1000:12.1f} g ± {balance.uncertainty_mg / 1000:.1f} g".replace(".", decimal_mark())


def _tenths(mass_mg: float, width: int, sign: str = "") -> str:
    return f"{mass_mg / 1000:{sign}{width}.1f}".replace(".", decimal_mark())


def balances_text(balances: Mapping[tuple[str, str], Balance], accounts: Mapping[str, Account]) -> str:
    """Every balance, one a line, by kind of account."""
    rows = sorted((accounts[name].kind, name, held, balance) for (name, held), balance in balances.items())
    lines = [f"{say(kind):<12} {name:<24} {held:<10} {_mass(balance)}" for kind, name, held, balance in rows]
    return "\n".join(lines or [say("Nothing has moved yet.")])


def summary_text(summaries: Iterable[Summary]) -> str:
    """Each refrigerant by kind of account; the sum stands below and is nothing."""
    parts = []
    for summary in summaries:
        lines = [f"  {say(kind):<12} {_mass(balance)}" for kind, balance in summary.by_kind.items()]
        parts.append("\n".join([summary.refrigerant, *lines, f"  {say('sum'):<12} {_tenths(summary.total_mg, 12)} g"]))
    return "\n\n".join(parts)


def reconciliation_text(answer: Reconciliation) -> str:
    """The stock against the scale: each account's last weighing, what is booked as unexplained, what needs a hand."""
    lines = [say("Last weighing of each account")]
    for standing in answer.standings:
        if standing.statement is not None:
            then = f"{standing.at[:10]}, {say('entry {seq}', seq=standing.entry)}: {standing.statement.says}"
            booked = say(" Booked to {against}.", against=standing.against) if standing.against else ""
            lines += folded(then + booked, "  ", "    ")
    weighed = len(lines) > 1
    lines += [] if weighed else ["  " + say("none")]
    lines += ["", say("Unexplained in the books (missing: positive)")]
    lines += [f"  {refrigerant:<12}{_mass(balance)}" for refrigerant, balance in answer.booked.items()] or [
        "  " + say("nothing")
    ]
    for standing in answer.beyond:
        says = say(
            "{account} ({refrigerant}): beyond uncertainty and not booked. Find out why, or book it.",
            account=standing.account,
            refrigerant=standing.refrigerant,
        )
        lines += ["", *folded(says, "! ", "  ")]
    if names := ", ".join(f"{s.account} ({s.refrigerant})" for s in answer.unweighed):
        lines += ["", *folded(say("Never weighed, and not empty by the books: {names}.", names=names), "! ", "  ")]
    return "\n".join(lines)


def reconciliation_json(answer: Reconciliation) -> str:
    """The same for machines; masses in mg with one standard uncertainty."""

    def plain(balance: Balance) -> dict[str, int]:
        return {"mass_mg": balance.mass_mg, "uncertainty_mg": round(balance.uncertainty_mg)}

    rows = []
    for s in answer.standings:
        row: dict[str, Any] = {
            "account": s.account,
            "refrigerant": s.refrigerant,
            "balance": plain(s.balance),
            "weighed": None,
        }
        if (w := s.statement) is not None:
            masses = {"booked": plain(w.booked), "found": plain(w.found), "unexplained": plain(w.unexplained)}
            row["weighed"] = {"at": s.at, "entry": s.entry, "within": w.within, "against": s.against, **masses}
        rows.append(row)
    booked = {refrigerant: plain(balance) for refrigerant, balance in answer.booked.items()}
    return json.dumps({"accounts": rows, "unexplained": booked}, ensure_ascii=False, indent=2)


def history_text(lines: Iterable[Line]) -> str:
    """An account's lines, newest first: entry, when, by whom, what moved, what it then held."""
    rows = []
    for entry, mass_mg, balance in lines:
        kind = type(entry.fact).__struct_config__.tag
        rows.append(
            f"{entry.seq:>7}  {entry.at[:16]}  {say(str(kind)):<9} {_tenths(mass_mg, 12, '+')} g  {_mass(balance)}"
        )
        told = ", ".join(
            text for text in (entry.by, entry.job and say("job {number}", number=entry.job), entry.note) if text
        )
        rows += folded(told, "         ")
    return "\n".join(rows or [say("Nothing has moved here yet.")])


def receipt_text(head: Head) -> str:
    """A receipt: number and hash of the last entry."""
    return f"{head.seq}:{head.hash}"


def report_text(report: Report) -> str:
    """What a verification found, and the receipt to keep."""
    if report.sound:
        found = [
            say(
                "Sound: {count} entries, every hash, balance and account is as it was written.",
                count=report.entries,
            )
        ]
    else:
        count = len(report.findings)
        findings = say_many("{n} finding", "{n} findings", count)
        found = [say("NOT sound: {findings} in {count} entries.", findings=findings, count=report.entries)]
        for finding in report.findings:
            found += folded(f"{finding.where}: {finding.says}", "  ", "    ")
    keep = say("Keep this receipt away from this machine; a later verification holds the ledger to it:")
    return "\n".join([*found, "", *folded(keep), receipt_text(report.head)])


def law_text(asked: Jurisdiction) -> str:
    """What a jurisdiction asks, rule by rule, and how sure we are of each."""
    from loopwright.api.ledger import how_sure

    kept = (
        say("at least {count} years", count=asked.keep_years)
        if asked.keep_years
        else say("for how long is not known here")
    )
    lines = [*folded(say(asked.title)), say("Records are kept {kept}.", kept=kept), *folded(say(asked.note))]
    for rule in asked.rules:
        lines += ["", *folded(f"{rule.provision}: {say(rule.asks)}", "", "  ")]
        lines += [
            line for says in how_sure(rule) for line in folded(say("Source: {citation}", citation=says), "  ", "    ")
        ]
    reminder = say("This is a reminder, not legal advice; the law itself, and your state's, decide.")
    return "\n".join([*lines, "", *folded(reminder)])


def records_text(answer: Records) -> str:
    """What a jurisdiction asks, the tables that answer it, and what is missing."""
    tables = {
        say("Sent to a reclaimer or to destruction"): answer.sent,
        say("Operators"): answer.operators,
        say("Equipment"): answer.equipment,
        say("Quarters"): answer.quarters,
    }
    parts = [law_text(answer.jurisdiction), *(_table(title, rows) for title, rows in tables.items())]
    gaps = [line for gap in answer.gaps for line in folded(f"! {gap}", "  ", "    ")]
    parts.append("\n".join([say("Missing"), *(gaps or ["  " + say("nothing that these rules ask")])]))
    return "\n\n".join(parts)


def _table(title: str, rows: Iterable[Row]) -> str:
    lines = []
    for row in rows:
        text = "; ".join(f"{name} {value}" for name, value in row.items() if value not in ("", None, 0.0))
        lines += folded(text, "  ", "    ")
    return "\n".join([title, *(lines or ["  " + say("none")])])
