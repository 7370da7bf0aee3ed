"""Disease profiles of the Human Phenotype Ontology (2025-01-16), as exams.

README.md beside this says how the exams were made, what they can check and what they cannot, and
under which licence they stand. The floors are what was measured, with the day and the version of
the knowledge; they are no aim, and no rule may be bent to raise them.
"""

import json
from functools import cache
from pathlib import Path
from types import MappingProxyType

import pytest

from app.assess.assess import assess
from app.assess.assessment import Assessment
from app.exam.record import Exam, Untestable
from app.exam.vocabulary import SIDES, vocabulary
from app.knowledge.load import knowledge
from benchmarks.open_sets import (
    Case,
    Result,
    counts,
    main,
    read_cases,
    rest_taken_as_normal,
    result_of,
)

FILE = Path(__file__).parent / "hpo_diseases.ndjson"
CASES = 363
# Measured on 2026-11-26 with knowledge 2026.1.
LISTED = 359
STRONG_AS_RECORDED = 309
STRONG_WITH_THE_REST_NORMAL = 339
STATING_AN_ABSENCE = 22
CHANGED_BY_AN_ABSENCE = 7
LISTED_OF = {
    "action_tremor": 4,
    "cerebellar_ataxia": 99,
    "chorea": 14,
    "dystonia": 41,
    "myoclonus": 3,
    "neuromuscular_weakness": 84,
    "parkinsonism": 39,
    "sensory_ataxia": 7,
    "upper_motor_neuron": 109,
}


@cache
def cases() -> tuple[Case, ...]:
    """Every case of the file."""
    return read_cases(FILE)


@cache
def assessed() -> tuple[Assessment, ...]:
    """Each case as it was recorded."""
    return tuple(assess(case.exam, knowledge()) for case in cases())


@cache
def as_recorded() -> tuple[Result, ...]:
    """What each case gives as it was recorded."""
    return tuple(map(result_of, cases(), assessed()))


@cache
def with_the_rest_normal() -> tuple[Result, ...]:
    """What each case gives with every other sign normal."""
    return tuple(
        result_of(case, assess(rest_taken_as_normal(case), knowledge())) for case in cases()
    )


def missed(results: tuple[Result, ...]) -> str:
    """The cases whose right categories are all missing, a line each."""
    return "\n".join(each.missed() for each in results if not each.is_listed)


def test_every_case_is_read_and_names_its_source() -> None:
    """And the version that the licence asks to show."""
    raw = [json.loads(line) for line in FILE.read_text(encoding="utf-8").splitlines()]

    assert CASES == len(raw) == len({each["case"] for each in raw}) == len(cases())
    for each in raw:
        assert f"HPO 2025-01-16 phenotype.hpoa, {each['case']}" == each["source"]
        assert (len(each["accept"]) > 1) == (each["tier"] == "multi")


def test_the_right_category_is_listed_from_the_signs_of_the_source() -> None:
    """At any level: fits, partial or open."""
    assert LISTED <= counts(as_recorded())["listed"], missed(as_recorded())


@pytest.mark.parametrize("category", LISTED_OF)
def test_each_category_is_listed_where_it_is_right(category: str) -> None:
    """So that a category that got lost is not made up for by another."""
    right = [each for each in as_recorded() if category in each.case.accept]
    without = [each.missed() for each in right if category not in each.listed]

    assert LISTED_OF[category] <= len(right) - len(without), "\n".join(without)


def test_every_category_that_is_right_somewhere_has_its_floor() -> None:
    """None is left out above."""
    assert set(LISTED_OF) == {name for case in cases() for name in case.accept}


def test_the_right_category_fits_from_what_was_recorded_alone() -> None:
    """With or without cautions."""
    assert STRONG_AS_RECORDED <= counts(as_recorded())["strong"]


def test_with_the_rest_normal_no_less_is_listed_and_more_fits() -> None:
    """Weakness and action tremor need negatives, which a profile does not state."""
    found = counts(with_the_rest_normal())

    assert LISTED <= found["listed"], missed(with_the_rest_normal())
    assert STRONG_WITH_THE_REST_NORMAL <= found["strong"]


def test_what_fits_from_what_was_recorded_still_fits_with_the_rest_normal() -> None:
    """More normal signs add no pattern and take none away; `open` is settled."""
    for before, after in zip(as_recorded(), with_the_rest_normal(), strict=True):
        assert set(before.strong) <= set(after.strong), before.case.id


def test_an_absence_settles_what_was_open() -> None:
    """Neuromuscular weakness with the reflexes unknown: calm plantars and no clonus decide it."""
    settled = [
        after.case.id
        for before, after in zip(as_recorded(), with_the_rest_normal(), strict=True)
        if "neuromuscular_weakness" in set(after.strong) - set(before.strong)
    ]

    assert settled
    for case, before in zip(cases(), assessed(), strict=True):
        if case.id in settled:
            (found,) = (each for each in before.listed if each.id == "neuromuscular_weakness")
            asked = {reason.finding for reason in found.missing}

            assert "open" == found.level
            assert asked & {"reflexes_absent", "plantar", "clonus", "leg_resistance"}


