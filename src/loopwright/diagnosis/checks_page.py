"""The page of the next checks, docs/checks.md: `python -m loopwright.diagnosis.checks_page docs/checks.md`."""

from __future__ import annotations

import sys
from pathlib import Path

from loopwright.diagnosis.checks import Check, checks
from loopwright.faults.catalogue import catalogue

__all__ = ["page"]

_HEAD = """# Next checks

Made from the cards in `src/loopwright/diagnosis/checks`; change those, then run
`python -m loopwright.diagnosis.checks_page docs/checks.md`.

Minutes are the technician's, with set-up. A wait passes without the technician. Sigma is one standard deviation in SI.
"""


def page() -> str:
    """Return the checks as Markdown, a section each.

    >>> page().splitlines()[0]
    '# Next checks'
    """
    return "\n".join([_HEAD, *map(_section, checks().values())])


def _section(check: Check) -> str:
    wait = f" after a wait of {check.wait_minutes:g} min" if check.wait_minutes else ""
    after = [f"After: {', '.join(f'`{r}`' for r in check.requires)}.\n"] if check.requires else []
    blocks = [
        f"## {check.name}\n",
        f"`{check.id}`: {check.kind}, {check.phase.replace('_', ' ')}, {check.minutes:g} min{wait}.\n",
        *after,
        *(f"{i}. {step}" for i, step in enumerate(check.how, 1)),
        f"\n**Caution.** {check.caution}\n",
        *(f"- {o.result}: {o.means} ({', '.join(catalogue()[f].name for f in o.faults)})" for o in check.outcomes),
        f"\nYields {_gives(check)}. Sources: {', '.join(check.source)}. {check.note}\n",
    ]
    return "\n".join(blocks)


def _gives(check: Check) -> str:
    """What it yields and how well, in words."""
    parts = []
    for given in check.gives:
        sigma = f", sigma {given.sigma:g}" if given.sigma else ""
        time = f", {given.time:g} s after the phase began" if given.time is not None else ""
        parts.append(f"`{given.quantity}` at `{given.point}`{sigma}{time}")
    return "; ".join(parts)


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(page(), encoding="utf-8", newline="\n")
