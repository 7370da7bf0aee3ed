"""Read an exam from JSON, or say every fault at once, each with its place."""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import assert_never

from app.exam.faults import BadExam, BadValue, short
from app.exam.json_text import MAX_DIGITS, parse_json
from app.exam.record import Cell, Exam, Patient, Recorded, Untestable, Value
from app.exam.vocabulary import GRADES, Finding, Scale, Side, vocabulary
from app.language.words import _

SEXES = ("female", "male")
MAX_AGE = 120
MAX_MEDICINES = 100
MAX_MEDICINE_LENGTH = 200
MAX_REASON_LENGTH = 200


def parse_exam(text: str | bytes) -> Exam:
    """Read one exam from JSON text.

    Raises: BadExam, with every fault.
    """
    return read_exam(parse_json(text))


def read_exam(raw: object) -> Exam:
    """Read one exam from parsed JSON, whose fractions are Decimal.

    Raises: BadExam, with every fault.
    """
    faults: list[str] = []
    if not isinstance(raw, dict):
        raise BadExam([_("exam: not an object with patient, findings and medicines")])
    for key in raw:
        if key not in ("patient", "findings", "medicines"):
            faults.append(
                _("{key}: unknown; use patient, findings or medicines").format(key=short(key))
            )
    patient = _patient(raw.get("patient"), faults)
    cells = _cells(raw.get("findings"), faults)
    medicines = _medicines(raw.get("medicines"), faults)
    if faults:
        raise BadExam(faults)
    return Exam(patient, MappingProxyType(cells), medicines)


def read_value(finding: Finding, raw: object) -> Value:
    """Check one value of a finding.

    Raises: BadValue, saying what is wrong and what would be right.
    """
    match finding.scale:
        case Scale.GRADE:
            if isinstance(raw, int) and not isinstance(raw, bool) and raw in GRADES:
                return raw
            raise BadValue(_("{raw} is not a grade from 0 to 3").format(raw=short(raw)))
        case Scale.YESNO:
            if isinstance(raw, bool):
                return raw
            raise BadValue(_("{raw} is not true or false").format(raw=short(raw)))
        case Scale.CHOICE:
            if isinstance(raw, str) and raw in finding.values:
                return raw
            raise BadValue(
                _("{raw} is not one of {values}").format(
                    raw=short(raw), values=", ".join(finding.values)
                )
            )
        case Scale.COUNT:
            number = _number(raw, finding)
            if number != number.to_integral_value():
                raise BadValue(_("{raw} is not a whole number").format(raw=short(raw)))
            return int(number)
        case Scale.NUMBER:
            return _number(raw, finding)
        case _:
            assert_never(finding.scale)


def read_untestable(raw: Mapping[str, object]) -> Untestable:
    """Check `{"untestable": "reason"}`.

    Raises: BadValue.
    """
    reason = raw.get("untestable")
    if set(raw) != {"untestable"}:
        raise BadValue(_('an untestable finding holds its reason alone: {"untestable": "pain"}'))
    if not isinstance(reason, str) or not reason.strip():
        raise BadValue(_("untestable needs its reason in words"))
    if not _can_be_written(reason):
        raise BadValue(_("the reason holds half a character"))
    if len(reason) > MAX_REASON_LENGTH:
        raise BadValue(
            _("the reason is longer than {MAX_REASON_LENGTH} characters").format(
                MAX_REASON_LENGTH=MAX_REASON_LENGTH
            )
        )
    return Untestable(reason.strip())


def _patient(raw: object, faults: list[str]) -> Patient:
    if raw is None:
        return Patient()
    if not isinstance(raw, dict):
        faults.append(_("patient: not an object with age and sex"))
        return Patient()
    for key in raw:
        if key not in ("age", "sex"):
            faults.append(_("patient.{key}: unknown; use age or sex").format(key=short(key)))
    age, sex = raw.get("age"), raw.get("sex")
    try:
        age = None if age is None else _age(age)
    except BadValue as fault:
        faults.append(_("patient.age: {fault}").format(fault=fault))
    if sex is not None and sex not in SEXES:
        faults.append(
            _("patient.sex: {sex} is not female or male; leave it out if unknown").format(
                sex=short(sex)
            )
        )
    return Patient(age, sex)


