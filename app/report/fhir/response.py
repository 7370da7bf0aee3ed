"""An exam as answers to the Questionnaire, and back without a loss."""

from collections.abc import Iterator
from types import MappingProxyType

from app.exam.faults import BadExam, BadValue, short
from app.exam.json_text import parse_json
from app.exam.layout import WHOLE
from app.exam.reading import read_exam, read_untestable, read_value
from app.exam.record import Cell, Exam, Recorded, Untestable, Value
from app.exam.vocabulary import Finding, Scale, vocabulary
from app.language.words import ENGLISH, speaking
from app.report.fhir.canonical import canonical
from app.report.fhir.questionnaire import (
    AGE,
    CANONICAL,
    MEDICINE,
    MEDICINES,
    NO_MEDICINES,
    PATIENT,
    SEX,
    STATION,
    grade_code,
    link_of,
    reason_link,
    reason_text,
    sex_code,
    text_of,
)
from app.report.fhir.terms import ANSWER, GRADE, Json, answer_code, filled

_GENDER = "http://hl7.org/fhir/administrative-gender"
STATUSES = ("in-progress", "completed", "amended")
# FHIR's name for the answer of each scale.
_KEYS = {
    Scale.GRADE: "valueCoding",
    Scale.YESNO: "valueBoolean",
    Scale.CHOICE: "valueCoding",
    Scale.COUNT: "valueInteger",
    Scale.NUMBER: "valueDecimal",
}


@speaking(ENGLISH)
def response(exam: Exam, *, status: str = "completed") -> bytes:
    """What was recorded, as a QuestionnaireResponse; what was not examined is not in it."""
    return canonical(
        filled(
            resourceType="QuestionnaireResponse",
            language="en",
            questionnaire=CANONICAL,
            status=status,
            item=[
                group
                for group in (
                    _group(PATIENT, "Patient", _patient(exam)),
                    *(_station(exam, name) for name in WHOLE),
                    _group(MEDICINES, "Medicines taken now", _medicines(exam)),
                )
                if "item" in group
            ],
        )
    )


def _group(link: str, text: str, items: list[Json]) -> Json:
    return filled(linkId=link, text=text, item=items)


def _answered(link: str, text: str, *answers: Json) -> Json:
    return {"linkId": link, "text": text, "answer": list(answers)}


def _patient(exam: Exam) -> list[Json]:
    items: list[Json] = []
    if exam.patient.age is not None:
        items.append(_answered(AGE, "Age in years", {"valueDecimal": exam.patient.age}))
    if exam.patient.sex is not None:
        items.append(_answered(SEX, "Sex", {"valueCoding": sex_code(exam.patient.sex)}))
    return items


def _medicines(exam: Exam) -> list[Json]:
    if exam.medicines is None:
        return []
    if not exam.medicines:
        return [_answered(NO_MEDICINES, "Takes no medicines", {"valueBoolean": True})]
    lines = [{"valueString": line} for line in exam.medicines]
    return [_answered(MEDICINE, "Medicine and dose, one to an answer", *lines)]


def _station(exam: Exam, name: str) -> Json:
    station = next(each for each in vocabulary().stations if each.id == name)
    return _group(f"{STATION}.{name}", station.label, list(_recorded(exam, name)))


def _recorded(exam: Exam, station: str) -> Iterator[Json]:
    for finding in vocabulary().at(station):
        for side in finding.sides:
            recorded = exam.cells.get((finding.id, side))
            if isinstance(recorded, Untestable):
                yield _answered(
                    reason_link((finding.id, side)),
                    reason_text(finding, side),
                    {"valueString": recorded.reason},
                )
            elif recorded is not None:
                yield _answered(
                    link_of((finding.id, side)),
                    text_of(finding, side),
                    {_KEYS[finding.scale]: _answer(finding, recorded)},
                )


def _answer(finding: Finding, value: Value) -> object:
    match finding.scale:
        case Scale.GRADE:
            return grade_code(int(str(value)))
        case Scale.CHOICE:
            return answer_code(finding, str(value))
        case _:
            return value


# ---- and back


def exam_from_response(text: str | bytes) -> Exam:
    """The exam that a QuestionnaireResponse holds.

    Raises: BadExam, with every fault; each names the linkId that it is about.
    """
    return read_response(parse_json(text, "response"))


def read_response(raw: object) -> Exam:
    """The exam that a parsed QuestionnaireResponse holds, whose fractions are Decimal.

    Raises: BadExam, as exam_from_response does.
    """
    faults: list[str] = []
    if not isinstance(raw, dict) or raw.get("resourceType") != "QuestionnaireResponse":
        raise BadExam(["response: not a QuestionnaireResponse"])
    asked = str(raw.get("questionnaire", "")).partition("|")[0]
    if asked != CANONICAL:
        faults.append(f"questionnaire: {short(asked)} is not {CANONICAL}")
    if raw.get("status") not in STATUSES:
        faults.append(f"status: {short(raw.get('status'))} is not one of {', '.join(STATUSES)}")
    answers = _Answers(faults)
    answers.collect(raw.get("item"), "item")
    exam = answers.exam()
    if faults:
        raise BadExam(faults)
    return exam


