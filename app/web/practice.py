"""Practice: invented cases to grade, one's own tries, and what the team misses most.

Nothing here reads or writes anything of a patient.
"""

from collections.abc import Iterable
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.assess.practised import compare_try, missed_most
from app.knowledge.load import knowledge
from app.knowledge.practice import PracticeCase, practice_cases
from app.language.words import N_, _
from app.report.phrases import day
from app.store.engine import reading, writing
from app.store.practice import (
    Attempt,
    add_attempt,
    own_attempt,
    own_attempts,
    people_who_tried,
    team_attempts,
)
from app.web.allowed import may, require
from app.web.answers import see_other, show
from app.web.forms import FormFields
from app.web.pages import Fault
from app.web.practice_answer import answer_page, score_words, sign_line
from app.web.practice_form import EMPTY, Entered, read_grading, station_views, told_of
from app.web.practice_pages import CaseLine, CasePage, PracticePage, SignLine, TeamPage
from app.web.sheet import dom_of
from app.web.wording import local, sentence

router = APIRouter(prefix="/practice")

# What is counted; older tries tell of how it was.
MOST_TRIES = 500
# With fewer, a count could be told to be somebody's.
FEWEST_PEOPLE = 3
MOST_SIGNS = 15
NOTHING_GRADED = N_("Nothing is graded yet. Grade what you can, and leave the rest not examined.")


@router.get("")
def show_cases(request: Request) -> Response:
    """Every case with one's own progress."""
    me = require(request, "practice", "read")
    with reading(request.app.state.engine) as session:
        own = own_attempts(session, me.account_id, MOST_TRIES)
    page = PracticePage(
        title=_("Practice"),
        cases=tuple(_case_line(each, own) for each in practice_cases().values()),
        missed=_missed(own),
        may_try=may(me, "practice", "write"),
    )
    return show(request, "practice/index.html", page)


@router.get("/team")
def show_team(request: Request) -> Response:
    """Which signs are missed most, over all accounts."""
    require(request, "practice", "read")
    with reading(request.app.state.engine) as session:
        tries = team_attempts(session, MOST_TRIES + 1)
        people = people_who_tried(session)
    counted = tries[:MOST_TRIES]
    page = TeamPage(
        title=_("What the team misses most"),
        tries=len(counted),
        people=people,
        needed=FEWEST_PEOPLE,
        newest=MOST_TRIES if len(tries) > MOST_TRIES else 0,
        missed=_missed(counted) if people >= FEWEST_PEOPLE else (),
    )
    return show(request, "practice/team.html", page)


@router.get("/{case_id}")
def show_case(request: Request, case_id: str) -> Response:
    """One case to grade."""
    require(request, "practice", "write")
    return show(request, "practice/case.html", _case_page(_case(case_id), EMPTY))


@router.post("/{case_id}")
def save_try(request: Request, case_id: str, form: FormFields) -> Response:
    """Keep one's own grading, and go on to the worked answer."""
    me = require(request, "practice", "write")
    case = _case(case_id)
    entered = read_grading(case, form)
    if entered.faults or not entered.graded:
        return show(request, "practice/case.html", _case_page(case, entered), status=422)
    compared = compare_try(case, entered.graded)
    with writing(request.app.state.engine) as session:
        number = add_attempt(
            session, me.account_id, case.id, entered.graded,
            agreed=compared.agreed, total=compared.total, now=datetime.now(UTC),
        )  # fmt: skip
    return see_other(_path(case.id, number))


@router.get("/{case_id}/tries/{number}")
def show_answer(request: Request, case_id: str, number: int) -> Response:
    """One of one's own tries beside the worked answer."""
    me = require(request, "practice", "write")
    case = _case(case_id)
    with reading(request.app.state.engine) as session:
        attempt = own_attempt(session, me.account_id, case.id, number)
    return show(request, "practice/answer.html", answer_page(case, attempt, knowledge()))


def _case(case_id: str) -> PracticeCase:
    """The case of this id.

    Raises: HTTPException 404.
    """
    if case_id not in practice_cases():
        raise HTTPException(404)
    return practice_cases()[case_id]


def _path(case_id: str, number: int) -> str:
    return f"/practice/{case_id}/tries/{number}"


def _case_page(case: PracticeCase, entered: Entered) -> CasePage:
    faults = [Fault(dom_of(cell), sentence(says)) for cell, says in entered.faults.items()]
    if entered is not EMPTY and not faults:
        faults = [Fault("grading", _(NOTHING_GRADED))]
    return CasePage(
        title=case.title,
        faults=tuple(faults),
        case_id=case.id,
        told=told_of(case),
        stations=station_views(case, entered),
    )


def _case_line(case: PracticeCase, own: Iterable[Attempt]) -> CaseLine:
    tries = [each for each in own if each.case_id == case.id]
    if not tries:
        return CaseLine(case.id, case.title, case.person, _("Not tried yet"), "")
    last, times = (
        tries[0],
        _("once") if len(tries) == 1 else _("{tries} times").format(tries=len(tries)),
    )
    says = _("Tried {times}, last {at}: {total}").format(
        times=times, at=day(local(last.at)), total=score_words(last.agreed, last.total)
    )
    return CaseLine(case.id, case.title, case.person, says, _path(case.id, last.id))


def _missed(tries: Iterable[Attempt]) -> tuple[SignLine, ...]:
    cases = practice_cases()
    known = ((cases[each.case_id], each.graded) for each in tries if each.case_id in cases)
    return tuple(map(sign_line, missed_most(known)[:MOST_SIGNS]))
