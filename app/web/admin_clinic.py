"""What the clinic sets for everybody: its name, its pathways, how long a screen stays open."""

from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.knowledge.mentions import label_of
from app.language.words import N_, Spoken, _
from app.report.phrases import quoted
from app.store.accounts import accounts
from app.store.clinic_settings import (
    PATHWAY,
    ClinicSettings,
    change_settings,
    clinic_settings,
    settings_revision,
)
from app.store.engine import reading, writing
from app.store.refusals import BadForm, SettingsCollision
from app.web.admin_pages import ClinicPage, PathwayGroup, Setting
from app.web.allowed import require
from app.web.answers import Templates, see_other, show
from app.web.forms import FormFields, revision_in
from app.web.pages import Fault, Field
from app.web.wording import local, sentence

router = APIRouter(prefix="/admin/clinic")

_LABELS = Spoken(
    {
        "name": N_("Name of the clinic, as it is printed"),
        "idle_minutes": N_("Minutes without use until a screen locks"),
        "absolute_hours": N_("Hours until everybody signs in again"),
        "impression_first": N_("The physician writes the impression before the suggestions open"),
    }
)


@router.get("")
def show_clinic(request: Request, done: str = "") -> Response:
    """The settings in force; done: they were just saved."""
    require(request, "clinic", "read")
    return _page(request, says=_("Saved. It holds from the next page on.") if done else "")


@router.post("")
def save_clinic(request: Request, form: FormFields) -> Response:
    """Change settings, all of them or none; what somebody else set meanwhile is not set over."""
    me, revision = require(request, "clinic", "write"), revision_in(form)
    with reading(request.app.state.engine) as session:
        seen = _as_typed(clinic_settings(session, at_revision=revision))
    # What is as it was shown is no change, also where it was never set or was set meanwhile.
    changes = {
        name: value
        for name, value in form.items()
        if (name in _LABELS or name.startswith(PATHWAY))
        and value.replace("\r\n", "\n") != seen.get(name, "")
    }
    try:
        with writing(request.app.state.engine) as session:
            change_settings(
                session, changes, at_revision=revision, actor=me.actor, now=datetime.now(UTC)
            )
    except BadForm as bad:
        return _page(request, typed=form, faults=bad.faults, revision=revision)
    except SettingsCollision as collision:
        # Of the refusal: what came after it was shown to nobody.
        seen_now = collision.revision
        return _page(request, typed=changes, faults=_both(collision), revision=seen_now, status=409)
    return see_other("/admin/clinic?done=saved")


def _both(collision: SettingsCollision) -> dict[str, str]:
    """Both values of each setting that somebody else set meanwhile; a person settles it."""
    return {
        name: _("{by} ({at}) set {value} meanwhile. Yours, {name}, is not saved").format(
            by=held.by,
            at=f"{local(held.at):%H:%M}",
            value=_quoted(held.value),
            name=_quoted(collision.mine[name]),
        )
        for name, held in collision.theirs.items()
    }


def _quoted(value: str) -> str:
    return quoted(value) if value else _("nothing")


def _page(
    request: Request,
    *,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    revision: int | None = None,
    status: int = 422,
    says: str = "",
) -> Response:
    """The page; revision: of what was typed, None for that of now. status: where it has faults."""
    known, faults = knowledge(), faults or {}
    with reading(request.app.state.engine) as session:
        held, now = clinic_settings(session), settings_revision(session)
        unguarded = sum(
            each.is_active and each.oidc_key is None and each.totp_secret is None
            for each in accounts(session)
        )
    shown = _as_typed(held) | dict(typed or {})
    groups = {
        title: {PATHWAY + each: label_of(group, each, known) for each in ids}
        for title, group, ids in (
            (_("Warnings"), "warnings", known.warnings),
            (_("Steps"), "steps", known.steps),
        )
    }
    labels = {**_LABELS} | {name: label for each in groups.values() for name, label in each.items()}

    def setting(name: str) -> Setting:
        field = Field(shown.get(name, ""), sentence(faults.get(name, "")))
        return Setting(name, labels[name], field)

    templates: Templates = request.app.state.templates
    page = ClinicPage(
        title=_("Clinic"),
        faults=tuple(
            Fault(name, f"{labels.get(name, name)}: {fault}") for name, fault in faults.items()
        ),
        knowledge_version=known.version,
        cautions=_cautions(plain_http=templates.site.plain_http, unguarded=unguarded),
        usual_name=templates.site.clinic,
        groups=tuple(_group(title, [*map(setting, names)]) for title, names in groups.items()),
        revision=now if revision is None else revision,
        says=says,
        **{name: setting(name) for name in _LABELS},
    )
    return show(request, "admin/clinic.html", page, status=status if faults else 200)


def _group(title: str, pathways: list[Setting]) -> PathwayGroup:
    return PathwayGroup(
        title,
        written=sum(bool(each.field.value.strip()) for each in pathways),
        is_open=any(each.field.fault for each in pathways),
        pathways=tuple(pathways),
    )


def _as_typed(held: ClinicSettings) -> dict[str, str]:
    return {
        "name": held.name,
        "idle_minutes": str(held.idle_minutes),
        "absolute_hours": str(held.absolute_hours),
        "impression_first": "yes" if held.impression_first else "no",
        **{PATHWAY + each: text for each, text in held.pathways.items()},
    }


def _cautions(*, plain_http: bool, unguarded: int) -> tuple[str, ...]:
    cautions = []
    if plain_http:
        cautions.append(
            _(
                "This server answers without encryption (EVENHAND_PLAIN_HTTP): whoever listens "
                "on the network can read charts and take over sign-ins. Put a proxy with TLS in "
                "front of it."
            )
        )
    if unguarded:
        people = (
            _("1 person signs")
            if unguarded == 1
            else _("{unguarded} people sign").format(unguarded=unguarded)
        )
        cautions.append(
            _("{people} in with a password alone, without a second factor.").format(people=people)
        )
    return tuple(cautions)
