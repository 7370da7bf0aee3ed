"""The same reasoning for other programs: an exam in, an assessment out, nothing kept."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.assess.assess import assess
from app.assess.assessment import as_text
from app.exam.reading import parse_exam
from app.exam.schema import exam_schema
from app.knowledge.load import knowledge
from app.web.forms import RawBody

router = APIRouter(prefix="/api")

EXAM = {
    "patient": {"age": 68, "sex": "female"},
    "findings": {
        "finger_tap_slow": {"right": 2, "left": 0},
        "finger_tap_decrement": {"right": 2, "left": {"untestable": "arthritis"}},
        "rest_tremor_hand": {"right": 1, "left": 0},
        "hx_falls_12m": 1,
    },
    "medicines": ["metoclopramide 10 mg three times daily"],
}
FAULTS: dict[str, Any] = {
    "type": "object",
    "properties": {"error": {"type": "array", "items": {"type": "string"}, "minItems": 1}},
    "required": ["error"],
}


def json_body(schema: dict[str, Any], example: object) -> dict[str, Any]:
    """A required JSON body, as OpenAPI says it."""
    content = {"application/json": {"schema": schema, "example": example}}
    return {"requestBody": {"required": True, "content": content}}


def answers(says: str, example: object, **faults: str) -> dict[int | str, dict[str, Any]]:
    """The answers of a route: 200 with its example, and each fault by its status."""
    told: dict[int | str, dict[str, Any]] = {
        200: {"description": says, "content": {"application/json": {"example": example}}}
    }
    for status, why in faults.items():
        content = {"application/json": {"schema": FAULTS}}
        told[status.removeprefix("_")] = {"description": why, "content": content}
    return told


def leading_on(
    told: dict[int | str, dict[str, Any]], **links: dict[str, Any]
) -> dict[int | str, dict[str, Any]]:
    """The same answers, with the calls that can be made with what a good one holds."""
    return told | {200: told[200] | {"links": links}}


@router.post(
    "/assess",
    openapi_extra=json_body(exam_schema(), EXAM),
    responses=answers(
        "What the exam adds up to; its lists are described in docs/clinical/.",
        {"knowledge": "2026.1", "derived": {}, "categories": [], "warnings": []},
        _422="Every fault of the exam, each with its place; nothing is concluded from the rest.",
    ),
)
def assess_exam(exam: RawBody, every_category: bool = False) -> Response:
    """Assess one exam. A bad one is answered with 422 and the list of all its faults."""
    assessment = assess(parse_exam(exam), knowledge())
    text = as_text(assessment, every_category=every_category)
    return Response(text + "\n", media_type="application/json")
