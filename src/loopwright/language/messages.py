"""Where the messages stand: in calls of `say` in the code, in the texts of cards, in the templates of the pages."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = ["Message", "gathered", "in_cards", "in_python", "in_templates"]

_PACKAGE = Path(__file__).resolve().parents[1]

# Functions whose arguments are messages: name, places of the arguments. `Field` and `Calculator` are the forms of the
# service sheets, whose texts are said where they are shown.
_CALLS = {
    "say": (0,),
    "later": (0,),
    "say_many": (0, 1),
    "Field": (2,),
    "Calculator": (1, 2),
}
_SPELT = {"Field": 0}  # whose argument is an id that is shown spelt out

# Ids that are shown spelt out and stand in types and logic rather than in a card: phases, kinds of units, how a step
# stands, the verdicts and classes of the service sheets, and what can be chosen.
_IDS = (
    "standing",
    "running",
    "after_stop",
    "minimum",
    "maximum",
    "pressure",
    "absolute_pressure",
    "pressure_difference",
    "temperature",
    "temperature_difference",
    "mass",
    "volume",
    "length",
    "time",
    "fraction",
    "fraction_difference",
    "rotation",
    "air_speed",
    "voltage",
    "ready",
    "open",
    "done",
    "deviated",
    "pass",
    "fail",
    "cannot_tell",
    "no_conclusion",
    "refused",
    "room",
    "full",
    "short",
    "over",
    "as_expected",
    "add",
    "planned",
    "boils",
    "does_not_boil",
    "neither",
    "leak",
    "moisture",
    "desorption",
    "leak_and_moisture",
    "leak_and_desorption",
    "leak_and_hidden",
    "no_leak_seen",
    "rising",
    "converted",
    "liquid",
    "vapour",
    "closed",
    "set",
    "thermostatic",
    "orifice",
    "receiver",
    "accumulator",
    "fixed",
    "variable",
    "electric",
    "discharge_line",
    "liquid_line",
    "low",
    "medium",
    "high",
    "fresh",
    "recirculated",
    "gauge",
    "absolute",
    "cylinder",
    "vehicle",
    "refillable",
    "disposable",
    "current",
    "older",
    "yes",
    "no",
    "unknown",
    "supplier",
    "hoses",
    "machine",
    "atmosphere",
    "reclaimer",
    "destruction",
    "outside",
    "unexplained",
    "virgin",
    "reclaimed",
    "recycled",
    "recovered",
    "contaminated",
    "scale",
    "label",
    "estimate",
    "opened",
    "amended",
    "registered",
    "moved",
    "weighed",
    "reversed",
)

# Texts of the cards that a person reads: files, then paths inside; "*" is every entry of a list or table, "@" the
# name of a key spelt out ("low_side" is read as "low side").
_CARDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("faults/cautions.toml", ("cautions.*.act", "cautions.*.says")),
    (
        "faults/catalogue/*.toml",
        (
            "name",
            "plain",
            "looks.*",
            "sounds.*",
            "feels.*",
            "repair.*",
            "resembles.*.tell_apart",
            "proves.*.act",
            "proves.*.result",
            "variants.*.name",
            "severity.quantity@",
        ),
    ),
    ("diagnosis/checks/*.toml", ("name", "how.*", "caution", "outcomes.*.result", "outcomes.*.means")),
    (
        "readings/points.toml",
        (
            "points.*.name",
            "points.*.place",
            "points.@",
            "groups.*.observed.@",
            "groups.*.observed.*.*@",
            "quantities.*.name",
            "quantities.@",
            "fields.*.*.name",
        ),
    ),
    ("readings/instruments/*.toml", ("name",)),
    ("service/cards/cautions.toml", ("cautions.*.act", "cautions.*.says")),
    ("service/cards/oil_parts.toml", ("parts.*.words", "parts.*.note")),
    ("service/cards/gwp.toml", ("reports.*.words",)),
    (
        "service/cards/procedure.toml",
        (
            "steps.*.id@",
            "steps.*.title",
            "steps.*.do.*",
            "steps.*.records.*@",
            "records.*.id@",
            "records.*.says",
            "records.*.choices.*@",
            "steps.*.rules.*.says",
            "steps.*.timer.says",
        ),
    ),
    ("ledger/jurisdictions/*.toml", ("title", "note", "rules.*.asks")),
    ("job/acts.toml", ("stages.*.title", "stages.*.says", "acts.*.title", "acts.*.says", "acts.*.why")),
)


@dataclass(frozen=True)
class Message:
    """One message: the template, its plural if it has one, and the file that says it."""

    text: str
    place: str
    plural: str = ""


def gathered(package: Path = _PACKAGE) -> list[Message]:
    """Return every message of the package, code first, then cards, then templates; each as often as it stands there."""
    ids = [Message(name.replace("_", " "), "ids") for name in _IDS]
    return [*in_python(package), *ids, *in_cards(package), *in_templates(package)]


def in_python(package: Path = _PACKAGE) -> Iterator[Message]:
    """Yield the messages that stand as literals in the calls named above."""
    for path in sorted(package.rglob("*.py")):
        if path.parent == Path(__file__).parent:
            continue  # the examples of this room
        place = path.relative_to(package).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and (found := _literals(node)):
                yield Message(found[0], place, found[1] if _name(node) == "say_many" else "")
                if place.startswith("service/") and (spelt := _SPELT.get(_name(node))) is not None:
                    yield from (Message(text, place) for text in _spelt(node.args[spelt]))
                if _name(node) == "Calculator":
                    yield Message(found[1], place)


def in_cards(package: Path = _PACKAGE) -> Iterator[Message]:
    """Yield the texts of the cards."""
    for pattern, paths in _CARDS:
        for file in sorted(package.glob(pattern)):
            table = tomllib.loads(file.read_text(encoding="utf-8"))
            for path in paths:
                for text in _texts(table, path.split(".")):
                    yield Message(text, pattern)


def in_templates(package: Path = _PACKAGE) -> Iterator[Message]:
    """Yield the messages of the page templates: `{{ say("...") }}`, `{{ _("...") }}` and `{% trans %}`."""
    files = sorted(file for room in ("web", "report") for file in package.joinpath(room).rglob("*.html"))
    if not files:
        return
    from babel.messages.extract import extract

    keywords: dict[str, Any] = {
        "_": None,
        "say": None,
        "later": None,
        "say_many": (1, 2),
        "_n": (1, 2),
        "gettext": None,
        "ngettext": (1, 2),
    }
    for file in files:
        with file.open("rb") as opened:
            for _, found, _, _ in extract("jinja2", opened, keywords, (), {"trimmed": "true"}):
                one, many = (found, "") if isinstance(found, str) else (found[0], found[1])
                yield Message(one, file.relative_to(package).as_posix(), many)


def _name(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def _spelt(argument: ast.expr) -> list[str]:
    if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
        return [argument.value.replace("_", " ")]
    return []


def _literals(call: ast.Call) -> list[str]:
    """Return the literal messages of a call; none where the message is made elsewhere."""
    found = []
    for place in _CALLS.get(_name(call), ()):
        argument = call.args[place] if place < len(call.args) else None
        if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
            found.append(argument.value)
    return found if len(found) == len(_CALLS.get(_name(call), ())) else []


def _texts(found: Any, path: list[str]) -> Iterable[str]:
    if not path:
        return [found] if isinstance(found, str) and found else []
    head, *rest = path
    if found is None:
        return []
    if head == "@":
        return [str(key).replace("_", " ") for key in found]
    if head.endswith("@"):
        return [text.replace("_", " ") for text in _texts(found, [head[:-1], *rest])]
    if head == "*":
        entries = found.values() if isinstance(found, dict) else found if isinstance(found, list) else []
        return [text for entry in entries for text in _texts(entry, rest)]
    return _texts(found.get(head), rest) if isinstance(found, dict) else []
