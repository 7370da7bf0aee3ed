"""Every case that stands beside a rule gives, in the real assessment, what it says.

Cases are small invented exams; those with a source in their name follow what that source says.
"""

from collections.abc import Iterator
from types import MappingProxyType

import pytest

from app.assess.assess import assess, world_of
from app.assess.exact import exactly
from app.exam.record import Cell, Exam, Value
from app.exam.vocabulary import vocabulary
from app.knowledge.case import CategoryCase, FallCase, WarningCase
from app.knowledge.cases import exam_of
from app.knowledge.load import knowledge
from app.logic.truth import Truth
from tests.knowledge.conftest import Copy

KNOWN = knowledge()
OF_CATEGORIES = [
    pytest.param(category.id, case, id=f"{category.id}: {case.name}")
    for category in KNOWN.categories.values()
    for case in category.case
]
OF_WARNINGS = [
    pytest.param(warning.id, case, id=f"{warning.id}: {case.name}")
    for warning in KNOWN.warnings.values()
    for case in warning.case
]
OF_FALLS = [pytest.param(case, id=case.name) for case in KNOWN.fall_risk.case]


def answer_of(name: str, exam: Exam) -> str:
    """What a named condition says of an exam."""
    return exactly(world_of(exam, KNOWN), name).value


@pytest.mark.parametrize(("category", "case"), OF_CATEGORIES)
def test_a_case_of_a_category(category: str, case: CategoryCase) -> None:
    """Whether the requirement is met, and the level that comes of it."""
    exam = exam_of(case)
    level = next(each.level for each in assess(exam, KNOWN).categories if each.id == category)

    assert case.expect == answer_of(f"{category}_fits", exam)
    assert (case.level or level) == level


@pytest.mark.parametrize(("warning", "case"), OF_WARNINGS)
def test_a_case_of_a_warning(warning: str, case: WarningCase) -> None:
    """Whether it is raised, and how urgent it is then."""
    exam = exam_of(case)
    raised = {each.id: each.urgency for each in assess(exam, KNOWN).warnings}

    assert case.expect == answer_of(f"{warning}_raised", exam)
    assert (case.expect == "yes") == (warning in raised)
    if case.expect == "yes":
        assert (case.urgency or raised[warning]) == raised[warning]


@pytest.mark.parametrize("case", OF_FALLS)
def test_a_case_of_the_falls_group(case: FallCase) -> None:
    """The group that the answers and tests give (montero2022)."""
    assert case.level == assess(exam_of(case), KNOWN).fall_risk.level


def normal_cells() -> Iterator[tuple[Cell, Value]]:
    """Every finding of the quick pass, normal; what has no normal value is only recorded."""
    for finding in vocabulary().values():
        normal = finding.normal_value()
        if finding.is_sign and finding.core and finding.detail_of is None:
            for side in finding.sides:
                yield (finding.id, side), 2 if normal is None else normal


def test_a_normal_quick_pass_is_nothing_abnormal() -> None:
    """The one answer that has no case beside its rule: it takes over a hundred cells."""
    exam = Exam(cells=MappingProxyType(dict(normal_cells())))
    levels = {each.id: each.level for each in assess(exam, KNOWN).categories}

    assert "yes" in KNOWN.categories["nothing_abnormal"].no_case
    assert "fits" == levels["nothing_abnormal"]
    assert ["nothing_abnormal"] == [each for each in levels if levels[each] == "fits"]


def test_every_urgency_of_a_warning_has_a_case() -> None:
    """So that no tier is dead."""
    for warning in KNOWN.warnings.values():
        shown = {case.urgency for case in warning.case if case.expect == "yes"}

        assert {tier.urgency for tier in warning.tier} == shown, warning.id


def test_the_cases_of_a_rule_give_every_level_that_they_name() -> None:
    """At least one category has a case for each level, so that the words of each are seen."""
    named = {case.level for category in KNOWN.categories.values() for case in category.case}

    assert {"fits", "fits_with_cautions", "partial", "open", "not_supported"} <= named


def test_a_truth_has_the_words_that_cases_use() -> None:
    """`expect` holds the very words of app.logic."""
    assert {"yes", "no", "unknown"} == {truth.value for truth in Truth}


# ---- the loader

