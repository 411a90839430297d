"""What `loopwright demo` does: judge the demo vehicles that come with the package and leave pictures and texts."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import typer

from loopwright.cli.judging import answers
from loopwright.figures import Judgement, Terms, judgement_text, picture, save
from loopwright.figures.layout import folded, heading
from loopwright.figures.words import headline
from loopwright.language import say
from loopwright.readings import Refused, Test

__all__ = ["FIRST", "demo_sheets", "judge_demo"]

FIRST = "van_short_of_refrigerant"  # printed in full


def demo_sheets() -> dict[str, bytes]:
    """Return the demo sheets by name, in alphabetical order."""
    folder = files("loopwright.cli").joinpath("vehicles")
    found = sorted((p for p in folder.iterdir() if p.name.endswith(".toml")), key=lambda p: p.name)
    return {p.name.removesuffix(".toml"): p.read_bytes() for p in found}


def judge_demo(folder: Path) -> int:
    """Judge every demo vehicle; print one in full and the others' sentences; write all to `folder`.

    Returns
    -------
    int : exit code, 0
    """
    folder.mkdir(parents=True, exist_ok=True)
    judged = {name: _judged(name, raw) for name, raw in demo_sheets().items()}
    typer.echo(_text(*judged[FIRST]))
    typer.echo(heading(say("The other demo vehicles")))
    for name, (test, judgement) in judged.items():
        (folder / f"{name}.txt").write_text(_text(test, judgement), encoding="utf-8")
        save(picture(judgement, Terms.of(test)), folder / f"{name}.svg")
        if name != FIRST:
            terms = Terms.of(test)
            typer.echo("\n".join(["", f"  {terms.label}", *folded(headline(judgement, terms), "    ")]))
    save(picture(judged[FIRST][1], Terms.of(judged[FIRST][0])), folder / f"{FIRST}.png")
    where = f"{folder}{'/' if folder.name else ''}"
    typer.echo("\n" + say("Texts and pictures are in {folder}.", folder=where))
    return 0


def _judged(name: str, raw: bytes) -> tuple[Test, Judgement]:
    (answer,) = answers(raw, "toml", seed=0)
    if isinstance(answer, Refused):  # a demo sheet of ours is wrong
        raise answer.error()
    return answer


def _text(test: Test, judgement: Judgement) -> str:
    return judgement_text(judgement, Terms.of(test))
