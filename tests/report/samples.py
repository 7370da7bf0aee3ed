"""Invented exams and people for the tests of the report."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from app.assess.assess import assess
from app.exam.reading import read_exam
from app.exam.record import Cell, Exam, Patient, Recorded, Untestable
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import knowledge
from app.report.page import Person, ReportInput
from app.report.reviewed import Acknowledged, By, Confirmed
from app.report.signed import Amendment, Decision, SignatureBlock

PERSON = Person("Karlsson", "Maria Elena", date(1945, 7, 14), "female", "A-2041-77")
STARTED = datetime(2026, 2, 3, 14, 5, tzinfo=UTC)
PRINTED = datetime(2026, 2, 3, 15, 40, tzinfo=UTC)

# The left side is slow and stiff, as in the usual beginning of the disease.
ONE_SIDED: dict[str, Any] = {
    "rest_tremor_hand": {"right": 0, "left": 2},
    "face_still": 1,
    "gesture_reduced": {"right": 0, "left": 1},
    "posture_tremor": {"right": 0, "left": 2},
    "posture_tremor_onset": {"left": "delayed"},
    "finger_tap_slow": {"right": 1, "left": 2},
    "finger_tap_decrement": {"right": 0, "left": 2},
    "finger_tap_halts": {"right": 0, "left": 1},
    "toe_tap_slow": {"right": 0, "left": 2},
    "toe_tap_decrement": {"right": 0, "left": 1},
    "arm_resistance": {"right": 0, "left": 2},
    "arm_resistance_directions": {"left": "both"},
    "arm_resistance_speed": {"left": "same"},
    "arm_resistance_varies": {"left": False},
    "arm_activation_only": {"left": False},
    "arm_swing_reduced": {"right": 0, "left": 2},
    "step_length": "short",
    "turn_steps": 5,
    "turn_en_bloc": 1,
    "stooped": 1,
    "vertical_gaze": "normal",
    "hx_falls_12m": 2,
    "hx_unsteady": True,
    "hx_smell_loss": True,
    "tug_s": Decimal("16.4"),
    "lying_sys": 132,
    "standing_sys": 118,
    "taps_10s": {"right": 41, "left": 22},
}


def read(
    findings: Mapping[str, Any],
    *,
    medicines: list[str] | None = None,
    patient: Mapping[str, Any] | None = None,
) -> Exam:
    """An exam from findings as the contract writes them."""
    person = {"age": 80, "sex": "female"} if patient is None else patient
    return read_exam({"patient": person, "findings": findings, "medicines": medicines})


def normal_exam() -> Exam:
    """The whole quick pass, nothing abnormal, no medicines."""
    cells: dict[Cell, Recorded] = {}
    for finding in vocabulary().values():
        if finding.core and finding.detail_of is None:
            for side in finding.sides:
                normal = finding.normal_value()
                measured = 2 if finding.scale is Scale.COUNT else Decimal("1.5")
                cells[finding.id, side] = measured if normal is None else normal
    cells["hx_falls_12m", None] = 0
    return Exam(Patient(Decimal(80), "female"), MappingProxyType(cells), ())


def one_sided_exam() -> Exam:
    """The whole quick pass with the signs of one side, and three medicines."""
    found = read(
        ONE_SIDED, medicines=["levodopa 100 mg", "metoclopramide 10 mg", "grandmother's tea"]
    )
    return replace(found, cells=MappingProxyType({**normal_exam().cells, **found.cells}))


def nurse_exam() -> Exam:
    """What a nurse recorded before the physician came: walking, history, measures."""
    words = vocabulary()
    whole = one_sided_exam()
    cells = {cell: value for cell, value in whole.cells.items() if words[cell[0]].nurse}
    return Exam(whole.patient, MappingProxyType(cells), None)


def emergency_exam() -> Exam:
    """Both legs catch, both toes go up, and no water was passed: an emergency."""
    both = {"right": 2, "left": 2}
    return read(
        {
            "leg_resistance": both,
            "leg_resistance_directions": {"right": "one", "left": "one"},
            "leg_resistance_speed": {"right": "catch", "left": "catch"},
            "leg_resistance_varies": {"right": False, "left": False},
            "plantar": {"right": "up", "left": "up"},
            "finger_tap_slow": {"right": {"untestable": "arthritis"}, "left": 0},
            "hx_bladder": "retention",
            "hx_onset": "days_weeks",
            "hx_years": Decimal("0.1"),
        },
        medicines=["oxybutynin 5 mg"],
        patient={"age": 61, "sex": "male"},
    )


def questioned_exam() -> Exam:
    """The one-sided exam with the first questions of the history answered, most of them by no."""
    whole = one_sided_exam()
    answers: dict[Cell, Recorded] = {
        (finding.id, None): False
        for finding in vocabulary().at("history")[:20]
        if finding.scale is Scale.YESNO
    }
    return replace(whole, cells=MappingProxyType({**answers, **whole.cells}))


def whole_exam() -> Exam:
    """Every finding that has a normal value, recorded as normal."""
    cells: dict[Cell, Recorded] = {
        (finding.id, side): normal
        for finding in vocabulary().values()
        for side in finding.sides
        if (normal := finding.normal_value()) is not None
    }
    return Exam(Patient(Decimal(80), "female"), MappingProxyType(cells), ())


def nasty_exam() -> Exam:
    """Every cell filled as badly as it can be, and the longest medicine list that can be typed."""
    cells: dict[Cell, Recorded] = {}
    place = 0
    for finding in vocabulary().values():
        for side in finding.sides:
            place += 1
            if place % 7 == 0:
                reason = "pain <b>bold</b> & {{ 7*7 }} " + "W" * 150
                cells[finding.id, side] = Untestable(
                    reason if place % 2 else f"ألم في الكتف {place}"
                )
            elif place % 11:
                extremes: dict[Scale, Recorded] = {
                    Scale.GRADE: place % 4,
                    Scale.YESNO: True,
                    Scale.CHOICE: finding.values[-1] if finding.values else "",
                    Scale.COUNT: int(finding.maximum or 0),
                    Scale.NUMBER: finding.maximum or Decimal(0),
                }
                cells[finding.id, side] = extremes[finding.scale]
    lines = [
        "<script>alert(1)</script> 10 mg",
        "a" * 200,
        "دواء عشرة ملغ",
        "\N{PILL} \u202eturned around\u202c",
        "zalgo" + "\u0301" * 60,
        "metoclopramide 10 mg",
        "\u200b\u200d\ufeffzero width",
        "漢" * 150,
        "half \ud800 a character",
        "bell \x07 and nul \x00",
    ]
    return Exam(Patient(Decimal(80)), MappingProxyType(cells), tuple(lines * 10))


def report(exam: Exam, **changed: Any) -> ReportInput:
    """A report on an exam, with the real knowledge and the real assessment."""
    plain: dict[str, Any] = {
        "patient": PERSON,
        "exam_id": "c0ffee12",
        "state": "open",
        "reason": "Slower for a year, two falls.",
        "started_at": STARTED,
        "printed_at": PRINTED,
        "recorded_by": ("Nora Example, nurse", "Paul Example, physician"),
        "bulk_stations": (),
        "exam": exam,
        "assessment": assess(exam, knowledge()),
        "clinic": "Example Clinic for Movement",
        "demo": False,
    }
    return ReportInput(**plain | changed)


SIGNED_AT = datetime(2026, 2, 3, 16, 2, tzinfo=timezone(timedelta(hours=1)))
SIGNATURE = SignatureBlock(
    printed_name="Dr Paul Example",
    role="physician",
    meaning="I examined this person and reviewed every finding",
    signed_at=SIGNED_AT,
    exam_id="c0ffee12",
    revision=41,
    knowledge=knowledge().version,
    content_sha256="9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    audit="412:60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752",
)


def amendment(number: int, **changed: Any) -> Amendment:
    """The amendment of this number, made on a later day."""
    kind, text, reason = (
        ("addendum", "The blood test came back: nothing new.", "a result that came later"),
        ("late_entry", "The left foot was seen too.\nIt turned in.", "forgotten on the day"),
        ("correction", "The first fall was in May, not in March.", "the date was mistyped"),
    )[(number - 1) % 3]
    plain: dict[str, Any] = {
        "number": number,
        "kind": kind,
        "reason": reason,
        "text": text,
        "signature": replace(
            SIGNATURE,
            printed_name="Dr Ana Sample",
            signed_at=SIGNED_AT + timedelta(days=number),
            content_sha256=f"{number:064x}",
        ),
    }
    return Amendment(**plain | changed)


def decisions_on(exam: Exam) -> tuple[Decision, ...]:
    """The first next step taken over, the second declined, the others left open."""
    steps = [step.id for step in assess(exam, knowledge()).next_steps]
    return tuple(
        Decision(step, place == 0, "" if place == 0 else "was done last year")
        for place, step in enumerate(steps[:2])
    )


REVIEWED_BY = By("Dr Paul Example", "physician", SIGNED_AT - timedelta(minutes=4))


def acknowledged_in(exam: Exam) -> tuple[Acknowledged, ...]:
    """Every emergency of an exam."""
    return tuple(
        Acknowledged(raised.id, REVIEWED_BY)
        for raised in assess(exam, knowledge()).warnings
        if raised.urgency == "emergency"
    )


def confirmed_in(exam: Exam) -> tuple[Confirmed, ...]:
    """What a nurse may record and a pattern or an emergency rests on."""
    found = assess(exam, knowledge())
    reasons = [reason for pattern in found.listed for reason in pattern.reasons_for]
    for raised in found.warnings:
        reasons += raised.because if raised.urgency == "emergency" else ()
    cells = dict.fromkeys(
        (reason.finding, reason.side)
        for reason in reasons
        if reason.finding is not None and vocabulary()[reason.finding].nurse
    )
    return tuple(Confirmed(cell, REVIEWED_BY) for cell in cells)


def signed_report(exam: Exam, *amendments: Amendment, **changed: Any) -> ReportInput:
    """A signed exam, amended where there are amendments."""
    plain: dict[str, Any] = {
        "state": "amended" if amendments else "signed",
        "impression": "Slow and stiff on one side.\nNo sign of another cause.",
        "plan": "Referral. Physiotherapy twice a week.",
        "decisions": decisions_on(exam),
        "acknowledged": acknowledged_in(exam),
        "confirmed": confirmed_in(exam),
        "signature": SIGNATURE,
        "amendments": amendments,
    }
    return report(exam, **plain | changed)


def nasty_report() -> ReportInput:
    """The nasty exam of a person and a clinic with impossible names."""
    return report(
        nasty_exam(),
        patient=Person(
            "Ωmega<i>" + "W" * 150, "محمد \N{PILL} " + "x y " * 60, date(1905, 1, 2), None, "#" * 90
        ),
        clinic="<img src=http://127.0.0.1/x> " + "Clinic" * 40,
        reason='<a href="file:///etc/passwd">x</a> ' + "reason " * 200 + "\ud800\x00\u2028end",
        recorded_by=("<b>N</b>",) * 12,
        bulk_stations=tuple(station.id for station in vocabulary().stations),
        pathways=dict.fromkeys(
            (*knowledge().warnings, *knowledge().steps),
            "<i>ward</i> " + "W" * 300 + "\n\u202eturned\n" + "call " * 30,
        ),
        demo=True,
    )


def mirrored(original: ReportInput) -> ReportInput:
    """The same report with right and left changed over in the exam."""
    exam = original.exam.mirrored()
    return replace(original, exam=exam, assessment=assess(exam, knowledge()))
