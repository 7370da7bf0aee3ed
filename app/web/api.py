"""The same reasoning for other programs: an exam in, an assessment out, nothing kept."""

from fastapi import APIRouter
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge
from app.web.forms import RawBody

router = APIRouter(prefix="/api")


@router.post("/assess")
def assess_exam(exam: RawBody, every_category: bool = False) -> Response:
    """Assess one exam. A bad one is answered with 422 and the list of all its faults."""
    assessment = assess(parse_exam(exam), knowledge())
    text = as_text(assessment, every_category=every_category)
    return Response(text + "\n", media_type="application/json")
