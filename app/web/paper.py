"""The blank sheet, to be printed before the network fails."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.report.paper import blank_sheet
from app.web.answers import site_of

router = APIRouter()


@router.get("/paper")
def show_blank_sheet(request: Request) -> Response:
    """The blank sheet as PDF.

    Like what is known, it is for everybody and about nobody, and is there as well for who cannot
    sign in: that may be the very day on which it is needed.
    """
    return Response(
        blank_sheet(site_of(request).clinic, knowledge().version),
        media_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="evenhand-blank-sheet.pdf"'},
    )
