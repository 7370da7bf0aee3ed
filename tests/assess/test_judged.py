"""What a rule gave is kept, and given again only where it would come out the same."""

from decimal import Decimal
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.assess.assess import world_of
from app.assess.judged import MOST_KEPT, Judged, Kept, judge, judge_rule
from app.assess.residue import Residues
from app.assess.touched import touched_by
from app.exam.record import Exam, Patient
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from tests.assess.examined import exam_of
from tests.strategies import exams

KNOWN = knowledge()
RULES = (*KNOWN.categories, *KNOWN.warnings)


def given_by(exam: Exam, rule: str) -> Judged:
    """What a rule gives, worked out whether or not it was before."""
    return judge_rule(Residues(world_of(exam, KNOWN)), rule)


def only_what_is_read(exam: Exam, rule: str) -> Exam:
    """The exam without everything that the rule is said not to read."""
    touched = touched_by(KNOWN, rule)
    return Exam(
        exam.patient if touched.patient else Patient(),
        MappingProxyType({c: v for c, v in exam.cells.items() if c in set(touched.cells)}),
        exam.medicines if touched.medicines else None,
    )


@settings(max_examples=40, deadline=None)
@given(exam=exams(), rule=st.sampled_from(RULES))
def test_a_rule_gives_the_same_without_what_it_does_not_read(exam: Exam, rule: str) -> None:
    """Its level, reasons and gaps, and what it asks for: nothing else goes into them."""
    assert given_by(exam, rule) == given_by(only_what_is_read(exam, rule), rule)


@settings(max_examples=10, deadline=None)
@given(st.lists(exams(), min_size=2, max_size=3))
def test_one_exam_after_another_is_judged_as_if_it_were_the_first(drawn: list[Exam]) -> None:
    """Also an exam that came before."""
    for exam in (*drawn, drawn[0]):
        afresh = Residues(world_of(exam, KNOWN))
        for rule, kept in judge(afresh.world).items():
            assert judge_rule(afresh, rule) == kept


def test_an_entry_elsewhere_leaves_a_rule_as_it_is() -> None:
    """The very thing that was worked out before is given again."""
    before = judge(world_of(exam_of("rest_tremor_hand right 2"), KNOWN))
    after = judge(world_of(exam_of("rest_tremor_hand right 2; tics 1"), KNOWN))

    assert before["tics"].category != after["tics"].category
    assert before["parkinsonism"] is after["parkinsonism"]


def test_what_is_kept_does_not_grow_without_end() -> None:
    """A clinic sees many exams; of each rule so many are kept, whatever they are."""
    kept = Kept(KNOWN, "copper_disease")
    for age in range(MOST_KEPT + 1):
        kept.of(Residues(world_of(Exam(Patient(Decimal(age))), KNOWN)))

        assert 0 < len(kept.found) <= MOST_KEPT


@pytest.mark.parametrize(
    ("rule", "finding"),
    [
        # By way of a named sign, of a sum of grades with its sign, and of arithmetic.
        ("parkinsonism", "finger_tap_decrement"),
        ("parkinsonism", "rest_tremor_leg"),
        ("orthostatic_drop", "standing_sys"),
    ],
)
def test_what_a_rule_reads_by_way_of_others_counts(rule: str, finding: str) -> None:
    """On every side."""
    cells = set(touched_by(KNOWN, rule).cells)

    assert {(finding, side) for side in vocabulary()[finding].sides} <= cells


def test_the_age_and_the_medicines_are_read_by_those_that_ask() -> None:
    """So that a change of them works out no more than it has to."""
    assert touched_by(KNOWN, "copper_disease").patient
    assert not touched_by(KNOWN, "tics").patient
    assert touched_by(KNOWN, "serotonin_excess").medicines
    assert not touched_by(KNOWN, "cord_compression").medicines