def _cells(raw: object, faults: list[str]) -> dict[Cell, Recorded]:
    cells: dict[Cell, Recorded] = {}
    if raw is None:
        return cells
    if not isinstance(raw, dict):
        faults.append(_("findings: not an object of findings by id"))
        return cells
    words = vocabulary()
    for finding_id, held in raw.items():
        place = f"findings.{short(finding_id)}"
        finding = words.get(finding_id)
        if finding is None:
            faults.append(_("{place}: not a finding").format(place=place))
        elif not finding.paired:
            _cell(finding, None, held, place, cells, faults)
        elif isinstance(held, dict):
            for name, value in held.items():
                if name in tuple(Side):
                    _cell(finding, Side(name), value, f"{place}.{name}", cells, faults)
                else:
                    faults.append(
                        _("{place}.{name}: not a side; use right or left").format(
                            place=place, name=short(name)
                        )
                    )
        elif held is not None:
            faults.append(
                _('{place}: needs its side: {{"right": …, "left": …}}').format(place=place)
            )
    return cells


def _cell(
    finding: Finding,
    side: Side | None,
    raw: object,
    place: str,
    cells: dict[Cell, Recorded],
    faults: list[str],
) -> None:
    if raw is None:
        return
    try:
        if isinstance(raw, dict) and "untestable" in raw:
            cells[finding.id, side] = read_untestable(raw)
        else:
            cells[finding.id, side] = read_value(finding, raw)
    except BadValue as fault:
        faults.append(f"{place}: {fault}")


def _medicines(raw: object, faults: list[str]) -> tuple[str, ...] | None:
    if raw is None:
        return None
    if not isinstance(raw, list):
        faults.append(_("medicines: not a list of lines"))
        return None
    if len(raw) > MAX_MEDICINES:
        faults.append(
            _("medicines: {raw} lines; at most {MAX_MEDICINES}").format(
                raw=len(raw), MAX_MEDICINES=MAX_MEDICINES
            )
        )
        return None
    for place, line in enumerate(raw):
        if not isinstance(line, str) or not line.strip():
            faults.append(
                _("medicines.{place}: {line} is not a medicine in words").format(
                    place=place, line=short(line)
                )
            )
        elif len(line) > MAX_MEDICINE_LENGTH:
            faults.append(
                _("medicines.{place}: longer than {MAX_MEDICINE_LENGTH} characters").format(
                    place=place, MAX_MEDICINE_LENGTH=MAX_MEDICINE_LENGTH
                )
            )
        elif not _can_be_written(line):
            faults.append(_("medicines.{place}: holds half a character").format(place=place))
    return tuple(raw) if all(isinstance(line, str) for line in raw) else None


def _age(raw: object) -> Decimal:
    if not isinstance(raw, int | Decimal) or isinstance(raw, bool) or not 0 <= raw <= MAX_AGE:
        raise BadValue(
            _("{raw} is not an age in years from 0 to {MAX_AGE}").format(
                raw=short(raw), MAX_AGE=MAX_AGE
            )
        )
    return _few_digits(Decimal(raw))


def _number(raw: object, finding: Finding) -> Decimal:
    if not isinstance(raw, int | Decimal) or isinstance(raw, bool):
        raise BadValue(_("{raw} is not a number").format(raw=short(raw)))
    number = Decimal(raw)
    low, high = finding.minimum, finding.maximum
    if low is not None and high is not None and not low <= number <= high:
        raise BadValue(
            _("{raw} is not from {low} to {high} {unit}")
            .format(raw=short(raw), low=low, high=high, unit=finding.unit)
            .rstrip()
        )
    return _few_digits(number)


def _few_digits(number: Decimal) -> Decimal:
    parts = number.as_tuple()
    if len(parts.digits) > MAX_DIGITS or abs(int(parts.exponent)) > MAX_DIGITS:
        raise BadValue(
            _("{number} has more than {MAX_DIGITS} digits").format(
                number=short(number), MAX_DIGITS=MAX_DIGITS
            )
        )
    return number


def _can_be_written(text: str) -> bool:
    # JSON lets half of a surrogate pair through, which no file, page or database can hold.
    return not any("\ud800" <= character <= "\udfff" for character in text)
