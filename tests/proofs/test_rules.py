"""What is so of every rule, whatever it says."""

from collections.abc import Iterator
from dataclasses import replace

from app.assess.assessment import LISTED, URGENCIES
from app.exam.vocabulary import SIDES, Side
from app.knowledge.load import Knowledge
from app.knowledge.names import tier_name
from app.logic.expression import (
    And,
    AnySide,
    AtLeast,
    BothSides,
    Expression,
    Or,
    OtherSide,
    children,
)
from tests.proofs.claims import fall_level, levels
from tests.proofs.facts import Fact, all_of, any_of, none_of
from tests.proofs.proving import Proofs, Rule
from tests.proofs.solver import AnyExam

Joined = And | Or | AtLeast


def test_no_condition_is_true_and_false_in_one_exam(proofs: Proofs) -> None:
    """No condition is both true and false in one exam.

    So no category fits where what it requires is known to be false.
    """
    for rule in proofs.rules.values():
        for pair in rule.of(proofs.exam):
            assert proofs.never(pair.yes, pair.no) is None, rule.name


def test_every_condition_can_hold(proofs: Proofs) -> None:
    """No rule is unreachable: each condition holds in some exam that contradicts itself nowhere.

    A condition for a contradiction is itself excepted, and holds in an exam with one.
    """
    free_of_conflict = none_of(*proofs.exam.conflicts)
    conflicts = {proofs.knowledge.conditions[each.when] for each in proofs.knowledge.conflicts}
    for rule in proofs.rules.values():
        is_conflict = rule.expression in conflicts
        for pair in rule.of(proofs.exam):
            if rule.expression != Or(()):  # the cautions of a category that has none
                asked = (pair.yes,) if is_conflict else (pair.yes, free_of_conflict)
                assert proofs.possible(*asked), rule.name


def test_no_condition_holds_in_every_exam(proofs: Proofs) -> None:
    """No rule is always true: each condition is false in some exam."""
    for rule in proofs.rules.values():
        for pair in rule.of(proofs.exam):
            assert proofs.possible(pair.no), rule.name


def test_no_part_of_a_condition_is_idle(proofs: Proofs) -> None:
    """No part of a rule could be left out: without it some exam would get another answer.

    Every member of every `and`, `or` and `at_least` that somebody wrote, at every depth.
    """
    idle = {
        (rule.name, str(joined.members[place]))
        for rule in proofs.rules.values()
        if not _is_built(rule, proofs.knowledge)
        for joined, side in _joints(rule.expression, rule.sides[0])
        for place in range(len(joined.members))
        if not proofs.possible(_differs_without(proofs.exam, joined, place, side))
    }

    assert set() == idle


def test_every_qualifier_can_be_given(proofs: Proofs) -> None:
    """Every qualifier of every category can be given at a level that allows it."""
    for category in proofs.knowledge.categories.values():
        for qualifier in category.qualifier:
            when = proofs.exam.says(qualifier.when).yes
            at = [levels(proofs.exam, category)[level] for level in qualifier.at or LISTED]

            assert proofs.possible(when, any_of(*at)), (category.id, qualifier.id)


def test_every_step_can_follow(proofs: Proofs) -> None:
    """Every step that a category, a warning, the falls group or a step itself names can follow."""
    knowledge = proofs.knowledge
    follows: dict[str, list[Fact]] = {step: [] for step in knowledge.steps}
    for step, fact in (*_of_categories(proofs.exam), *_of_warnings(proofs.exam)):
        assert proofs.possible(fact), step
        follows[step].append(fact)
    for each in knowledge.steps.values():
        own = [proofs.exam.says(follow.when).yes for follow in each.follows]
        by_itself = each.follows_urgency or each.follows_hazards or each.follows_open

        assert all(map(proofs.possible, own)), each.id
        assert own or follows[each.id] or by_itself, each.id


def test_a_lower_urgency_never_hides_a_higher_one(proofs: Proofs) -> None:
    """Of the tiers of a warning that hold, the most urgent counts."""
    for warning in proofs.knowledge.warnings.values():
        places = [URGENCIES.index(tier.urgency) for tier in warning.tier]

        assert sorted(set(places)) == places, warning.id


def _of_categories(exam: AnyExam) -> Iterator[tuple[str, Fact]]:
    for category in exam.knowledge.categories.values():
        at = levels(exam, category)
        fits = any_of(at["fits"], at["fits_with_cautions"])
        for step in category.step:
            facts = [fits if step.at == "fits" else any_of(*at.values()), exam.says(step.when).yes]
            if step.qualifier:
                facts.append(exam.says(category.qualifiers[step.qualifier].when).yes)
            yield step.id, all_of(*facts)


def _of_warnings(exam: AnyExam) -> Iterator[tuple[str, Fact]]:
    for warning in exam.knowledge.warnings.values():
        for step in warning.steps:
            yield step, exam.named(f"{warning.id}_raised").yes
    for fall_step in exam.knowledge.fall_risk.step:
        level = fall_level(exam, fall_step.level) if fall_step.level else exam.says(None).yes
        yield fall_step.id, all_of(level, exam.says(fall_step.when).yes)


def _is_built(rule: Rule, knowledge: Knowledge) -> bool:
    """Whether the program builds it from parts, each of which is looked at by itself."""
    tiers = {
        tier_name(each.id, tier.urgency)
        for each in knowledge.warnings.values()
        for tier in each.tier
    }
    return rule.name in tiers or rule.name.endswith(("_listed", "_raised", "_cautioned"))


def _joints(expression: Expression, side: Side | None) -> Iterator[tuple[Joined, Side | None]]:
    """Every place where parts are joined, with a side on which it is judged."""
    match expression:
        case And() | Or() | AtLeast():
            yield expression, side
        case AnySide() | BothSides():
            side = SIDES[0]
        case OtherSide():
            side = side.other if side else None
        case _:
            pass
    for child in children(expression):
        yield from _joints(child, side)


def _differs_without(exam: AnyExam, joined: Joined, place: int, side: Side | None) -> Fact:
    members = (*joined.members[:place], *joined.members[place + 1 :])
    return exam.truth(joined, side).is_not(exam.truth(replace(joined, members=members), side))
