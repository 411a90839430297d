"""A judgement as text for the terminal: the sentence, its reasons, the causes, the readings, what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from loopwright.diagnosis.judgement import Cause, Expected, Judgement, NextCheck
from loopwright.figures.layout import WIDTH, bar, folded, heading, strip_cells
from loopwright.figures.states import state_rows
from loopwright.figures.strip import placed
from loopwright.figures.strips import in_order
from loopwright.figures.terms import SI, Terms, row
from loopwright.figures.words import (
    PHASES,
    cause_name,
    check_card,
    counts,
    fault_name,
    headline,
    likelihood,
    place_word,
    reading_name,
    severity_text,
    together,
)
from loopwright.language import say, say_many

__all__ = ["judgement_text"]

_SHAPES = {"performs": "√", "marginal": "~", "does_not_perform": "×", "cannot_say": "?"}  # no colour needed
_LEAST = 0.03  # probability below which a cause is only summed up
_REASONS = 3  # readings named for or against the first cause
_OTHERS = 4  # further checks shown
_BAR = 16  # characters of a bar that means certainty
_INDENT = " " * (2 + 3 + 2 + _BAR + 2)  # under a cause's name


def judgement_text(judgement: Judgement, terms: Terms = SI) -> str:
    """Write a judgement in the order in which a technician reads, 80 characters wide.

    Parameters
    ----------
    judgement : in SI
    terms : the person's units, for every value that the sheet wrote in them
    """
    parts: list[Iterable[str]] = [
        _verdict(judgement, terms),
        _causes(judgement),
        _readings(judgement, terms),
        _states(judgement, terms),
        _next(judgement),
        _cautions(judgement),
    ]
    blocks = ["\n".join(line.rstrip() for line in part) for part in parts]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _verdict(judgement: Judgement, terms: Terms) -> Iterator[str]:
    what = " · ".join(part for part in (terms.label, judgement.refrigerant, judgement.id) if part)
    yield from folded(what)
    yield ""
    yield from folded(headline(judgement, terms), f"{_SHAPES[judgement.verdict]} ")
    if judgement.reasons:
        yield ""
    for reason in judgement.reasons:
        yield from folded(reason, "  ")
    for warning in judgement.warnings:
        yield from folded(say("Please look again: {warning}", warning=warning), "  ")


def _causes(judgement: Judgement) -> Iterator[str]:
    listed = [c for c in judgement.causes if c.probability >= _LEAST]
    if not listed:
        return
    rest = 1.0 - sum(c.probability for c in listed)
    shares = counts([*(c.probability for c in listed), max(rest, 0.0)])
    share_of = {id(cause): share for cause, share in zip(listed, shares[:-1], strict=True)}
    yield heading(say("Causes"), say("of 100 vehicles that read so"))
    for group in together(listed):
        if len(group) > 1:
            yield from _group(group, [share_of[id(c)] for c in group])
        else:
            yield from _cause_line(group[0], share_of[id(group[0])])
            yield from _details(group[0], group[0] is listed[0])
    if shares[-1]:
        yield from _line(say("anything else"), shares[-1], rest, "")


def _group(group: Sequence[Cause], shares: Sequence[int]) -> Iterator[str]:
    """Causes that look alike stand side by side, and the text says so."""
    yield from folded(say("These look alike on these readings; together {count}:", count=sum(shares)), "  ")
    for cause, share in zip(group, shares, strict=True):
        yield from _cause_line(cause, share, "= ")
        yield from _details(cause, False)


def _cause_line(cause: Cause, share: int, before: str = "") -> list[str]:
    return _line(before + cause_name(cause), share, cause.probability, likelihood(cause.probability))


def _line(name: str, share: int, probability: float, word: str) -> list[str]:
    return folded(f"{name}{', ' if word else ''}{word}", f"  {share:>3}  {bar(probability, _BAR):<{_BAR}}  ", _INDENT)


def _details(cause: Cause, reasons: bool) -> Iterator[str]:
    if cause.severity is not None:
        yield from folded(severity_text(cause.severity), _INDENT)
    if reasons:
        for speaks in cause.speaks_for[:_REASONS]:
            yield from folded(speaks.says, _INDENT + "+ ")
        for speaks in cause.speaks_against[:_REASONS]:
            yield from folded(speaks.says, _INDENT + "- ")


def _readings(judgement: Judgement, terms: Terms) -> Iterator[str]:
    found = [(e, row(e, terms, judgement.ambient_pressure)) for e in in_order(judgement.expected)]
    if not found:
        return
    name = max(len(reading_name(e)) for e, _ in found) + 2
    value = max(len(r.value) for _, r in found)
    unit = max(len(r.unit) for _, r in found)
    band = max(len(r.band) for _, r in found)
    third = max(4, (WIDTH - name - value - unit - band - _widest_word() - 7) // 3)
    yield heading(say("Readings"), say("░ 9 in 10 healthy ones, │ their middle, ● yours"))
    for phase, group in groupby(found, key=lambda pair: pair[0].phase):
        yield f"  {say(PHASES.get(phase, phase))}"
        for e, r in group:
            place = placed(r.low, r.median, r.high, r.measured)
            cells = strip_cells(place, third)
            start = f"    {reading_name(e):<{name - 2}} {r.value:>{value}} {r.unit:<{unit}}"
            yield f"{start} {cells} {r.band:<{band}} {place_word(place.word)}"
    yield from _rules(e for e, _ in found)


def _widest_word() -> int:
    return max(len(place_word(word)) for word in ("below", "inside", "above"))


def _rules(expected: Iterable[Expected]) -> Iterator[str]:
    """The trade's rules of thumb, each once, said to be what they are."""
    places: dict[str, list[str]] = {}
    for e in expected:
        if e.rule:
            places.setdefault(e.rule, []).append(
                f"{reading_name(e).lower()} {say(PHASES.get(e.phase, e.phase)).lower()}"
            )
    if places:
        yield f"  {say('Rules of thumb (common practice)')}"
    for rule, where in places.items():
        at = ", ".join(where)
        yield from folded(f"{at[0].upper()}{at[1:]}: {rule.removeprefix(say('Rule of thumb: '))}", "    ")


