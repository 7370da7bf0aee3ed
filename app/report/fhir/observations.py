"""One Observation for each finding on each side, also for what has no value."""

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from app.exam.measures import QUANTITIES, Quantity
from app.exam.record import Cell, Exam, Untestable, Value
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.knowledge.load import Knowledge
from app.report.coverage import State, state_of
from app.report.fhir.narrative import plain
from app.report.fhir.people import PATIENT, People
from app.report.fhir.terms import (
    ABSENCE,
    CATEGORY,
    DATA_ABSENT,
    FINDING,
    INTERPRETATION,
    Json,
    Names,
    answer_code,
    coding,
    concept,
    filled,
    hpo,
    quantity,
    side_coding,
    side_text,
    when,
)
from app.report.page import ReportInput

# Why a cell has no value: our own word, what FHIR's table comes nearest to, and both in words.
_ABSENT = {
    "cannot-be-tested": ("unknown", "Unknown", "Cannot be tested"),
    "not-examined": ("not-performed", "Not Performed", "Not examined"),
    "not-asked": ("not-asked", "Not Asked", "Not asked"),
    "not-needed": (
        "not-applicable",
        "Not Applicable",
        "Not needed: it describes a finding that is absent",
    ),
}
_INTERPRETED = {State.ABNORMAL: ("A", "Abnormal"), State.NORMAL: ("N", "Normal")}
_PLACES = Decimal("0.001")


def name_of(cell: Cell) -> str:
    """The name of a cell's Observation; that of a worked out quantity has no side."""
    finding, side = cell
    return f"finding/{finding}/{side.value}" if side else f"finding/{finding}"


def quantity_name(quantity_id: str) -> str:
    """The name of a worked out quantity's Observation."""
    return f"quantity/{quantity_id}"


def observations(
    report: ReportInput, knowledge: Knowledge, names: Names, people: People
) -> Iterator[tuple[str, Json]]:
    """Every finding of the vocabulary, RIGHT before LEFT, then what was worked out from them."""
    for finding in vocabulary().values():
        for side in finding.sides:
            yield (
                name_of((finding.id, side)),
                _observation(report, knowledge, names, people, finding, side),
            )
    for each in QUANTITIES.values():
        worked_out = each.of(report.exam)
        if worked_out is not None:
            yield quantity_name(each.id), _quantity(report, names, each, worked_out)


def status_of(report: ReportInput) -> str:
    """The status of a recorded or concluded thing."""
    return "preliminary" if report.signature is None else "final"


def _observation(
    report: ReportInput,
    knowledge: Knowledge,
    names: Names,
    people: People,
    finding: Finding,
    side: Side | None,
) -> Json:
    exam, by = report.exam, report.cell_by.get((finding.id, side))
    terms = [term for term in knowledge.hpo.finding.get(finding.id, ()) if not term.when]
    value = exam.value(finding.id, side)
    return filled(
        resourceType="Observation",
        id=names.id(name_of((finding.id, side))),
        status=status_of(report),
        category=[_category(finding.station)],
        code=concept(
            finding.label,
            coding(FINDING, finding.id, finding.label),
            *(hpo(term, knowledge) for term in terms),
        ),
        subject=names.reference(PATIENT),
        effectiveDateTime=when(report.started_at),
        issued=None if by is None else when(by.at),
        performer=[] if by is None else [people.reference(by)],
        **({} if value is None else _value(finding, value, knowledge)),
        dataAbsentReason=None if value is not None else _absent(exam, finding, side),
        interpretation=_interpretation(exam, finding, side),
        bodySite=None
        if side is None
        else concept(f"{side_text(side)}: {finding.label}", *side_coding(side, knowledge)),
        method=concept(finding.hint) if finding.hint else None,
        hasMember=[
            names.reference(name_of((detail.id, side)))
            for detail in vocabulary().details_of(finding.id)
            if side in detail.sides
        ],
    )


def _category(station: str) -> Json:
    code, display = ("survey", "Survey") if station == "history" else ("exam", "Exam")
    return concept("", coding(CATEGORY, code, display))


def _value(finding: Finding, value: Value, knowledge: Knowledge) -> Json:
    match finding.scale:
        case Scale.GRADE:
            return {"valueInteger": value}
        case Scale.YESNO:
            return {"valueBoolean": value}
        case Scale.CHOICE:
            chosen = str(value)
            terms = knowledge.hpo.finding.get(finding.id, ())
            return {
                "valueCodeableConcept": concept(
                    finding.words_of(value),
                    answer_code(finding, chosen),
                    *(hpo(term, knowledge) for term in terms if chosen in term.when),
                )
            }
        case _:
            number = value if isinstance(value, Decimal) else int(str(value))
            return {"valueQuantity": quantity(number, finding.unit)}


def _absent(exam: Exam, finding: Finding, side: Side | None) -> Json:
    recorded, reason = exam.cells.get((finding.id, side)), ""
    if isinstance(recorded, Untestable):
        own, reason = "cannot-be-tested", plain(recorded.reason)
    elif state_of(exam, finding, side) is State.NOT_NEEDED:
        own = "not-needed"
    else:
        own = "not-asked" if finding.station == "history" else "not-examined"
    code, display, words = _ABSENT[own]
    return concept(
        f"{words}: {reason}" if reason else words,
        coding(DATA_ABSENT, code, display),
        coding(ABSENCE, own, words),
    )


def _interpretation(exam: Exam, finding: Finding, side: Side | None) -> list[Json]:
    """Normal or abnormal, where it is; with the words of a grade, whose value is a digit."""
    value = exam.value(finding.id, side)
    coded = _INTERPRETED.get(state_of(exam, finding, side))
    if coded is None or value is None:
        return []
    words = finding.words_of(value) if finding.scale is Scale.GRADE else ""
    return [concept(words, coding(INTERPRETATION, *coded))]


def _quantity(report: ReportInput, names: Names, each: Quantity, number: Fraction) -> Json:
    value = (Decimal(number.numerator) / Decimal(number.denominator)).quantize(_PLACES)
    return {
        "resourceType": "Observation",
        "id": names.id(quantity_name(each.id)),
        "status": status_of(report),
        "category": [_category("measures")],
        "code": concept(each.label, coding(FINDING, each.id, each.label)),
        "subject": names.reference(PATIENT),
        "effectiveDateTime": when(report.started_at),
        "valueQuantity": quantity(value, each.unit),
        "derivedFrom": [names.reference(name_of((name, None))) for name in each.inputs],
    }
