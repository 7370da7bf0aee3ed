"""The falls group (contract, section 5; montero2022), against a second way to work it out.

The oracle is written in plain Python from the four steps of the contract, and compared over every
combination of answers and of walks and timed tests on both sides of their cutoffs.
"""

from dataclasses import dataclass
from decimal import Decimal
from itertools import product
from types import MappingProxyType

import pytest

from app.assess.assess import assess
from app.assess.assessment import Reason
from app.assess.medicines import CheckedMedicines
from app.assess.warnings import judge_fall_risk
from app.assess.world import ExamWorld
from app.exam.record import Exam, Recorded
from app.knowledge.load import knowledge
from tests.assess.examined import assessed, warning

NO_MEDICINES = CheckedMedicines(True, (), ())


@dataclass(frozen=True)
class Answers:
    """What the falls group is worked out from; None is unknown."""

    falls: int | None = None
    unsteady: bool | None = None
    fear: bool | None = None
    injury: bool | None = None
    lie: bool | None = None
    blackout: bool | None = None
    frailty: bool | None = None
    speed: Decimal | None = None  # of a timed walk, in m/s
    tug: Decimal | None = None

    def exam(self) -> Exam:
        """The exam in which just this was recorded: a walk of so many metres in ten seconds."""
        cells: dict[tuple[str, None], Recorded | None] = {
            ("hx_falls_12m", None): self.falls,
            ("hx_unsteady", None): self.unsteady,
            ("hx_fear_of_falling", None): self.fear,
            ("hx_fall_injury", None): self.injury,
            ("hx_fall_lie", None): self.lie,
            ("hx_fall_blackout", None): self.blackout,
            ("hx_frailty", None): self.frailty,
            ("walk_m", None): None if self.speed is None else self.speed * 10,
            ("walk_s", None): None if self.speed is None else Decimal(10),
            ("tug_s", None): self.tug,
        }
        return Exam(
            cells=MappingProxyType({at: value for at, value in cells.items() if value is not None})
        )

    def level(self) -> str:
        """The four steps of the contract, one after the other."""
        severe = (self.injury, self.lie, self.blackout)
        fall_known = (self.falls or 0) >= 1 or True in severe
        # 1. A fall is known, and any of: those three; two or more; frailty.
        if fall_known and (True in severe or (self.falls or 0) >= 2 or self.frailty is True):
            return "high"
        # 2. No fall, not unsteady, not afraid.
        if self.falls == 0 and self.unsteady is False and self.fear is False:
            return "low"
        # 3. None of the three known positive, one unknown.
        if not fall_known and self.unsteady is not True and self.fear is not True:
            return "open"
        # 4. Slow by the walk; where no walk was timed, by the timed up and go.
        slow: bool | None = None
        if self.speed is not None:
            slow = self.speed <= Decimal("0.8")
        elif self.tug is not None:
            slow = self.tug > 15
        if slow:
            return "intermediate"
        answered = None not in (*severe, self.frailty)
        if slow is False and (self.falls == 0 or (self.falls == 1 and answered)):
            return "low"
        return "open"


KNOWN = (None, False, True)
# A timed walk and a timed up and go: none, one, or both, which then disagree.
TIMED = (
    (None, None),
    (None, Decimal(15)),
    (None, Decimal("15.1")),
    (Decimal("0.8"), Decimal(15)),
    (Decimal("0.81"), Decimal("15.1")),
)


@pytest.mark.parametrize("falls", [None, 0, 1, 2])
@pytest.mark.parametrize("unsteady", KNOWN)
def test_the_level_is_that_of_the_four_steps(falls: int | None, unsteady: bool | None) -> None:
    """Over every combination of answers and tests."""
    for fear, injury, lie, blackout, frailty, timed in product(*(KNOWN,) * 5, TIMED):
        answers = Answers(falls, unsteady, fear, injury, lie, blackout, frailty, *timed)
        judged = judge_fall_risk(ExamWorld(answers.exam(), knowledge(), NO_MEDICINES))

        assert answers.level() == judged.level, answers


URGENCIES = {"high": "soon", "intermediate": "routine", "low": "routine", "open": "routine"}


