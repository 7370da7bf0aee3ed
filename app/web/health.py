"""What a proxy or a supervisor asks: whether the process lives, and whether it can do its work."""

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from app.store.engine import check_current
from app.store.refusals import Busy, Unreadable
from app.web.errors import RETRY_AFTER

router = APIRouter()


@router.get("/healthz")
async def healthz() -> Response:
    """The process answers; no thread and no database is needed for it."""
    return PlainTextResponse("alive\n")


@router.get("/readyz")
def readyz(request: Request) -> Response:
    """The database answers, and its tables are those of this version; 503 where not."""
    try:
        check_current(request.app.state.engine)
    except Unreadable:
        return _not_ready("the tables of the database are not those of this version")
    except Busy:
        return _not_ready("the database does not answer")
    return PlainTextResponse("ready\n")


def _not_ready(why: str) -> Response:
    # Anybody may ask, so the place of the database is not told.
    return PlainTextResponse(f"not ready: {why}\n", 503, {"Retry-After": RETRY_AFTER})
