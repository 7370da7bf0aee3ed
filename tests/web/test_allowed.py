"""The whole permission table, cell by cell, against the running program.

Each question of the table is asked as one real request: what the table refuses is answered with 403
where the role may never do it and with 409 where only the state of the exam forbids it, and leaves
the database as it was; what it allows gets in.
"""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from typing import Any

import pytest
from fastapi import FastAPI
from sqlmodel import select

from app.people.permissions import ACTIONS, ROLES, SECTIONS, STATES, Cell, allows, cells
from app.store.actor import PROGRAM, Actor
from app.store.clinic_settings import settings_revision
from app.store.emergency_access import open_emergency_access
from app.store.engine import reading, writing
from app.store.tables import ExamRow
from tests.conftest import KINDS
from tests.postgres import fresh_database
from tests.web.clinic import PERSON, Clinic, Member, add_member
from tests.web.tables import audit_rows, kept
from tests.web.test_review import settled

OF_AN_EXAM = ("open", "ready", "signed", "amended")
NO_EXAM = "0" * 32
# So that no two requests write the same.
_numbers = count(100)


@dataclass(frozen=True)
class Ask:
    """One request. let_in: what an allowed one is answered with; form: None for a GET."""

    let_in: int
    path: str
    form: Callable[[], dict[str, str]] | None = None


def nothing() -> dict[str, str]:
    """A form without the fields that it needs: who may send it is told what is missing."""
    return {"left_out": "yes"}


def new_person() -> dict[str, str]:
    """Somebody whom nobody has entered yet."""
    return PERSON | {"chart_number": f"HC-{next(_numbers)}"}


def cell_of(finding: str, side: str = "") -> Callable[[], dict[str, str]]:
    """An entry that differs from the one before; the page had seen the newest."""

    def form() -> dict[str, str]:
        why = f"Attempt {next(_numbers)}"
        return {"finding": finding, "side": side, "value": "untestable", "why": why}

    return form


def medicines() -> dict[str, str]:
    """Medicines that differ from those before."""
    return {"medicines": f"aspirin {next(_numbers)} mg"}


def clinic_name() -> dict[str, str]:
    """Another name for the clinic."""
    return {"name": f"Clinic {next(_numbers)}"}


def words() -> dict[str, str]:
    """An impression that differs from the one before."""
    return {"impression": f"Impression {next(_numbers)}"}


EXAM = "/exams/{exam_id}"
# What each section and action is asked by. Reading a part of a chart is reading the chart.
ASKED: dict[tuple[str, str], Ask] = {
    ("worklist", "read"): Ask(200, "/"),
    ("patient", "read"): Ask(200, "/patients/{patient_id}"),
    ("patient", "write"): Ask(303, "/patients/new", new_person),
    ("exam", "write"): Ask(303, "/patients/{patient_id}", lambda: {"reason": "Again"}),
    ("chart", "read"): Ask(200, EXAM),
    ("document", "read"): Ask(200, f"{EXAM}/why/parkinsonism"),
    ("nurse_part", "read"): Ask(200, EXAM),
    ("nurse_part", "write"): Ask(303, f"{EXAM}/cells", cell_of("turn_en_bloc")),
    ("physician_part", "read"): Ask(200, EXAM),
    ("physician_part", "write"): Ask(303, f"{EXAM}/cells", cell_of("rest_tremor_hand", "left")),
    ("medicines", "read"): Ask(200, EXAM),
    ("medicines", "write"): Ask(303, f"{EXAM}/medicines", medicines),
    ("handover", "write"): Ask(303, f"{EXAM}/handed", nothing),
    ("review", "read"): Ask(200, f"{EXAM}/review"),
    ("review", "write"): Ask(303, f"{EXAM}/review", words),
    ("signature", "write"): Ask(422, f"{EXAM}/sign", words),
    ("amendment", "read"): Ask(200, f"{EXAM}/amend"),
    ("amendment", "write"): Ask(422, f"{EXAM}/amend", nothing),
    ("own_account", "read"): Ask(200, "/me"),
    ("own_account", "write"): Ask(422, "/me/password", nothing),
    ("knowledge", "read"): Ask(200, "/knowledge"),
    ("verification", "read"): Ask(200, "/verify"),
    ("practice", "read"): Ask(200, "/practice"),
    ("practice", "write"): Ask(303, "/practice/lap_and_cup", lambda: {"value.face_still": "1"}),
    ("accounts", "read"): Ask(200, "/admin/accounts"),
    ("accounts", "write"): Ask(422, "/admin/accounts", nothing),
    ("clinic", "read"): Ask(200, "/admin/clinic"),
    ("clinic", "write"): Ask(303, "/admin/clinic", clinic_name),
    ("audit", "read"): Ask(200, "/admin/audit"),
    ("registry", "read"): Ask(200, "/registry"),
    ("export", "read"): Ask(200, "/admin/export"),
    ("export", "write"): Ask(422, "/admin/export", nothing),
    ("emergency_access", "read"): Ask(200, "/emergency-access"),
    ("emergency_access", "write"): Ask(422, "/emergency-access", nothing),
}
# What the table speaks of and no request could do, or ask more than another one does.
NOT_ASKED = {
    ("worklist", "write"), ("exam", "read"), ("chart", "write"), ("document", "write"),
    ("handover", "read"), ("signature", "read"), ("knowledge", "write"), ("audit", "write"),
    ("verification", "write"), ("registry", "write"),
}  # fmt: skip


