"""What must never be concluded, and what must always be, said of the findings themselves.

Each promise is written out in findings, not in the signs that rules are made of, so that it does
not depend on how a rule is put together. A promise about what fits holds of exact decisions too:
what is so in every completion is so in the complete ones, of which it is proved as well.
"""

from app.assess.categories import level_of
from app.exam.vocabulary import SIDES, Side, vocabulary
from app.knowledge.names import tier_name
from app.logic.expression import Reference
from app.logic.truth import NO, UNKNOWN, YES
from tests.proofs.exams import in_solver
from tests.proofs.facts import Fact, all_of, any_of, if_then, none_of, not_
from tests.proofs.places import rests_on
from tests.proofs.proving import Proofs
from tests.proofs.solver import AnyExam

LIMBS = ("arm", "leg")
TASKS = ("finger_tap", "hand_open", "toe_tap")
LEVEL = ("listed", "cautioned")
FUNCTIONAL = ("tremor_entrains", "tremor_distractible", "movement_inconsistent", "knee_buckling")


# ---- bradykinesia and parkinsonism


def test_slow_alone_is_never_bradykinesia(proofs: Proofs) -> None:
    """Bradykinesia is never there without one task that is both slow and shrinking or halting."""
    exam = proofs.exam
    for side in SIDES:
        for limb, tasks in (("arm", TASKS[:2]), ("leg", TASKS[2:])):
            found = exam.named(f"bradykinesia_{limb}", side).yes
            shown = any_of(*(slow_and_shrinking(exam, task, side) for task in tasks))

            assert proofs.never(found, not_(shown)) is None
            assert proofs.never(shown, not_(found)) is None


def test_parkinsonism_never_fits_without_bradykinesia(proofs: Proofs) -> None:
    """Rigidity alone, or with tremor of whatever kind, never makes parkinsonism fit.

    Some task on some side has to be slow and to shrink or halt.
    """
    exam = proofs.exam
    shown = (slow_and_shrinking(exam, task, side) for task in TASKS for side in SIDES)

    assert proofs.never(exam.named("parkinsonism_fits").yes, none_of(*shown)) is None


def test_bradykinesia_alone_never_makes_parkinsonism_fit(proofs: Proofs) -> None:
    """A rest tremor or a limb that is stiff in both directions, alike at every speed, is needed."""
    exam = proofs.exam
    tremor = [exam.present("rest_tremor_jaw")]
    for side in SIDES:
        tremor += [exam.present(f"rest_tremor_{part}", side) for part in ("hand", "leg")]
        tremor += [exam.present("walking_tremor_hand", side), exam.present("posture_tremor", side)]
    stiff = [as_rigidity(exam, limb, side) for limb in LIMBS for side in SIDES]

    fits = exam.named("parkinsonism_fits").yes
    assert proofs.never(fits, none_of(*tremor, *stiff)) is None


def test_a_stiff_neck_decides_nothing(proofs: Proofs) -> None:
    """Whether the neck is stiff changes no category's level but that of nothing abnormal."""
    for category in proofs.knowledge.categories:
        if category != "nothing_abnormal":
            for what in LEVEL:
                asked = rests_on(proofs.knowledge, Reference(f"{category}_{what}"))

                assert "neck_resistance" not in asked, category


# ---- tone


def test_a_catch_never_counts_as_rigidity(proofs: Proofs) -> None:
    """A limb with a catch when it is moved fast is never rigid, nor is parkinsonism's rigidity."""
    exam = proofs.exam
    for limb in LIMBS:
        for side in SIDES:
            catch = exam.chosen(f"{limb}_resistance_speed", "catch", side)
            for rigid in (f"rigid_{limb}", f"tone_{limb}:rigidity"):
                assert proofs.never(catch, not_(exam.named(rigid, side).no)) is None


def test_rigidity_is_felt_in_both_directions_and_does_not_come_and_go(proofs: Proofs) -> None:
    """A limb is rigid just where it resists, both ways, alike at every speed and all the time."""
    exam = proofs.exam
    for limb in LIMBS:
        for side in SIDES:
            rigid, shown = exam.named(f"rigid_{limb}", side).yes, as_rigidity(exam, limb, side)

            assert proofs.never(rigid, not_(shown)) is None
            assert proofs.never(shown, not_(rigid)) is None


