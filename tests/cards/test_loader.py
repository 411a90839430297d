"""A card reads like a file in a room: the text on top, the record or the refusal below."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import pytest

from loopwright import cards
from loopwright.errors import CardError


@dataclass(frozen=True)
class Prior:
    median: float = field(metadata={"unit": "K", "low": 0, "high": 50})
    spread: float = 1.0


@dataclass(frozen=True)
class Card:
    id: str
    family: Literal["fixed", "variable"]
    superheat: Prior
    source: tuple[str, ...]
    stages: tuple[Prior, ...] = ()
    corners: tuple[float, float] | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    count: int = field(default=1, metadata={"low": 1, "high": 9})
    on: bool = True
    colour: str = field(default="red", metadata={"allowed": ("red", "blue")})


@dataclass(frozen=True)
class Ordered:
    low: float
    high: float

    def __post_init__(self):
        if self.low > self.high:
            raise ValueError("low below high")


HEAD = 'schema = 1\nsource = "nist-sp811"\n'
WHOLE = HEAD + 'note = "free"\nfamily = "fixed"\nsuperheat = {median = 5}\n'


def load(text, kind=Card):
    return cards.load_text(text, kind, "room/folder/good.toml")


def test_a_whole_card_becomes_a_frozen_record():
    card = load(WHOLE + "corners = [1, 2.5]\nwords.hot = 'warm'\n[[stages]]\nmedian = 1\nspread = 2\n")
    assert card == Card("good", "fixed", Prior(5.0), ("nist-sp811",), (Prior(1.0, 2.0),), (1.0, 2.5), {"hot": "warm"})
    assert isinstance(card.superheat.median, float)  # 5 in the file: TOML's integer becomes the float declared
    with pytest.raises(dataclasses.FrozenInstanceError):
        card.count = 2
    with pytest.raises(TypeError):
        card.words["cold"] = "cool"


def test_a_list_of_sources_is_allowed():
    assert load(WHOLE.replace('"nist-sp811"', '["nist-sp811", "common-practice"]')).source == (
        "nist-sp811",
        "common-practice",
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (WHOLE + "colr = 'red'", "colr: Unknown key. Did you mean colour? Found 'colr'; allowed: id, family"),
        (WHOLE + "colour = 'green'", "colour: Not one of the allowed values. Found 'green'; allowed: red, blue."),
        (WHOLE + "count = 10", "count: Out of range. Found 10; allowed: 1 to 9."),
        (WHOLE + "count = true", "count: Wrong type. Found True; allowed: int."),
        (WHOLE + "on = 1", "on: Wrong type. Found 1; allowed: bool."),
        (WHOLE + "corners = [1]", "corners: Wrong length. Found [1]; allowed: a list of 2."),
        (WHOLE + "corners = [1, nan]", "corners[1]: Out of range."),
        (WHOLE + "words = 3", "words: Not a table."),
        (
            WHOLE + "stages = [{median = 1}, {median = 51}]",
            "stages[1].median: Out of range. Found 51.0; allowed: 0 to 50 K",
        ),
        (WHOLE + "stages = [{median = 1, source = 'nowhere'}]", "stages[0].source: Unknown source. Found 'nowhere'"),
        (WHOLE + "id = 'other'", "id: The id differs from the file's name. Found 'other'; allowed: good."),
        (WHOLE.replace("fixed", "scroll"), "family: Not one of the allowed values. Found 'scroll'; allowed: fixed"),
        (WHOLE.replace("{median = 5}", "5"), "superheat: Not a table. Found 5; allowed: a table of Prior."),
        (WHOLE.replace("median = 5", "spread = 5"), "superheat.median: Missing key. Found 'nothing'; allowed: K."),
        (WHOLE.replace("median = 5", "median = inf"), "superheat.median: Out of range."),
        (WHOLE.replace("schema = 1", "schema = 2"), "schema: Missing or unknown schema. Found 2; allowed: 1."),
        (WHOLE.replace("schema = 1\n", ""), "schema: Missing or unknown schema. Found None"),
        (WHOLE.replace('source = "nist-sp811"\n', ""), "source: No source given."),
        (WHOLE.replace("nist-sp811", "my uncle"), "source: Unknown source. Found 'my uncle'"),
        (WHOLE.replace('"nist-sp811"', "[]"), "source: No source given."),
        (WHOLE.replace('"free"', "3"), "note: Wrong type."),
        ("schema = = 1", "not readable as TOML"),
    ],
)
def test_every_departure_is_refused_with_file_key_found_and_allowed(text, says):
    with pytest.raises(CardError) as caught:
        load(text)
    assert str(caught.value).startswith("room/folder/good.toml: ")
    assert says in str(caught.value)


def test_rules_that_span_fields_belong_to_the_record():
    with pytest.raises(CardError, match="low below high"):
        load(HEAD + "low = 2\nhigh = 1", Ordered)


def test_a_misspelt_limit_in_a_record_is_our_fault_and_raised():
    @dataclass(frozen=True)
    class Wrong:
        x: float = field(metadata={"lo": 0})

    with pytest.raises(TypeError, match="lo"):
        load(HEAD + "x = 1", Wrong)


def test_missing_files_and_folders_are_card_errors():
    with pytest.raises(CardError, match="cannot be read"):
        cards.load("loopwright.cards", "nowhere/none.toml", Card)
    with pytest.raises(CardError, match="no cards there"):
        cards.load_all("loopwright.cards", "nowhere", Card)


@pytest.mark.parametrize("zipped", [False, True])
def test_a_folder_of_cards_is_read_from_a_folder_and_from_an_archive(tmp_path, monkeypatch, zipped):
    import zipfile

    name = f"some_room_{zipped}"
    contents = {f"{name}/__init__.py": "", f"{name}/kinds/b.toml": WHOLE, f"{name}/kinds/a.toml": WHOLE}
    if zipped:
        with zipfile.ZipFile(tmp_path / "room.zip", "w") as archive:
            for path, text in contents.items():
                archive.writestr(path, text)
    else:
        for path, text in contents.items():
            (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / path).write_text(text, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path / "room.zip" if zipped else tmp_path))
    assert {key: card.id for key, card in cards.load_all(name, "kinds", Card).items()} == {"a": "a", "b": "b"}


def test_every_source_has_a_citation_and_says_how_it_was_obtained():
    for key, source in cards.sources().items():
        assert source.citation.strip(), key
        assert source.obtained in {"page", "repository", "memory", "computed", "practice"}, key