@pytest.mark.parametrize(
    ("answers", "level"),
    [
        (Answers(1, injury=True), "high"),
        (Answers(0, unsteady=False, fear=False), "low"),
        (Answers(), "open"),
        (Answers(0, unsteady=True, speed=Decimal("0.8")), "intermediate"),
        (Answers(0, unsteady=True), "open"),
    ],
)
def test_every_assessment_has_it_with_its_urgency(answers: Answers, level: str) -> None:
    """High within two weeks, the others routine."""
    found = assess(answers.exam(), knowledge()).fall_risk

    assert (level, URGENCIES[level]) == (found.level, found.urgency)
    assert ("montero2022", "nice_ng249", "vandeloo2024") == found.sources


# ---- untestable and half a walk


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("hx_falls_12m 0; hx_unsteady yes; walk_m 4.48; walk_s 5.6", "intermediate"),
        ("hx_falls_12m 0; hx_unsteady yes; walk_m 4.49; walk_s 5.6", "low"),
        # Half a walk was not timed, nor was one that could not be.
        ("hx_falls_12m 0; hx_unsteady yes; walk_m 4; tug_s 16", "intermediate"),
        ("hx_falls_12m 0; hx_unsteady yes; walk_m 4; walk_s untestable; tug_s 15", "low"),
        ("hx_falls_12m 0; hx_unsteady yes; walk_m 4; tug_s untestable", "open"),
        # Untestable is unknown.
        ("hx_falls_12m untestable; hx_unsteady no; hx_fear_of_falling no", "open"),
    ],
)
def test_a_walk_counts_once_it_was_timed(text: str, level: str) -> None:
    """Exactly at 0.8 m/s it is slow; timed up and go counts where no walk was timed."""
    assert level == assessed(text).fall_risk.level


# ---- what it rests on, and what it lacks


def missing(text: str) -> list[str | None]:
    """What the falls group still asks for."""
    return [reason.finding for reason in assessed(text).fall_risk.missing]


def because(text: str) -> list[str | None]:
    """What the falls group rests on."""
    return [reason.finding for reason in assessed(text).fall_risk.because]


def test_a_high_level_rests_on_the_fall_and_what_makes_it_severe() -> None:
    """The answers that are not part of it are left out."""
    text = "hx_falls_12m 1; hx_unsteady yes; hx_fall_lie yes; hx_fall_injury no; tug_s 9"

    assert ["hx_falls_12m", "hx_fall_lie"] == because(text)
    assert [] == missing(text)


def test_another_level_rests_on_every_answer_and_test() -> None:
    """No is an answer here: a low level rests on it."""
    assert ["hx_falls_12m", "hx_unsteady", "hx_fear_of_falling"] == because(
        "hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no"
    )


def test_what_a_level_rests_on_is_told_with_what_was_answered() -> None:
    """No falls and no answer about falls are not the same."""
    found = assessed("hx_falls_12m 0; hx_unsteady no").fall_risk.because

    assert [Reason("hx_falls_12m", None, 0), Reason("hx_unsteady", None, False)] == list(found)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ["hx_falls_12m", "hx_unsteady", "hx_fear_of_falling"]),
        ("hx_falls_12m 0; hx_fear_of_falling no", ["hx_unsteady"]),
        # No falls answers the three with no: they are not asked for.
        ("hx_falls_12m 0; hx_unsteady yes", ["tug_s", "walk_m", "walk_s"]),
        (
            "hx_falls_12m 1",
            [
                *("hx_fall_injury", "hx_fall_lie", "hx_fall_blackout", "hx_frailty"),
                *("tug_s", "walk_m", "walk_s"),
            ],
        ),
        # A severity answer still missing is named beside an intermediate level.
        (
            "hx_falls_12m 1; hx_fall_injury no; hx_fall_lie no; walk_m 4; walk_s 10",
            ["hx_fall_blackout", "hx_frailty"],
        ),
        (
            (
                "hx_falls_12m 1; hx_fall_injury no; hx_fall_lie no; hx_fall_blackout no;"
                " walk_m 4; walk_s 3"
            ),
            ["hx_frailty"],
        ),
        ("hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no", []),
        ("hx_falls_12m 2", []),
    ],
)
def test_what_the_level_lacks_is_named(text: str, expected: list[str]) -> None:
    """Only what could still change it."""
    assert sorted(expected) == sorted(each or "" for each in missing(text))


