"""What is settled stays settled: proved of every exam and every fuller one, not sampled.

"More recorded" is a value in a cell that had none, the age or the sex, or a further medicine where
the list was not whole, as long as nothing recorded contradicts itself that did not before.
"""

from collections.abc import Callable

from tests.proofs.facts import Fact, if_then, not_
from tests.proofs.proving import Rule, TwoExams, more_recorded
from tests.proofs.solver import AnyExam

Relation = Callable[[AnyExam, AnyExam], list[Fact]]

# What may lose a yes when more is recorded: every one by its name. What a condition is only a part
# of (the signs of a warning, say) goes by the whole.
EXEMPT = {
    "`open` itself: a sign of unknown kind points somewhere until its kind is known": {
        "tremor_onset_unknown",
        "stiff_unknown_arm",
        "stiff_unknown_leg",
        "stiff_unknown",
        "parkinsonism_listed",
        "action_tremor_listed",
        "upper_motor_neuron_listed",
        "higher_level_gait_listed",
    },
    "a warning that asks only whether parkinsonism is listed, open or not": {
        "antipsychotic_sensitivity_soon",
        "antipsychotic_sensitivity_raised",
        "copper_disease_soon",
        "copper_disease_raised",
    },
    '"not known to" in a sign of emergency warnings': {
        "suspect_catch_arm",
        "suspect_catch_leg",
        "suspect_catch",
        "suspect_rigid_arm",
        "suspect_rigid_leg",
        "cord_sign_side",
        "cord_sign",
        "cord_sign_both_sides",
        "recent",
    },
    '"not known to" in an emergency warning: raised on suspicion, withdrawn by an answer': {
        "stroke_like_emergency",
        "stroke_like_raised",
        "rapid_weakness_emergency",
        "rapid_weakness_raised",
        "cord_compression_emergency",
        "cord_compression_raised",
        "drug_fever_rigidity_emergency",
        "drug_fever_rigidity_raised",
        "serotonin_excess_emergency",
        "serotonin_excess_raised",
        "acute_ataxia_emergency",
        "acute_ataxia_raised",
        "after_head_injury_emergency",
        "after_head_injury_raised",
    },
    'the same words in a warning of a lower urgency: "recent", or a catch not known to vary': {
        "rapid_weakness_same_day",
        "cord_compression_same_day",
        "short_course_soon",
        "short_course_raised",
    },
    "the falls group, which sums up what is known": {
        "slow_walk",
        "fall_risk, branch open",
        "fall_risk, branch intermediate",
        "fall_risk, branch low 2",
    },
    "nothing abnormal, which later findings can end": {
        "nothing_abnormal_fits",
        "nothing_abnormal_listed",
    },
    "what asks for a thing because it has not been recorded": {
        "pull_test_unsafe_routine",
        "pull_test_unsafe_raised",
        "parkinsonism, step check_standing_pressure",
        "fall_risk, step check_standing_pressure",
    },
    "a step that is left out once an emergency asks for the same": {
        "sensory_ataxia, step image_spine",
        "upper_motor_neuron, step image_spine",
    },
    "all rigidity that was felt, a limb whose tone is not known left aside": {
        "parkinsonism, qualifier only_on_activation",
    },
}

# What may lose a no. Nothing abnormal is listed only where it fits, so that nobody sees this no.
EXEMPT_FOR_NO = {
    "slow_walk",
    "severity_answered",
    "fall_risk, branch intermediate",
    "fall_risk, branch low 2",
    "nothing_abnormal_fits",
    "nothing_abnormal_listed",
    "sensory_ataxia, step image_spine",
    "upper_motor_neuron, step image_spine",
}

# Recorded as untestable, the slowness of the finger taps gives way to hand opening. Nothing else
# asks whether something was tried, but for the warning about a test that is still to come.
EXEMPT_WHEN_UNTESTABLE = {
    "core_bradykinesia_arm",
    "core_bradykinesia",
    "action_tremor_fits",
    "higher_level_gait_fits",
    "higher_level_gait_listed",
    "functional_cautioned",
    "functional_cautioned_by_signs",
    "copper_disease_soon",
    "copper_disease_raised",
    "test_copper, follows",
    "pull_test_unsafe_routine",
    "pull_test_unsafe_raised",
}


def test_a_settled_yes_stays_however_the_unknown_turns_out(two: TwoExams) -> None:
    """More information never turns a settled yes into a no or an unknown.

    Everything exempt is named one by one, with why, and needs it: for each there is an exam that
    loses it. Nothing else is exempt.
    """
    assert set().union(*EXEMPT.values()) == _losing(two, more_recorded, lost="yes")


def test_a_settled_no_stays_however_the_unknown_turns_out(two: TwoExams) -> None:
    """More information never turns a settled no into a yes or an unknown.

    So an emergency is never silently absent: what "not known to" leaves open counts as a yes.
    """
    assert _losing(two, more_recorded, lost="no") == EXEMPT_FOR_NO


def test_that_something_could_not_be_tested_settles_nothing_else(two: TwoExams) -> None:
    """Recording that a finding could not be tested changes nothing that is settled.

    Excepted is the one rule that says what then takes its place, and what rests on it.
    """
    lost = _losing(two, _tried, lost="yes") | _losing(two, _tried, lost="no")

    assert lost == EXEMPT_WHEN_UNTESTABLE


def _losing(two: TwoExams, relation: Relation, *, lost: str) -> set[str]:
    """The conditions that can lose a yes or a no between two exams that are related so."""
    with two.assuming(*relation(two.exam, two.later)):
        return {
            rule.name
            for rule in two.rules.values()
            if not _is_part(rule)
            for before, after in zip(rule.of(two.exam), rule.of(two.later), strict=True)
            if two.possible(getattr(before, lost), not_(getattr(after, lost)))
        }


def _is_part(rule: Rule) -> bool:
    """Whether it is only a part of a rule that has a name, or is no conclusion at all."""
    _, _, key = rule.name.partition(", ")
    return key.split(" ")[0] in ("requires", "core", "caution", "signs", "context", "tier") or (
        key.startswith("when") or "asks" in key
    )


def _tried(first: AnyExam, later: AnyExam) -> list[Fact]:
    """That in the later exam some more could not be tested, and all else is the same."""
    facts = [later.age.is_same(first.age), later.sex.is_same(first.sex)]
    for cell, held in first.cells.items():
        after = later.cells[cell]
        facts.append(after.known == held.known)
        facts.append(if_then(held.known, after.value == held.value))
        facts.append(if_then(held.untestable, after.untestable))
    facts += [later.signatures[names] == taken for names, taken in first.signatures.items()]
    return [*facts, later.list_is_whole == first.list_is_whole]
