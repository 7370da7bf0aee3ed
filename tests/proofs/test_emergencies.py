"""An emergency is raised on suspicion, and what is found besides never takes it back."""

from collections.abc import Iterator

import z3  # type: ignore[import-untyped]

from app.exam.vocabulary import GRADES, Finding, Scale, vocabulary
from app.knowledge.model import WarningRule
from app.knowledge.names import tier_name
from app.logic.expression import Reference
from tests.proofs.cells import Held
from tests.proofs.facts import Fact, all_of, not_
from tests.proofs.places import places
from tests.proofs.proving import Proofs, recorded_as

# The answers to a "not known to": that a resistance comes and goes, that a limb catches, and how
# long it has been. Recorded, they can withdraw the emergencies named.
CATCH = {"arm_resistance_varies", "leg_resistance_varies"}
ANSWERS = {
    "stroke_like": {"hx_years", *CATCH},
    "rapid_weakness": {"hx_years"},
    "cord_compression": {"hx_years", "leg_resistance_varies"},
    "drug_fever_rigidity": {"arm_resistance_speed", "leg_resistance_speed", *CATCH},
    "serotonin_excess": {"hx_years"},
    "acute_ataxia": {"hx_years"},
    "after_head_injury": {"hx_years"},
    "flap": set(),
    "wernicke": set(),
}


def test_one_more_abnormal_sign_never_withdraws_an_emergency(proofs: Proofs) -> None:
    """Recording something abnormal where nothing was recorded withdraws no emergency.

    Except an answer to a "not known to": the findings are named for each emergency, each of them
    can withdraw it, and no other one can.
    """
    withdrawing = {
        warning.id: {
            finding.id
            for finding, changed in _recorded_abnormal(proofs, warning)
            if proofs.possible(changed)
        }
        for warning in _emergencies(proofs)
    }

    assert withdrawing == ANSWERS


def test_a_worse_sign_never_withdraws_an_emergency(proofs: Proofs) -> None:
    """A sign that is abnormal in place of normal, or of a higher grade, withdraws no emergency.

    Nor does any other answer in place of normal, but for the same answers to a "not known to".
    """
    for warning in _emergencies(proofs):
        for finding, changed in _recorded_worse(proofs, warning):
            if finding.id not in ANSWERS[warning.id]:
                assert proofs.never(changed) is None, (warning.id, finding.id)


def test_an_emergency_is_not_missed_for_want_of_how_long_it_has_been(proofs: Proofs) -> None:
    """Whether it is recent counts as yes until it is known to have begun over three months ago."""
    years = proofs.exam.held("hx_years")
    recent = proofs.exam.named("recent")

    assert proofs.never(not_(years.known), not_(recent.yes)) is None
    assert proofs.never(recent.no, not_(all_of(years.known, years.value * 4 > 1))) is None


def _emergencies(proofs: Proofs) -> list[WarningRule]:
    return [
        warning
        for warning in proofs.knowledge.warnings.values()
        if any(tier.urgency == "emergency" for tier in warning.tier)
    ]


def _recorded_abnormal(proofs: Proofs, warning: WarningRule) -> Iterator[tuple[Finding, Fact]]:
    """That the emergency is lost when a cell that was not known is recorded as abnormal."""
    for finding, held, raised in _asked(proofs, warning):
        for value, within in _abnormal(finding):
            lost = not_(recorded_as(raised, held, value))
            yield finding, all_of(raised, not_(held.known), within, lost)


def _recorded_worse(proofs: Proofs, warning: WarningRule) -> Iterator[tuple[Finding, Fact]]:
    """That the emergency is lost when a known value gives way to a worse one."""
    for finding, held, raised in _asked(proofs, warning):
        for value, within in _abnormal(finding):
            if finding.scale in (Scale.GRADE, Scale.COUNT):
                better = held.value < value
            elif finding.scale is Scale.CHOICE:
                better = held.value == 0
            else:
                better = held.value != value
            lost = not_(recorded_as(raised, held, value))
            yield finding, all_of(raised, held.known, better, within, lost)


def _asked(proofs: Proofs, warning: WarningRule) -> Iterator[tuple[Finding, Held, Fact]]:
    """Every finding of which the emergency asks, on each side: no other one can change it."""
    name = tier_name(warning.id, "emergency")
    raised = proofs.exam.named(name).yes
    for finding_id, side in dict.fromkeys(places(proofs.knowledge, Reference(name))):
        # Arithmetic and sums of grades would have to be recorded by their inputs; no emergency has.
        assert finding_id in vocabulary() or finding_id in proofs.exam.takes, finding_id
        if finding_id in vocabulary():
            yield vocabulary()[finding_id], proofs.exam.held(finding_id, side), raised


def _abnormal(finding: Finding) -> Iterator[tuple[z3.ExprRef, Fact]]:
    """Every abnormal value, with what it keeps to; every value where none is normal."""
    anything = z3.BoolVal(True)
    match finding.scale:
        case Scale.YESNO:
            yield z3.BoolVal(True), anything
        case Scale.GRADE:
            yield from ((z3.IntVal(grade), anything) for grade in GRADES[1:])
        case Scale.CHOICE:
            first = 1 if finding.has_normal else 0
            yield from ((z3.IntVal(place), anything) for place in range(first, len(finding.values)))
        case _:
            whole = finding.scale is Scale.COUNT
            value = z3.Int("any count") if whole else z3.Real("any number")
            yield (
                value,
                all_of(value >= int(finding.minimum or 0), value <= int(finding.maximum or 0)),
            )
