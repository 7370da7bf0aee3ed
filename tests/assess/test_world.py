"""What one exam answers to a condition, and which cells stand behind the answer."""

import pytest

from app.assess.assess import world_of
from app.assess.assessment import Reason
from app.assess.world import ExamWorld, in_order
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge
from app.logic.expression import And, AnySide, Atom, Not
from app.logic.truth import NO, UNKNOWN, YES, Truth
from tests.assess.examined import exam_of

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def world(text: str = "", **given: object) -> ExamWorld:
    """The world of the exam that is written so."""
    return world_of(exam_of(text, **given), knowledge())  # type: ignore[arg-type]


def cells(reasons: tuple[Reason, ...]) -> list[str]:
    """The findings of a list of reasons, as `drift right`."""
    return [f"{each.finding} {each.side}" if each.side else str(each.finding) for each in reasons]


# ---- what recording more could change


@pytest.mark.parametrize(
    ("atom", "side", "text", "expected"),
    [
        (Atom("drift"), RIGHT, "drift left 1", True),
        (Atom("drift"), RIGHT, "drift right 0", False),
        # Whether something was recorded: until it was, or was found untestable, on that side.
        (Atom("posture_tremor_onset", "known"), RIGHT, "posture_tremor_onset left at_once", True),
        (Atom("posture_tremor_onset", "known"), RIGHT, "posture_tremor_onset right at_once", False),
        (
            Atom("posture_tremor_onset", "known"),
            RIGHT,
            "posture_tremor_onset right untestable",
            False,
        ),
        # A speed is known where its way and its time are.
        (Atom("walking_speed_m_per_s", "known"), None, "walk_m 4", True),
        (Atom("walking_speed_m_per_s", "known"), None, "walk_m 4; walk_s 5", False),
        (Atom("walking_speed_m_per_s", "known"), None, "walk_m 4; walk_s untestable", False),
        # Nobody is asked to find that something cannot be tested.
        (Atom("finger_tap_slow", "untestable"), RIGHT, "", False),
    ],
)
def test_whether_recording_more_could_change_an_answer(
    atom: Atom, side: Side | None, text: str, expected: bool
) -> None:
    """Only then is it missing, and asked for."""
    assert expected is world(text).can_change(atom, side)


def test_the_other_side() -> None:
    """What has no side has no other one either."""
    assert (LEFT, RIGHT, None) == tuple(world().other(side) for side in ("right", "left", None))


# ---- equal sums of grades, a stiff arm counted where it is rigid

ARMS = "rest_tremor_hand each 1; finger_tap_slow each 0; finger_tap_decrement each 0;"
ARMS += " finger_tap_halts each 0; arm_resistance left 0;"
STIFF = " arm_resistance right 1; arm_resistance_directions right both;"
STIFF += " arm_resistance_speed right same;"


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (" arm_resistance right 0", YES),
        (STIFF + " arm_resistance_varies right no", NO),
        # Rigid by one grade, and on the other side one grade more of tremor.
        (STIFF + " arm_resistance_varies right no; rest_tremor_hand left 2", YES),
        # Stiff, but not rigid: it counts nothing.
        (STIFF + " arm_resistance_varies right yes", YES),
        (STIFF + " arm_resistance_varies right yes; rest_tremor_hand left 2", NO),
        # Nobody knows whether it is.
        (STIFF, UNKNOWN),
    ],
)
def test_the_arms_are_equal_where_the_sums_are(more: str, expected: Truth) -> None:
    """Of tremor, taps and rigidity (postuma2015)."""
    assert expected is world(ARMS + more).truth(Atom("arms_equal"))


def test_all_that_the_sums_lack_is_named() -> None:
    """The grades, and what tells rigidity from other stiffness; right before left."""
    text = ARMS.replace("finger_tap_halts each", "finger_tap_halts right")
    lacking = world(f"{text}; arm_activation_only each no").unsettled(Atom("arms_equal"))

    assert [
        "finger_tap_halts left",
        "arm_resistance right",
        "arm_resistance_directions right",
        "arm_resistance_directions left",
        "arm_resistance_speed right",
        "arm_resistance_speed left",
        "arm_resistance_varies right",
        "arm_resistance_varies left",
    ] == cells(lacking)


# ---- the cells behind an answer


def test_a_reason_carries_what_was_recorded() -> None:
    """A finding with side and value, the age, and a medicine with the class it was asked for by."""
    found = world("drift each 2", age=23, medicines=["haloperidol"]).because(
        Atom("dopamine_blocking", "takes"),
        Atom("age", "<=", ("copper_age",)),
        AnySide(Atom("drift")),
    )

    assert (
        Reason("drift", RIGHT, 2),
        Reason("drift", LEFT, 2),
        Reason("age", None, 23),
        Reason(medicine="haloperidol", medicine_class="dopamine_blocking"),
    ) == found


def test_what_is_lacking_carries_no_value() -> None:
    """On the side where it is not known; of medicines the class, unless they are known."""
    asked = And((Atom("anticoagulant", "takes"), AnySide(Atom("drift"))))

    assert (Reason("drift", LEFT), Reason(medicine_class="anticoagulant")) == world(
        "drift right 0"
    ).unsettled(asked)
    assert (Reason("drift", LEFT),) == world("drift right 0", medicines=["warfarin"]).unsettled(
        asked
    )


def test_that_something_was_or_could_not_be_tested_is_no_finding() -> None:
    """It decides, and what was recorded is then no reason: any value would have done."""
    seen = world("hx_frailty no; finger_tap_slow right 0; finger_tap_slow left untestable")
    untestable = Not(AnySide(Atom("finger_tap_slow", "untestable")))

    assert () == seen.because(Atom("hx_frailty", "known"))
    assert () == seen.grounds(Atom("hx_frailty", "known"), untestable)
    assert () == world("finger_tap_slow each 0").grounds(untestable)


def test_reasons_stand_in_the_order_of_the_vocabulary() -> None:
    """Each once, right before left, the age after the findings and medicines last."""
    medicine, age = Reason(medicine="haloperidol", medicine_class="x"), Reason("age", None, 23)
    left, right, later = Reason("drift", LEFT, 1), Reason("drift", RIGHT, 1), Reason("veering")

    assert (right, left, later, age, medicine) == in_order(
        (medicine, later, age, left, right, left)
    )
