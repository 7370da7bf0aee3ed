"""Why a rule gives what it gives in one exam, and what would change that."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, example, given, settings

from app.assess.assess import assess, world_of
from app.assess.assessment import FITS
from app.assess.categories import level_of_exam
from app.assess.changes import IS_YES, MOST_CHANGED, Altered, smallest_changes
from app.assess.explain import (
    Condition,
    Explanation,
    explain_category,
    explain_falls,
    explain_warning,
)
from app.assess.results import NOT_RAISED
from app.assess.warnings import judge_warning
from app.exam.reading import parse_exam
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.cases import exam_of as exam_of_case
from app.knowledge.load import knowledge
from app.knowledge.outline import split
from app.logic.expression import AtLeast, Atom, Reference, walk
from app.logic.truth import NO, UNKNOWN, YES, at_least, conjunction, disjunction
from tests.assess.examined import exam_of, in_short
from tests.sampling import sampled
from tests.strategies import exams

KNOWN = knowledge()
CONTRACT = Path(__file__).parents[1] / "contract" / "cases.ndjson"
BRADYKINESIA = "finger_tap_slow left 2; finger_tap_decrement left 2"
RIGID = (
    "arm_resistance left 2; arm_resistance_directions left both; "
    "arm_resistance_speed left same; arm_resistance_varies left no"
)
QUIET = "finger_tap_slow each 0; toe_tap_slow each 0; hand_open_slow each 0"
NO_TREMOR = (
    "rest_tremor_hand each 0; rest_tremor_leg each 0; rest_tremor_jaw 0; "
    "walking_tremor_hand each 0; posture_tremor each 0"
)
SOFT = "arm_resistance each 0; leg_resistance each 0"


def explained(rule: str, text: str = "", exam: Exam | None = None, **given: object) -> Explanation:
    """A pattern or a warning in the exam that is written so."""
    exam = exam or exam_of(text, **given)  # type: ignore[arg-type]
    if rule in KNOWN.categories:
        return explain_category(exam, KNOWN, KNOWN.categories[rule])
    return explain_warning(exam, KNOWN, KNOWN.warnings[rule])


def conditions(told: Explanation) -> Iterator[Condition]:
    """Every condition that is shown, from the whole to the single statement."""
    waiting = [*told.requirement, *(each.condition for each in told.cautions)]
    waiting += [each.condition for each in told.tiers if each.condition]
    while waiting:
        first = waiting.pop(0)
        yield first
        waiting[:0] = first.items


def goal(told: Explanation, reach: str) -> list[tuple[str, list[str]]]:
    """The changes of one kind: the level each gives, and what is altered as `drift left: 2 > 0`."""
    changes = next(each.changes for each in told.goals if each.reach == reach)
    return [(change.level, [in_short(each) for each in change.altered]) for change in changes]


# ---- conditions


def test_each_condition_stands_with_its_answer_and_its_entries() -> None:
    """Bradykinesia with rigidity: one branch of the `or` is there, the other is not known."""
    told = explained("parkinsonism", f"{BRADYKINESIA}; {RIGID}")
    (whole,) = told.requirement
    slow, either = whole.items
    tremor, rigid = either.items

    assert ("parkinsonism", "fits", YES) == (told.rule, told.level, told.truth)
    assert ("All of:", YES) == (whole.text, whole.truth)
    assert ("Bradykinesia on either side", YES) == (slow.text, slow.truth)
    assert [("finger_tap_slow", 2), ("finger_tap_decrement", 2)] == [
        (entry.finding, entry.value) for entry in slow.entries
    ]
    assert ("One or more of:", YES) == (either.text, either.truth)
    assert ("Rest tremor anywhere", UNKNOWN) == (tremor.text, tremor.truth)
    assert () == tremor.entries
    assert "rest_tremor_hand" in [entry.finding for entry in tremor.lacking]
    assert ("Rigid limb on either side", YES) == (rigid.text, rigid.truth)
    assert 4 == len(rigid.entries)


def test_a_no_stands_with_what_makes_it_one() -> None:
    """Not only what speaks for a rule is named."""
    told = explained("parkinsonism", f"{QUIET}; rest_tremor_hand left 2")
    slow = told.requirement[0].items[0]

    assert ("partial", NO) == (told.level, told.truth)
    assert NO is slow.truth
    assert 6 == len(slow.entries)
    assert {0} == {entry.value for entry in slow.entries}


def test_a_caution_stands_with_its_answer_and_its_source() -> None:
    """What is there, what is not, and what nobody looked at."""
    told = explained(
        "parkinsonism", f"{BRADYKINESIA}; rest_tremor_hand left 1; vertical_gaze slow; base normal"
    )
    answers = {each.says: each.condition.truth for each in told.cautions}

    assert "fits_with_cautions" == told.level
    assert YES is answers["Vertical gaze slow or limited"]
    assert NO is answers["Wide base"]
    assert UNKNOWN is answers["Limb apraxia"]
    gaze = next(each for each in told.cautions if each.condition.truth is YES)
    assert {"postuma2015", "hoglinger2017"} == {each.source for each in gaze.support}


def test_the_whole_may_be_sure_where_a_part_is_not() -> None:
    """decisions/0009: what is true in every completion is true, though its parts are not known.

    A limb that is stiff both ways without coming and going is rigid, or it is spastic.
    """
    told = explained(
        "short_course",
        "arm_resistance right 2; arm_resistance_directions right both; "
        "arm_resistance_varies right no; hx_recent_worsening yes",
    )

    assert ("soon", YES) == (told.level, told.truth)
    assert [UNKNOWN, YES] == [each.truth for each in told.requirement]


def test_the_pattern_that_is_built_from_the_vocabulary_has_no_list() -> None:
    """A hundred lines that all say normal are read by nobody."""
    told = explained("nothing_abnormal", "rest_tremor_hand left 2")

    assert () == told.requirement
    assert ("not_supported", NO) == (told.level, told.truth)


def test_a_warning_shows_signs_context_and_urgencies() -> None:
    """The tier that is reached is the one that counts."""
    told = explained("rapid_weakness", "weak_leg right 2; weak_leg left 0; hx_onset days_weeks")

    assert ("rapid_weakness", "same_day") == (told.rule, told.level)
    assert ["emergency", "same_day"] == [tier.level for tier in told.tiers]
    assert [YES, YES] == [each.truth for each in told.requirement]
    emergency, same_day = told.tiers
    assert emergency.condition is not None
    assert (UNKNOWN, False) == (emergency.condition.truth, emergency.is_reached)
    assert (None, True) == (same_day.condition, same_day.is_reached)


def test_a_warning_that_is_not_raised_says_so() -> None:
    """With what it lacks."""
    told = explained("stroke_like", "drift left 2")

    assert (NOT_RAISED, UNKNOWN) == (told.level, told.truth)
    assert [] == [tier for tier in told.tiers if tier.is_reached]
    assert {"hx_onset", "hx_years"} >= {entry.finding for entry in told.requirement[1].lacking}


def test_a_warning_without_a_context_has_one_part() -> None:
    """Its signs."""
    assert 1 == len(explained("swallowing").requirement)


def test_the_falls_group_shows_its_branches_and_the_one_that_counts() -> None:
    """The first that is so (montero2022)."""
    told = explain_falls(exam_of("hx_falls_12m 1; hx_fall_injury yes"), KNOWN)

    assert ("fall_risk", "high", YES, ()) == (told.rule, told.level, told.truth, told.requirement)
    assert [True, *[False] * 5] == [tier.is_reached for tier in told.tiers]
    assert [(each.level, each.says) for each in KNOWN.fall_risk.branch] == [
        (tier.level, tier.says) for tier in told.tiers
    ]
    assert (YES, None) == (
        told.tiers[0].condition and told.tiers[0].condition.truth,
        told.tiers[-1].condition,
    )


def test_of_two_branches_of_the_falls_group_that_hold_the_first_counts() -> None:
    """And of one that does not hold nothing is reached (montero2022)."""
    told = explain_falls(exam_of("hx_falls_12m 0; hx_unsteady no; hx_fear_of_falling no"), KNOWN)

    assert "low" == told.level
    assert ["low"] == [tier.level for tier in told.tiers if tier.is_reached]


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(exams())
def test_a_condition_is_what_its_parts_make_of_it(exam: Exam) -> None:
    """A reader can check every line from the lines under it."""
    for category in KNOWN.categories.values():
        for told in conditions(explain_category(exam, KNOWN, category)):
            if told.items:
                assert told.truth is joined(told.text, [each.truth for each in told.items])


def joined(words: str, parts: list[object]) -> object:
    """What the words of a list say of its parts (the tables of strong Kleene logic)."""
    found = re.fullmatch(r"(All|None|One or more|At least ([0-9]+)) of:", words)
    assert found, words
    truths = [part for part in (YES, NO, UNKNOWN) for each in parts if each is part]
    if found[1] == "All":
        return conjunction(truths)
    if found[1] == "None":
        return {YES: NO, NO: YES, UNKNOWN: UNKNOWN}[disjunction(truths)]
    return at_least(int(found[2] or 1), truths)


@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(exams())
def test_an_explanation_says_what_the_assessment_says(exam: Exam) -> None:
    """The same level, and a caution that is there in the one is there in the other."""
    assessment = assess(exam, KNOWN)
    urgencies = {each.id: each.urgency for each in assessment.warnings}
    for found in assessment.categories:
        told = explained(found.id, exam=exam)
        assert found.level == told.level
        if found.level == "fits":
            assert YES not in [each.condition.truth for each in told.cautions]
    for warning in KNOWN.warnings:
        assert urgencies.get(warning, NOT_RAISED) == explained(warning, exam=exam).level
    assert assessment.fall_risk.level == explain_falls(exam, KNOWN).level


# ---- the smallest change


def test_one_finding_less_can_end_it() -> None:
    """Slow taps with decrement and a rest tremor: each of the three is needed (postuma2015)."""
    told = explained("parkinsonism", f"{BRADYKINESIA}; rest_tremor_hand left 1")

    assert [
        ("open", ["rest_tremor_hand left: 1 > 0"]),
        ("open", ["finger_tap_slow left: 2 > 0"]),
        ("open", ["finger_tap_decrement left: 2 > 0"]),
    ] == goal(told, "no_longer")


def test_with_two_reasons_for_it_none_alone_ends_it() -> None:
    """Tremor and rigidity stand in for each other, so only what both need is left."""
    told = explained("parkinsonism", f"{BRADYKINESIA}; {RIGID}; rest_tremor_hand left 1")

    assert [["finger_tap_slow left: 2 > 0"], ["finger_tap_decrement left: 2 > 0"]] == [
        altered for _, altered in goal(told, "no_longer")
    ]


def test_one_finding_more_can_make_it_fit() -> None:
    """What was found absent is named with what was recorded, what is unknown without."""
    told = explained("parkinsonism", f"{BRADYKINESIA}; {NO_TREMOR}; {SOFT}")
    found = {altered[0]: level for level, altered in goal(told, "fits")}

    assert "partial" == told.level
    assert "fits" == found["rest_tremor_hand right: 0 > 2"]
    assert "fits" == found["rest_tremor_jaw: 0 > 2"]
    assert [] == [each for each in found if each.startswith(("posture", "arm", "leg"))]


def test_where_two_are_needed_both_are_named() -> None:
    """Weakness from nerve or muscle takes a weak leg and a jerk that is gone."""
    told = explained("neuromuscular_weakness", "hip_waddle 0; foot_drop each 0; clonus each no")

    assert ["foot_drop right: 0 > 2", "reflexes_absent right: ? > True"] in [
        altered for _, altered in goal(told, "fits")
    ]
    assert {2} == {len(altered) for _, altered in goal(told, "fits")}


def test_what_would_need_three_is_not_listed() -> None:
    """From an empty exam to parkinsonism it takes slow, decrement and a tremor."""
    assert [] == goal(explained("parkinsonism"), "fits")


def test_a_medicine_can_be_what_the_caution_rests_on() -> None:
    """shin2012. The line that names it is left out, and nothing else."""
    text = f"{BRADYKINESIA}; rest_tremor_hand left 1"
    told = explained("parkinsonism", text, medicines=["metoclopramide 10 mg", "ramipril"])
    ((level, altered),) = goal(told, "no_caution")

    assert ("fits", ["parkinsonism_causing: True > False"]) == (level, altered)
    change = told.goals[0].changes[0].altered[0]
    assert (True, ("metoclopramide",)) == (change.is_medicine, change.medicines)


def test_a_medicine_is_thought_into_a_list_only_where_the_list_is_not_known() -> None:
    """A list that was recorded is complete."""
    slow = "finger_tap_slow left 1"
    unknown = explained("dopamine_blocker", slow)
    taken = explained("dopamine_blocker", slow, medicines=["haloperidol"])

    assert [("soon", ["parkinsonism_causing: ? > True"])] == goal(unknown, "raised")
    assert [] == goal(explained("dopamine_blocker", slow, medicines=[]), "raised")
    assert (NOT_RAISED, ["parkinsonism_causing: True > False"]) in goal(taken, "not_raised")


def test_equal_sums_end_with_one_grade() -> None:
    """A symmetric picture is a caution (postuma2015); one grade more or less on a side ends it."""
    both = (
        "finger_tap_slow each 2; finger_tap_decrement each 2; finger_tap_halts each 0; "
        "toe_tap_slow each 0; toe_tap_decrement each 0; toe_tap_halts each 0; "
        "rest_tremor_hand each 1; rest_tremor_leg each 0; arm_resistance each 0; "
        "leg_resistance each 0"
    )
    told = explained("parkinsonism", both, medicines=[])
    found = [altered for _, altered in goal(told, "no_caution")]

    assert "fits_with_cautions" == told.level
    assert ["rest_tremor_hand right: 1 > 0"] in found
    assert ["rest_tremor_leg left: 0 > 1"] in found


def test_sums_can_be_made_equal_where_that_is_wanted() -> None:
    """No rule asks for it as yet, so the search is asked itself."""
    uneven = (
        "finger_tap_slow right 2; finger_tap_slow left 1; finger_tap_decrement each 0; "
        "finger_tap_halts each 0; rest_tremor_hand each 0; arm_resistance each 0"
    )
    world = world_of(exam_of(uneven), KNOWN)
    atom = Atom("arms_equal")
    found = smallest_changes(
        world, atom, IS_YES, lambda changed: changed.judge(atom, None).value, "yes".__eq__
    )

    assert ["finger_tap_slow right: 2 > 1", "finger_tap_slow left: 1 > 2"] == [
        in_short(change.altered[0])
        for change in found
        if change.altered[0].name == "finger_tap_slow"
    ]


def test_recording_something_can_be_what_ends_a_warning() -> None:
    """The pull test that was done need not be warned of any more."""
    told = explained("pull_test_unsafe", "rise unable")

    assert (NOT_RAISED, ["pull_test: ? > recovers"]) in goal(told, "not_raised")
    assert (NOT_RAISED, ["rise: unable > normal"]) in goal(told, "not_raised")


def test_what_could_not_be_tested_is_marked() -> None:
    """It is not merely unrecorded."""
    told = explained("vertical_gaze", "vertical_gaze untestable")

    assert {True} == {
        each.is_untestable for change in told.goals[0].changes for each in change.altered
    }


def test_numbers_are_taken_as_they_are() -> None:
    """A pressure cannot be thought away."""
    assert [] == goal(
        explained("orthostatic_drop", "lying_sys 140; standing_sys 110"), "not_raised"
    )


# ---- the changes, checked by trying them all

SAMPLES = [
    pytest.param(exam_of_case(case), rule.id, id=f"{rule.id}: {case.name}")
    for rule, cases in (
        *((category, category.case) for category in KNOWN.categories.values()),
        *((warning, warning.case) for warning in KNOWN.warnings.values()),
    )
    for case in cases
]


def level_in(exam: Exam, rule: str) -> str:
    """What the assessment gives, by the long way."""
    assessment = assess(exam, KNOWN)
    if rule in KNOWN.categories:
        return next(each.level for each in assessment.categories if each.id == rule)
    return next((each.urgency for each in assessment.warnings if each.id == rule), NOT_RAISED)


def quick_level_in(exam: Exam, rule: str) -> str:
    """The same without the rest of the assessment."""
    world = world_of(exam, KNOWN)
    if rule in KNOWN.categories:
        return level_of_exam(world, KNOWN.categories[rule])
    raised = judge_warning(world, KNOWN.warnings[rule])
    return raised.urgency if raised else NOT_RAISED


def reached(reach: str, level: str) -> bool:
    """Whether a level is what was looked for."""
    return {
        "fits": level in FITS,
        "no_caution": level == "fits",
        "no_longer": level not in FITS,
        "raised": level != NOT_RAISED,
        "not_raised": level == NOT_RAISED,
    }[reach]


def with_changes(exam: Exam, altered: tuple[Altered, ...]) -> Exam:
    """The exam as it would be: cells of another value, medicine lines left out, or one more."""
    cells: dict[Cell, Value] = {}
    lines = exam.medicines
    for each in altered:
        if not each.is_medicine:
            cells[each.name, each.side] = each.becomes
        elif each.becomes:
            lines = (*(lines or ()), one_of(each.name))
        else:
            lines = tuple(
                line for line in lines or () if not any(name in line for name in each.medicines)
            )
    return replace(exam, cells=MappingProxyType({**exam.cells, **cells}), medicines=lines)


@cache
def one_of(medicine_class: str) -> str:
    """An ingredient of a class, or the one named."""
    classes = KNOWN.medicines.classes
    return classes[medicine_class].ingredients[0] if medicine_class in classes else medicine_class


def single_changes(exam: Exam) -> Iterator[tuple[Cell, Exam]]:
    """Every exam that differs in one cell, numbers left as they are."""
    for finding in vocabulary().values():
        values: tuple[Value, ...] = finding.values
        if finding.scale is Scale.GRADE:
            values = (0, 2)
        elif finding.scale is Scale.YESNO:
            values = (False, True)
        for side in finding.sides:
            for value in values:
                if exam.value(finding.id, side) != value:
                    cells = {**exam.cells, (finding.id, side): value}
                    yield (finding.id, side), replace(exam, cells=MappingProxyType(cells))


@pytest.mark.parametrize(("exam", "rule"), sampled(SAMPLES, 3))
def test_every_change_gives_the_level_it_says_and_no_smaller_one_does(
    exam: Exam, rule: str
) -> None:
    """The exam is really altered and really assessed; then every exam that differs in one cell is.

    What one cell does must be listed, and where two are listed, one must not be enough.
    """
    told = explained(rule, exam=exam)
    singles = [(cell, quick_level_in(other, rule)) for cell, other in single_changes(exam)]
    for each in told.goals:
        sizes = {len(change.altered) for change in each.changes}
        assert len(sizes) <= 1
        for change in each.changes:
            assert change.level == level_in(with_changes(exam, change.altered), rule)
            assert reached(each.reach, change.level)
            assert len(change.altered) <= MOST_CHANGED
        expected = {cell for cell, level in singles if reached(each.reach, level)}
        listed = {
            (change.altered[0].name, change.altered[0].side)
            for change in each.changes
            if len(change.altered) == 1 and not change.altered[0].is_medicine
        }
        assert expected == listed, each.reach


def mentioned(rule: str) -> set[str]:
    """Every finding that a rule speaks of, through whatever signs."""
    names: set[str] = set()
    waiting = [f"{rule}_fits" if rule in KNOWN.categories else f"{rule}_raised"]
    while waiting:
        for part in walk(KNOWN.definitions[waiting.pop()].expression):
            if isinstance(part, Reference):
                waiting.append(part.name)
            elif isinstance(part, Atom):
                names.add(part.name)
    return names


@pytest.mark.parametrize("text", ["", "weak_leg each 0; weak_arm each 0; hx_onset sudden"])
@pytest.mark.parametrize(
    "rule", ["paratonia", "sensory_ataxia", "neuromuscular_weakness", "rapid_weakness", "wernicke"]
)
def test_where_one_is_not_enough_every_pair_that_is_stands_in_the_list(
    text: str, rule: str
) -> None:
    """All pairs of cells that the rule speaks of are tried, for rules that speak of few."""
    exam, spoken = exam_of(text), mentioned(rule)
    told = explained(rule, exam=exam)
    for each in told.goals:
        if any(len(change.altered) == 1 for change in each.changes):
            continue
        listed = {frozenset((a.name, a.side) for a in change.altered) for change in each.changes}
        found = {
            frozenset((one, two))
            for one, changed in single_changes(exam)
            if one[0] in spoken
            for two, twice in single_changes(changed)
            if two[0] in spoken and two != one and reached(each.reach, quick_level_in(twice, rule))
        }

        assert found == listed


def test_what_is_asked_for_on_both_sides_is_changed_on_both() -> None:
    """An action tremor of both hands (bhatia2018), in an exam that is normal but for it."""
    told = explained(
        "action_tremor",
        f"kinetic_tremor each 0; posture_tremor each 0; {QUIET}; {SOFT}; dystonia each 0; "
        "dystonia_midline 0; dysmetria each 0",
    )

    assert [("fits", ["kinetic_tremor right: 0 > 2", "kinetic_tremor left: 0 > 2"])] == goal(
        told, "fits"
    )


@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@example(exam_of(f"{BRADYKINESIA}; {RIGID}; nystagmus yes; veering 1; hx_levodopa none"))
@given(exams())
def test_every_change_in_any_exam_gives_the_level_it_says(exam: Exam) -> None:
    """The property that the page promises, over drawn exams and every rule."""
    for rule in (*KNOWN.categories, *KNOWN.warnings):
        for each in explained(rule, exam=exam).goals:
            for change in each.changes[:10]:
                level = quick_level_in(with_changes(exam, change.altered), rule)
                assert change.level == level, rule
                assert reached(each.reach, level), rule


@pytest.mark.parametrize("line", sampled(CONTRACT.read_text(encoding="utf-8").splitlines()[:12], 3))
def test_the_contract_s_exams_can_be_explained(line: str) -> None:
    """Every rule, without a failure."""
    held = json.loads(line)
    exam = parse_exam(json.dumps(held["exam"]))
    for rule in (*KNOWN.categories, *KNOWN.warnings):
        told = explained(rule, exam=exam)
        assert told.level == level_in(exam, rule)


def test_split_and_the_words_of_a_list_agree() -> None:
    """The words that a reader checks by are those of the tree."""
    counted = next(
        part
        for part in split(KNOWN.requirement(KNOWN.categories["cerebellar_ataxia"]))[1]
        if isinstance(part, AtLeast)
    )

    assert ("at least 2 of", counted.members) == split(counted)
