"""The stages of a performance test and the acts in each, from `acts.toml`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from loopwright.cards import load
from loopwright.service.cautions import cautions

__all__ = ["Act", "Stage", "acts", "stages"]


@dataclass(frozen=True)
class Stage:
    """One stretch of the work: its title, and what it is for in one sentence."""

    title: str
    says: str


@dataclass(frozen=True)
class Act:
    """One act: the stage it belongs to, the acts that come first, the cautions that stand at it."""

    stage: str
    title: str
    cautions: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Card:
    source: tuple[str, ...]
    note: str
    stages: Mapping[str, Stage]
    acts: Mapping[str, Act]

    def __post_init__(self) -> None:
        """Refuse an act in no stage, after no act, or with a caution that does not exist."""
        for name, act in self.acts.items():
            if act.stage not in self.stages or not {*act.after} <= {*self.acts} or not {*act.cautions} <= {*cautions()}:
                raise ValueError(f"known stage, acts and cautions in act {name}")


@cache
def _card() -> _Card:
    return load("loopwright.job", "acts.toml", _Card)


def stages() -> Mapping[str, Stage]:
    """Return the stages of a test in their order.

    Raises
    ------
    CardError : the card is wrong

    >>> list(stages())
    ['vehicle', 'before', 'standing', 'running', 'feel', 'stop', 'away']
    """
    return _card().stages


def acts() -> Mapping[str, Act]:
    """Return every act by its id, in order.

    Raises
    ------
    CardError : the card is wrong

    >>> acts()["hoses_off"].after
    ('valves_closed',)
    """
    return _card().acts
