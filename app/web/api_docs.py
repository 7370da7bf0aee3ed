"""The description of /api for programmers, as OpenAPI; off unless the clinic turns it on."""

from fastapi import APIRouter, Request
from fastapi.openapi.utils import get_openapi
from starlette.responses import JSONResponse, Response

from app.knowledge.load import knowledge

router = APIRouter()


@router.get("/api/openapi.json", include_in_schema=False)
def describe(request: Request) -> Response:
    """Every address under /api with an example; nothing about any page."""
    routes = [
        route
        for route in request.app.state.routes
        if str(getattr(route, "path", "")).startswith("/api/")
    ]
    return JSONResponse(
        get_openapi(title="Evenhand", version=f"knowledge {knowledge().version}", routes=routes)
    )
