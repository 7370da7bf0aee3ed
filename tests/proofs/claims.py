"""Everything that an assessment can conclude, one by one: as a fact, and as read off one."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.assess.assess import assess, world_of
from app.assess.assessment import LISTED
from app.exam.record import Exam
from app.knowledge.load import Knowledge
from app.knowledge.model import Category, WarningRule
from app.knowledge.names import tier_name
from app.logic.truth import YES
from tests.proofs.facts import Fact, all_of, any_of, none_of, not_
from tests.proofs.solver import AnyExam

FALL_LEVELS = ("low", "intermediate", "high", "open")


@dataclass(frozen=True)
class Claim:
    """One thing that can be concluded.

    about: category, warning, fall_risk, hazard or conflict. at: the level, or the urgency.
    """

    about: str
    id: str
    at: str = ""


def every_claim(knowledge: Knowledge) -> Iterator[Claim]:
    """Everything that could be concluded if rules allowed it, in the order of the knowledge."""
    for category in knowledge.categories:
        yield from (Claim("category", category, level) for level in LISTED)
    for warning in knowledge.warnings.values():
        yield from (Claim("warning", warning.id, tier.urgency) for tier in warning.tier)
    for place, branch in enumerate(knowledge.fall_risk.branch, start=1):
        yield Claim("fall_risk", f"branch {place}", branch.level)
    yield from (Claim("hazard", hazard) for hazard in knowledge.hazards)
    yield from dict.fromkeys(Claim("conflict", rule.says) for rule in knowledge.conflicts)


def fact_of(claim: Claim, exam: AnyExam) -> Fact:
    """In which exams it is concluded."""
    knowledge = exam.knowledge
    match claim.about:
        case "category":
            return levels(exam, knowledge.categories[claim.id])[claim.at]
        case "warning":
            return urgencies(exam, knowledge.warnings[claim.id])[claim.at]
        case "fall_risk":
            return branches(exam)[int(claim.id.removeprefix("branch ")) - 1]
        case "hazard":
            return exam.says(knowledge.hazards[claim.id].when).yes
        case _:
            rules = zip(_conflict_texts(knowledge), exam.conflicts, strict=True)
            return any_of(*(fact for says, fact in rules if says == claim.id))


def is_concluded(claim: Claim, exam: Exam, knowledge: Knowledge) -> bool:
    """Whether the program concludes it from an exam."""
    found = assess(exam, knowledge)
    match claim.about:
        case "category":
            return any(each.id == claim.id and each.level == claim.at for each in found.categories)
        case "warning":
            return any(each.id == claim.id and each.urgency == claim.at for each in found.warnings)
        case "fall_risk":
            world = world_of(exam, knowledge)
            holding = (world.holds(each.when) is YES for each in knowledge.fall_risk.branch)
            first = next(place for place, holds in enumerate(holding, start=1) if holds)
            return found.fall_risk.level == claim.at and claim.id == f"branch {first}"
        case "hazard":
            return any(each.id == claim.id for each in found.hazards)
        case _:
            return any(each.says == claim.id for each in found.conflicts)


def levels(exam: AnyExam, category: Category) -> Mapping[str, Fact]:
    """In which exams a category has each of its levels."""
    requirement = exam.named(f"{category.id}_fits")
    core = any_of(*(exam.says(sentence).yes for sentence in category.core))
    cautioned = exam.named(f"{category.id}_cautioned").yes
    return {
        "fits": all_of(requirement.yes, not_(cautioned)),
        "fits_with_cautions": all_of(requirement.yes, cautioned),
        "partial": all_of(requirement.no, core),
        "open": all_of(requirement.unknown, core),
    }


def urgencies(exam: AnyExam, warning: WarningRule) -> Mapping[str, Fact]:
    """In which exams a warning is raised at each of its urgencies: the first tier that holds."""
    tiers = [exam.named(tier_name(warning.id, tier.urgency)).yes for tier in warning.tier]
    facts = _first_that_holds(tiers)
    return {tier.urgency: fact for tier, fact in zip(warning.tier, facts, strict=True)}


def branches(exam: AnyExam) -> list[Fact]:
    """In which exams each branch of the falls group gives the level: the first that holds."""
    return _first_that_holds(
        [exam.says(branch.when).yes for branch in exam.knowledge.fall_risk.branch]
    )


def fall_level(exam: AnyExam, level: str) -> Fact:
    """In which exams the falls group has this level."""
    rule = exam.knowledge.fall_risk
    pairs = zip(rule.branch, branches(exam), strict=True)
    return any_of(*(fact for branch, fact in pairs if branch.level == level))


def _first_that_holds(facts: list[Fact]) -> list[Fact]:
    return [all_of(fact, none_of(*facts[:place])) for place, fact in enumerate(facts)]


def _conflict_texts(knowledge: Knowledge) -> list[str]:
    """The text of each rule once for each side, as `AnyExam.conflicts` has them."""
    return [rule.says for rule in knowledge.conflicts for _ in range(2 if rule.paired else 1)]
