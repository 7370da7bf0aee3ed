"""What /api says of itself is true, whatever is sent: calls drawn from its own description.

schemathesis reads the description and draws calls that fit it and calls that do not
(docs/decisions/0027). In the whole run there are more; how many stands in docs/testing.md.
"""

import logging
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import Case, CheckFunction, GenerationMode, Response
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import positive_data_acceptance
from schemathesis.specs.openapi.schemas import OpenApiSchema
from starlette.testclient import TestClient
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.main import create_app
from app.settings import Settings
from tests.sampling import WHOLE
from tests.web.test_cds_hooks import CALLS, SERVICE, TOKEN

EXAMPLES = 1000 if WHOLE else 10
WALKS, STEPS = (300, 8) if WHOLE else (6, 4)
HERE = "https://testserver"
# That all that fits is accepted: how many digits a number may have, and which answers a
# QuestionnaireResponse may hold, is more than such a description can say.
UNSAID: list[CheckFunction] = [positive_data_acceptance]
# The same calls in each run; what fails is shown as it was drawn.
DRAWN = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


class Counted:
    """The program, and how often it answered with what."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.answered: Counter[tuple[str, int]] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, and count it."""

        async def counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                path = scope["path"] if scope["path"] in (CALLS, SERVICE) else "elsewhere"
                named = "/api/assess" if scope["path"] == "/api/assess" else path
                self.answered[named, message["status"]] += 1
            await send(message)

        await self.app(scope, receive, counted)

    def statuses(self, path: str) -> set[int]:
        """What this address answered."""
        return {status for named, status in self.answered if named == path}


class Token:
    """What a call carries."""

    def get(self, *_: object) -> str:
        """The clinic's token."""
        return TOKEN

    def set(self, case: Case, token: str, *_: object) -> None:
        """Let a call carry it."""
        case.headers["Authorization"] = f"Bearer {token}"


@pytest.fixture(scope="module")
def counted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Counted]:
    """A program with its description and its decision support turned on."""
    file = tmp_path_factory.mktemp("described") / "e.sqlite3"
    given: Any = {"database_url": f"sqlite:///{file}", "api_token": TOKEN, "api_docs": True}
    app = create_app(Settings(_env_file=None, **given))
    with TestClient(app):
        yield Counted(app)


@pytest.fixture(scope="module")
def schema(counted: Counted) -> OpenApiSchema:
    """Its description, as it gives it out."""
    raw = TestClient(counted.app, base_url=HERE).get("/api/openapi.json").json()
    read: OpenApiSchema = schemathesis.openapi.from_dict(raw)
    read.app = counted
    read.auth()(Token)
    return read


def test_every_drawn_call_is_answered_as_described(schema: OpenApiSchema, counted: Counted) -> None:
    """No server error, no status or shape that is not described.

    What does not fit the description is refused, and so is whoever comes without the token.
    """
    for found in schema.get_all_operations():
        assert isinstance(found, Ok), found
        operation = found.ok()
        for mode in GenerationMode:
            if mode.is_negative and not operation.body:
                continue

            @DRAWN
            @given(case=operation.as_strategy(generation_mode=mode))
            def call(case: Case) -> None:
                if "service" in case.path_parameters and counted.answered.total() % 4:
                    case.path_parameters["service"] = "motor-exam"
                case.call_and_validate(base_url=HERE, excluded_checks=UNSAID)

            call()

    logging.getLogger(__name__).info("%d calls: %s", counted.answered.total(), counted.answered)
    assert {200, 422} <= counted.statuses("/api/assess")
    assert {200, 401} <= counted.statuses(CALLS)
    assert {401, 412, 422} <= counted.statuses(SERVICE)


def test_a_walk_from_what_there_is_to_what_can_be_called_ends_well(
    schema: OpenApiSchema, counted: Counted
) -> None:
    """Each call is made with what an earlier one answered, by the links of the description."""
    before = counted.answered.total()

    class Walk(schema.as_state_machine()):  # type: ignore[misc]
        def get_call_kwargs(self, case: Case) -> dict[str, Any]:
            return {"base_url": HERE}

        def validate_response(self, response: Response, case: Case, **given: Any) -> None:
            case.validate_response(response, excluded_checks=UNSAID, transport_kwargs=given)

    Walk.run(settings=settings(DRAWN, max_examples=WALKS, stateful_step_count=STEPS))

    logging.getLogger(__name__).info("%d calls", counted.answered.total() - before)
    assert WALKS < counted.answered.total() - before
    assert {200, 412} <= counted.statuses(SERVICE)
