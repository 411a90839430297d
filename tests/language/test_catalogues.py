"""Every message has a translation, with the same placeholders, and what is compiled is what is written."""

import ast
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest

from loopwright.language import languages, say, say_many, speaking
from loopwright.language.extract import compiled, faults, translated, written
from loopwright.language.messages import Message, gathered, in_cards, in_python
from loopwright.ledger.values import AccountKind, Method, State
from loopwright.quantities import Kind
from loopwright.readings.points import PHASES, STATISTICS
from loopwright.readings.read import CHOICES
from loopwright.service.procedure import Status
from loopwright.service.sheets import CALCULATORS

OTHERS = [code for code in languages() if code != "en"]


@pytest.mark.parametrize("language", OTHERS)
def test_complete_and_fresh(language: str) -> None:
    """`python -m loopwright.language.extract` brings the catalogue up to date; what it prints is left to translate."""
    assert list(faults(language)) == []


@pytest.mark.parametrize("language", OTHERS)
def test_rewriting_changes_nothing(language: str) -> None:
    """The file is as the tool writes it, so that the next run changes only what is new."""
    place = files("loopwright.language").joinpath("locale", language, "LC_MESSAGES", "loopwright.po")
    assert written(translated(language)) == place.read_bytes()


def test_a_missing_translation_is_found() -> None:
    """The check is worth something: it sees a message that nobody translated, another placeholder, another blank."""
    from loopwright.language.extract import _faults

    catalog = translated("es")
    message = next(m for m in catalog if m.id == "Read after {minutes:.0f} min of running.")
    assert list(_faults(message, message)) == []
    for text in ("", "Leído tras {minutes:.1f} min.", "Leído.", "Leído tras {minutes:.0f} min. "):
        message.string = text
        assert len(list(_faults(message, message))) == 1, text
    assert len(list(_faults(message, None))) == 1


def test_a_stale_compilation_is_found() -> None:
    from loopwright.language.extract import _strings

    catalog = translated("es")
    before = _strings(compiled(catalog))
    assert _strings(compiled(translated("es"))) == before
    changed = catalog.get("Performs")
    assert changed is not None
    changed.string = "Otra cosa"
    assert _strings(compiled(catalog)) != before


def test_messages_of_code(tmp_path: Path) -> None:
    (tmp_path / "face.py").write_text(
        "x = say('One ' 'sentence.')\ny = say_many('{n} hose', '{n} hoses', 3)\nz = say(x)\nw = later('Word')\n",
        encoding="utf-8",
    )
    found = list(in_python(tmp_path))
    assert found == [
        Message("One sentence.", "face.py"),
        Message("{n} hose", "face.py", "{n} hoses"),
        Message("Word", "face.py"),
    ]


def test_messages_of_cards(tmp_path: Path) -> None:
    folder = tmp_path / "faults" / "catalogue"
    folder.mkdir(parents=True)
    text = (
        'name = "a hole"\nnote = "not shown"\nlooks = ["One.", "Two."]\n[[proves]]\nact = "Look."\nresult = "Seen."\n'
    )
    (folder / "hole.toml").write_text(text + '[severity]\nquantity = "hole_size"\n', encoding="utf-8")
    assert [m.text for m in in_cards(tmp_path)] == ["a hole", "One.", "Two.", "Look.", "Seen.", "hole size"]


def test_what_is_shown_spelt_out_is_gathered() -> None:
    """Names that are made of ids stand in no `say` call, so each list of ids is held against the catalogue here."""
    known = {m.text for m in gathered()}
    ids = {*get_args(Kind), *PHASES, *STATISTICS, *get_args(Status)} - {"mean"}
    ids |= {choice for choices in CHOICES.values() for choice in choices} - {
        "mean",
        "one_sigma",
        "of_span_pct",
        "limit",
    }
    ids |= {*get_args(AccountKind), *get_args(State), *get_args(Method)}
    ids |= {item.name for form in CALCULATORS.values() for item in form.fields}
    assert {name.replace("_", " ") for name in ids} - known == set()
    texts = {text for form in CALCULATORS.values() for text in (form.title, form.says, *(f.says for f in form.fields))}
    assert texts - known == set()


def test_every_template_said_can_be_filled() -> None:
    """A `say` with values names exactly the placeholders of its template."""
    import string

    wrong = []
    for path in sorted(Path(__file__).resolve().parents[2].joinpath("src").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "say"):
                continue
            if not node.args or not isinstance(node.args[0], ast.Constant) or any(k.arg is None for k in node.keywords):
                continue
            given = {k.arg for k in node.keywords}
            if given and given != {name for _, name, _, _ in string.Formatter().parse(node.args[0].value) if name}:
                wrong.append(f"{path.name}:{node.lineno}: {node.args[0].value!r} with {sorted(map(str, given))}")
    assert wrong == []


def test_plural_and_fallback() -> None:
    with speaking("es"):
        assert say_many("{n} problem", "{n} problems", 1) == "1 problema"
        assert say_many("{n} problem", "{n} problems", 2) == "2 problemas"
        assert say("A sentence that nobody translated.") == "A sentence that nobody translated."