def _states(judgement: Judgement, terms: Terms) -> Iterator[str]:
    if judgement.states:
        yield heading(say("What the readings tell"), say("in 9 of 10 cases between"))
    yield from (f"  {name:<28}  {between}" for name, between in state_rows(judgement, terms))


def _next(judgement: Judgement) -> Iterator[str]:
    if not judgement.next_checks:
        return
    first, *others = judgement.next_checks
    card = check_card(first.check)
    steps = [say(step) for step in card.how] if card else [first.how]
    yield heading(say("Next check"), _minutes(first))
    yield f"  {first.check}"
    for number, step in enumerate(steps, start=1):
        yield from folded(step, f"    {number}. " if len(steps) > 1 else "    ")
    if first.caution:
        yield from folded(first.caution, "    ! ")
    if first.splits:
        yield from folded(say("It tells apart: {faults}.", faults=", ".join(map(fault_name, first.splits))), "    ")
    for outcome in card.outcomes if card else ():
        yield from folded(f"{say(outcome.result)}: {say(outcome.means)}", "    > ")
    if others:
        yield ""
        yield heading(say("More checks"), say("minutes"))
        yield from (f"  {other.check:<{WIDTH - 12}}{other.minutes:>10.0f}" for other in others[:_OTHERS])


def _minutes(check: NextCheck) -> str:
    return say_many("{n} minute", "{n} minutes", round(check.minutes))


def _cautions(judgement: Judgement) -> Iterator[str]:
    if judgement.cautions:
        yield heading(say("Cautions"))
        for caution in judgement.cautions:
            yield from folded(caution, "  ! ")
