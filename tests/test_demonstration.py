"""What the invented clinic shows: every category, and every state that an exam can be in."""

import re
from calendar import day_name, month_name
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.exam.record import Untestable
from app.exam.vocabulary import Scale, Side, vocabulary
from app.knowledge.load import knowledge
from app.places import DEMO
from app.settings import ROOT
from app.store.demo_files import DemoExam, DemoPatient, read_demo

GUIDE = ROOT / "docs" / "guide" / "demonstration.md"
AS_WRITTEN = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)
DEMO_CLINIC = read_demo(DEMO, AS_WRITTEN)
PEOPLE = {each.new.chart_number: each for each in DEMO_CLINIC.patients}
EXAMS = [
    (f"{number} of {exam.started_at:%d-%b-%Y}", person, exam)
    for number, person in PEOPLE.items()
    for exam in person.exams
]
LIMBS = ("arm", "leg")


@pytest.fixture(scope="module")
def assessed() -> list[tuple[DemoExam, Assessment]]:
    """Every exam of the demonstration, with what it adds up to."""
    return [(exam, assess(exam.exam, knowledge())) for _, _, exam in EXAMS]


def levels(assessment: Assessment) -> dict[str, str]:
    """The level of each category."""
    return {each.id: each.level for each in assessment.categories}


def numbers(exam: DemoExam) -> dict[str, Decimal]:
    """What was counted and measured, other than on a side."""
    words = vocabulary()
    return {
        finding: Decimal(value)
        for (finding, side), value in exam.exam.cells.items()
        if side is None
        and words[finding].scale in (Scale.COUNT, Scale.NUMBER)
        and isinstance(value, int | Decimal)
    }


def test_every_category_fits_somebody(assessed: list[tuple[DemoExam, Assessment]]) -> None:
    """Fully, without a caution: whoever learns the program can look at each."""
    fits = {
        category
        for _, assessment in assessed
        for category, level in levels(assessment).items()
        if level == "fits"
    }

    assert set(knowledge().categories) == fits


def test_there_are_people_enough_with_a_course() -> None:
    """At least 14 people, several of whom were seen more than once."""
    assert len(PEOPLE) >= 14
    assert sum(len(each.exams) > 1 for each in PEOPLE.values()) >= 5


def test_every_state_of_an_exam_is_there(assessed: list[tuple[DemoExam, Assessment]]) -> None:
    """Signed, amended, open, handed over by the nurse, and entered from paper."""
    exams = [exam for exam, _ in assessed]

    assert any(each.impression and each.amended for each in exams)
    assert any(each.impression and not each.amended for each in exams)
    assert any(not each.impression and not each.handed_over for each in exams)
    assert any(each.handed_over for each in exams)
    assert any(each.on_paper for each in exams)
    # What is amended was signed, and afterwards.
    for each in exams:
        if each.amended is not None:
            assert each.impression
            assert each.started_at < each.amended[1] < AS_WRITTEN


def test_what_a_clinician_stumbles_over_is_there(
    assessed: list[tuple[DemoExam, Assessment]],
) -> None:
    """An emergency, a contradiction, a caution, a medicine not checked, a sign not explained."""
    assert any(w.urgency == "emergency" for _, a in assessed for w in a.warnings)
    assert any(a.conflicts for _, a in assessed)
    assert any(a.unexplained for _, a in assessed)
    assert any(a.not_recognised for _, a in assessed)
    assert "fits_with_cautions" in {each for _, a in assessed for each in levels(a).values()}


def test_an_emergency_waits_in_a_nurses_part(assessed: list[tuple[DemoExam, Assessment]]) -> None:
    """So that the call for a physician stands above the worklist."""
    words = vocabulary()
    waiting = [
        exam
        for exam, assessment in assessed
        if any(each.urgency == "emergency" for each in assessment.warnings)
        and all(words[finding].nurse for finding, _ in exam.exam.cells)
    ]

    assert [True] == [each.handed_over for each in waiting]


def test_a_wholly_normal_exam_is_signed_and_marked_in_bulk(
    assessed: list[tuple[DemoExam, Assessment]],
) -> None:
    """Nothing abnormal, no warning above routine, and each station looked at as a whole."""
    normal = [
        exam
        for exam, assessment in assessed
        if levels(assessment)["nothing_abnormal"] == "fits"
        and exam.impression
        and {each.urgency for each in assessment.warnings} == {"routine"}
        and not assessment.unexplained
    ]

    assert any(
        {"rest", "posture", "reach", "repeat", "tone", "gait"} <= set(e.bulk) for e in normal
    )


