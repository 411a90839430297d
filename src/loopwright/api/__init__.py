"""The use cases, and the only door for the faces: a sheet in, a judgement out.

Heavy rooms are imported inside the functions, so that asking for a version or a form costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loopwright.diagnosis.judgement import Judgement
    from loopwright.readings import Refused

__all__ = ["judge", "judge_batch", "judge_file"]


def judge(sheet: Mapping[str, Any], *, seed: int = 0) -> Judgement:
    """Judge one test sheet (a mapping in the published form; units as a person writes them).

    Parameters: the `sheet`, and the `seed` of the sampler; the same sheet and seed give the same judgement.

    Raises
    ------
    InputError : the sheet cannot be used; its `problems` name every field, what was found, and what is allowed.
    """
    from loopwright.diagnosis import judge as judge_test
    from loopwright.readings import read

    return judge_test(read(sheet), seed=seed)


def judge_file(path: str | Path, *, seed: int = 0) -> Iterator[Judgement | Refused]:
    """Judge every sheet of a file, in the order given: JSON or TOML (one sheet), or JSON Lines (one a line).

    A sheet of a batch that cannot be used comes out as `Refused`, in its place; the rest go on.

    Raises
    ------
    InputError : the file cannot be read at all, or holds one sheet and that cannot be used.
    """
    from loopwright.readings import read_file

    return _judged(read_file(path), seed)


def judge_batch(text: str, *, form: str = "jsonl", seed: int = 0, workers: int = 1) -> Iterator[Judgement | Refused]:
    """The same for text already at hand; `form` is "json", "toml" or "jsonl".

    With more than one of `workers` a long batch is judged on so many processes, with the same answers in the same
    order; the calling script must then be one that may be imported.

    Raises
    ------
    InputError : as for `judge_file`
    """
    from loopwright.readings import read_text

    tests = read_text(text, form)
    if workers > 1:
        from loopwright.api.many import WORTH_IT, judged_by_processes

        if len(tests) >= WORTH_IT:
            return judged_by_processes(tests, seed, workers)
    return _judged(tests, seed)


def _judged(tests: Any, seed: int) -> Iterator[Judgement | Refused]:
    from loopwright.diagnosis import judge as judge_test
    from loopwright.readings import Test

    for test in tests:
        yield judge_test(test, seed=seed) if isinstance(test, Test) else test
