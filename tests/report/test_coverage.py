"""What was examined and what was not."""

from hypothesis import given, settings

from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.report.coverage import (
    Coverage,
    Sided,
    State,
    at_station,
    coverage,
    is_present,
    signs_to_show,
    state_of,
)
from app.report.references import References
from app.report.summary import summary
from tests.report.drawn import CELLS, exams
from tests.report.samples import normal_exam, read, report

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def state(exam: Exam, finding: str, side: Side | None = None) -> State:
    """How a cell stands, by the id of its finding."""
    return state_of(exam, vocabulary()[finding], side)


def at(exam: Exam, station: str) -> Coverage:
    """The coverage of one station."""
    return next(each for each in coverage(exam) if each.station.id == station)


def names(findings: tuple[Sided, ...]) -> dict[str, tuple[Side | None, ...]]:
    """Findings with their sides, by id."""
    return {finding.id: sides for finding, sides in findings}


def test_an_empty_cell_is_never_normal() -> None:
    """Unknown is never read as normal, and what could not be tested is not either."""
    exam = read({"drift": {"right": {"untestable": "pain"}, "left": 0}, "tug_s": 9, "base": "wide"})

    assert State.UNTESTABLE is state(exam, "drift", RIGHT)
    assert State.NORMAL is state(exam, "drift", LEFT)
    assert State.NOT_EXAMINED is state(exam, "flap", RIGHT)
    assert State.DESCRIBED is state(exam, "tug_s")
    assert State.ABNORMAL is state(exam, "base")


def test_a_detail_is_not_needed_only_where_its_finding_is_known_to_be_absent() -> None:
    """Nobody can say how a resistance feels that is not there; one that nobody felt is unknown."""
    exam = read({"arm_resistance": {"right": 0, "left": {"untestable": "pain"}}})

    assert State.NOT_NEEDED is state(exam, "arm_resistance_speed", RIGHT)
    assert State.NOT_EXAMINED is state(exam, "arm_resistance_speed", LEFT)
    assert State.NOT_EXAMINED is state(exam, "leg_resistance_speed", LEFT)


def test_a_detail_is_missing_where_its_finding_is_present() -> None:
    """The sheet asks for it then, so an empty one is a gap."""
    tone = at(read({"arm_resistance": {"right": 2, "left": 0}}), "tone")

    assert (RIGHT,) == names(tone.missing)["arm_resistance_speed"]
    assert (RIGHT, LEFT) == names(tone.missing)["leg_resistance"]
    assert "leg_resistance_speed" not in names(tone.missing)
    assert (RIGHT,) == names(tone.others)["arm_cogwheel"]


def test_a_whole_quick_pass_has_no_gap() -> None:
    """And each station with one is called complete."""
    stations = coverage(normal_exam())

    assert [] == [each for each in stations if each.missing]
    assert ["rest", "posture", "reach", "repeat", "tone", "gait", "history"] == [
        each.station.id for each in stations if each.is_complete
    ]


def test_a_station_with_something_untestable_is_not_complete() -> None:
    """ "All else is normal" would then be untrue."""
    reach = read(
        {
            "kinetic_tremor": {"right": 0, "left": 0},
            "endpoint_tremor": {"right": 0, "left": 0},
            "dysmetria": {"right": {"untestable": "pain"}, "left": 0},
        }
    )

    assert () == at(reach, "reach").missing
    assert not at(reach, "reach").is_complete


def test_the_findings_of_one_task_stand_together() -> None:
    """Finger taps first, then toe taps, as they are done; nothing is lost on the way."""
    assert ["finger_tap"] * 5 + ["toe_tap"] * 5 + ["hand_open"] * 5 == [
        finding.task for finding in at_station("repeat")
    ]
    assert set(vocabulary().at("tone")) == set(at_station("tone"))


def test_a_present_sign_is_followed_by_its_details() -> None:
    """How a tremor starts says nothing without the tremor, and much beside it."""
    exam = read(
        {
            "posture_tremor": {"right": 1, "left": 0},
            "posture_tremor_onset": {"right": "delayed"},
            "hx_fever": True,
        }
    )

    assert ["posture_tremor", "posture_tremor_onset"] == [
        finding.id for finding in signs_to_show(exam)
    ]


@settings(max_examples=60, deadline=None)
@given(exams())
def test_every_cell_is_accounted_for_once(exam: Exam) -> None:
    """Recorded, missing, beyond the quick pass, or a detail that nobody needs: never dropped."""
    told = [
        (finding.id, side)
        for each in coverage(exam)
        for findings in (each.missing, each.others)
        for finding, sides in findings
        for side in sides
    ]
    details = [
        (finding.id, side)
        for finding in vocabulary().values()
        if finding.detail_of
        for side in finding.sides
        if (finding.id, side) not in exam.cells and not is_present(exam, finding.detail_of, side)
    ]

    assert sorted(map(str, CELLS)) == sorted(map(str, [*told, *details, *exam.cells]))


def test_a_normal_exam_rests_on_the_whole_quick_pass() -> None:
    """Four of a hundred findings as the reason read as if the others did not count."""
    found = report(normal_exam())
    page = summary(found, knowledge(), References(found.assessment, knowledge()))

    assert [("Nothing abnormal", "Every part of the quick pass, examined and normal")] == [
        (each.label, each.reasons_for) for each in page.categories
    ]
