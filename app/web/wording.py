"""Patients and exams in the words of lists and heads of pages."""

from datetime import date, datetime

from app.report.phrases import age_on, clean, day, on_paper_words
from app.store.exams import WorklistRow
from app.store.on_paper import Examined
from app.store.patients import PatientCard
from app.web.pages import ExamLine, Who

STATE_WORDS = {
    "open": "open",
    "ready": "ready for the physician",
    "signed": "signed",
    "amended": "amended",
}
_SEXES = {"female": "female", "male": "male", None: "sex not recorded"}
_SHOWN = 60


def who(card: PatientCard, today: date) -> Who:
    """A person, FAMILY NAME in capitals first, with the age on that day."""
    return Who(
        id=card.id,
        name=f"{clean(card.family_name, _SHOWN).upper()}, {clean(card.given_name, _SHOWN)}",
        born=f"Born {day(card.birth_date)} ({age_on(card.birth_date, today)} y)",
        sex=_SEXES[card.sex],
        chart_number=card.chart_number,
    )


def exam_line(row: WorklistRow) -> ExamLine:
    """An exam in a list."""
    return ExamLine(
        id=row.exam_id,
        who=who(row.patient, local(row.examined_at).date()),
        state=STATE_WORDS[row.state],
        reason=row.reason,
        started=exam_time(row),
        progress=_progress(row),
    )


def _progress(row: WorklistRow) -> str:
    if row.last_recorded_at is None:
        return f"started by {row.started_by}, nothing recorded yet"
    entries = "1 entry" if row.entry_count == 1 else f"{row.entry_count} entries"
    by = f" by {', '.join(row.recorders)}" if len(row.recorders) > 1 else ""
    return f"{entries}{by}, the last by {row.last_recorded_by} on {minute(row.last_recorded_at)}"


def exam_time(held: Examined) -> str:
    """When a patient was examined; where that was on paper, by whom, and when it was entered."""
    examined, paper = minute(held.examined_at), held.on_paper
    if paper is None:
        return examined
    return on_paper_words(examined, clean(paper.examined_by), minute(held.started_at))


def minute(moment: datetime) -> str:
    """A moment as it stands in the pages, by the clocks of the clinic."""
    at = local(moment)
    return f"{day(at)} {at:%H:%M}"


def local(moment: datetime) -> datetime:
    """A moment in the time zone of the server, which stands in the clinic."""
    return moment.astimezone()


def today() -> date:
    """Today where the server stands."""
    return datetime.now().astimezone().date()


def sentence(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]