def test_an_answer_that_was_recorded_beside_no_falls_is_used_as_recorded() -> None:
    """It is told as a conflict, and counts as the fall that somebody remembered."""
    text = "hx_falls_12m 0; hx_fall_injury yes"

    assert "high" == assessed(text).fall_risk.level
    assert [("hx_falls_12m", "hx_fall_injury")] == [
        conflict.findings for conflict in assessed(text).conflicts
    ]


# ---- hazards


@pytest.mark.parametrize(
    ("text", "hazard"),
    [
        ("rise falls_back", "rise_falls_back"),
        ("rise unable", "rise_unable"),
        ("pull_test would_fall", "pull_test_fails"),
        ("freezing 1", "freezing"),
        ("festination yes", "festination"),
        ("turn_en_bloc 1", "turn_en_bloc"),
        ("base wide", "base_wide"),
        ("veering 1", "veering"),
        ("foot_drop left 1", "foot_drop"),
        ("lying_sys 120; standing_sys 100", "orthostatic_drop"),
        # 12 s or more, under 10 s: cdc_steadi; over 15 s: from memory, Buatois 2008.
        ("tug_s 12", "tug_slow"),
        ("tandem_stand_s 9.99", "tandem_short"),
        ("five_stands_s 15.01", "five_stands_slow"),
    ],
)
def test_a_hazard_with_what_it_rests_on(text: str, hazard: str) -> None:
    """Each by itself."""
    (found,) = assessed(text).hazards

    assert hazard == found.id
    assert {statement.split()[0] for statement in text.split("; ")} == {
        reason.finding for reason in found.because
    }


@pytest.mark.parametrize(
    "text",
    [
        *("rise slow", "rise pushes_off", "pull_test steps_back", "freezing 0", "festination no"),
        *("base narrow", "foot_drop each 0", "tug_s 11.99", "tandem_stand_s 10"),
        *("five_stands_s 15", "turn_steps 9", "rise untestable", "stands_30s 5"),
    ],
)
def test_what_is_no_hazard(text: str) -> None:
    """At the cutoff and below it, normal, or not known."""
    assert () == assessed(text).hazards


@pytest.mark.parametrize(
    ("stands", "age", "sex", "low"),
    [
        # cdc_steadi: below average under 12 for a man of 70, under 11 for a woman of 69.
        (11, 70, "male", True),
        (12, 70, "male", False),
        (10, 69, "female", True),
        (11, 69, "female", False),
        (0, 59, "male", False),
        (0, 95, "female", False),
        (0, None, "male", False),
        (0, 70, None, False),
    ],
)
def test_few_chair_stands_for_age_and_sex(
    stands: int, age: int | None, sex: str | None, low: bool
) -> None:
    """Known age and sex, within the ages of the norm."""
    found = assessed(f"stands_30s {stands}", age=age, sex=sex).hazards

    assert low == ("chair_stands_low" in {each.id for each in found})


def test_a_medicine_that_raises_the_risk_is_a_hazard() -> None:
    """seppala2021; it names the medicine."""
    (found,) = assessed(medicines=["temazepam 10 mg", "warfarin"]).hazards

    assert "medicine" == found.id
    assert [{"medicine": "temazepam", "class": "fall_risk_increasing"}] == [
        reason.as_json() for reason in found.because
    ]


def test_hazards_never_lower_or_raise_the_level() -> None:
    """They stand beside it."""
    answers = "hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no"

    assert "low" == assessed(f"{answers}; rise unable; freezing 3; base wide").fall_risk.level


def test_it_is_among_the_warnings_by_its_urgency() -> None:
    """After what is more urgent, and after what is as urgent and comes earlier in the contract."""
    found = assessed("hx_falls_12m 3; flap right 1; hx_swallowing yes; rise unable")

    assert ["flap", "swallowing", "fall_risk", "pull_test_unsafe"] == [
        each.id for each in found.warnings
    ]
    assert warning("fall_risk", "hx_falls_12m 3") == assessed("hx_falls_12m 3").fall_risk