def without_what_is_absent(case: Case) -> Exam:
    """The exam with only what was found, the signs stated to be absent left out."""
    absent = {
        (finding_id, side)
        for finding_id, side, value in case.exam.known()
        if vocabulary()[finding_id].is_sign
        and not vocabulary()[finding_id].detail_of
        and value == vocabulary()[finding_id].normal_value()
    }
    left = {cell: held for cell, held in case.exam.cells.items() if cell not in absent}
    return Exam(case.exam.patient, MappingProxyType(left), case.exam.medicines)


def test_a_stated_absence_counts() -> None:
    """Without it something else is asked for or missing, though in this set no level changes."""
    stating = [
        (case, found, without_what_is_absent(case))
        for case, found in zip(cases(), assessed(), strict=True)
        if len(without_what_is_absent(case).cells) < len(case.exam.cells)
    ]
    counted = [case.id for case, found, less in stating if assess(less, knowledge()) != found]

    assert STATING_AN_ABSENCE == len(stating)
    assert CHANGED_BY_AN_ABSENCE <= len(counted), counted


def test_what_is_stated_to_be_absent_is_never_asked_for() -> None:
    """An absence is an answer: neither what is missing nor what to look at next names it."""
    for case, found in zip(cases(), assessed(), strict=True):
        asked = {
            (ask.finding, side)
            for ask in found.check_next
            for side in (SIDES if ask.side == "both" else (ask.side,))
        }
        lacking = {
            (reason.finding, reason.side) for each in found.listed for reason in each.missing
        }

        assert asked.isdisjoint(case.exam.cells), case.id
        assert lacking.isdisjoint(case.exam.cells), case.id


def test_every_sign_that_speaks_for_a_category_was_recorded() -> None:
    """Nothing is made up: each reason is a cell of the exam, with its value."""
    for case, found in zip(cases(), assessed(), strict=True):
        for reason in (each for listed in found.listed for each in listed.reasons_for):
            assert reason.finding is not None
            assert reason.value == case.exam.cells[reason.finding, reason.side], case.id


def test_signs_alike_on_both_sides_are_never_called_one_sided() -> None:
    """No side is named but in four profiles with weakness of one side, the other side unknown."""
    for case, found in zip(cases(), assessed(), strict=True):
        assert {"both", None} >= {each.side for each in found.listed}, case.id


def test_doubtful_signs_stay_unknown_when_the_rest_is_taken_as_normal() -> None:
    """The source said tremor and not which: that is no reason to call the others absent."""
    for case in cases():
        filled = rest_taken_as_normal(case)
        added = filled.cells.keys() - case.exam.cells.keys()

        assert case.not_normal.isdisjoint(finding_id for finding_id, _ in added), case.id
        for finding_id, side in added:
            value = filled.cells[finding_id, side]
            assert not isinstance(value, Untestable)
            assert not vocabulary()[finding_id].is_abnormal(value)


# ---- the benchmark that prints these figures


LINE = {
    "case": "A",
    "title": "Invented",
    "exam": {"findings": {"chorea": {"right": 2, "left": 2}}},
    "accept": ["chorea"],
}


def test_the_benchmark_prints_a_table_and_then_one_json_object(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last line is for machines, with every case that was missed."""
    file = tmp_path / "cases.ndjson"
    wrong = LINE | {"case": "B", "accept": ["tics"]}
    file.write_text(f"{json.dumps(LINE)}\n{json.dumps(wrong)}\n", encoding="utf-8")

    assert 0 == main([str(file)])
    printed = capsys.readouterr().out.splitlines()
    assert "| cases.ndjson | as recorded | 1/2 | 1 | 1 (0) |" in printed
    told = json.loads(printed[-1])
    assert knowledge().version == told["knowledge"]
    assert ["as recorded", "rest taken as normal"] == [each["read"] for each in told["measured"]]
    assert ["B Invented: not listed tics; listed chorea"] == told["measured"][0]["missed"]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("{", "not JSON"),
        ("[]", "not a case"),
        (json.dumps(LINE | {"accept": ["headache"]}), "not a category: headache"),
        (json.dumps(LINE | {"not_normal": ["hair"]}), "not a finding: hair"),
        (json.dumps({"case": "A", "exam": {}}), "the key 'accept' is missing"),
        (json.dumps(LINE | {"exam": {"findings": {"tics": 9}}}), "findings.tics: 9 is not a grade"),
    ],
)
def test_the_benchmark_names_the_file_and_the_line_of_a_fault(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], line: str, fault: str
) -> None:
    """And prints no figures from the rest."""
    file = tmp_path / "cases.ndjson"
    file.write_text(f"{json.dumps(LINE)}\n{line}\n", encoding="utf-8")

    assert 2 == main([str(file)])
    printed = capsys.readouterr()
    assert "" == printed.out
    assert f"{file}:2: " in printed.err
    assert fault in printed.err


def test_the_benchmark_says_that_a_file_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With its name."""
    assert 2 == main([str(tmp_path / "none.ndjson")])
    assert "none.ndjson: cannot be read" in capsys.readouterr().err
