"""From a page dataclass to an answer."""

from dataclasses import dataclass, field, replace
from pathlib import Path

from fastapi import Request
from jinja2 import Environment
from starlette.responses import HTMLResponse, RedirectResponse, Response

from app.assess.words import DISCLAIMER
from app.knowledge.terms import ROLE_WORDS
from app.language.scripts import script_words
from app.language.words import InEachLanguage, _, language
from app.places import STATIC
from app.report.templates import environment
from app.web.allowed import may
from app.web.drawing import Compiled, Kept, Tight
from app.web.identity import signed_in, visit_of
from app.web.pages import MeView, Page, Site
from app.web.wording import local

_COMPILED: dict[str, Compiled] = {}


@dataclass(frozen=True)
class Templates:
    """The templates and what all of them may read.

    site: as the environment names it; pages are given `site_of` their request, and the macros that
    they import, which know no request, this one.
    """

    folder: Path
    site: Site
    _environments: InEachLanguage[Environment] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_environments", InEachLanguage(self._made))

    @property
    def environment(self) -> Environment:
        """The templates in the language in use."""
        return self._environments()

    def _made(self) -> Environment:
        made = environment(self.folder, [Tight], _COMPILED.setdefault(language(), Compiled()))
        made.globals["site"] = self.site
        made.globals["DISCLAIMER"] = _(DISCLAIMER)
        made.globals["script_words"] = script_words(STATIC)
        made.globals["kept"] = Kept()
        return made


def show(request: Request, template: str, page: Page, *, status: int = 200) -> Response:
    """The page as HTML; the template reads `page`, `site` and `me`, and nothing else."""
    templates: Templates = request.app.state.templates
    html = templates.environment.get_template(template).render(
        page=page, me=me_view(request), site=site_of(request)
    )
    return HTMLResponse(html, status_code=status)


def site_of(request: Request) -> Site:
    """The installation under the name that the clinic has set, or else that of the environment."""
    templates: Templates = request.app.state.templates
    name = visit_of(request).settings.name
    return replace(templates.site, clinic=name) if name else templates.site


def me_view(request: Request) -> MeView | None:
    """Who is signed in, as every page names them; None where nobody is, or the screen is locked."""
    me = signed_in(request)
    if me is None:
        return None
    limits, until = visit_of(request).limits, me.emergency_until
    return MeView(
        name=me.name,
        role=ROLE_WORDS[me.role],
        sign_in_name=me.sign_in_name,
        home=home_of(me.role),
        form_token=me.form_token,
        idle_seconds=int(limits.idle.total_seconds()),
        warning_seconds=int(limits.warning.total_seconds()),
        has_provider=me.has_provider,
        practises=may(me, "practice", "read"),
        counts=may(me, "registry", "read"),
        administers=may(me, "accounts", "read"),
        may_open_charts=may(me, "emergency_access", "write"),
        emergency_until=f"{local(until):%H:%M}" if until else "",
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
