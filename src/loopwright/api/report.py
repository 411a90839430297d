"""A report for the faces: one or two test sheets in, the bytes of a PDF out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loopwright.readings import Test
    from loopwright.report import Paper, Run

__all__ = ["report_pdf"]


def report_pdf(
    sheet: Mapping[str, Any] | Test,
    after: Mapping[str, Any] | Test | None = None,
    *,
    made: datetime | None = None,
    paper: Paper = "a4",
    language: str = "en",
    seed: int = 0,
    **about: Any,
) -> bytes:
    """Judge a test, or one before and one after a service, and return the report as a PDF.

    Parameters
    ----------
    sheet : the test, or the one before the service, as for `judge`
    after : the one after the service, None where there was none
    made : the moment on the report and in the file; the clock's without it
    paper : "a4" or "letter"
    language : "en" or "es"; the judgements too are said in it
    seed : of the sampler
    about : any other field of `loopwright.report.Report` (`job`, `shop`, `technician`, `steps`, ...); shop and
        technician may be given by their names alone

    Raises
    ------
    InputError : a sheet that cannot be used
    ValueError : a paper that is not set
    """
    from loopwright.language import speaking
    from loopwright.report import Person, Report, Shop, pdf

    with speaking(language):
        first = _run(sheet, "alone" if after is None else "before", seed)
        runs = (first,) if after is None else (first, _run(after, "after", seed))
    for field, named in (("shop", Shop), ("technician", Person)):
        if isinstance(about.get(field), str):
            about[field] = named(about[field])
    moment = made or datetime.now().astimezone()
    return pdf(Report(made=moment, runs=runs, paper=paper, language=language, **about))


def _run(sheet: Mapping[str, Any] | Test, moment: Any, seed: int) -> Run:
    from loopwright.diagnosis import judge
    from loopwright.readings import Test, read
    from loopwright.report import Run

    test = sheet if isinstance(sheet, Test) else read(sheet)
    return Run(test, judge(test, seed=seed), moment)
