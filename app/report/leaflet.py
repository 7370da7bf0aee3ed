"""The page that the patient takes home: plain words, large print, no pattern by name."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from app.exam.record import Exam
from app.knowledge.leaflet import Headings
from app.knowledge.load import Knowledge
from app.report.coverage import coverage
from app.report.page import Person
from app.report.pdf import leaflet_file
from app.report.phrases import clean, clean_lines, day

# The largest print in which everything stands on one page is taken; what is longer flows on.
FITS = ("largest", "larger", "large")


@dataclass(frozen=True)
class LeafletInput:
    """What the page is made from, all of it signed. taken: ids of the steps taken over.

    own_words: what the physician wrote for the patient; only there can a pattern be named.
    """

    patient: Person
    exam_id: str
    examined_at: datetime
    exam: Exam
    taken: Sequence[str]
    own_words: str
    clinic: str
    demo: bool = False


@dataclass(frozen=True)
class LeafletPage:
    """All that leaflet.html may read. fit: a class of leaflet.css."""

    fit: str
    title: str
    clinic: str
    name: str
    born: str
    examined: str
    demo: bool
    explains: str
    headings: Headings
    looked_at: tuple[str, ...]
    not_looked_at: tuple[str, ...]
    own_words: tuple[str, ...]
    next: tuple[str, ...]
    safe: tuple[str, ...]
    now: tuple[str, ...]
    soon: tuple[str, ...]
    reminds: str


def leaflet_pdf(given: LeafletInput, knowledge: Knowledge) -> bytes:
    """The page as PDF: the same bytes for the same input. No clock is read."""
    page = leaflet_page(given, knowledge)
    return leaflet_file([replace(page, fit=fit) for fit in FITS], given.exam_id)


def leaflet_page(given: LeafletInput, knowledge: Knowledge) -> LeafletPage:
    """Everything on the page, in words."""
    texts, person = knowledge.leaflet, given.patient
    stations = coverage(given.exam)
    seen = tuple(
        f"{says.removesuffix('.')} ({texts.nothing.part})." if at.missing else says
        for at in stations
        if at.touched
        for says in [texts.looked_at[at.station.id]]
    )
    return LeafletPage(
        fit=FITS[0],
        title=texts.title,
        clinic=clean(given.clinic),
        name=clean(f"{person.given_name} {person.family_name}"),
        born=day(person.birth_date),
        examined=day(given.examined_at),
        demo=given.demo,
        explains=texts.explains,
        headings=texts.headings,
        looked_at=seen or (texts.nothing.looked_at,),
        # Named, so that nobody takes what was left out for something that was found to be well.
        not_looked_at=tuple(
            texts.not_looked_at[at.station.id]
            for at in stations
            if not at.touched and at.station.id in texts.not_looked_at
        ),
        own_words=clean_lines(given.own_words),
        next=tuple(texts.next[each] for each in given.taken) or (texts.nothing.next,),
        safe=tuple(each.says for each in texts.safe),
        now=tuple(each.says for each in texts.now),
        soon=tuple(each.says for each in texts.soon),
        reminds=texts.reminds,
    )
