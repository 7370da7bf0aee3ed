"""Exams that were done on paper and entered later: when, and by whom."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from sqlmodel import Session, col, select

from app.language.words import _
from app.store.free_text import BadText, check_name
from app.store.refusals import BadForm
from app.store.tables import OnPaperRow

PAPER_FIELDS = ("examined_on", "examined_time", "examined_by")
LONGEST_NAME = 80
# Our own choice, without a source: an outage is over within days, and what the program concludes is
# read as how the patient is. It also catches a wrong year.
LONGEST_AGO = timedelta(days=31)


@dataclass(frozen=True)
class OnPaper:
    """When the patient was examined, and who did it, as typed."""

    examined_at: datetime
    examined_by: str

    def told(self) -> dict[str, str]:
        """As it is signed, and as the audit tells it."""
        at = self.examined_at.astimezone(UTC)
        return {
            "examined_at": at.isoformat(timespec="microseconds"),
            "examined_by": self.examined_by,
        }


class Examined:
    """What was begun to be recorded at some time, and may have been done on paper before that."""

    started_at: datetime
    on_paper: OnPaper | None

    @property
    def examined_at(self) -> datetime:
        """When the patient was examined."""
        return self.started_at if self.on_paper is None else self.on_paper.examined_at


def check_on_paper(raw: Mapping[str, str], now: datetime) -> OnPaper | None:
    """What a form says of an exam on paper; None where it says nothing.

    raw: examined_on as 2026-03-04 and examined_time as 14:10, by the clocks of the place where the
    server stands; examined_by. Whoever fills in one of them fills in all.
    Raises: BadForm, with every fault.
    """
    if not any(
        raw.get(name, "").strip() for name in ("examined_on", "examined_time", "examined_by")
    ):
        return None
    faults: dict[str, str] = {}
    by = ""
    try:
        by = check_name(raw.get("examined_by", ""), longest=LONGEST_NAME)
    except BadText as fault:
        faults["examined_by"] = _("who examined {fault}").format(fault=fault)
    on = _day(raw.get("examined_on", "").strip(), faults)
    at = _time(raw.get("examined_time", "").strip(), faults)
    if on is None or at is None:
        raise BadForm(faults)
    typed = datetime.combine(on, at)
    moment = typed.astimezone()
    if moment.replace(tzinfo=None) != typed:
        faults["examined_time"] = _(
            "there was no such time on that day: the clocks were put forward"
        )
    elif moment > now:
        faults["examined_on"] = _("the exam lies in the future")
    elif now - moment > LONGEST_AGO:
        faults["examined_on"] = _(
            "the exam is more than {days} days ago: keep the paper in the chart"
        ).format(days=LONGEST_AGO.days)
    if faults:
        raise BadForm(faults)
    return OnPaper(moment, by)


def keep_on_paper(session: Session, exam_id: str, paper: OnPaper) -> OnPaperRow:
    """Keep that an exam was done on paper, once and for all."""
    row = OnPaperRow(exam_id=exam_id, examined_at=paper.examined_at, examined_by=paper.examined_by)
    session.add(row)
    session.flush()
    # As it comes back from the database: in UTC.
    session.refresh(row)
    return row


def on_paper(session: Session, exam_id: str) -> OnPaper | None:
    """When and by whom an exam was done on paper; None where it was not."""
    return those_on_paper(session, [exam_id]).get(exam_id)


def those_on_paper(session: Session, exam_ids: list[str]) -> dict[str, OnPaper]:
    """Which of these exams were done on paper."""
    asked = select(OnPaperRow).where(col(OnPaperRow.exam_id).in_(exam_ids))
    return {row.exam_id: OnPaper(row.examined_at, row.examined_by) for row in session.exec(asked)}


def _day(text: str, faults: dict[str, str]) -> date | None:
    try:
        # fromisoformat alone would read a week number too.
        if re.fullmatch(r"[0-9]{4}(-[0-9]{2}){2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    faults["examined_on"] = (
        _("the date of the exam is not a date: write it as 2026-03-04")
        if text
        else _("the date of the exam is missing")
    )
    return None


def _time(text: str, faults: dict[str, str]) -> time | None:
    try:
        if re.fullmatch(r"[0-9]{2}:[0-9]{2}", text):
            return time.fromisoformat(text)
    except ValueError:
        pass
    faults["examined_time"] = (
        _("the time of the exam is not a time: write it as 14:10")
        if text
        else _("the time of the exam is missing")
    )
    return None