def test_a_limb_has_at_most_one_kind_of_tone(proofs: Proofs) -> None:
    """Normal, paratonia, spasticity, mixed, rigidity and unclear exclude each other.

    Where all that decides is known, it is just one of them. So it is with the onset of a tremor.
    """
    exam = proofs.exam
    for kind in proofs.knowledge.kinds.values():
        for side in SIDES:
            values = [exam.named(f"{kind.id}:{value.id}", side) for value in kind.values]
            for place, value in enumerate(values):
                others = values[:place] + values[place + 1 :]
                assert proofs.never(value.yes, any_of(*(each.yes for each in others))) is None
                assert proofs.never(value.yes, any_of(*(not_(each.no) for each in others))) is None
    for limb in LIMBS:
        for side in SIDES:
            details = ("", "_varies", "_speed", "_directions")
            known = (exam.held(f"{limb}_resistance{each}", side).known for each in details)
            values = [
                exam.named(f"tone_{limb}:{value.id}", side).yes
                for value in proofs.knowledge.kinds[f"tone_{limb}"].values
            ]
            assert proofs.never(*known, none_of(*values)) is None


# ---- tremor


def test_a_posture_tremor_of_unknown_onset_settles_neither_kind(proofs: Proofs) -> None:
    """Without how it starts, it is neither rest tremor nor action tremor, and rules out neither.

    A yes to either comes from another finding; with the others known to be absent both are open.
    """
    exam = proofs.exam
    for side in SIDES:
        rest, action = exam.named("rest_tremor", side), exam.named("action_tremor", side)
        at_rest = ("rest_tremor_hand", "rest_tremor_leg", "walking_tremor_hand")
        unknown = [
            exam.present("posture_tremor", side),
            not_(exam.held("posture_tremor_onset", side).known),
            not_(exam.held("posture_tremor_delay_s", side).known),
        ]
        other_rest = [exam.present(each, side) for each in at_rest]
        other_action = exam.present("kinetic_tremor", side)

        assert proofs.never(*unknown, rest.yes, none_of(*other_rest)) is None
        assert proofs.never(*unknown, action.yes, not_(other_action)) is None
        assert proofs.never(*unknown, any_of(rest.no, action.no)) is None


def test_a_known_onset_settles_which_kind_a_posture_tremor_is(proofs: Proofs) -> None:
    """After a delay it is no action tremor, at once no rest tremor, unless something else is.

    The delay in seconds tells as well as the words do, where only it was recorded.
    """
    exam = proofs.exam
    for side in SIDES:
        onset, delay = (
            exam.held("posture_tremor_onset", side),
            exam.held("posture_tremor_delay_s", side),
        )
        by_delay = all_of(not_(onset.known), delay.known)
        delayed = any_of(
            exam.chosen("posture_tremor_onset", "delayed", side), all_of(by_delay, delay.value >= 2)
        )
        at_once = any_of(
            exam.chosen("posture_tremor_onset", "at_once", side), all_of(by_delay, delay.value < 2)
        )
        none_at_rest = [
            exam.absent(each, side)
            for each in ("rest_tremor_hand", "rest_tremor_leg", "walking_tremor_hand")
        ]
        action, rest = exam.named("action_tremor", side), exam.named("rest_tremor", side)
        without_kinetic = exam.absent("kinetic_tremor", side)

        assert proofs.never(delayed, without_kinetic, not_(action.no)) is None
        assert proofs.never(at_once, *none_at_rest, not_(rest.no)) is None
        tremor = exam.present("posture_tremor", side)
        assert proofs.never(tremor, delayed, not_(rest.yes)) is None
        assert proofs.never(tremor, at_once, not_(action.yes)) is None


def test_action_tremor_never_fits_beside_signs_of_another_disorder(proofs: Proofs) -> None:
    """It never fits beside dystonia, dysmetria, a rigid limb, or slow shrinking taps."""
    exam = proofs.exam
    beside = [exam.present("dystonia_midline")]
    for side in SIDES:
        beside += [exam.present(each, side) for each in ("dystonia", "dysmetria")]
        beside += [as_rigidity(exam, limb, side) for limb in LIMBS]
        beside += [slow_and_shrinking(exam, task, side) for task in ("finger_tap", "toe_tap")]

    assert proofs.never(exam.named("action_tremor_fits").yes, any_of(*beside)) is None


# ---- what stands for itself


def test_functional_is_never_reached_without_a_positive_sign(proofs: Proofs) -> None:
    """The functional pattern is never listed because nothing else fits.

    At any level one of its four signs was seen; to fit, the rhythm taken over or two others.
    """
    exam = proofs.exam
    seen = {sign: exam.present(sign) for sign in FUNCTIONAL}
    pairs = [
        all_of(seen[one], seen[other])
        for place, one in enumerate(FUNCTIONAL[1:], start=1)
        for other in FUNCTIONAL[place + 1 :]
    ]

    assert proofs.never(exam.named("functional_listed").yes, none_of(*seen.values())) is None
    fits = exam.named("functional_fits").yes
    assert proofs.never(fits, none_of(seen["tremor_entrains"], *pairs)) is None


