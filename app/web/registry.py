"""A registry's view: how many exams there are of each kind, and nobody by name."""

import re
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.knowledge.load import knowledge
from app.language.words import N_, _
from app.store.counts import Period, count_exams
from app.store.engine import reading
from app.web.allowed import require
from app.web.answers import show
from app.web.noted import noted
from app.web.pages import Fault, Field
from app.web.registry_pages import RegistryPage
from app.web.registry_view import month_words, tallies, total_words

router = APIRouter()

_TITLE = N_("Counts")
_WRONG = N_("Type a month as in 2026-03")
_ORDER = N_("The last month lies before the first")


@router.get("/registry")
def show_registry(request: Request) -> Response:
    """Counts of the exams of a period."""
    me = require(request, "registry", "read")
    least = request.app.state.small_counts
    asked = request.query_params
    since, until = (_month(asked.get(name, "").strip()) for name in ("since", "until"))
    if not (since.fault or until.fault) and since.value and until.value < since.value:
        until = Field(until.value, _(_ORDER)) if until.value else until
    faults = tuple(
        Fault(name, field.fault)
        for name, field in (("since", since), ("until", until))
        if field.fault
    )
    if faults:
        page = RegistryPage(
            title=_(_TITLE),
            faults=faults,
            since=since,
            until=until,
            period="",
            signed="",
            least=least,
            tallies=(),
        )
        return show(request, "registry.html", page, status=422)
    with reading(request.app.state.engine) as session:
        counts = count_exams(session, _period(since.value, until.value))
    told = {name: field.value for name, field in (("from", since), ("to", until)) if field.value}
    noted(request, me, "registry", **told)
    page = RegistryPage(
        title=_(_TITLE),
        since=since,
        until=until,
        period=_period_words(since.value, until.value),
        signed=total_words(counts, least),
        least=least,
        tallies=tallies(counts, knowledge(), least),
    )
    return show(request, "registry.html", page)


def _month(typed: str) -> Field:
    """A month, or nothing at all."""
    is_month = re.fullmatch(r"[12][0-9]{3}-(0[1-9]|1[0-2])", typed)
    return Field(typed, "" if is_month or not typed else _(_WRONG))


def _period(since: str, until: str) -> Period:
    """From the first moment of a month up to the last of another, in UTC."""
    return Period(_first(since, 0) if since else None, _first(until, 1) if until else None)


def _first(month: str, later: int) -> datetime:
    year, number = map(int, month.split("-"))
    months = year * 12 + number - 1 + later
    return datetime(months // 12, months % 12 + 1, 1, tzinfo=UTC)


def _period_words(since: str, until: str) -> str:
    if not since and not until:
        return _("All exams")
    if not until:
        return _("Exams from {since} on").format(since=month_words(since))
    if not since:
        return _("Exams up to {until}").format(until=month_words(until))
    if since == until:
        return _("Exams of {since}").format(since=month_words(since))
    return _("Exams from {since} to {until}").format(
        since=month_words(since), until=month_words(until)
    )