@dataclass
class House:
    """A clinic with an exam in each state, and a browser for each role with and without the key.

    browsers: by role and whether emergency access is open.
    """

    clinic: Clinic
    exams: dict[str, str]
    browsers: dict[tuple[str, bool], Clinic]

    def path(self, ask: Ask, state: str) -> str:
        """The address for an exam in a state; "none": an exam that there is not."""
        exam_id = self.exams.get(state, NO_EXAM)
        patient_id = self.clinic.stored(self.exams["open"]).patient.id
        handed = "open" if state == "ready" else "ready"
        path = ask.path.format(exam_id=exam_id, patient_id=patient_id)
        return path.replace("/handed", f"/{handed}")

    def send(self, ask: Ask, cell: Cell) -> Any:
        """Ask one question of the table as one request."""
        browser = self.browsers[cell.role, cell.has_emergency_access]
        path = self.path(ask, cell.state)
        if ask.form is None:
            return browser.get(path)
        exam_id = self.exams.get(cell.state)
        at = str(self.clinic.stored(exam_id).revision) if exam_id else "0"
        number = {"revision": at, "saved": at, "after": "0"} if "/exams/" in path else {}
        if path == "/admin/clinic":
            with reading(self.clinic.app.state.engine) as session:
                number = {"revision": str(settings_revision(session))}
        return browser.client.post(path, data=number | ask.form())

    def put_back(self) -> None:
        """Each exam in its state again, where a request has handed one over."""
        with writing(self.clinic.app.state.engine) as session:
            for state, exam_id in self.exams.items():
                row = session.exec(select(ExamRow).where(ExamRow.id == exam_id)).one()
                row.state = state
                session.add(row)


# Enough for every run, as the table is the same; with EVENHAND_TEST_EVERY_DATABASE=1 both.
RUN_ON = KINDS if os.environ.get("EVENHAND_TEST_EVERY_DATABASE") == "1" else KINDS[1:]


