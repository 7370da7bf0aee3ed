"""From a page dataclass to an answer."""

from dataclasses import dataclass, field
from pathlib import Path

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response

from app.assess.words import DISCLAIMER
from app.web.identity import signed_in, visit_of
from app.web.pages import MeView, Page, Site


@dataclass(frozen=True)
class Templates:
    """The templates and what all of them may read."""

    folder: Path
    site: Site
    environment: Environment = field(init=False)

    def __post_init__(self) -> None:
        environment = Environment(
            loader=FileSystemLoader(self.folder),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        environment.globals["site"] = self.site
        environment.globals["DISCLAIMER"] = DISCLAIMER
        object.__setattr__(self, "environment", environment)


def show(request: Request, template: str, page: Page, *, status: int = 200) -> Response:
    """The page as HTML; the template reads `page`, `site` and `me`, and nothing else."""
    templates: Templates = request.app.state.templates
    html = templates.environment.get_template(template).render(page=page, me=me_view(request))
    return HTMLResponse(html, status_code=status)


def me_view(request: Request) -> MeView | None:
    """Who is signed in, as every page names them; None where nobody is, or the screen is locked."""
    me = signed_in(request)
    if me is None:
        return None
    limits = visit_of(request).limits
    return MeView(
        name=me.name,
        role=me.role,
        sign_in_name=me.sign_in_name,
        home=home_of(me.role),
        form_token=me.form_token,
        idle_seconds=int(limits.idle.total_seconds()),
        warning_seconds=int(limits.warning.total_seconds()),
        has_provider=me.has_provider,
    )


def home_of(role: str) -> str:
    """The page on which somebody's work begins."""
    return "/admin/accounts" if role == "administrator" else "/"


def see_other(path: str) -> Response:
    """After a write without JavaScript: to the page that shows it."""
    return RedirectResponse(path, status_code=303)


def wants_fragment(request: Request) -> bool:
    """Whether htmx asked and will put the answer into the page that is there."""
    return (
        request.headers.get("HX-Request") == "true"
        and request.headers.get("HX-History-Restore-Request") != "true"
    )
