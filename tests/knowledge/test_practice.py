"""The invented cases to practise with: read strictly, with nothing left to chance."""

from pathlib import Path

import pytest

from app.exam.vocabulary import EXAM_STATIONS, Side
from app.knowledge.files import BadKnowledge
from app.knowledge.load import knowledge
from app.knowledge.practice import PracticeCase, load_practice, practice_cases
from tests.knowledge.conftest import Copy

CASES = practice_cases()
LAP = "practice/lap_and_cup.toml"


def fault_of(copy: Copy) -> str:
    """What is said when the cases of this copy are loaded."""
    with pytest.raises(BadKnowledge) as refused:
        load_practice(copy.folder, knowledge())
    return str(refused.value)


def test_there_are_cases_enough_and_they_speak_of_every_station() -> None:
    """A team meets every part of the exam."""
    assert len(CASES) >= 10
    asked = {station.id for case in CASES.values() for station in case.station}
    assert set(EXAM_STATIONS) == asked


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_a_case_names_the_side_wherever_one_is_graded(case: PracticeCase) -> None:
    """Who reads it must be able to tell which side of the person is meant."""
    worked = case.worked()
    uneven = [
        name
        for name, side in worked
        if side and worked.get((name, Side.RIGHT)) != worked.get((name, Side.LEFT))
    ]
    for station in case.station:
        if set(uneven) & set(station.asks):
            assert "RIGHT" in station.sees or "LEFT" in station.sees, station.id


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_a_case_does_not_give_its_answer_away(case: PracticeCase) -> None:
    """What is seen stands in plain words; the learner finds the term."""
    terms = (
        "bradykines", "rigid", "spastic", "paraton", "dysmetri", "ataxi", "nystagm", "clonus",
        "parkinson", "en bloc", "grade", "decrement", "functional",
    )  # fmt: skip
    told = " ".join([case.title, case.person, case.brings, *(each.sees for each in case.station)])

    assert [] == [term for term in terms if term in told.lower()]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_every_point_says_what_it_rests_on(case: PracticeCase) -> None:
    """A published source, or marked as common practice or from memory."""
    assert case.point
    for each in (each for point in case.point for each in point.support):
        assert each.source or each.standing in ("common practice", "memory"), each.claim
        assert not (each.source and each.standing == "common practice"), each.claim


BROKEN = [
    ("face_still = 1", "", "answer: face_still: is asked for and not answered; answer it, or name"),
    ("face_still = 1", "face_still = 7", "findings.face_still: 7 is not a grade from 0 to 3"),
    ("face_still = 1", "face_still = 1\nchorea = { left = 0 }", "chorea: is not asked for at any"),
    ('"face_still"]', '"faces"]', "station: rest: faces: is not a sign of this station"),
    ('"face_still"]', '"drift"]', "station: rest: drift: is not a sign of this station"),
    ('"face_still"]', '"face_still", "face_still"]', "rest: face_still: is asked for twice"),
    ('id = "rest"\n', 'id = "nap"\n', "station: nap: is not a station"),
    (
        '"posture_tremor", "posture_tremor_onset"', '"posture_tremor_onset", "posture_tremor"',
        "station: posture: posture_tremor_onset: ask for posture_tremor before it",
    ),
    (
        'onset = { right = "delayed" }', 'onset = { right = "delayed", left = "delayed" }',
        "answer: posture_tremor_onset left: describes what is not there",
    ),
    ("medicines = []", 'medicines = []\nnot_seen = ["drift up"]', "not_seen: drift up: is not"),
    ("medicines = []", 'medicines = []\nnot_seen = ["drift left"]', "drift left: stands in not_se"),
    ("hx_years = 2", "hx_years = 2\ndrift = { right = 1 }", "told: drift: is seen and not told"),
    ("hx_years = 2", "hx_yeers = 2", "findings.hx_yeers: not a finding"),
    ("= \"fits\" }", '= "fits", gout = "open" }', "expects: categories: gout: is not one of the"),
    ('falls = "low"', 'falls = "low"\nwarnings = { gout = "soon" }', "expects: warnings: gout"),
    ('"jankovic1999"', '"nobody1900"', "point 1: source nobody1900: is not in sources.toml"),
    ('title = "', 'tittle = "', "tittle: Extra inputs are not permitted"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), BROKEN, ids=[each[2][:40] for each in BROKEN])
def test_a_fault_names_the_file_and_the_place(copy: Copy, old: str, new: str, says: str) -> None:
    """A case that is wrong teaches something wrong, so the program does not start with it."""
    copy.change(LAP, old, new)
    fault = fault_of(copy)

    assert LAP in fault
    assert says in fault


def test_a_case_that_is_not_listed_is_refused(copy: Copy) -> None:
    """Otherwise it would be forgotten in silence."""
    Path(copy.folder / LAP).rename(copy.folder / "practice" / "other.toml")

    assert "practice/lap_and_cup.toml: is listed but missing" == fault_of(copy)


def test_a_point_without_any_support_is_refused(copy: Copy) -> None:
    """Nothing is taught that rests on nothing."""
    copy.change(
        "practice/keeping_time.toml",
        'support = [{ source = "postuma2015", claim = "Slowness without decrement or halts does not'
        ' meet the definition of bradykinesia.", standing = "secondary" }]',
        "support = []",
    )

    assert "practice/keeping_time.toml: point 2: says nothing of what it rests on" == fault_of(copy)
