"""The tables of commands in docs/cli.md, made from the commands; `python tests/service/cli_page.py` renews them."""

from __future__ import annotations

import re
from pathlib import Path

import typer

from loopwright.cli import ledger, service

PAGE = Path(__file__).parents[2] / "docs" / "cli.md"
_PART = re.compile(r"(<!-- table: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def refreshed(text: str) -> str:
    apps = {"service": service.app, "ledger": ledger.app}
    return _PART.sub(lambda m: m[1] + _rows(apps[m[2]]) + m[3], text)


def _rows(app: typer.Typer) -> str:
    rows = ["| command | |\n| --- | --- |\n"]
    for command in app.registered_commands:
        assert command.callback is not None
        name = command.name or command.callback.__name__
        does = (command.callback.__doc__ or "").strip().splitlines()[0]
        rows.append(f"| `{name}` | {does} |\n")
    return "".join(rows)


if __name__ == "__main__":
    PAGE.write_text(refreshed(PAGE.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
