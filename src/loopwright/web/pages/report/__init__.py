"""The report of a job as a PDF: one page for the customer, an appendix for the inspector."""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

from fastapi import APIRouter, Request
from starlette.responses import Response

from loopwright.api.job_report import job_pdf
from loopwright.language import spoken
from loopwright.report import Shop
from loopwright.web.books import ledger_of
from loopwright.web.security import needs
from loopwright.web.shown import job_or_404, shop_of

__all__ = ["router"]

router = APIRouter()
_LETTER = ("US", "CA", "MX", "CL", "CO", "CR", "GT", "PA", "PH", "PR", "VE")  # regions that print on it, from memory


@router.get("/jobs/{job}/report.pdf", dependencies=[needs("trainee")])
def report(request: Request, job: str, paper: Literal["a4", "letter"] | None = None) -> Response:
    """Return the report, made anew: in the person's language, on the paper of their region unless another is asked for.

    Raises
    ------
    HTTPException : there is no such job (404)
    """
    stored = job_or_404(request, job)
    size = paper or paper_of(spoken())
    head = Shop(**asdict(request.app.state.people.letterhead()))
    made = job_pdf(shop_of(request), stored.id, paper=size, language=spoken(), ledger=ledger_of(request), shop=head)
    name = f"job-{stored.number}.pdf"
    headers = {
        "Cache-Control": "private, no-store",
        "Content-Disposition": f'inline; filename="{name}"',
    }
    return Response(made, headers=headers, media_type="application/pdf")


def paper_of(language: str) -> Literal["a4", "letter"]:
    """Return the size of paper that a language's region prints on.

    >>> paper_of("en-US"), paper_of("es"), paper_of("en-AU")
    ('letter', 'a4', 'a4')
    """
    return "letter" if language.partition("-")[2] in _LETTER else "a4"
