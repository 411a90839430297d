"""The sentences and names that every face uses alike: verdict, cause, place, how likely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from math import floor

from loopwright.diagnosis.checks import Check, checks
from loopwright.diagnosis.judgement import Cause, Expected, Judgement, Severity
from loopwright.faults.catalogue import catalogue
from loopwright.figures.strip import Word
from loopwright.figures.terms import SI, Terms
from loopwright.language import languages, later, say, speaking
from loopwright.readings import table

__all__ = [
    "PHASES",
    "VERDICTS",
    "cause_name",
    "check_card",
    "count",
    "counts",
    "fault_name",
    "headline",
    "likelihood",
    "place_word",
    "point_name",
    "reading_name",
    "severity_text",
    "together",
]

VERDICTS = {
    "performs": later("Performs"),
    "marginal": later("Performs only just"),
    "does_not_perform": later("Does not perform"),
    "cannot_say": later("Cannot say"),
}
PHASES = {"standing": later("Standing"), "running": later("Running"), "after_stop": later("After stop")}

# Least probability for each word: the steps of the IPCC uncertainty guidance note (Mastrandrea and others, 2010; from
# memory) without its outermost two; its "about as likely as not" is shortened.
_LIKELY = (
    (0.9, later("very likely")),
    (0.66, later("likely")),
    (0.33, later("about even")),
    (0.1, later("unlikely")),
    (0.0, later("very unlikely")),
)


def likelihood(probability: float) -> str:
    """Say a probability in words.

    >>> likelihood(0.81), likelihood(0.5), likelihood(0.02)
    ('likely', 'about even', 'very unlikely')
    """
    return next(say(word) for least, word in _LIKELY if probability >= least)


def count(probability: float) -> str:
    """Say a probability as a count that a person can picture.

    >>> count(0.81), count(0.03), count(0.004), count(0.97), count(0.9996)
    ('8 in 10', '3 in 100', 'less than 1 in 100', '97 in 100', 'more than 99 in 100')
    """
    if probability < 0.005:
        return say("less than 1 in 100")
    if probability > 0.995:
        return say("more than 99 in 100")
    if 0.095 <= probability < 0.945:
        return say("{count} in 10", count=floor(10 * probability + 0.5))
    return say("{count} in 100", count=floor(100 * probability + 0.5))


def counts(probabilities: Sequence[float], out_of: int = 100) -> list[int]:
    """Share out whole counts so that they add up as the probabilities do (largest remainder).

    >>> counts([0.335, 0.335, 0.33])
    [34, 33, 33]
    """
    exact = [out_of * p for p in probabilities]
    whole = [floor(e) for e in exact]
    short = floor(sum(exact) + 0.5) - sum(whole)
    for i in sorted(range(len(exact)), key=lambda i: whole[i] - exact[i])[:short]:
        whole[i] += 1
    return whole


def fault_name(fault: str) -> str:
    """Return the plain name of a fault; an id that the catalogue does not know is spelt out.

    >>> fault_name("undercharge"), fault_name("two_words")
    ('short of refrigerant', 'two words')
    """
    card = catalogue().get(fault)
    return say(card.name) if card else fault.replace("_", " ")


def cause_name(cause: Cause) -> str:
    """Return the plain name of a cause, both names where two faults act together."""
    if not cause.also:
        return fault_name(cause.fault)
    return say("{one}, together with {other}", one=fault_name(cause.fault), other=fault_name(cause.also))


def point_name(point: str) -> str:
    """Return the plain name of a point; one that the table does not know is spelt out.

    >>> point_name("vent_center")
    'Centre vent'
    """
    card = table().points.get(point)
    return say(card.name) if card else say(point.replace("_", " ")).capitalize()


def place_word(word: Word | None) -> str:
    """Say where a mark lies on its strip; empty where nothing was read.

    >>> place_word("below"), place_word(None)
    ('below', '')
    """
    return say(_PLACES[word]) if word else ""


_PLACES: Mapping[Word, str] = {"below": later("below"), "inside": later("inside"), "above": later("above")}


def reading_name(expected: Expected) -> str:
    """Return the plain name of a reading: its point, with the quantity where it is not the point's usual one.

    >>> from loopwright.diagnosis.judgement import Interval
    >>> reading_name(Expected("running", "low_side", "pressure", "Pa", Interval(1.0, 2.0, 3.0), statistic="minimum"))
    'Low side, least'
    """
    usual = next(iter(table().carries(expected.point)), expected.quantity) if expected.point in table().points else ""
    what = "" if expected.quantity == usual else f", {say(table().quantities[expected.quantity].name).lower()}"
    moment = {"minimum": say(", least"), "maximum": say(", greatest")}.get(expected.statistic, "")
    return point_name(expected.point) + what + moment


def headline(judgement: Judgement, terms: Terms = SI) -> str:
    """Say the verdict in one sentence, with the likely cause and its count where there is one."""
    if judgement.verdict == "cannot_say":
        if judgement.settled:
            return say("Cannot say what these readings mean.")
        return say("Cannot say yet: the system had not settled.")
    said = say(VERDICTS[judgement.verdict])
    if terms.weather:
        said = say("{verdict} for {weather}", verdict=said, weather=terms.weather)
    faulty = [c for c in judgement.causes if c.fault != "healthy"]
    if judgement.verdict == "performs":
        if faulty and faulty[0].probability >= _MORE_LIKELY_THAN_NOT:  # cools as it should, and is faulty all the same
            return say("{verdict}, yet not all is well: {suspect}.", verdict=said, suspect=_suspect(faulty))
        return f"{said}."
    if not faulty or faulty[0].probability < 0.33:
        return say("{verdict}: no single cause stands out.", verdict=said)
    return f"{said}: {_suspect(faulty)}."


_MORE_LIKELY_THAN_NOT = 0.5
_WORTH_NAMING = 1 / 3  # of the first cause's probability; under it a cause that looks alike is left to the list


def _suspect(faulty: Sequence[Cause]) -> str:
    group = [c for c in together(faulty)[0] if c.probability >= _WORTH_NAMING * faulty[0].probability]
    names = say(" or ").join(cause_name(c) for c in group)
    total = sum(c.probability for c in group)
    if total >= 0.66:
        return say("{causes} is the likely cause, {count}", causes=names, count=count(total))
    return say("{causes} is the first suspect, {count}", causes=names, count=count(total))


def together(causes: Sequence[Cause]) -> list[list[Cause]]:
    """Group causes that the readings cannot tell apart; groups and members stay in the order given."""
    groups: list[list[Cause]] = []
    for cause in causes:
        home = next((g for g in groups if any(_alike(cause, other) for other in g)), None)
        if home is None:
            groups.append([cause])
        else:
            home.append(cause)
    return groups


def _alike(one: Cause, other: Cause) -> bool:
    return other.fault in one.alike or one.fault in other.alike


# How each severity reads: a share of what is right (shown in percent), or an amount in its own unit.
_SHARES = {
    "charge_fraction": later("charge {share} of the label"),
    "airflow_fraction": later("air flow {share} of healthy"),
    "area_fraction": later("passage {share} of healthy"),
    "flow_fraction": later("delivers {share} of healthy"),
    "stroke_fraction": later("stroke {share} of full"),
    "heater_share": later("{share} of the vent air passes the heater"),
    "oil_fraction": later("oil {share} of what circulates"),
}


def severity_text(severity: Severity) -> str:
    """Say how bad, with the interval: "charge 56 % of the label (48 to 66)".

    >>> from loopwright.diagnosis.judgement import Interval
    >>> severity_text(Severity("foreign_gas_g", "g", Interval(8.0, 12.0, 19.0)))
    '12 g of foreign gas (8 to 19)'
    """
    low, median, high = severity.interval.low, severity.interval.median, severity.interval.high
    if severity.quantity in _SHARES:
        share = say(_SHARES[severity.quantity], share=f"{100 * median:.0f} %")
        return say("{what} ({low:.0f} to {high:.0f})", what=share, low=100 * low, high=100 * high)
    if severity.quantity == "gauge_offset":
        where = say("{place} gauge", place=point_name(severity.point).lower()) if severity.point else say("gauge")
        return say(
            "{gauge} off by {median:+.0f} kPa ({low:+.0f} to {high:+.0f})",
            gauge=where,
            median=median,
            low=low,
            high=high,
        )
    if severity.quantity == "foreign_gas_g":
        return say("{median:.0f} g of foreign gas ({low:.0f} to {high:.0f})", median=median, low=low, high=high)
    unit = "" if severity.unit == "1" else f" {severity.unit}"
    what = say(severity.quantity.replace("_", " "))
    return say(
        "{what} {median:.2g}{unit} ({low:.2g} to {high:.2g})", what=what, median=median, unit=unit, low=low, high=high
    )


def check_card(name: str) -> Check | None:
    """Return the card of a check by its name in any language, or None where there is none (of another version, say)."""
    return _by_name().get(name)


@cache
def _by_name() -> Mapping[str, Check]:
    found: dict[str, Check] = {}
    for code in languages():
        with speaking(code):
            found |= {say(card.name): card for card in checks().values()}
    return found