def limbs_that_can_be_tested(exam: DemoExam) -> set[tuple[str, Side]]:
    """The limbs of which the tone could be felt."""
    cells = exam.exam.cells
    return {
        (limb, side)
        for limb in LIMBS
        for side in Side
        if not isinstance(cells.get((f"{limb}_resistance", side), 0), Untestable)
    }


def test_somebody_has_one_limb_that_can_be_tested(
    assessed: list[tuple[DemoExam, Assessment]],
) -> None:
    """And the pattern is found in it alone."""
    found = [(e, a) for e, a in assessed if len(limbs_that_can_be_tested(e)) == 1]

    assert any("fits" in levels(a)["parkinsonism"] for _, a in found)


@pytest.mark.parametrize(
    ("person", "exam"), [each[1:] for each in EXAMS], ids=[e[0] for e in EXAMS]
)
def test_an_exam_is_plausible_in_itself(person: DemoPatient, exam: DemoExam) -> None:
    """Ages of adults; answers that agree with each other where a rule of the day says so."""
    cells, number, age = exam.exam.cells, numbers(exam), exam.exam.patient.age

    assert age is not None
    assert 18 <= age <= 100
    assert person.new.birth_date < exam.examined_at.date()
    assert exam.examined_at <= exam.started_at < AS_WRITTEN
    assert exam.reason
    assert bool(exam.impression) == bool(exam.plan)
    assert number.get("hx_years", Decimal(0)) < age
    for posture in ("lying", "standing"):
        if f"{posture}_sys" in number:
            assert 20 <= number[f"{posture}_sys"] - number[f"{posture}_dia"] <= 90
    # Whoever cannot walk has no time for it.
    if cells.get(("walking_aid", None)) == "wheelchair":
        assert set() == {"tug_s", "walk_s"} & set(number)
    # A detail belongs to what is present on that side.
    words = vocabulary()
    for finding, side in cells:
        parent = words[finding].detail_of
        if parent is not None:
            held = cells[parent, side]
            assert not isinstance(held, Untestable)
            assert held, (finding, side)


def test_no_text_names_a_day_that_would_not_move() -> None:
    """All dates are moved to today; a month or a season in a text would stay behind."""
    names = [*month_name[1:], *day_name, "spring", "summer", "autumn", "winter", "20[0-9][0-9]"]
    named = re.compile(rf"\b({'|'.join(names)})\b", re.I)
    told = [
        text
        for _, _, exam in EXAMS
        for text in (exam.reason, exam.impression, exam.plan)
        + ((exam.amended[0].text, exam.amended[0].reason) if exam.amended else ())
    ]

    assert named.search("since last Autumn")
    assert [] == [text for text in told if named.search(text)]


def visits() -> Iterator[tuple[DemoExam, DemoExam]]:
    """Each visit with the one before it."""
    for person in PEOPLE.values():
        yield from zip(person.exams, person.exams[1:], strict=False)


def test_a_second_visit_goes_on_from_the_first() -> None:
    """The years since the first symptom grow by what lies between; the falls of a year stay."""
    for first, second in visits():
        between = second.examined_at - first.examined_at
        earlier, later = numbers(first), numbers(second)
        onsets = {each.exam.cells["hx_onset", None] for each in (first, second)}
        grown = float(later["hx_years"] - earlier["hx_years"])
        assert 1 == len(onsets)
        # People tell years by halves.
        assert abs(grown - between / timedelta(days=365.25)) < 0.3
        if between < timedelta(days=100) and "hx_falls_12m" in later:
            assert later["hx_falls_12m"] >= earlier["hx_falls_12m"]


def test_the_courses_go_up_and_down_and_stay() -> None:
    """Somebody is better, somebody worse, and somebody the same."""
    changes = set()
    for first, second in visits():
        both = [
            (first.exam.cells[cell], second.exam.cells[cell])
            for cell in first.exam.cells
            if vocabulary()[cell[0]].scale is Scale.GRADE and cell in second.exam.cells
        ]
        pairs = [(a, b) for a, b in both if isinstance(a, int) and isinstance(b, int)]
        if pairs:
            changes.add(
                ("worse" if any(b > a for a, b in pairs) else "")
                + ("better" if any(b < a for a, b in pairs) else "")
            )

    assert {"worse", "better", ""} <= changes


def test_the_guide_tells_of_everybody() -> None:
    """Each person with the number of the chart and the name, and nobody else."""
    text = GUIDE.read_text(encoding="utf-8")

    assert set(PEOPLE) == set(re.findall(r"DEMO-\d{4}", text))
    for number, person in PEOPLE.items():
        assert f"{number} | {person.new.given_name} {person.new.family_name}" in text, number