@pytest.fixture(scope="module", params=RUN_ON)
def lasting_url(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """The address of a database for a whole module."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path_factory.mktemp('house') / 'evenhand.sqlite3'}"
    else:
        with fresh_database() as address:
            yield address


@pytest.fixture(scope="module")
def house(lasting_url: str) -> Iterator[House]:
    """One clinic for the whole table: each question leaves it as another one may find it."""
    from app.main import create_app
    from app.settings import Settings

    app = create_app(Settings(_env_file=None, database_url=lasting_url))
    with Clinic.of(app) as clinic:
        exams = {state: clinic.new_exam(chart_number=state) for state in OF_AN_EXAM}
        assert (
            303
            == clinic.client.post(
                f"/exams/{exams['ready']}/ready", data={"revision": "0"}
            ).status_code
        )
        for state in ("signed", "amended"):
            form = settled(clinic, exams[state])
            answer = clinic.client.post(f"/exams/{exams[state]}/sign", data=form)
            assert 303 == answer.status_code, answer.text
        house = House(clinic, exams, dict(browsers_of(clinic)))
        house.put_back()
        yield house


def browsers_of(clinic: Clinic) -> Iterator[tuple[tuple[str, bool], Clinic]]:
    """A browser for each role, with emergency access and without."""
    now = datetime.now(UTC)
    for role in ROLES:
        for has_access in (False, True):
            member = Member(f"{role}.{has_access}", f"{role} {has_access}", role)
            with writing(clinic.app.state.engine) as session:
                held = add_member(session, member, now)
                if has_access:
                    actor = Actor(member.name, role, held.id)
                    open_emergency_access(session, "Locked out", actor=actor, now=now)
            yield (role, has_access), clinic.other_browser(member)


def expected(cell: Cell, ask: Ask) -> int:
    """What the table says about one request."""
    if cell.state == "none" and "{exam_id}" in ask.path:
        return 404
    if cell.is_allowed:
        return ask.let_in
    elsewhere = any(
        allows(
            role=cell.role,
            state=state,
            section=cell.section,
            action=cell.action,
            has_emergency_access=cell.has_emergency_access,
        )
        for state in OF_AN_EXAM
    )
    # Whoever may not read the chart is not told its state.
    reads = allows(
        role=cell.role,
        state=cell.state,
        section="chart",
        action="read",
        has_emergency_access=cell.has_emergency_access,
    )
    return 409 if elsewhere and reads else 403


def can_be_asked(cell: Cell, ask: Ask) -> bool:
    """Whether there is such a request: a section that is about no exam knows no state."""
    return cell.state == "none" or "{exam_id}" in ask.path


@pytest.mark.parametrize(("section", "action"), list(ASKED))
def test_the_program_does_what_the_table_says(house: House, section: str, action: str) -> None:
    """For each role, in each state, with and without emergency access."""
    ask = ASKED[section, action]
    app = house.clinic.app
    for cell in cells():
        if (cell.section, cell.action) != (section, action) or not can_be_asked(cell, ask):
            continue
        before, noted = kept(app), len(audit_rows(app))
        answer = house.send(ask, cell)

        assert expected(cell, ask) == answer.status_code, (cell, answer.text)
        if answer.status_code == 303:
            assert before != kept(app), cell
            house.put_back()
        elif not cell.is_allowed:
            assert before == kept(app), cell
        if answer.status_code == 403 or (answer.status_code >= 400 and ask.form):
            actions = [row.action for row in audit_rows(app)[noted:]]
            assert 1 == actions.count("refused"), cell


def test_every_question_of_the_table_is_asked_or_named(app: FastAPI) -> None:
    """A section that is added to the table must be asked here, too."""
    assert {(section, action) for section in SECTIONS for action in ACTIONS} == (
        set(ASKED) | NOT_ASKED
    )
    asked = [
        cell
        for cell in cells()
        if (ask := ASKED.get((cell.section, cell.action))) and can_be_asked(cell, ask)
    ]
    rest = [cell for cell in cells() if cell not in asked]

    assert len(SECTIONS) * len(STATES) * len(ROLES) * len(ACTIONS) * 2 == len(asked) + len(rest)
    # 14 questions about an exam in five states, 20 about none; three roles, twice each.
    assert 14 * 5 * 6 + 20 * 6 == len(asked)
    # What is about no exam is refused for any exam.
    stateful = [cell for cell in rest if (cell.section, cell.action) in ASKED]
    assert [] == [cell for cell in stateful if cell.is_allowed]


def test_who_is_signed_out_gets_in_nowhere(house: House) -> None:
    """Whatever is asked for, and however."""
    nobody = house.clinic.other_browser(None)
    before = kept(house.clinic.app)
    for (section, _), ask in ASKED.items():
        path = house.path(ask, "open")
        answer = nobody.get(path) if ask.form is None else nobody.client.post(path, data={})

        assert (200 if section == "knowledge" else 401) == answer.status_code, path
    assert before == kept(house.clinic.app)


# ---- the sheet shows what may be written


def test_a_nurse_reads_the_physicians_findings_as_words(clinic: Clinic) -> None:
    """A field that cannot be saved must not ask for an answer."""
    exam_id = clinic.new_exam()
    clinic.cell(exam_id, "rest_tremor_hand", "right", "2")
    clinic.cell(exam_id, "finger_tap_slow", "left", "untestable", why="plaster cast")
    text = clinic.nurse.get(f"/exams/{exam_id}?part=whole").text

    assert 'name="value.rest_tremor_hand.right"' not in text
    assert '<span class="said">2 definite</span>' in text
    assert '<span class="said">cannot be tested: plaster cast</span>' in text
    assert 'name="value.hx_years"' in text
    assert 'id="normal-gait"' in text
    assert 'id="normal-rest"' not in text
    physician = clinic.get(f"/exams/{exam_id}").text
    assert 'name="value.rest_tremor_hand.right"' in physician
    assert 'id="normal-rest"' in physician


def test_one_forbidden_cell_refuses_the_whole_form(clinic: Clinic) -> None:
    """All or nothing: half of a form would be saved under the impression that all of it was."""
    exam_id = clinic.new_exam()
    answer = clinic.nurse.sheet(
        exam_id, {"value.hx_years": "2", "value.rest_tremor_hand.right": "1"}
    )

    assert 403 == answer.status_code
    assert "Your role does not allow this" in answer.text
    assert [] == clinic.entries(exam_id)
    assert 303 == clinic.nurse.sheet(exam_id, {"value.hx_years": "2"}).status_code


@pytest.mark.parametrize(("station", "status"), [("gait", 303), ("rest", 403), ("tone", 403)])
def test_a_nurse_marks_only_their_own_stations_normal(
    clinic: Clinic, station: str, status: int
) -> None:
    """In one act a whole station is recorded, so it is asked for as a whole."""
    exam_id = clinic.new_exam()
    form = {"station": station, "revision": "0"}
    assert status == clinic.nurse.client.post(f"/exams/{exam_id}/normal", data=form).status_code
    other = clinic.new_exam(chart_number="HC-2")

    assert status == clinic.nurse.sheet(other, {"normal": station}).status_code


def test_a_forbidden_cell_is_refused_before_its_value_is_judged(clinic: Clinic) -> None:
    """What is wrong with a value is told to whoever may write it."""
    exam_id = clinic.new_exam()

    assert 403 == clinic.nurse.cell(exam_id, "rest_tremor_hand", "right", "9").status_code
    assert 422 == clinic.cell(exam_id, "rest_tremor_hand", "right", "9").status_code


def test_a_nurse_opens_their_part_first_and_the_whole_sheet_on_request(clinic: Clinic) -> None:
    """The part that they came for."""
    exam_id = clinic.new_exam()

    assert 'id="rest"' not in clinic.nurse.get(f"/exams/{exam_id}").text
    assert 'id="rest"' in clinic.nurse.get(f"/exams/{exam_id}?part=whole").text
    assert 'id="rest"' in clinic.get(f"/exams/{exam_id}").text


# ---- what was seen


def test_reading_printing_and_searching_leave_a_row_each(clinic: Clinic) -> None:
    """Who saw which chart is asked for years later."""
    exam_id = clinic.new_exam()
    patient_id = clinic.stored(exam_id).patient.id
    noted = len(audit_rows(clinic.app))
    for path in ("", "/note", "/pdf", "/why/parkinsonism", "/next/rise"):
        assert 200 == clinic.nurse.get(f"/exams/{exam_id}{path}").status_code
    clinic.nurse.get(f"/patients/{patient_id}")
    clinic.nurse.client.post("/", data={"search": "lindq"})
    rows = audit_rows(clinic.app)[noted:]

    seen = [row for row in rows if row.action in ("read", "note", "print", "search")]
    assert ["read", "note", "print", "read", "read", "read", "search"] == [
        row.action for row in seen
    ]
    assert {"R. Okafor"} == {row.name for row in seen}
    assert [patient_id] * 6 + [""] == [row.patient_id for row in seen]
    assert "lindq" not in repr(seen[-1]).lower()
    assert PROGRAM.name not in {row.name for row in seen}


def test_what_could_not_be_seen_is_not_noted_as_seen(clinic: Clinic) -> None:
    """A refused look is no look."""
    exam_id = clinic.new_exam()
    noted = len(audit_rows(clinic.app))
    assert 403 == clinic.administrator.get(f"/exams/{exam_id}").status_code

    assert [] == [row for row in audit_rows(clinic.app)[noted:] if row.action == "read"]
