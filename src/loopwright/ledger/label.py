"""A label to stick on a cylinder: what a hand that reaches for it must know, and a code for the phone."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

from loopwright.language import say
from loopwright.ledger.values import Account
from loopwright.ledger.words import grams

__all__ = ["code_text", "label_lines", "label_svg", "label_text"]

_WIDTH_MM, _HEIGHT_MM, _CODE_MM, _EDGE_MM = 90, 50, 36, 3


def code_text(account: Account) -> str:
    """What the code says: the account, and nothing that may change.

    >>> code_text(Account("Bay 1/A", "supplier"))
    'loopwright:account/Bay%201%2FA'
    """
    return f"loopwright:account/{quote(account.id, safe='')}"


def label_lines(account: Account) -> list[str]:
    """The words on the label, most important first."""
    lines = [account.refrigerant or account.kind, account.id]
    if account.state is not None:
        lines.append(say("CONTAMINATED: do not use") if account.state == "contaminated" else say(str(account.state)))
    if (cylinder := account.cylinder) is not None:
        lines.append(say("Tare {mass}", mass=grams(cylinder.tare_mg)))
        if cylinder.fill_limit_mg is not None:
            full = cylinder.tare_mg + cylinder.fill_limit_mg
            lines.append(say("Full at {mass} gross; no more, it may burst when warm", mass=grams(full)))
        if cylinder.type == "disposable":
            lines.append(say("Never refill"))
        if cylinder.requalification_due:
            lines.append(say("Do not fill after {day}", day=cylinder.requalification_due))
    return lines


def label_text(account: Account) -> str:
    """Draw the label in characters, code first, for a terminal or a text printer."""
    rows = [list(row) for row in _matrix(account)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    shades = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    code = ["".join(shades[above, below] for above, below in zip(*pair, strict=True)) for pair in pairs]
    return "\n".join([*code, "", *label_lines(account)]) + "\n"


def label_svg(account: Account) -> str:
    """Draw the label as SVG, 90 mm by 50 mm, black on white."""
    matrix = _matrix(account)
    size = _CODE_MM / len(matrix)
    cells = "".join(
        f"M{_EDGE_MM + x * size:.3f} {_EDGE_MM + y * size:.3f}h{size:.3f}v{size:.3f}h-{size:.3f}z"
        for y, row in enumerate(matrix)
        for x, dark in enumerate(row)
        if dark
    )
    texts = "".join(_svg_text(i, line) for i, line in enumerate(_folded(label_lines(account))))
    title = escape(f"{account.refrigerant or account.kind} {account.id}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH_MM}mm" height="{_HEIGHT_MM}mm" '
        f'viewBox="0 0 {_WIDTH_MM} {_HEIGHT_MM}" role="img"><title>{title}</title>'
        f'<rect width="{_WIDTH_MM}" height="{_HEIGHT_MM}" fill="#fff"/><path d="{cells}" fill="#000"/>'
        f'<g font-family="sans-serif" fill="#000">{texts}</g></svg>\n'
    )


def _folded(lines: list[str]) -> list[str]:
    """Break lines to what fits beside the code."""
    from textwrap import wrap

    return [lines[0], *(part for line in lines[1:] for part in wrap(line, 24) or [""])]


def _svg_text(i: int, line: str) -> str:
    size, y = (8, _EDGE_MM + 7) if i == 0 else (3.4, _EDGE_MM + 8 + 4.2 * i)
    return f'<text x="{_CODE_MM + 2 * _EDGE_MM}" y="{y:.1f}" font-size="{size}">{escape(line)}</text>'


def _matrix(account: Account) -> list[bytearray]:
    """The code's cells with the quiet zone of four that ISO/IEC 18004 asks; a quarter of it may be scratched away."""
    import segno

    code = segno.make_qr(code_text(account), error="q", boost_error=False)
    return [bytearray(row) for row in code.matrix_iter(border=4)]
