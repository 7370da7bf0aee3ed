"""The pages about what is known, and about what the program is for."""

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.knowledge.course import NO_FIGURE
from app.knowledge.describe import (
    describe_category,
    describe_falls,
    describe_intended_use,
    describe_step,
    describe_warning,
)
from app.knowledge.describe_help import describe_help_stations
from app.knowledge.describe_parts import (
    describe_figure,
    describe_medicine_class,
    describe_norm,
    describe_sign,
    describe_source,
    describe_threshold,
    sign_ids,
)
from app.knowledge.load import Knowledge, knowledge
from app.knowledge.mentions import named
from app.knowledge.terms import STATUS_WORDS
from app.language.words import _
from app.web.answers import show
from app.web.knowledge_pages import (
    AboutPage,
    CategoryPage,
    ExaminedPage,
    FallsPage,
    IndexLine,
    IndexPage,
    MedicinesPage,
    NormsPage,
    SignPage,
    SourcesPage,
    StepsPage,
    WarningPage,
)

router = APIRouter()


@router.get("/about")
def show_about(request: Request) -> Response:
    """What the program is for, and what it is not."""
    known = knowledge()
    page = AboutPage(
        title=_("Intended use"),
        version=known.version,
        sections=describe_intended_use(known),
        notice=known.hpo.attribution,
    )
    return show(request, "knowledge/about.html", page)


@router.get("/knowledge")
def show_index(request: Request) -> Response:
    """Everything that is known, by name."""
    known = knowledge()
    return show(request, "knowledge/index.html", _index(known))


@router.get("/knowledge/categories/{category_id}")
def show_category(request: Request, category_id: str) -> Response:
    """One pattern."""
    known = knowledge()
    if category_id not in known.categories:
        raise HTTPException(404)
    category = describe_category(known.categories[category_id], known)
    page = CategoryPage(title=category.label, version=known.version, category=category)
    return show(request, "knowledge/category.html", page)


@router.get("/knowledge/warnings/{warning_id}")
def show_warning(request: Request, warning_id: str) -> Response:
    """One warning."""
    known = knowledge()
    if warning_id not in known.warnings:
        raise HTTPException(404)
    warning = describe_warning(known.warnings[warning_id], known)
    page = WarningPage(title=warning.label, version=known.version, warning=warning)
    return show(request, "knowledge/warning.html", page)


@router.get("/knowledge/falls")
def show_falls(request: Request) -> Response:
    """The falls group with its hazards."""
    known = knowledge()
    falls = describe_falls(known)
    page = FallsPage(title=falls.label, version=known.version, falls=falls)
    return show(request, "knowledge/falls.html", page)


@router.get("/knowledge/signs/{sign_id}")
def show_sign(request: Request, sign_id: str) -> Response:
    """One sign."""
    known = knowledge()
    if sign_id not in sign_ids(known):
        raise HTTPException(404)
    sign = describe_sign(sign_id, known)
    page = SignPage(title=sign.label, version=known.version, sign=sign)
    return show(request, "knowledge/sign.html", page)


@router.get("/knowledge/exam")
def show_examined(request: Request) -> Response:
    """How each sign is examined, as beside the rows of the sheet."""
    known = knowledge()
    page = ExaminedPage(
        title=_("How each sign is examined"),
        version=known.version,
        stations=describe_help_stations(known),
    )
    return show(request, "knowledge/exam.html", page)


@router.get("/knowledge/steps")
def show_steps(request: Request) -> Response:
    """What there is to consider."""
    known = knowledge()
    page = StepsPage(
        title=_("What there is to consider"),
        version=known.version,
        steps=tuple(describe_step(step, known) for step in known.steps.values()),
    )
    return show(request, "knowledge/steps.html", page)


@router.get("/knowledge/medicines")
def show_medicines(request: Request) -> Response:
    """The medicine classes."""
    known = knowledge()
    classes = known.medicines.classes.values()
    page = MedicinesPage(
        title=_("Medicines"),
        version=known.version,
        classes=tuple(describe_medicine_class(each, known) for each in classes),
    )
    return show(request, "knowledge/medicines.html", page)


@router.get("/knowledge/norms")
def show_norms(request: Request) -> Response:
    """The norms, and every number that a rule compares with."""
    known = knowledge()
    page = NormsPage(
        title=_("Norms and numbers"),
        version=known.version,
        norms=tuple(describe_norm(norm, known) for norm in known.norms.values()),
        thresholds=tuple(describe_threshold(each, known) for each in known.thresholds.values()),
        no_figure=_(NO_FIGURE),
        figures=tuple(describe_figure(each, known) for each in known.course.figure),
    )
    return show(request, "knowledge/norms.html", page)


@router.get("/knowledge/sources")
def show_sources(request: Request) -> Response:
    """The bibliography."""
    known = knowledge()
    page = SourcesPage(
        title=_("Sources"),
        version=known.version,
        sources=tuple(describe_source(source, known) for source in known.sources.values()),
    )
    return show(request, "knowledge/sources.html", page)


def _index(known: Knowledge) -> IndexPage:
    states = {category.status for category in known.categories.values()}
    states |= {warning.status for warning in known.warnings.values()}
    return IndexPage(
        title=_("What Evenhand knows"),
        version=known.version,
        categories=tuple(
            IndexLine(named("categories", each.id, known), each.says)
            for each in known.categories.values()
        ),
        warnings=tuple(
            IndexLine(named("warnings", each.id, known), each.says)
            for each in known.warnings.values()
        ),
        falls=describe_falls(known),
        signs=tuple(
            sorted(
                (named("signs", sign, known) for sign in sign_ids(known)),
                key=lambda sign: sign.label.casefold(),
            )
        ),
        status="; ".join(STATUS_WORDS[state] for state in sorted(states)),
    )
