"""The sample in README.md: made from the first demo sheet; `python tests/faces/readme_sample.py` writes it afresh."""

from __future__ import annotations

import re
from pathlib import Path

from loopwright.cli.demo import FIRST, demo_sheets
from loopwright.cli.judging import answers
from loopwright.figures import Terms, judgement_text
from loopwright.readings import Refused

README = Path(__file__).parents[2] / "README.md"
SHEET = f"src/loopwright/cli/vehicles/{FIRST}.toml"


def blocks() -> dict[str, str]:
    """What should stand between the markers of the README."""
    raw = demo_sheets()[FIRST]
    (answer,) = answers(raw, "toml", seed=0)
    assert not isinstance(answer, Refused)
    text = judgement_text(answer[1], Terms.of(answer[0]))
    return {
        "sheet": f"```toml\n{raw.decode('utf-8').strip()}\n```",
        "command": f"```\nloopwright judge {SHEET}\n```",
        "result": f"```\n{text.strip()}\n```",
    }


def written() -> dict[str, str]:
    """What does stand between the markers of the README."""
    found = re.findall(r"<!-- (\w+) -->\n(.*?)\n?<!-- /\1 -->", README.read_text(encoding="utf-8"), re.DOTALL)
    return dict(found)


def main() -> None:
    """Write the sample into the README."""
    text = README.read_text(encoding="utf-8")
    for name, block in blocks().items():
        fresh = f"<!-- {name} -->\n{block}\n<!-- /{name} -->"
        text = re.sub(rf"<!-- {name} -->.*?<!-- /{name} -->", lambda _, fresh=fresh: fresh, text, flags=re.DOTALL)
    README.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