TICS = "categories/tics.toml: tics: case"
FIRST = "Brief movements that can be held back for a while"
CHANGED = {
    "a finding that is not there": (
        "categories/tics.toml", "{ tics = 1 }", "{ ticks = 1 }",
        f"{TICS} “{FIRST}”: ticks: ticks is not a finding",
    ),
    "a side that is missing": (
        "categories/tics.toml", '"myoclonus right" = 1', "myoclonus = 1",
        (f"{TICS} “Jerks, and nobody asked whether they can be held back”: myoclonus: "
        "myoclonus is recorded on each side: write “myoclonus right” or “myoclonus left”"),
    ),
    "a side that is none": (
        "categories/tics.toml", '"myoclonus right" = 1', '"myoclonus both" = 1',
        (f"{TICS} “Jerks, and nobody asked whether they can be held back”: myoclonus both: "
        "myoclonus is recorded on each side: write “myoclonus right” or “myoclonus left”"),
    ),
    "a side that does not belong": (
        "categories/tics.toml", "{ tics = 1 }", '{ "tics right" = 1 }',
        f"{TICS} “{FIRST}”: tics right: tics has no side: write “tics”",
    ),
    "a value that is none": (
        "categories/tics.toml", "{ tics = 1 }", "{ tics = 4 }",
        f"{TICS} “{FIRST}”: tics: 4 is not a grade from 0 to 3",
    ),
    "an untestable finding without its reason": (
        "warnings/pull_test_unsafe.toml",
        '{ untestable = "could not stand" }', '{ untestable = "" }',
        ("warnings/pull_test_unsafe.toml: pull_test_unsafe: case “It was marked as not to be "
        "tested”: pull_test: untestable needs its reason in words"),
    ),
    "an age that nobody has": (
        "warnings/copper_disease.toml", "age = 23", "age = 230",
        ("warnings/copper_disease.toml: copper_disease: case “Dystonia at 23 (schilsky2022)”: "
        "patient.age: 230 is not an age in years from 0 to 120"),
    ),
    "an answer that is none": (
        "categories/tics.toml", 'expect = "yes"', 'expect = "maybe"',
        "categories/tics.toml: case.0.expect: Input should be 'yes', 'no' or 'unknown'",
    ),
    "a level that the answer cannot give": (
        "categories/tics.toml", 'level = "fits"', 'level = "open"',
        f"{TICS} “{FIRST}”: level open: expect yes gives fits or fits_with_cautions",
    ),
    "an urgency of what is not raised": (
        "warnings/swallowing.toml", 'expect = "no"', 'expect = "no"\nurgency = "soon"',
        ("warnings/swallowing.toml: swallowing: case “Eats and drinks as ever”: "
        "urgency: leave it out, or expect yes"),
    ),
    "two cases with one name": (
        "categories/tics.toml", "Jerks that cannot be held back", FIRST,
        f"{TICS} “{FIRST}”: two cases have this name; give one another name",
    ),
    "an answer without a case": (
        "categories/tics.toml", 'expect = "unknown"', 'expect = "no"',
        f"{TICS}: none expects unknown; add one, or say under no_case why there is none",
    ),
    "an answer of a warning without a case": (
        "warnings/swallowing.toml", 'expect = "no"', 'expect = "unknown"',
        ("warnings/swallowing.toml: swallowing: case: none expects no; "
        "add one, or say under no_case why there is none"),
    ),
    "a reason for what has a case": (
        "categories/tics.toml", 'status = "draft"', 'status = "draft"\nno_case = { no = "Rare." }',
        ("categories/tics.toml: tics: no_case: no: there is a case that expects it; "
        "take the reason out"),
    ),
    "a falls group without a case": (
        "fall_risk.toml", '\nlevel = "high"\n\n[[case]]', '\nlevel = "low"\n\n[[case]]',
        "fall_risk.toml: fall_risk: case: none has the level high",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "said"), CHANGED.values(), ids=CHANGED.keys())
def test_a_case_that_cannot_be_is_told(
    copy: Copy, file: str, old: str, new: str, said: str
) -> None:
    """The program does not start, and file, rule, case and key are named with what is right."""
    text = (copy.folder / file).read_text(encoding="utf-8")
    for _ in range(text.count(old) if file == "fall_risk.toml" else 1):
        copy.change(file, old, new)

    assert said == copy.fault()
