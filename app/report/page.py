"""What a report is made from, and the person as the head of every page names them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType

from app.assess.assessment import Assessment
from app.exam.record import Cell, Exam
from app.knowledge.terms import SEX_WORDS
from app.language.words import _
from app.report.fhir.terms import CONSULT_NOTE
from app.report.phrases import age_on, clean, day
from app.report.reviewed import Acknowledged, By, Confirmed
from app.report.signed import Amendment, Decision, SignatureBlock, check_signed

# A chart number is never cut where it could be a real one; this only bounds nonsense.
_LONGEST_CHART_NUMBER = 48


@dataclass(frozen=True)
class Person:
    """Who was examined. sex: female, male, or None where it was not recorded."""

    family_name: str
    given_name: str
    birth_date: date
    sex: str | None
    chart_number: str


@dataclass(frozen=True)
class Paper:
    """That an exam was done on paper. by: who examined, as typed; entered_at: with its offset."""

    by: str
    entered_at: datetime


@dataclass(frozen=True)
class ReportInput:
    """One exam with its assessment, ready to be put on paper.

    started_at, printed_at: with their offset, printed as given; the age is that on the day of
    started_at, which is when the patient was examined. paper: where that was done on paper.
    recorded_by: who recorded, in words ("A. Example, nurse"); cell_by: who recorded a cell, and
    when, for FHIR alone. bulk_stations: ids of the
    stations whose rest was marked normal in one step. demo: invented data. impression, plan,
    for_patient: in the physician's words, empty until written. decisions: on next steps.
    acknowledged: emergencies; confirmed: a nurse's findings. codes: of ICD-10-CM, chosen for the
    summary. pathways: the clinic's own words by the id of a warning or a next step; in the PDF, not
    in the note.
    document_type: what the FHIR document says that it is, a LOINC code of DOCUMENT_TYPES.
    signature, amendments: of a signed exam alone, the oldest amendment first.
    sealed_by: whose seal the file will carry; empty without one. recorded: who recorded what, a
    line for each person.

    Raises: ValueError where state, signature and amendments contradict each other, where the
    assessment is not that of the knowledge that was signed, and where a time has no offset.
    """

    patient: Person
    exam_id: str
    state: str
    reason: str
    started_at: datetime
    printed_at: datetime
    recorded_by: tuple[str, ...]
    bulk_stations: tuple[str, ...]
    exam: Exam
    assessment: Assessment
    clinic: str
    paper: Paper | None = None
    demo: bool = False
    impression: str = ""
    plan: str = ""
    decisions: tuple[Decision, ...] = ()
    acknowledged: tuple[Acknowledged, ...] = ()
    confirmed: tuple[Confirmed, ...] = ()
    codes: tuple[str, ...] = ()
    for_patient: str = ""
    document_type: str = CONSULT_NOTE
    cell_by: Mapping[Cell, By] = field(default_factory=lambda: MappingProxyType({}))
    pathways: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    signature: SignatureBlock | None = None
    amendments: tuple[Amendment, ...] = ()
    sealed_by: str = ""
    recorded: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_signed(
            self.state, self.exam_id, self.assessment.knowledge, self.signature, self.amendments
        )
        moments = {"started_at": self.started_at, "printed_at": self.printed_at}
        if self.paper is not None:
            moments["entered_at"] = self.paper.entered_at
        for name, moment in moments.items():
            if moment.utcoffset() is None:
                raise ValueError(f"{name}: a time without its offset")


@dataclass(frozen=True)
class Banner:
    """The person as the head of every page names them. family_name: in capitals."""

    family_name: str
    given_name: str
    born: str
    sex: str
    chart_number: str

    @property
    def name(self) -> str:
        """FAMILY NAME, Given."""
        return f"{self.family_name}, {self.given_name}"


def banner(report: ReportInput, most: int = 200) -> Banner:
    """The two identifiers and the sex; each name ends in "…" after `most` characters."""
    person = report.patient
    age = age_on(person.birth_date, report.started_at.date())
    return Banner(
        family_name=clean(clean(person.family_name).upper(), most),
        given_name=clean(person.given_name, most),
        born=_("Born {birth_date} ({age} y)").format(birth_date=day(person.birth_date), age=age),
        sex=SEX_WORDS[person.sex],
        chart_number=clean(person.chart_number, _LONGEST_CHART_NUMBER),
    )
