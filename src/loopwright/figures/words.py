"""The sentences and names that every face uses alike: verdict, cause, place, how likely."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

from loopwright.diagnosis.checks import Check, checks
from loopwright.diagnosis.judgement import Cause, Expected, Judgement, Severity
from loopwright.faults.catalogue import catalogue
from loopwright.figures.terms import SI, Terms
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
    "point_name",
    "reading_name",
    "severity_text",
    "together",
]

VERDICTS = {
    "performs": "Performs",
    "marginal": "Performs only just",
    "does_not_perform": "Does not perform",
    "cannot_say": "Cannot say",
}
PHASES = {"standing": "Standing", "running": "Running", "after_stop": "After stop"}

# Least probability for each word: the steps of the IPCC uncertainty guidance note (Mastrandrea and others, 2010; from
# memory) without its outermost two; its "about as likely as not" is shortened.
_LIKELY = (
    (0.9, "very likely"),
    (0.66, "likely"),
    (0.33, "about even"),
    (0.1, "unlikely"),
    (0.0, "very unlikely"),
)


def likelihood(probability: float) -> str:
    """Say a probability in words.

    >>> likelihood(0.81), likelihood(0.5), likelihood(0.02)
    ('likely', 'about even', 'very unlikely')
    """
    return next(word for least, word in _LIKELY if probability >= least)


def count(probability: float) -> str:
    """Say a probability as a count that a person can picture.

    >>> count(0.81), count(0.03), count(0.004), count(0.97), count(0.9996)
    ('8 in 10', '3 in 100', 'less than 1 in 100', '97 in 100', 'more than 99 in 100')
    """
    if probability < 0.005:
        return "less than 1 in 100"
    if probability > 0.995:
        return "more than 99 in 100"
    if 0.095 <= probability < 0.945:
        return f"{floor(10 * probability + 0.5)} in 10"
    return f"{floor(100 * probability + 0.5)} in 100"


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
    return card.name if card else fault.replace("_", " ")


def cause_name(cause: Cause) -> str:
    """Return the plain name of a cause, both names where two faults act together."""
    return fault_name(cause.fault) + (f", together with {fault_name(cause.also)}" if cause.also else "")


def point_name(point: str) -> str:
    """Return the plain name of a point; one that the table does not know is spelt out.

    >>> point_name("vent_center")
    'Centre vent'
    """
    card = table().points.get(point)
    return card.name if card else point.replace("_", " ").capitalize()


def reading_name(expected: Expected) -> str:
    """Return the plain name of a reading: its point, with the quantity where it is not the point's usual one.

    >>> from loopwright.diagnosis.judgement import Interval
    >>> reading_name(Expected("running", "low_side", "pressure", "Pa", Interval(1.0, 2.0, 3.0), statistic="minimum"))
    'Low side, least'
    """
    usual = next(iter(table().carries(expected.point)), expected.quantity) if expected.point in table().points else ""
    what = "" if expected.quantity == usual else f", {table().quantities[expected.quantity].name.lower()}"
    moment = {"minimum": ", least", "maximum": ", greatest"}.get(expected.statistic, "")
    return point_name(expected.point) + what + moment


def headline(judgement: Judgement, terms: Terms = SI) -> str:
    """Say the verdict in one sentence, with the likely cause and its count where there is one."""
    said = VERDICTS[judgement.verdict]
    weather = f" for {terms.weather}" if terms.weather else ""
    if judgement.verdict == "performs":
        return f"{said}{weather}."
    if judgement.verdict == "cannot_say":
        return f"{said} what these readings mean." if judgement.settled else f"{said} yet: the system had not settled."
    faulty = [c for c in judgement.causes if c.fault != "healthy"]
    if not faulty or faulty[0].probability < 0.33:
        return f"{said}{weather}: no single cause stands out."
    return f"{said}{weather}: {_suspect(faulty)}."


_WORTH_NAMING = 1 / 3  # of the first cause's probability; under it a cause that looks alike is left to the list


def _suspect(faulty: Sequence[Cause]) -> str:
    group = [c for c in together(faulty)[0] if c.probability >= _WORTH_NAMING * faulty[0].probability]
    names = " or ".join(cause_name(c) for c in group)
    total = sum(c.probability for c in group)
    word = "the likely cause" if total >= 0.66 else "the first suspect"
    return f"{names} is {word}, {count(total)}"


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
    "charge_fraction": "charge {} of the label",
    "airflow_fraction": "air flow {} of healthy",
    "area_fraction": "passage {} of healthy",
    "flow_fraction": "delivers {} of healthy",
    "stroke_fraction": "stroke {} of full",
    "heater_share": "{} of the vent air passes the heater",
    "oil_fraction": "oil {} of what circulates",
}


def severity_text(severity: Severity) -> str:
    """Say how bad, with the interval: "charge 56 % of the label (48 to 66)".

    >>> from loopwright.diagnosis.judgement import Interval
    >>> severity_text(Severity("foreign_gas_g", "g", Interval(8.0, 12.0, 19.0)))
    '12 g of foreign gas (8 to 19)'
    """
    low, median, high = severity.interval.low, severity.interval.median, severity.interval.high
    if severity.quantity in _SHARES:
        share = _SHARES[severity.quantity].format(f"{100 * median:.0f} %")
        return f"{share} ({100 * low:.0f} to {100 * high:.0f})"
    if severity.quantity == "gauge_offset":
        where = f"{point_name(severity.point).lower()} gauge" if severity.point else "gauge"
        return f"{where} off by {median:+.0f} kPa ({low:+.0f} to {high:+.0f})"
    if severity.quantity == "foreign_gas_g":
        return f"{median:.0f} g of foreign gas ({low:.0f} to {high:.0f})"
    unit = "" if severity.unit == "1" else f" {severity.unit}"
    return f"{severity.quantity.replace('_', ' ')} {median:.2g}{unit} ({low:.2g} to {high:.2g})"


def check_card(name: str) -> Check | None:
    """Return the card of a check by its name, or None where there is none (a check of another version, say)."""
    return next((card for card in checks().values() if card.name == name), None)
