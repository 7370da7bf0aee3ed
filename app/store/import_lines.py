"""Exams to be imported, one JSON object a line: read strictly, and held against what is there.

A line says whose exam it is and when it was done, and holds the exam as the contract writes it:
{"patient": {"chart_number", "family_name", "given_name", "birth_date", "sex"}, "examined_at",
"examined_by", "reason", "exam": {…}}. Nothing is written here.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, BinaryIO

from sqlmodel import Session, col, or_, select

from app.exam.faults import BadExam, short
from app.exam.json_text import parse_json
from app.exam.reading import read_exam
from app.exam.record import Exam
from app.language.words import _
from app.store.exams import LONGEST_REASON
from app.store.free_text import BadText, check_lines, check_name, exact_key, search_key
from app.store.on_paper import LONGEST_NAME, OnPaper
from app.store.patients import (
    NewPatient,
    PatientCard,
    age_on,
    check_patient,
    patient_with_number,
)
from app.store.refusals import BadForm
from app.store.tables import MEDICINES, ExamRow, OnPaperRow
from app.store.values import checked, checked_lines

# Everything else waits while an import is written, so a larger file is to be split.
MOST_LINES = 5_000
LONGEST_LINE = 1_000_000
_KEYS = ("patient", "examined_at", "examined_by", "reason", "exam")
_PATIENT_KEYS = ("chart_number", "family_name", "given_name", "birth_date", "sex")


@dataclass(frozen=True)
class ImportLine:
    """One exam to be imported. number: of its line, from 1."""

    number: int
    patient: NewPatient
    paper: OnPaper
    reason: str
    exam: Exam


@dataclass(frozen=True)
class Fault:
    """What is wrong in one line, with the place: `exam.findings.drift.right: 5 is not …`."""

    line: int
    says: str

    def __str__(self) -> str:
        """One line."""
        return _("line {line}: {says}").format(line=self.line, says=self.says)


def read_lines(
    file: BinaryIO, now: datetime, may_record: Callable[[str], bool]
) -> tuple[list[ImportLine], list[Fault]]:
    """Every line that is an exam, and every fault of those that are none.

    may_record: whether whoever imports may record this finding; `medicines` for the medicines.
    """
    lines: list[ImportLine] = []
    faults: list[Fault] = []
    for number, raw in enumerate(_raw_lines(file), start=1):
        if number > MOST_LINES:
            faults.append(
                Fault(
                    number,
                    _("a file holds at most {MOST_LINES} lines: split it").format(
                        MOST_LINES=MOST_LINES
                    ),
                )
            )
            break
        if len(raw) > LONGEST_LINE:
            faults.append(
                Fault(
                    number,
                    _("longer than {LONGEST_LINE} bytes: not read further").format(
                        LONGEST_LINE=LONGEST_LINE
                    ),
                )
            )
            break
        read = _Reading(now, may_record)
        line = read.line(raw, number)
        faults.extend(Fault(number, each) for each in read.faults)
        if line is not None and not read.faults:
            lines.append(line)
    faults.extend(_among_themselves(lines))
    return lines, sorted(faults, key=lambda fault: fault.line)


def check_against(session: Session, lines: list[ImportLine]) -> list[Fault]:
    """What in these lines contradicts the database: a chart number of somebody else, or an exam
    that is there already.
    """
    faults: list[Fault] = []
    for line in lines:
        held = patient_with_number(session, line.patient.chart_number)
        if held is None:
            continue
        faults.extend(Fault(line.number, says) for says in _differences(line.patient, held))
        if (exam_id := _exam_at(session, held.id, line.paper.examined_at)) is not None:
            faults.append(
                Fault(
                    line.number,
                    _(
                        "examined_at: this patient has an exam of this very time already: {exam_id}"
                    ).format(exam_id=exam_id),
                )
            )
    return faults


def _raw_lines(file: BinaryIO) -> Iterator[bytes]:
    while raw := file.readline(LONGEST_LINE + 1):
        yield raw.rstrip(b"\r\n")


class _Reading:
    """The reading of one line, with its faults."""

    def __init__(self, now: datetime, may_record: Callable[[str], bool]) -> None:
        self._now = now
        self._may_record = may_record
        self.faults: list[str] = []

    def line(self, raw: bytes, number: int) -> ImportLine | None:
        """The line; None where it is none, which `faults` then tells."""
        if not raw.strip():
            self.faults.append("empty")
            return None
        try:
            held = parse_json(raw, _("the line"))
        except BadExam as bad:
            self.faults.extend(bad.faults)
            return None
        if not isinstance(held, dict):
            self.faults.append(_("not an object with {_KEYS}").format(_KEYS=", ".join(_KEYS)))
            return None
        self._refuse_unknown(held, _KEYS, "")
        who = self._patient(held.get("patient"))
        paper = OnPaper(
            self._examined_at(held.get("examined_at")),
            self._text(held, "examined_by", lambda raw: check_name(raw, longest=LONGEST_NAME)),
        )
        reason = ""
        if held.get("reason") is not None:
            reason = self._text(
                held, "reason", lambda raw: check_lines(raw, longest=LONGEST_REASON)
            )
        exam = self._exam(held.get("exam"))
        if who is None or exam is None or self.faults:
            return None
        self._compare(who, paper, exam)
        return ImportLine(number, who, paper, reason, exam)

    def _patient(self, raw: object) -> NewPatient | None:
        if not isinstance(raw, dict):
            self.faults.append(
                _("patient: not an object with {_PATIENT_KEYS}").format(
                    _PATIENT_KEYS=", ".join(_PATIENT_KEYS)
                )
            )
            return None
        self._refuse_unknown(raw, _PATIENT_KEYS, "patient.")
        typed = {name: "" if raw.get(name) is None else raw[name] for name in _PATIENT_KEYS}
        wrong = [name for name, value in typed.items() if not isinstance(value, str)]
        self.faults.extend(
            _("patient.{name}: {name2} is not text").format(name=name, name2=short(typed[name]))
            for name in wrong
        )
        try:
            return check_patient(
                {name: value for name, value in typed.items() if name not in wrong},
                self._now.astimezone(UTC).date(),
            )
        except BadForm as bad:
            self.faults.extend(
                _("patient.{name}: {says}").format(name=name, says=says)
                for name, says in bad.faults.items()
                if name not in wrong
            )
            return None

    def _examined_at(self, raw: object) -> datetime:
        try:
            if not isinstance(raw, str) or "T" not in raw:
                raise ValueError
            moment = datetime.fromisoformat(raw)
            if moment.tzinfo is None:
                raise ValueError
            moment = moment.astimezone(UTC)
        except (ValueError, OverflowError):
            self.faults.append(
                _("examined_at: not a time with its offset from UTC, as in 2026-03-04T14:10+01:00")
            )
            return self._now
        if moment > self._now:
            self.faults.append(_("examined_at: lies in the future"))
        return moment

    def _text(self, held: Mapping[str, Any], name: str, check: Callable[[str], str]) -> str:
        raw = held.get(name)
        try:
            if raw is not None and not isinstance(raw, str):
                raise BadText(_("is not text"))
            return check(raw or "")
        except BadText as fault:
            self.faults.append(f"{name}: {fault}")
            return ""

    def _exam(self, raw: object) -> Exam | None:
        try:
            exam = read_exam(raw)
            checked(exam.cells)
            checked_lines(exam.medicines or ())
        except BadExam as bad:
            # A fault of the whole begins with its name already.
            self.faults.extend(
                each if each.startswith("exam:") else f"exam.{each}" for each in bad.faults
            )
            return None
        if not exam.cells and exam.medicines is None:
            self.faults.append(_("exam: nothing was examined"))
        places = [finding for finding, _side in exam.cells]
        places += [] if exam.medicines is None else [MEDICINES]
        for place in dict.fromkeys(places):
            if not self._may_record(place):
                name = place if place == MEDICINES else f"findings.{place}"
                self.faults.append(
                    _("exam.{name}: this account may not record it").format(name=name)
                )
        return exam

    def _compare(self, who: NewPatient, paper: OnPaper, exam: Exam) -> None:
        """Refuse an exam of somebody else, or of another time, than the line says."""
        if paper.examined_at.astimezone().date() < who.birth_date:
            self.faults.append(_("examined_at: lies before the birth of the patient"))
            return
        age = age_on(who.birth_date, paper.examined_at.date())
        if exam.patient.age is not None and int(exam.patient.age) != age:
            self.faults.append(
                _("exam.patient.age: {age}, and {age2} by birth_date and examined_at").format(
                    age=exam.patient.age, age2=age
                )
            )
        if exam.patient.sex is not None and exam.patient.sex != who.sex:
            self.faults.append(
                _("exam.patient.sex: {sex}, and not so in patient.sex").format(sex=exam.patient.sex)
            )

    def _refuse_unknown(self, raw: Mapping[str, Any], known: tuple[str, ...], above: str) -> None:
        self.faults.extend(
            _("{above}{key}: unknown; use {known}").format(
                above=above, key=short(key), known=", ".join(known)
            )
            for key in raw
            if key not in known
        )


def _among_themselves(lines: list[ImportLine]) -> Iterator[Fault]:
    """What one line contradicts or repeats of an earlier one."""
    people: dict[str, ImportLine] = {}
    exams: dict[tuple[str, datetime], ImportLine] = {}
    for line in lines:
        key = exact_key(line.patient.chart_number)
        first = people.setdefault(key, line)
        for says in _differences(line.patient, first.patient):
            yield Fault(
                line.number,
                _("{says}; compare line {number}").format(says=says, number=first.number),
            )
        same = exams.setdefault((key, line.paper.examined_at), line)
        if same is not line:
            yield Fault(
                line.number,
                _("examined_at: the same patient at the same time as in line {number}").format(
                    number=same.number
                ),
            )


def _differences(new: NewPatient, held: NewPatient | PatientCard) -> Iterator[str]:
    """Where two that have one chart number are not one person; the values themselves are not told,
    since they may be another patient's.
    """
    other = _("another one has this chart number")
    if search_key(new.family_name) != search_key(held.family_name):
        yield _("patient.family_name: {other}").format(other=other)
    if search_key(new.given_name) != search_key(held.given_name):
        yield _("patient.given_name: {other}").format(other=other)
    if new.birth_date != held.birth_date:
        yield _("patient.birth_date: {other}").format(other=other)
    if new.sex is not None and new.sex != held.sex:
        yield _("patient.sex: {other}").format(other=other)


def _exam_at(session: Session, patient_id: str, examined_at: datetime) -> str | None:
    """The exam of a patient that was done at this very time; None where there is none."""
    asked = (
        select(ExamRow.id)
        .join(OnPaperRow, col(OnPaperRow.exam_id) == col(ExamRow.id), isouter=True)
        .where(
            ExamRow.patient_id == patient_id,
            or_(
                col(OnPaperRow.examined_at) == examined_at,
                col(OnPaperRow.exam_id).is_(None) & (col(ExamRow.started_at) == examined_at),
            ),
        )
    )
    return session.exec(asked.limit(1)).first()
