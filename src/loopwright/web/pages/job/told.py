"""What a judgement tells, as the page says it: the sentence, the causes as counts, the next check, the states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopwright.figures import Judgement, Terms
from loopwright.figures.states import state_rows
from loopwright.figures.words import (
    cause_name,
    check_card,
    counts,
    fault_name,
    headline,
    likelihood,
    point_name,
    severity_text,
    together,
)
from loopwright.language import say, say_many

__all__ = ["CauseTold", "CheckTold", "GroupTold", "Told", "tell"]

SHAPES = {"performs": "✓", "marginal": "△", "does_not_perform": "✕", "cannot_say": "?"}
_LEAST = 0.03  # probability below which a cause is only summed up
_REASONS = 3
_OTHERS = 4


@dataclass(frozen=True)
class CauseTold:
    """One cause: its name, how many of 100, in words, how bad, and what speaks for and against it."""

    fault: str
    name: str
    share: int
    word: str
    severity: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


@dataclass(frozen=True)
class GroupTold:
    """Causes that look alike on these readings, or one alone; `share` is what they have together."""

    causes: tuple[CauseTold, ...]
    share: int


@dataclass(frozen=True)
class CheckTold:
    """A check: how to do it, its caution, what it tells apart, what its outcomes mean."""

    name: str
    point: str
    minutes: str
    how: tuple[str, ...]
    caution: str
    splits: str
    outcomes: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Told:
    """A judgement in the order of the page."""

    verdict: str
    shape: str
    sentence: str
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]
    groups: tuple[GroupTold, ...]
    rest: int
    next: CheckTold | None
    others: tuple[CheckTold, ...]
    states: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    engine: str
    alt: str


def tell(judgement: Judgement, terms: Terms) -> Told:
    """Put a judgement into words, in the language spoken and the person's units."""
    groups, rest = _groups(judgement)
    checks = [
        _check(check.check, check.point, check.minutes, check.how, check.caution, check.splits)
        for check in judgement.next_checks[: _OTHERS + 1]
    ]
    sentence = headline(judgement, terms)
    states = tuple(state_rows(judgement, terms))
    return Told(
        verdict=judgement.verdict,
        shape=SHAPES[judgement.verdict],
        sentence=sentence,
        reasons=judgement.reasons,
        warnings=judgement.warnings,
        groups=groups,
        rest=rest,
        next=checks[0] if checks else None,
        others=tuple(checks[1:]),
        states=states,
        cautions=judgement.cautions,
        engine=judgement.engine,
        alt=say(
            "The cycle that the readings tell of, over the one this vehicle should show today. {states}",
            states="; ".join(f"{name}: {text}" for name, text in states),
        ),
    )


def _groups(judgement: Judgement) -> tuple[tuple[GroupTold, ...], int]:
    listed = [c for c in judgement.causes if c.probability >= _LEAST]
    if not listed:
        return (), 0
    rest = max(1.0 - sum(c.probability for c in listed), 0.0)
    *shares, left = counts([*(c.probability for c in listed), rest])
    share_of = {id(cause): share for cause, share in zip(listed, shares, strict=True)}
    found = []
    for group in together(listed):
        causes = tuple(
            CauseTold(
                cause.fault,
                cause_name(cause),
                share_of[id(cause)],
                likelihood(cause.probability),
                severity_text(cause.severity) if cause.severity else "",
                tuple(speaks.says for speaks in cause.speaks_for[:_REASONS]),
                tuple(speaks.says for speaks in cause.speaks_against[:_REASONS]),
            )
            for cause in group
        )
        found.append(GroupTold(causes, sum(cause.share for cause in causes)))
    return tuple(found), left


def _check(name: str, point: str, minutes: float, how: str, caution: str, splits: Sequence[str]) -> CheckTold:
    card = check_card(name)
    return CheckTold(
        name,
        point_name(point) if point else "",
        say_many("{n} minute", "{n} minutes", round(minutes)),
        tuple(say(step) for step in card.how) if card else (how,),
        caution,
        say("It tells apart: {faults}.", faults=", ".join(map(fault_name, splits))) if splits else "",
        tuple((say(outcome.result), say(outcome.means)) for outcome in card.outcomes) if card else (),
    )
