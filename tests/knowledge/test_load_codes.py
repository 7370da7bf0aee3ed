"""What the two lists of codes may not say; each message stands here whole."""

import pytest

from app.exam.vocabulary import Scale, vocabulary
from app.knowledge.load import knowledge
from tests.knowledge.conftest import Copy

HPO, ICD = "codes_hpo.toml", "codes_icd10cm.toml"
TICS = 'tics = [{ id = "HP:0100033", name = "Tics" }]'
WRONG = {
    "a finding that is none": (
        HPO,
        "tics = [",
        "tocks = [",
        "codes_hpo.toml: finding: tocks is not a finding",
    ),
    "a finding that was forgotten": (
        HPO,
        TICS,
        "",
        "codes_hpo.toml: finding: tics: is missing; give a code, or the reason for none",
    ),
    "a finding with a term and without": (
        HPO,
        'findings = ["stiff_leg_swing"]',
        'findings = ["stiff_leg_swing", "tics"]',
        "codes_hpo.toml: finding: tics: stands twice; expected once",
    ),
    "an empty list of terms": (
        HPO,
        TICS,
        "tics = []",
        "codes_hpo.toml: finding: tics: no term; expected it in none",
    ),
    "an id of another form": (
        HPO,
        "HP:0100033",
        "HP:100033",
        r"codes_hpo.toml: finding.tics.0.id: String should match pattern '^HP:[0-9]{7}$'",
    ),
    "a choice without its value": (
        HPO,
        'when = ["up"], ',
        "",
        "codes_hpo.toml: finding: plantar: HP:0003487: when: expected for a choice, and only there",
    ),
    "a value of a finding that is no choice": (
        HPO,
        '{ id = "HP:0100033"',
        '{ when = ["yes"], id = "HP:0100033"',
        "codes_hpo.toml: finding: tics: HP:0100033: when: expected for a choice, and only there",
    ),
    "a value that the choice does not have": (
        HPO,
        'when = ["up"]',
        'when = ["sideways"]',
        (
            "codes_hpo.toml: finding: plantar: HP:0003487: when: "
            "sideways is not a value of it: down, up"
        ),
    ),
    "a key that is not known": (
        HPO,
        'name = "Tics"',
        'name = "Tics", also = "Tic"',
        "codes_hpo.toml: finding.tics.0.also: Extra inputs are not permitted",
    ),
    "a category that is none": (
        ICD,
        "functional = [",
        "dysfunctional = [",
        "codes_icd10cm.toml: category: dysfunctional is not a category",
    ),
    "a category that was forgotten": (
        ICD,
        'functional = ["F44.4"]',
        "",
        "codes_icd10cm.toml: category: functional: is missing; give a code, or the reason for none",
    ),
    "a category with codes and without": (
        ICD,
        'nothing_abnormal = "There is nothing to code"',
        'nothing_abnormal = "There is nothing to code"\ntics = "None"',
        "codes_icd10cm.toml: category: tics: stands twice; expected once",
    ),
    "a code without a title": (
        ICD,
        'functional = ["F44.4"]',
        'functional = ["F44.4", "F44.6"]',
        "codes_icd10cm.toml: category: functional: F44.6: has no title; add it to title",
    ),
    "a title that nothing offers": (
        ICD,
        'functional = ["F44.4"]',
        'functional = ["R26.89"]',
        "codes_icd10cm.toml: title: F44.4: stands nowhere; expected in category or other",
    ),
    "a code of another form": (
        ICD,
        '"F44.4" = ',
        '"f44.4" = ',
        (
            "codes_icd10cm.toml: title.f44.4.[key]: String should match pattern "
            r"'^[A-Z][0-9][0-9A-Z](\.[0-9A-Z]{1,4})?$'"
        ),
    ),
    "an excluded code without a title": (
        ICD,
        'codes = ["G25.0"]',
        'codes = ["G25.7"]',
        "codes_icd10cm.toml: excludes1: G25.0: codes: G25.7: has no title; add it to title",
    ),
    "a code that excludes itself": (
        ICD,
        'codes = ["G25.0"]',
        'codes = ["R25.1"]',
        "codes_icd10cm.toml: excludes1: R25.1: excludes itself",
    ),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_faulty_list_stops_the_program(copy: Copy, wrong: str) -> None:
    """And the message names file, key and what would be right."""
    file, old, new, expected = WRONG[wrong]
    copy.change(file, old, new)

    assert expected == copy.fault()


def test_every_finding_and_every_category_is_answered() -> None:
    """With codes, or with a reason in words why there are none."""
    known = knowledge()
    without = {name for group in known.hpo.none for name in group.findings}

    assert set(vocabulary()) == {*known.hpo.finding, *without}
    assert set(known.categories) == {*known.icd.category, *known.icd.no_code}


def test_a_term_stands_for_an_abnormal_value_only() -> None:
    """A normal answer must never put a sign into a record."""
    for name, terms in knowledge().hpo.finding.items():
        finding = vocabulary()[name]
        if finding.scale is Scale.CHOICE:
            for value in (value for term in terms for value in term.when):
                assert finding.is_abnormal(value), (name, value)


def test_codes_that_exclude_each_other_are_found_in_either_order() -> None:
    """G25.0 is not coded with R25.1, whichever of them carries the note."""
    pairs = knowledge().icd.never_together

    assert frozenset(("R25.1", "G25.0")) in pairs
    assert frozenset(("G25.0", "G25.1")) not in pairs
