"""The sheet as a FHIR Questionnaire: its stations in order, RIGHT before LEFT."""

from collections.abc import Iterator

from app.exam.layout import WHOLE
from app.exam.reading import MAX_AGE, MAX_MEDICINE_LENGTH, MAX_REASON_LENGTH, SEXES
from app.exam.record import Cell
from app.exam.vocabulary import GRADES, Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.language.words import ENGLISH, speaking
from app.report.fhir.canonical import canonical
from app.report.fhir.terms import (
    FINDING,
    GRADE,
    NAMESPACE,
    UCUM,
    UCUM_NOTICE,
    UNITS,
    Json,
    Names,
    answer_code,
    coding,
    filled,
    hpo,
    side_text,
)

_EXTENSION = "http://hl7.org/fhir/StructureDefinition"
_NAMES = Names(str(NAMESPACE))
# Its address, by which answers name it. It says nothing of its version, since ids are stable.
CANONICAL = _NAMES.urn("questionnaire")
# linkIds of what is no finding.
PATIENT, AGE, SEX = "patient", "patient.age", "patient.sex"
MEDICINES, NO_MEDICINES, MEDICINE = "medicines", "medicines.none", "medicines.line"
UNTESTABLE = "untestable"
STATION = "station"
TYPES = {
    Scale.GRADE: "choice",
    Scale.YESNO: "boolean",
    Scale.CHOICE: "choice",
    Scale.COUNT: "integer",
    Scale.NUMBER: "decimal",
}


def link_of(cell: Cell) -> str:
    """The linkId of a cell: the finding's id, and its side where it has one."""
    finding, side = cell
    return f"{finding}.{side.value}" if side else finding


def text_of(finding: Finding, side: Side | None) -> str:
    """The question in words, with the side in full."""
    return f"{finding.label}, {side_text(side)}" if side else finding.label


def reason_link(cell: Cell) -> str:
    """The linkId of why a cell cannot be tested."""
    return f"{link_of(cell)}.{UNTESTABLE}"


def reason_text(finding: Finding, side: Side | None) -> str:
    """The same in words."""
    return f"{text_of(finding, side)}: cannot be tested, because"


def grade_code(grade: int) -> Json:
    """One grade."""
    words = next(each for each in vocabulary().values() if each.scale is Scale.GRADE)
    return coding(GRADE, str(grade), words.words_of(grade))


@speaking(ENGLISH)
def questionnaire(knowledge: Knowledge) -> bytes:
    """The whole sheet; the same bytes for the same version of the vocabulary."""
    return canonical(
        {
            "resourceType": "Questionnaire",
            "id": _NAMES.id("questionnaire"),
            "language": "en",
            "url": CANONICAL,
            "version": knowledge.version,
            "name": "BedsideMotorExam",
            "title": "Bedside motor exam",
            "status": "active",
            "subjectType": ["Patient"],
            "publisher": "Evenhand",
            "description": (
                "What is left out was not examined, which is not normal. A question is answered by "
                "its value, or by the reason why it cannot be tested, not by both."
            ),
            "copyright": f"{knowledge.hpo.attribution}. {knowledge.hpo.citation}. {UCUM_NOTICE}",
            "item": [_patient(), *(_station(name, knowledge) for name in WHOLE), _medicines()],
        }
    )


def _patient() -> Json:
    return {
        "linkId": PATIENT,
        "text": "Patient",
        "type": "group",
        "item": [
            {
                "extension": [*_range("Decimal", 0, MAX_AGE), _unit("years")],
                "linkId": AGE,
                "text": "Age in years",
                "type": "decimal",
            },
            {
                "linkId": SEX,
                "text": "Sex",
                "type": "choice",
                "answerOption": [{"valueCoding": sex_code(sex)} for sex in SEXES],
            },
        ],
    }


def sex_code(sex: str) -> Json:
    """A sex in FHIR's own table."""
    return coding("http://hl7.org/fhir/administrative-gender", sex, sex.capitalize())


def _medicines() -> Json:
    return {
        "linkId": MEDICINES,
        "text": "Medicines taken now",
        "type": "group",
        "item": [
            {"linkId": NO_MEDICINES, "text": "Takes no medicines", "type": "boolean"},
            {
                "linkId": MEDICINE,
                "text": "Medicine and dose, one to an answer",
                "type": "string",
                "repeats": True,
                "maxLength": MAX_MEDICINE_LENGTH,
            },
        ],
    }


def _station(name: str, knowledge: Knowledge) -> Json:
    station = next(each for each in vocabulary().stations if each.id == name)
    return {
        "linkId": f"{STATION}.{station.id}",
        "text": station.label,
        "type": "group",
        "item": [
            item
            for finding in vocabulary().at(name)
            for side in finding.sides
            for item in _items(finding, side, knowledge)
        ],
    }


def _items(finding: Finding, side: Side | None, knowledge: Knowledge) -> Iterator[Json]:
    cell = (finding.id, side)
    terms = [term for term in knowledge.hpo.finding.get(finding.id, ()) if not term.when]
    yield filled(
        extension=_limits(finding),
        linkId=link_of(cell),
        code=[
            coding(FINDING, finding.id, finding.label),
            *(hpo(term, knowledge) for term in terms),
        ],
        text=text_of(finding, side),
        type=TYPES[finding.scale],
        answerOption=[{"valueCoding": option} for option in _options(finding)],
    )
    yield {
        "linkId": reason_link(cell),
        "text": reason_text(finding, side),
        "type": "string",
        "maxLength": MAX_REASON_LENGTH,
    }


def _options(finding: Finding) -> list[Json]:
    match finding.scale:
        case Scale.GRADE:
            return [grade_code(grade) for grade in GRADES]
        case Scale.CHOICE:
            return [answer_code(finding, value) for value in finding.values]
        case _:
            return []


def _limits(finding: Finding) -> list[Json]:
    if finding.minimum is None or finding.maximum is None:
        return []
    low, high = finding.minimum, finding.maximum
    if finding.scale is Scale.COUNT:
        return [*_range("Integer", int(low), int(high)), _unit(finding.unit)]
    return [*_range("Decimal", low, high), _unit(finding.unit)]


def _range(kind: str, low: object, high: object) -> list[Json]:
    return [
        {"url": f"{_EXTENSION}/minValue", f"value{kind}": low},
        {"url": f"{_EXTENSION}/maxValue", f"value{kind}": high},
    ]


def _unit(unit: str) -> Json:
    return {
        "url": f"{_EXTENSION}/questionnaire-unit",
        "valueCoding": coding(UCUM, UNITS[unit], unit),
    }
