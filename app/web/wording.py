"""Patients and exams in the words of lists and heads of pages."""

from datetime import date, datetime

from app.report.phrases import age_on, clean, day
from app.store.exams import WorklistRow
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
    started = local(row.started_at)
    return ExamLine(
        id=row.exam_id,
        who=who(row.patient, started.date()),
        state=STATE_WORDS[row.state],
        reason=row.reason,
        started=f"{day(started)} {started:%H:%M}",
        progress=_progress(row),
    )


def _progress(row: WorklistRow) -> str:
    if row.last_recorded_at is None:
        return f"started by {row.started_by}, nothing recorded yet"
    last = local(row.last_recorded_at)
    entries = "1 entry" if row.entry_count == 1 else f"{row.entry_count} entries"
    by = f" by {', '.join(row.recorders)}" if len(row.recorders) > 1 else ""
    return f"{entries}{by}, the last by {row.last_recorded_by} on {day(last)} {last:%H:%M}"


def local(moment: datetime) -> datetime:
    """A moment in the time zone of the server, which stands in the clinic."""
    return moment.astimezone()


def today() -> date:
    """Today where the server stands."""
    return datetime.now().astimezone().date()


def sentence(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]
