"""Oil: what went out with refrigerant and parts, what new oil replaces it, and which oil may go in at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from loopwright.cards import load
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.uncertain import Uncertain, from_limits, total

__all__ = ["READ_OUT_LIMIT", "OilBalance", "Part", "balance_oil", "oil_refusals", "parts"]

READ_OUT_LIMIT = 20e-6  # m3, J2788 7.6: oil separated, corrected for dissolved refrigerant
USUAL_FILL = (80e-6, 240e-6)  # m3, passenger car (memory)
Oil = Literal["PAG 46", "PAG 100", "PAG 150", "POE", "PAO", "maker"]
OILS: tuple[Oil, ...] = ("PAG 46", "PAG 100", "PAG 150", "POE", "PAO", "maker")


@dataclass(frozen=True)
class Part:
    """Oil that goes in with a replaced part, between two limits [m3]."""

    words: str
    low_m3: float = field(metadata={"unit": "m3", "low": 0.0, "high": 1e-3})
    high_m3: float = field(metadata={"unit": "m3", "low": 0.0, "high": 1e-3})
    note: str = ""


@dataclass(frozen=True)
class _Parts:
    source: tuple[str, ...]
    parts: Mapping[str, Part]


@dataclass(frozen=True)
class OilBalance:
    """New oil to add [m3] with what each line gives, and why the oil named may not go in."""

    add: Uncertain
    lines: tuple[tuple[str, Uncertain], ...]
    refusals: tuple[str, ...]
    remarks: tuple[str, ...]


@cache
def parts() -> Mapping[str, Part]:
    """Return the parts that take oil with them, by key; amounts from memory.

    >>> sorted(parts())[:2]
    ['accumulator', 'compressor']
    """
    return load("loopwright.service", "cards/oil_parts.toml", _Parts).parts


def oil_refusals(
    compressor: Literal["fixed", "variable", "electric"], oil: Oil, maker_oil: Oil | None
) -> tuple[str, ...]:
    """Return why an oil must not go into a vehicle; empty when nothing speaks against it.

    Parameters
    ----------
    compressor : its kind; an electric one has its windings in the oil
    oil : what is about to go in
    maker_oil : what the label or the maker's data say; None when nobody looked

    Source: training notes on electric compressors (about 1 % of PAG in POE takes the insulation below 1 MOhm).

    >>> oil_refusals("electric", "PAG 46", "POE")[0]
    'PAG in an electric compressor ruins its insulation: high voltage may reach the case. Never.'
    """
    found = []
    if compressor == "electric" and oil.startswith("PAG"):
        found.append(say("PAG in an electric compressor ruins its insulation: high voltage may reach the case. Never."))
    if compressor == "electric" and oil == "PAO":
        found.append(say("A universal oil in an electric compressor: only what its maker names."))
    if oil == "PAO" and compressor != "electric":
        found.append(say("PAO sold as universal is no substitute for the oil that the maker names."))
    if maker_oil is None:
        if compressor == "electric" and oil not in ("maker",) and not oil.startswith("PAG"):
            found.append(say("The maker's oil was not looked up; an electric compressor takes no other."))
    elif oil not in (maker_oil, "maker"):
        found.append(say("The maker names {maker_oil}, not {oil}.", maker_oil=maker_oil, oil=oil))
    return tuple(found)


def balance_oil(
    recovered: Uncertain,
    replaced: Sequence[str],
    drained: Mapping[str, Uncertain],
    compressor: Literal["fixed", "variable", "electric"],
    oil: Oil,
    maker_oil: Oil | None = None,
) -> OilBalance:
    """Return the new oil that makes up for what left.

    Parameters
    ----------
    recovered : oil separated from the recovered refrigerant, degassed [m3]; by machine within 20 mL
    replaced : keys of `parts()`, one for each part replaced (several hoses: several times)
    drained : oil measured out of an old part [m3], by key; takes the place of the table for that part
    compressor, oil, maker_oil : as for `oil_refusals`

    Source: the same volume as recovered (J1990 7.7, J2788 7.6); amounts of parts are from memory, their range taken as
    limits.

    Raises
    ------
    InputError : a part that the table does not hold, or an oil that is none of `OILS`

    >>> b = balance_oil(from_limits(15e-6, 20e-6), ["condenser", "drier"], {}, "fixed", "PAG 46", "PAG 46")
    >>> round(b.add.value * 1e6), round(b.add.sigma * 1e6), b.refusals
    (65, 14, ())
    """
    _check(replaced, drained, oil)
    lines = [(say("recovered with the refrigerant"), recovered)]
    for key in replaced:
        part = parts()[key]
        if key in drained:
            lines.append((say("{part}, as drained", part=say(part.words)), drained[key]))
        else:
            middle = 0.5 * (part.low_m3 + part.high_m3)
            lines.append((say(part.words), from_limits(middle, 0.5 * (part.high_m3 - part.low_m3))))
    add = total(*(amount for _, amount in lines))
    remarks = [
        f"{say(parts()[key].words)}: {say(parts()[key].note)}." for key in dict.fromkeys(replaced) if parts()[key].note
    ]
    if add.value > USUAL_FILL[1]:
        remarks.append(say("More than a passenger car usually holds in all (240 mL, from memory): check every line."))
    return OilBalance(add, tuple(lines), oil_refusals(compressor, oil, maker_oil), tuple(remarks))


def _check(replaced: Sequence[str], drained: Mapping[str, Uncertain], oil: str) -> None:
    allowed = ", ".join(parts())
    problems = [
        Problem("replaced", repr(key), allowed, say("No such part."))
        for key in (*replaced, *drained)
        if key not in parts()
    ]
    problems += [
        Problem("drained", repr(key), say("a part that is replaced"), say("Drained, but not among the parts replaced."))
        for key in drained
        if key in parts() and key not in replaced
    ]
    if oil not in OILS:
        problems.append(Problem("oil", repr(oil), ", ".join(OILS), say("No such oil.")))
    if problems:
        raise InputError(problems)