class _Answers:
    """The answers by linkId, and what is wrong with them."""

    def __init__(self, faults: list[str]) -> None:
        self._faults = faults
        self._held: dict[str, list[Json]] = {}

    def collect(self, raw: object, place: str) -> None:
        """Take the answers of these items and of those within them."""
        if raw is None:
            return
        if not isinstance(raw, list):
            self._faults.append(f"{place}: not a list of items")
            return
        for item in raw:
            link = item.get("linkId") if isinstance(item, dict) else None
            if not isinstance(link, str) or not isinstance(item, dict):
                self._faults.append(f"{place}: an item without its linkId")
                continue
            named = short(link)
            if link in _GROUPS:
                self.collect(item.get("item"), named)
                if "answer" in item:
                    self._faults.append(f"{named}: a group has no answer")
                continue
            if link not in _CELLS and link not in (AGE, SEX, NO_MEDICINES, MEDICINE):
                self._faults.append(f"{named}: not a question of this sheet")
                continue
            if "item" in item:
                self._faults.append(f"{named}: a question of this sheet has no items within it")
            self._take(link, item.get("answer"))

    def _take(self, link: str, answers: object) -> None:
        if answers is None:
            return
        if not isinstance(answers, list) or not all(isinstance(each, dict) for each in answers):
            self._faults.append(f"{link}: its answers are not a list of objects")
        elif link in self._held:
            self._faults.append(f"{link}: stands twice")
        elif len(answers) > 1 and link != MEDICINE:
            self._faults.append(f"{link}: {len(answers)} answers; at most one")
        elif answers:
            self._held[link] = answers

    def exam(self) -> Exam:
        """The exam, with the faults of each answer."""
        cells: dict[Cell, Recorded] = {}
        for link, (cell, is_reason) in _CELLS.items():
            if link not in self._held:
                continue
            if cell in cells:
                self._faults.append(f"{link}: has a value, and a reason why it cannot be tested")
                continue
            try:
                cells[cell] = self._recorded(link, cell, is_reason)
            except BadValue as fault:
                self._faults.append(f"{link}: {fault}")
        rest = self._rest()
        ordered = {
            cell: cells[cell] for cell in sorted(cells, key=lambda it: vocabulary().place(*it))
        }
        return Exam(rest.patient, MappingProxyType(ordered), rest.medicines)

    def _recorded(self, link: str, cell: Cell, is_reason: bool) -> Recorded:
        if is_reason:
            return read_untestable({"untestable": self._only(link, "valueString")})
        finding = vocabulary()[cell[0]]
        raw = self._only(link, _KEYS[finding.scale])
        if finding.scale is Scale.GRADE:
            digit = _code(raw, GRADE)
            raw = int(digit) if digit in ("0", "1", "2", "3") else digit
        elif finding.scale is Scale.CHOICE:
            code = _code(raw, ANSWER)
            start = f"{finding.id}."
            raw = code.removeprefix(start) if code.startswith(start) else code
        return read_value(finding, raw)

    def _only(self, link: str, key: str) -> object:
        (answer,) = self._held[link]
        if set(answer) != {key}:
            raise BadValue(f"expected {key} alone, found {short(', '.join(answer) or 'nothing')}")
        return answer[key]

    def _rest(self) -> Exam:
        """The patient and the medicines, read as an exam reads them."""
        raw: Json = {"patient": {}}
        for link, key in ((AGE, "valueDecimal"), (SEX, "valueCoding")):
            if link in self._held:
                try:
                    held = self._only(link, key)
                    raw[PATIENT][link.rpartition(".")[2]] = (
                        _code(held, _GENDER) if link == SEX else held
                    )
                except BadValue as fault:
                    self._faults.append(f"{link}: {fault}")
        raw["medicines"] = self._lines()
        try:
            return read_exam(raw)
        except BadExam as bad:
            for each in bad.faults:
                place, _, words = each.partition(": ")
                link = MEDICINE if place.startswith(MEDICINES) else place
                self._faults.append(f"{link}: {words}")
            return Exam()

    def _lines(self) -> list[object] | None:
        none, lines = self._held.get(NO_MEDICINES), self._held.get(MEDICINE)
        if lines is not None:
            if none is not None and none != [{"valueBoolean": False}]:
                self._faults.append(f"{NO_MEDICINES}: there are medicines as well")
            for answer in lines:
                if set(answer) != {"valueString"}:
                    self._faults.append(f"{MEDICINE}: expected valueString alone")
            return [answer.get("valueString") for answer in lines if "valueString" in answer]
        if none is None or none == [{"valueBoolean": False}]:
            return None
        if none != [{"valueBoolean": True}]:
            self._faults.append(f"{NO_MEDICINES}: expected valueBoolean, true or false")
        return []


def _code(raw: object, system: str) -> str:
    """The code of a coding of this system.

    Raises: BadValue.
    """
    if not isinstance(raw, dict) or raw.get("system") != system:
        raise BadValue(f"expected a code of {system}")
    return str(raw.get("code", ""))


_GROUPS = (PATIENT, *(f"{STATION}.{name}" for name in WHOLE), MEDICINES)
# Every question by its linkId: its cell, and whether it asks why that cannot be tested.
_CELLS: dict[str, tuple[Cell, bool]] = {
    link: (cell, is_reason)
    for finding in vocabulary().values()
    for side in finding.sides
    for cell in ((finding.id, side),)
    for link, is_reason in ((link_of(cell), False), (reason_link(cell), True))
}
