"""What a person reads, in the person's language: sentences, numbers and dates.

Every sentence is written in English where it is needed, as a template, and handed to `say`; the template is the key of
the catalogue (`locale/<code>/LC_MESSAGES/loopwright.po`). The language is that of the running task or thread: English
until `speaking` says otherwise. Ids of the published contract (faults, points, kinds) are never translated.

>>> with speaking("es"):
...     decimal(30.5, 1)
'30,5'
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import datetime
    import gettext

    from babel import Locale

__all__ = [
    "date",
    "decimal",
    "decimal_mark",
    "languages",
    "later",
    "moment",
    "nearest",
    "say",
    "say_many",
    "speaking",
    "spoken",
]

_LANGUAGES = {"en": "English", "es": "Español"}
_spoken: ContextVar[str] = ContextVar("loopwright_spoken", default="en")


def languages() -> dict[str, str]:
    """Return the languages that are complete, each in its own words, by code.

    >>> languages()
    {'en': 'English', 'es': 'Español'}
    """
    return dict(_LANGUAGES)


def spoken() -> str:
    """Return the code of the language spoken now, with its region where one was given ("en", "es", "es-MX")."""
    return _spoken.get()


def nearest(wanted: str) -> str:
    """Return the first language we have of those wanted, as a browser lists them; English where there is none.

    Parameters
    ----------
    wanted : codes with or without region and quality, most wanted first ("es-MX,es;q=0.9,en;q=0.8")

    >>> nearest("fr-CA,es-MX;q=0.8,en;q=0.5"), nearest("de"), nearest("")
    ('es-MX', 'en', 'en')
    """
    for part in wanted.split(","):
        code = part.partition(";")[0].strip().replace("_", "-")
        if code.partition("-")[0].casefold() in _LANGUAGES and code.replace("-", "").isalnum() and len(code) <= 12:
            language, _, region = code.partition("-")
            return f"{language.casefold()}-{region.upper()}" if region else language.casefold()
    return "en"


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Speak a language inside the `with`; a code that we do not have is answered in English.

    Parameters
    ----------
    code : "en", "es", or with a region, which counts for numbers and dates only ("es-MX" writes 30.5, "es" 30,5)

    >>> with speaking("es-MX"):
    ...     spoken(), decimal(30.5, 1)
    ('es-MX', '30.5')
    """
    before = _spoken.set(nearest(code))
    try:
        yield
    finally:
        _spoken.reset(before)


def later(template: str) -> str:
    """Mark a template that stands in a table and is said later; returns it unchanged.

    >>> later("Performs")
    'Performs'
    """
    return template


def say(template: str, /, **values: object) -> str:
    """Say a sentence in the language spoken now.

    Parameters
    ----------
    template : the English sentence, with `{name}` for each value; said in English where there is no translation
    values : what stands in the sentence; a float is written with the language's decimal mark

    >>> say("Wait at least {minutes:.1f} min.", minutes=2.5)
    'Wait at least 2.5 min.'
    """
    return _filled(_catalogue(_language()).gettext(template) if template else "", values)


def say_many(one: str, many: str, /, n: int, **values: object) -> str:
    """Say a sentence that depends on a count; both templates may use `{n}`.

    >>> say_many("{n} reading", "{n} readings", 1), say_many("{n} reading", "{n} readings", 3)
    ('1 reading', '3 readings')
    """
    return _filled(_catalogue(_language()).ngettext(one, many, n), {"n": n, **values})


def decimal(value: float, places: int, signed: bool = False) -> str:
    """Write a number with so many decimals and the language's decimal mark; never grouped, never minus zero.

    >>> decimal(1180.25, 1), decimal(-0.04, 1), decimal(3.0, 0, signed=True)
    ('1180.2', '0.0', '+3')
    """
    text = f"{value:{'+' if signed else ''}.{places}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace(".", decimal_mark())


def decimal_mark() -> str:
    """Return the decimal mark of the language spoken now.

    >>> decimal_mark()
    '.'
    """
    return _mark_of(_spoken.get())


def date(when: datetime.date) -> str:
    """Write a day as the language does.

    >>> import datetime
    >>> date(datetime.date(2026, 11, 25))
    'Nov 25, 2026'
    >>> with speaking("es"):
    ...     date(datetime.date(2026, 11, 25))
    '25 nov 2026'
    """
    from babel.dates import format_date

    return _plain(format_date(when, "medium", locale=_locale(_spoken.get())))


def moment(when: datetime.datetime) -> str:
    """Write a day and its time (24 hours, to the minute) as the language does, in the time zone that `when` carries.

    >>> import datetime
    >>> moment(datetime.datetime(2026, 11, 25, 13, 24))
    'Nov 25, 2026, 13:24'
    """
    return f"{date(when)}, {when:%H:%M}"


def _plain(text: str) -> str:
    """Ordinary spaces for the narrow and unbreakable ones that locale data holds."""
    return " ".join(text.split())


def _language() -> str:
    return _spoken.get().partition("-")[0]


@cache
def _locale(code: str) -> Locale:
    """Babel's data for a code; a region that nobody knows counts as none."""
    from babel import Locale, UnknownLocaleError

    try:
        return Locale.parse(code, sep="-")
    except UnknownLocaleError:
        return Locale.parse(code.partition("-")[0])


class _Number(float):
    """A float that writes itself with the decimal mark of the language spoken."""

    def __format__(self, spec: str) -> str:
        return super().__format__(spec).replace(".", decimal_mark())


def _filled(template: str, values: Mapping[str, Any]) -> str:
    if not values:
        return template
    own = decimal_mark() == "."
    return template.format(**{k: _Number(v) if isinstance(v, float) and not own else v for k, v in values.items()})


@cache
def _mark_of(code: str) -> str:
    if code.partition("-")[0] == "en":
        return "."
    return str(_locale(code).number_symbols["latn"]["decimal"])


@cache
def _catalogue(language: str) -> gettext.NullTranslations:
    import gettext
    from importlib.resources import files

    if language == "en":
        return gettext.NullTranslations()
    place = files("loopwright.language").joinpath("locale", language, "LC_MESSAGES", "loopwright.mo")
    with place.open("rb") as compiled:
        return gettext.GNUTranslations(compiled)
