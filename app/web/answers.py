"""From a page dataclass to an answer."""

from dataclasses import dataclass, field
from pathlib import Path

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response

from app.assess.words import DISCLAIMER
from app.web.pages import Page, Site


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
    """The page as HTML; the template reads `page` and `site`, and nothing else."""
    templates: Templates = request.app.state.templates
    html = templates.environment.get_template(template).render(page=page)
    return HTMLResponse(html, status_code=status)


def see_other(path: str) -> Response:
    """After a write without JavaScript: to the page that shows it."""
    return RedirectResponse(path, status_code=303)


def wants_fragment(request: Request) -> bool:
    """Whether htmx asked and will put the answer into the page that is there."""
    return (
        request.headers.get("HX-Request") == "true"
        and request.headers.get("HX-History-Restore-Request") != "true"
    )
