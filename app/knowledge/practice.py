"""Practice: invented cases to grade, each with a worked answer. No rule reads them."""

from collections.abc import Iterator, Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from types import MappingProxyType
from typing import Any, Literal

from pydantic import Field

from app.exam.faults import BadExam
from app.exam.reading import read_exam
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import Finding, Side, vocabulary
from app.knowledge.files import BadKnowledge, Files
from app.knowledge.load import Knowledge, knowledge
from app.knowledge.model import Index, Support
from app.knowledge.table import FallLevel, Id, Level, Phrase, Rule, Table, Text, Urgency
from app.language.words import InEachLanguage

FOLDER = "practice"


class PracticeStation(Table):
    """What is seen at one station, in plain words, and the findings that it is to be put into."""

    id: Id
    sees: Phrase
    asks: tuple[Id, ...]


class Point(Table):
    """What matters in a case: which look-alike is told apart, and by what."""

    says: Phrase
    support: tuple[Support, ...]


class Expected(Table):
    """What the worked answer gives: every category that is listed, and every warning."""

    categories: Mapping[Id, Level] = Field(default_factory=dict)
    warnings: Mapping[Id, Urgency] = Field(default_factory=dict)
    falls: FallLevel


class PracticeCase(Rule):
    """An invented case. What is not asked for is not examined.

    told: history and measures that stand in the exam already. answer: the worked answer, as an exam
    holds its findings. not_seen: what is asked for and left open by the words, as "finding", or as
    "finding side" for one side alone.
    """

    title: Phrase
    person: Phrase
    brings: Phrase
    age: int
    sex: Literal["female", "male"]
    medicines: tuple[Text, ...] | None = None
    told: Mapping[str, Any] = Field(default_factory=dict)
    not_seen: tuple[Text, ...] = ()
    station: tuple[PracticeStation, ...]
    answer: Mapping[str, Any]
    point: tuple[Point, ...]
    expects: Expected

    def exam(self, graded: Mapping[Cell, Value]) -> Exam:
        """The exam of this person with these signs, beside what was told."""
        told = self._read(self.told)
        return Exam(told.patient, MappingProxyType({**told.cells, **graded}), told.medicines)

    def worked(self) -> dict[Cell, Value]:
        """The worked answer.

        Raises: BadExam, where the loader has not checked the case.
        """
        known = self._read(self.answer).known()
        return {(finding_id, side): value for finding_id, side, value in known}

    def cells(self) -> Iterator[Cell]:
        """Every cell that is asked for, in the order of the stations, right before left."""
        for station in self.station:
            for finding_id in station.asks:
                yield from ((finding_id, side) for side in vocabulary()[finding_id].sides)

    def left_open(self) -> frozenset[Cell]:
        """The cells that are asked for and that the words leave open."""
        return frozenset(
            (finding_id, side)
            for finding_id, side in self.cells()
            if {finding_id, f"{finding_id} {side}"} & set(self.not_seen)
        )

    def _read(self, findings: Mapping[str, Any]) -> Exam:
        medicines = None if self.medicines is None else list(self.medicines)
        patient = {"age": self.age, "sex": self.sex}
        found = dict(findings)
        return read_exam({"patient": patient, "findings": found, "medicines": medicines})


@InEachLanguage
def practice_cases() -> Mapping[str, PracticeCase]:
    """The cases that ship with the program, by id, in the order of index.toml."""
    return load_practice(resources.files(__package__), knowledge())


def load_practice(folder: Traversable, known: Knowledge) -> Mapping[str, PracticeCase]:
    """Load and check the cases of a folder of knowledge files.

    Raises: BadKnowledge.
    """
    files = Files(folder)
    order = files.one("index.toml", Index).practice
    cases = files.folder_of(FOLDER, order, PracticeCase)
    for case in cases.values():
        for problem in _faults(case, known):
            raise BadKnowledge(f"{FOLDER}/{case.id}.toml: {problem}")
    return MappingProxyType(cases)


def _faults(case: PracticeCase, known: Knowledge) -> Iterator[str]:
    yield from _faults_of_stations(case)
    yield from _faults_of_not_seen(case)
    try:
        case.exam({})
        worked = case.worked()
    except BadExam as error:
        yield "; ".join(error.faults)
    else:
        yield from _faults_of_answer(case, worked)
    for finding_id in case.told:
        if vocabulary()[finding_id].is_sign:
            yield f"told: {finding_id}: is seen and not told; ask for it at its station"
    yield from _faults_of_what_it_names(case, known)


def _faults_of_what_it_names(case: PracticeCase, known: Knowledge) -> Iterator[str]:
    for name, known_ids in (("categories", known.categories), ("warnings", known.warnings)):
        for each in getattr(case.expects, name):
            if each not in known_ids:
                yield f"expects: {name}: {each}: is not one of the {name}"
    for place, point in enumerate(case.point, start=1):
        if not point.support:
            yield f"point {place}: says nothing of what it rests on"
        for support in point.support:
            if support.source is not None and support.source not in known.sources:
                yield f"point {place}: source {support.source}: is not in sources.toml"


def _faults_of_stations(case: PracticeCase) -> Iterator[str]:
    known = {station.id for station in vocabulary().stations}
    asked: set[str] = set()
    for station in case.station:
        if station.id not in known:
            yield f"station: {station.id}: is not a station"
        for finding_id in station.asks:
            finding = vocabulary().get(finding_id)
            if finding is None or finding.station != station.id or not finding.is_sign:
                yield f"station: {station.id}: {finding_id}: is not a sign of this station"
            elif finding_id in asked:
                yield f"station: {station.id}: {finding_id}: is asked for twice"
            elif finding.detail_of is not None and finding.detail_of not in asked:
                yield f"station: {station.id}: {finding_id}: ask for {finding.detail_of} before it"
            asked.add(finding_id)


def _faults_of_not_seen(case: PracticeCase) -> Iterator[str]:
    named = {name for cell in case.cells() for name in (cell[0], f"{cell[0]} {cell[1]}")}
    for name in case.not_seen:
        if name not in named:
            yield f"not_seen: {name}: is not asked for at any station"


def _faults_of_answer(case: PracticeCase, worked: Mapping[Cell, Value]) -> Iterator[str]:
    asked, left_open = set(case.cells()), case.left_open()
    for finding_id, side in worked:
        if (finding_id, side) not in asked:
            yield f"answer: {finding_id}: is not asked for at any station"
    for finding_id, side in case.cells():
        finding = vocabulary()[finding_id]
        place = f"answer: {finding_id}{f' {side}' if side else ''}"
        is_answered, is_open = (finding_id, side) in worked, (finding_id, side) in left_open
        if is_answered and is_open:
            yield f"{place}: stands in not_seen too"
        elif is_answered and not _is_needed(finding, side, worked):
            yield f"{place}: describes what is not there"
        elif not is_answered and not is_open and _is_needed(finding, side, worked):
            yield f"{place}: is asked for and not answered; answer it, or name it in not_seen"


def _is_needed(finding: Finding, side: Side | None, worked: Mapping[Cell, Value]) -> bool:
    """Whether a cell is to be answered: a detail only where what it describes is present."""
    if finding.detail_of is None:
        return True
    return vocabulary()[finding.detail_of].is_abnormal(worked.get((finding.detail_of, side), 0))
