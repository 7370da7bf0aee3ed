"""Write the list of what is proved: python -m tests.proofs.write_promises."""

import inspect
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType

from app.assess.assessment import URGENCIES
from app.assess.words import level_words, urgency_words
from app.exam.vocabulary import vocabulary
from app.knowledge.load import Knowledge, knowledge
from tests.proofs import (
    test_asked,
    test_emergencies,
    test_exact,
    test_falls,
    test_levels,
    test_mirror,
    test_rules,
    test_signs,
    test_sound,
)

PAGE = Path(__file__).parents[2] / "docs" / "clinical" / "promises.md"
PROOFS = (
    test_signs,
    test_emergencies,
    test_falls,
    test_sound,
    test_exact,
    test_mirror,
    test_rules,
    test_levels,
    test_asked,
)
MADE_BY = "Made by python -m tests.proofs.write_promises. Do not change it by hand."
INTRODUCTION = """\
Each promise is about every exam that can be recorded: complete or hardly begun, with any values,
with findings that could not be tested, with any medicines. A solver (Z3) looked for an exam that
breaks it and showed that there is none. A promise that says *drawn at random* was tried on many
exams instead. That the solver reads the rules as the program does is tested as well, and so is that
a proof fails where a rule is broken on purpose.

A proof covers the rules, not the medicine: a rule can be proved to do what it says, and what it
says can still be wrong for a patient.
"""
OF_A_RULE = {
    "fits": "fits",
    "listed": "is listed",
    "cautioned": "has a caution",
    "cautioned_by_signs": "has a caution that is no medicine",
    "raised": "raised",
    **{each: urgency_words(each) for each in URGENCIES},
}


def page(read: Knowledge) -> str:
    """Every promise in words, with what is exempt from it."""
    return "\n".join(_lines(read)) + "\n"


def promises(module: ModuleType) -> Iterator[FunctionType]:
    """The proofs of a module, in the order in which they stand."""
    for name, held in vars(module).items():
        if name.startswith("test_") and callable(held):
            yield held


def _lines(read: Knowledge) -> Iterator[str]:
    yield f"<!-- {MADE_BY} -->"
    yield ""
    yield "# What is promised of every exam"
    yield ""
    yield from INTRODUCTION.splitlines()
    for module in PROOFS:
        title, _, about = (module.__doc__ or "").strip().partition("\n\n")
        yield ""
        yield f"## {title.rstrip('.')}"
        if about:
            yield ""
            yield about
        for proof in promises(module):
            yield ""
            yield from _promise(proof)
            yield from _exempt(proof, read)


def _promise(proof: FunctionType) -> Iterator[str]:
    says, _, covers = inspect.cleandoc(proof.__doc__ or "").partition("\n\n")
    words = proof.__name__.removeprefix("test_").replace("_", " ")
    yield f"### {words[0].upper()}{words[1:]}"
    yield ""
    yield says
    if covers:
        yield ""
        yield covers


def _exempt(proof: FunctionType, read: Knowledge) -> Iterator[str]:
    """What the proof leaves out, by name."""
    match proof.__name__:
        case "test_a_settled_yes_stays_however_the_unknown_turns_out":
            for why, names in test_sound.EXEMPT.items():
                yield from _listed(f"Exempt, {why}:", names, read)
        case "test_a_settled_no_stays_however_the_unknown_turns_out":
            yield from _listed("Exempt:", test_sound.EXEMPT_FOR_NO, read)
        case "test_that_something_could_not_be_tested_settles_nothing_else":
            yield from _listed("Exempt:", test_sound.EXEMPT_WHEN_UNTESTABLE, read)
        case "test_one_more_abnormal_sign_never_withdraws_an_emergency":
            yield ""
            yield "Answers that can withdraw it:"
            yield ""
            for warning, findings in test_emergencies.ANSWERS.items():
                labels = [f.label for f in vocabulary().values() if f.id in findings]
                yield f"- {read.warnings[warning].label}: {'; '.join(labels) or 'none'}"
        case "test_every_category_reaches_every_level_that_its_rule_allows":
            yield ""
            yield "Not allowed:"
            yield ""
            for category in read.categories.values():
                claims = [c for c in test_levels.NOT_GIVEN if c.id == category.id]
                if claims:
                    levels = sorted(level_words(claim.at) for claim in claims)
                    yield f"- {category.label}: {'; '.join(levels)}"


def _listed(heading: str, names: set[str], read: Knowledge) -> Iterator[str]:
    yield ""
    yield heading
    yield ""
    words = sorted(_words(name, read) for name in names)
    yield from (f"- {each}" for each in dict.fromkeys(words))


def _words(name: str, read: Knowledge) -> str:
    """A condition by its label, with the name by which the rules know it."""
    if name in read.signs:
        return f"{read.signs[name].label} (`{name}`)"
    labels = {each.id: each.label for each in read.categories.values()}
    labels |= {each.id: each.label for each in read.warnings.values()}
    labels |= {read.fall_risk.id: read.fall_risk.label, **{step: step for step in read.steps}}
    rule = max((each for each in labels if name.startswith(each)), key=len)
    what = name.removeprefix(rule).lstrip("_, ")
    return f"{labels[rule]}: {OF_A_RULE.get(what, what)} (`{name}`)"


if __name__ == "__main__":
    PAGE.write_text(page(knowledge()), encoding="utf-8")
