"""Decision support for other programs, by CDS Hooks 2.0: the same reasoning, answered in cards.

Off unless the clinic sets a token, which every call must carry. The exam comes with the call, as
the answers to our own Questionnaire; this program asks no other server and keeps nothing.
"""

import hmac
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Depends, Request
from fastapi.security import HTTPBearer
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from app.assess.assess import assess
from app.exam.json_text import parse_json
from app.knowledge.load import knowledge
from app.report.cards import cards
from app.report.fhir.questionnaire import CANONICAL
from app.report.fhir.response import read_response
from app.web.api import answers, json_body, leading_on
from app.web.forms import RawBody

# For the description alone; whether the token is right is asked below.
TOKEN = HTTPBearer(auto_error=False, scheme_name="token", description="The clinic's own token.")
router = APIRouter(prefix="/api/cds-services", dependencies=[Depends(TOKEN)])

HOOK, SERVICE, PREFETCH = "patient-view", "motor-exam", "exam"
CALLING = "call_service"
SERVICES = {
    "services": [
        {
            "hook": HOOK,
            "id": SERVICE,
            "title": "Bedside motor exam",
            "description": (
                "What the newest recorded motor exam adds up to, with its reasons and sources. It "
                "supports and does not replace clinical judgement; not a diagnosis."
            ),
            "usageRequirements": f"Send the answers to the Questionnaire {CANONICAL}.",
            "prefetch": {
                PREFETCH: (
                    "QuestionnaireResponse?subject=Patient/{{context.patientId}}"
                    f"&questionnaire={CANONICAL}&_sort=-authored&_count=1"
                )
            },
        }
    ]
}


CALL: dict[str, Any] = {
    "type": "object",
    "properties": {
        "hook": {"const": HOOK},
        "hookInstance": {"type": "string", "format": "uuid"},
        "context": {"type": "object"},
        # What a server could not fetch is null.
        "prefetch": {
            "type": ["object", "null"],
            "properties": {PREFETCH: {"type": ["object", "null"]}},
        },
    },
    "required": ["hook", "hookInstance", "context"],
}
EXAMPLE = {
    "hook": HOOK,
    "hookInstance": "0b2f3f0e-6d0f-4c58-9a53-9a0c4dbb7a11",
    "context": {"userId": "Practitioner/1", "patientId": "1"},
    "prefetch": {
        PREFETCH: {
            "resourceType": "QuestionnaireResponse",
            "questionnaire": CANONICAL,
            "status": "completed",
            "item": [],
        }
    },
}


@router.get(
    "",
    responses=leading_on(
        answers(
            "The services there are.",
            SERVICES,
            _401="The call carries no valid token.",
            _404="The clinic has turned none on.",
        ),
        call={"operationId": CALLING, "parameters": {"service": "$response.body#/services/0/id"}},
    ),
)
def discover(request: Request) -> Response:
    """The services there are."""
    _check_token(request)
    return JSONResponse(SERVICES)


@router.post(
    "/{service}",
    operation_id=CALLING,
    openapi_extra=json_body(CALL, EXAMPLE),
    responses=answers(
        "Cards, the most urgent first; the falls group is always among them.",
        {"cards": []},
        _401="The call carries no valid token.",
        _404="There is no such service, or the clinic has turned none on.",
        _412="The exam did not come with the call.",
        _422="Every fault of the call or of the exam.",
    ),
)
def call(request: Request, service: str, body: RawBody) -> Response:
    """What the exam of the call adds up to.

    412 where the exam did not come with the call, as the standard says; 422 with every fault.
    """
    _check_token(request)
    if service != SERVICE:
        raise HTTPException(404)
    instance, given = _read(body)
    assessment = assess(read_response(given), knowledge())
    made = cards(assessment, knowledge(), instance=instance, address=request.app.state.address)
    return JSONResponse({"cards": made})


def _check_token(request: Request) -> None:
    """Refuse whoever does not carry the clinic's token; without one there is no service at all."""
    token: str = request.app.state.api_token
    if not token:
        raise HTTPException(404)
    kind, _, given = request.headers.get("authorization", "").partition(" ")
    if kind.lower() != "bearer" or not hmac.compare_digest(given.encode(), token.encode()):
        raise HTTPException(
            401, "The call carries no valid token.", headers={"WWW-Authenticate": "Bearer"}
        )


def _read(body: bytes) -> tuple[str, dict[str, Any]]:
    """The call's own id, and the answers that came with it."""
    asked = parse_json(body, "call")
    if not isinstance(asked, dict):
        raise HTTPException(422, "call: not an object")
    if asked.get("hook") != HOOK:
        raise HTTPException(422, f"hook: expected {HOOK}")
    try:
        instance = str(UUID(str(asked.get("hookInstance"))))
    except ValueError:
        raise HTTPException(422, "hookInstance: not a UUID") from None
    if not isinstance(asked.get("context"), dict):
        raise HTTPException(422, "context: not an object")
    given = asked.get("prefetch")
    exam = given.get(PREFETCH) if isinstance(given, dict) else None
    for name, value in (("prefetch", given), (f"prefetch.{PREFETCH}", exam)):
        if value is not None and not isinstance(value, dict):
            raise HTTPException(422, f"{name}: not an object")
    return instance, _exam_in(exam)


def _exam_in(given: dict[str, Any] | None) -> dict[str, Any]:
    """The answers themselves, or the one entry of the Bundle that a search gives."""
    if given and given.get("resourceType") == "Bundle":
        entries = given.get("entry") or ()
        found = [
            each["resource"]
            for each in entries
            if isinstance(each, Mapping) and isinstance(each.get("resource"), dict)
        ]
        if len(found) > 1:
            raise HTTPException(422, f"prefetch.{PREFETCH}: expected one exam, found {len(found)}")
        given = found[0] if found else None
    if given is None:
        raise HTTPException(
            412, f"prefetch.{PREFETCH}: the answers to the exam did not come with the call"
        )
    return given
