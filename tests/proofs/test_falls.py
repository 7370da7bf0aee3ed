"""The falls group: one level in every exam, never lower for a worse answer."""

from tests.proofs.claims import FALL_LEVELS, branches, fall_level
from tests.proofs.facts import Fact, all_of, any_of, if_then, none_of, not_
from tests.proofs.places import rests_on
from tests.proofs.proving import Proofs, TwoExams, more_recorded, same_but
from tests.proofs.solver import AnyExam

SEVERE = ("hx_fall_injury", "hx_fall_lie", "hx_fall_blackout")
YES_OR_NO = ("hx_unsteady", "hx_fear_of_falling", *SEVERE, "hx_frailty")
MEASURED = ("tug_s", "walk_m", "walk_s")
ANSWERS = ("hx_falls_12m", *YES_OR_NO, *MEASURED)


def test_every_exam_has_one_falls_level(proofs: Proofs) -> None:
    """Every exam has just one level, an empty one too."""
    given = branches(proofs.exam)

    assert proofs.never(none_of(*given)) is None
    for place, one in enumerate(given):
        for other in given[place + 1 :]:
            assert proofs.never(one, other) is None


def test_a_worse_answer_never_lowers_the_falls_level(two: TwoExams) -> None:
    """More falls, a yes in place of a no or of nothing, a slower walk: low < intermediate < high.

    High stays high, and intermediate becomes nothing but high. Open stands outside that order: it
    says that something is missing. A worse answer can settle an open level as low, but only where
    the walk is known not to be slow.
    """
    with two.assuming(*_worse(two.exam, two.later)):
        before = {level: fall_level(two.exam, level) for level in FALL_LEVELS}
        after = {level: fall_level(two.later, level) for level in FALL_LEVELS}
        not_slow = two.exam.named("slow_walk").no

        assert two.never_then(before["high"], not_(after["high"])) is None
        above = any_of(after["intermediate"], after["high"])
        assert two.never_then(before["intermediate"], not_(above)) is None
        assert two.never_then(before["open"], after["low"], not_(not_slow)) is None


def test_a_fall_with_a_mark_of_severity_is_always_high(proofs: Proofs) -> None:
    """Injury, an hour on the floor, a possible blackout, two falls, or a fall in frailty: high.

    And nothing else is.
    """
    exam = proofs.exam
    falls = exam.held("hx_falls_12m")
    severe = [exam.present(each) for each in SEVERE]
    repeated = all_of(falls.known, falls.value >= 2)
    frail = all_of(falls.known, falls.value >= 1, exam.present("hx_frailty"))
    marked = any_of(*severe, repeated, frail)

    assert proofs.never(marked, not_(fall_level(exam, "high"))) is None
    assert proofs.never(fall_level(exam, "high"), not_(marked)) is None


def test_no_to_the_three_questions_is_always_low(proofs: Proofs) -> None:
    """No fall, not unsteady, not worried: low, unless an answer to another question contradicts."""
    exam = proofs.exam
    no = [exam.absent(each) for each in ("hx_falls_12m", "hx_unsteady", "hx_fear_of_falling")]
    low, contradicted = fall_level(exam, "low"), any_of(*exam.conflicts)

    assert proofs.never(*no, not_(low), not_(contradicted)) is None


def test_more_recorded_never_takes_back_a_high_level(two: TwoExams) -> None:
    """A high level stays high, and so does a low one by the three questions, whatever follows."""
    no = ("hx_falls_12m", "hx_unsteady", "hx_fear_of_falling")
    low = all_of(*(two.exam.absent(each) for each in no), fall_level(two.exam, "low"))
    with two.assuming(*more_recorded(two.exam, two.later)):
        high = fall_level(two.exam, "high")

        assert two.never_then(high, not_(fall_level(two.later, "high"))) is None
        assert two.never_then(low, not_(fall_level(two.later, "low"))) is None


def test_the_falls_level_rests_on_its_questions_and_timed_tests_alone(proofs: Proofs) -> None:
    """No hazard, age or medicine raises or lowers it."""
    asked: set[str] = set()
    for branch in proofs.knowledge.fall_risk.branch:
        if branch.when is not None:
            asked |= rests_on(proofs.knowledge, proofs.knowledge.conditions[branch.when])

    assert asked == set(ANSWERS)


def _worse(before: AnyExam, after: AnyExam) -> list[Fact]:
    """That no answer to the questions is better than before, and all else is the same."""
    facts = same_but(before, after, *((each, None) for each in ANSWERS))
    falls, falls_after = before.held("hx_falls_12m"), after.held("hx_falls_12m")
    facts += [
        if_then(falls.known, all_of(falls_after.known, falls_after.value >= falls.value)),
        if_then(not_(falls.known), any_of(not_(falls_after.known), falls_after.value >= 1)),
    ]
    for each in YES_OR_NO:
        held, later = before.held(each), after.held(each)
        facts += [
            if_then(held.known, later.known),
            if_then(before.present(each), after.present(each)),
            if_then(not_(held.known), any_of(not_(later.known), after.present(each))),
        ]
    return [*facts, _slower_walk(before, after), _slower_up_and_go(before, after)]


def _slower_walk(before: AnyExam, after: AnyExam) -> Fact:
    """No walk and none later, or a slow one; or the same way in more time, or less of it."""
    metres, seconds = (before.held(each) for each in ("walk_m", "walk_s"))
    metres_after, seconds_after = (after.held(each) for each in ("walk_m", "walk_s"))
    both, both_after = (
        all_of(metres.known, seconds.known),
        all_of(metres_after.known, seconds_after.known),
    )
    further, longer = metres_after.value <= metres.value, seconds_after.value >= seconds.value
    slow = metres_after.value * 10 <= seconds_after.value * 8
    timed = if_then(both, all_of(both_after, further, longer))
    return all_of(timed, if_then(not_(both), any_of(not_(both_after), slow)))


def _slower_up_and_go(before: AnyExam, after: AnyExam) -> Fact:
    held, later = before.held("tug_s"), after.held("tug_s")
    slower = if_then(held.known, all_of(later.known, later.value >= held.value))
    return all_of(slower, if_then(not_(held.known), any_of(not_(later.known), later.value > 15)))
