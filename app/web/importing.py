"""An import of exams: all of them as open exams that were entered later, or none."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import BinaryIO

from sqlalchemy import Engine
from sqlmodel import Session

from app.assess.assess import assess
from app.knowledge.load import knowledge
from app.language.words import _
from app.people.permissions import allows
from app.store.accounts import Account, account_named, lock_active
from app.store.actor import Recorder
from app.store.alerts import set_alert
from app.store.audit import note
from app.store.engine import one_at_a_time, reading, writing
from app.store.entries import record, record_medicines
from app.store.exams import start_exam
from app.store.import_lines import Fault, ImportLine, check_against, read_lines
from app.store.patients import add_patient, patient_with_number
from app.store.refusals import NotFound
from app.store.tables import MEDICINES, ROLES
from app.web.console_code import AT_CONSOLE
from app.web.sections import section_of


@dataclass(frozen=True)
class Imported:
    """How many exams were imported, and how many of their patients were not there before."""

    exams: int
    new_patients: int


class BadImport(ValueError):
    """Nothing was imported. faults: each of every line."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = tuple(faults)


def import_exams(engine: Engine, file: BinaryIO, by: str, *, only_check: bool = False) -> Imported:
    """Import every line of a file, or say what is wrong with any of them.

    by: the sign-in name of the account that records them. only_check: write nothing.
    Raises: NotFound, where that is no active account of a nurse or a physician; BadImport; the
    refusals of the database.
    """
    now = datetime.now(UTC)
    with reading(engine) as session:
        held = _recording(account_named(session, by))
    lines, faults = read_lines(file, now, lambda place: _may_record(held.role, place))
    with reading(engine) as session:
        faults += check_against(session, lines)
    if faults:
        raise BadImport(sorted(faults, key=lambda fault: fault.line))
    if only_check:
        with reading(engine) as session:
            new = {
                line.patient.chart_number.casefold()
                for line in lines
                if patient_with_number(session, line.patient.chart_number) is None
            }
        return Imported(len(lines), len(new))
    with writing(engine) as session:
        # Of two who import the same, the second sees what the first has written.
        one_at_a_time(session.connection())
        lock_active(session, held.id)
        if faults := check_against(session, lines):
            raise BadImport(faults)
        return _write(session, lines, held, now)


def _recording(held: Account | None) -> Account:
    if held is None or not held.is_active or held.role not in ROLES:
        raise NotFound(_("no nurse or physician who may sign in has this sign-in name"))
    return held


def _may_record(role: str, place: str) -> bool:
    section = place if place == MEDICINES else section_of(place)
    return allows(role=role, state="open", section=section, action="write")


def _write(session: Session, lines: list[ImportLine], held: Account, now: datetime) -> Imported:
    recorder = Recorder(held.printed_name, held.role, held.id, AT_CONSOLE.source)
    new_patients = 0
    for line in lines:
        who = patient_with_number(session, line.patient.chart_number)
        if who is None:
            who = add_patient(session, line.patient, now, actor=recorder)
            new_patients += 1
        made = start_exam(session, who.id, recorder, line.reason, now, line.paper)
        made = record(session, made.id, line.exam.cells, at_revision=0, recorder=recorder, now=now)
        if line.exam.medicines is not None:
            made = record_medicines(
                session,
                made.id,
                line.exam.medicines,
                at_revision=made.revision,
                recorder=recorder,
                now=now,
            )
        found = assess(made.exam, knowledge())
        raised = [each.id for each in found.warnings if each.urgency == "emergency"]
        set_alert(session, made.id, raised, now)
    imported = Imported(len(lines), new_patients)
    note(
        session,
        recorder,
        "import",
        at=now,
        detail={"exams": imported.exams, "new_patients": imported.new_patients},
    )
    return imported