def test_nothing_abnormal_never_stands_beside_anything_else(proofs: Proofs) -> None:
    """Where nothing abnormal is listed, no other category is, at any level."""
    exam = proofs.exam
    others = [
        exam.named(f"{each}_listed").yes
        for each in proofs.knowledge.categories
        if each != "nothing_abnormal"
    ]

    assert proofs.never(exam.named("nothing_abnormal_fits").yes, any_of(*others)) is None


def test_nothing_abnormal_never_stands_beside_an_abnormal_sign(proofs: Proofs) -> None:
    """Where nothing abnormal is listed, no sign that the examiner recorded is abnormal."""
    fits = proofs.exam.named("nothing_abnormal_fits").yes
    for finding in vocabulary().values():
        if finding.is_sign and finding.normal_value() is not None:
            for side in finding.sides:
                held = proofs.exam.held(finding.id, side)
                normal = in_solver((finding.id, side), finding.normal_value())

                assert proofs.never(fits, held.known, held.value != normal) is None


def test_no_category_fits_where_its_requirement_is_not_known_to_hold(proofs: Proofs) -> None:
    """A category fits, with or without cautions, only where its requirement is known to hold.

    Every way in which requirement, core signs and cautions can stand is gone through.
    """
    for requirement in (YES, NO, UNKNOWN):
        for core in (True, False):
            for cautioned in (True, False):
                level = level_of(requirement, core=core, cautioned=cautioned)

                assert (level in ("fits", "fits_with_cautions")) == (requirement is YES)


def test_what_was_not_examined_points_to_nothing(proofs: Proofs) -> None:
    """With no finding recorded nothing is listed or raised, whatever medicines are taken."""
    exam = proofs.exam
    nothing = none_of(*(held.known for held in exam.cells.values()))
    raised = [exam.named(f"{each}_raised").yes for each in proofs.knowledge.warnings]
    listed = [exam.named(f"{each}_listed").yes for each in proofs.knowledge.categories]
    hazards = [
        exam.says(hazard.when).yes
        for hazard in proofs.knowledge.hazards.values()
        if hazard.id != "medicine"
    ]

    assert proofs.never(nothing, any_of(*raised, *listed, *hazards)) is None


def test_where_nothing_abnormal_was_recorded_nothing_is_raised(proofs: Proofs) -> None:
    """No warning without something abnormal, whatever else is known, and whatever is taken.

    Abnormal is a grade above 0, a yes, a choice that is not the normal one, a catch, and a pressure
    that falls on standing.
    """
    exam = proofs.exam
    normal = [not_(exam.named("orthostatic_fall").yes)]
    for finding in vocabulary().values():
        for side in finding.sides:
            held = exam.held(finding.id, side)
            if finding.normal_value() is not None:
                value = in_solver((finding.id, side), finding.normal_value())
                normal.append(if_then(held.known, held.value == value))
            elif finding.id.endswith("_resistance_speed"):
                normal.append(not_(exam.chosen(finding.id, "catch", side)))
    raised = [exam.named(f"{each}_raised").yes for each in proofs.knowledge.warnings]

    assert proofs.possible(*normal)
    assert proofs.never(*normal, any_of(*raised)) is None


def test_age_and_sex_change_no_level_and_no_emergency(proofs: Proofs) -> None:
    """No category's level and no emergency depends on age or sex.

    Age brings the thought of copper disease forward and names qualifiers; it rules out nothing.
    """
    assert "age" in rests_on(proofs.knowledge, Reference("copper_disease_raised"))
    conclusions = [f"{each}_{what}" for each in proofs.knowledge.categories for what in LEVEL]
    for warning in proofs.knowledge.warnings.values():
        conclusions += [
            tier_name(warning.id, tier.urgency)
            for tier in warning.tier
            if tier.urgency == "emergency"
        ]
    for name in conclusions:
        asked = rests_on(proofs.knowledge, Reference(name))

        assert asked.isdisjoint({"age", "sex"}), name


# ---- in findings


def slow_and_shrinking(exam: AnyExam, task: str, side: Side) -> Fact:
    """One task that is slow, and shrinks or halts."""
    shrinks = any_of(exam.present(f"{task}_decrement", side), exam.present(f"{task}_halts", side))
    return all_of(exam.present(f"{task}_slow", side), shrinks)


def as_rigidity(exam: AnyExam, limb: str, side: Side) -> Fact:
    """A limb that resists in both directions, alike at every speed, and does not come and go."""
    return all_of(
        exam.present(f"{limb}_resistance", side),
        exam.chosen(f"{limb}_resistance_directions", "both", side),
        exam.chosen(f"{limb}_resistance_speed", "same", side),
        exam.absent(f"{limb}_resistance_varies", side),
    )
