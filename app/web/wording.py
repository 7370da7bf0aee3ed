"""Patients and exams in the words of lists and heads of pages."""

from datetime import date, datetime

from app.knowledge.terms import SEX_WORDS
from app.language.words import N_, Spoken, _
from app.report.phrases import age_on, clean, day, on_paper_words
from app.store.exams import WorklistRow
from app.store.on_paper import Examined
from app.store.patients import PatientCard
from app.web.pages import ExamLine, Who

STATE_WORDS = Spoken(
    {
        "open": N_("open"),
        "ready": N_("ready for the physician"),
        "signed": N_("signed"),
        "amended": N_("amended"),
    }
)
_SHOWN = 60


def who(card: PatientCard, today: date) -> Who:
    """A person, FAMILY NAME in capitals first, with the age on that day."""
    return Who(
        id=card.id,
        name=f"{clean(card.family_name, _SHOWN).upper()}, {clean(card.given_name, _SHOWN)}",
        born=_("Born {birth_date} ({today} y)").format(
            birth_date=day(card.birth_date), today=age_on(card.birth_date, today)
        ),
        sex=SEX_WORDS[card.sex],
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
        return _("started by {started_by}, nothing recorded yet").format(started_by=row.started_by)
    entries = (
        _("1 entry")
        if row.entry_count == 1
        else _("{entry_count} entries").format(entry_count=row.entry_count)
    )
    by = (
        _(" by {recorders}").format(recorders=", ".join(row.recorders))
        if len(row.recorders) > 1
        else ""
    )
    return _("{entries}{by}, the last by {last_recorded_by} on {last_recorded_at}").format(
        entries=entries,
        by=by,
        last_recorded_by=row.last_recorded_by,
        last_recorded_at=minute(row.last_recorded_at),
    )


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
