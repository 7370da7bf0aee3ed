"""Two exams compared: noise is not called change, and unknown is never read as normal."""

from decimal import Decimal
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.assess.compared import Compared, Kind, Toward, compare
from app.exam.measures import QUANTITIES
from app.exam.record import Exam, Recorded, Untestable
from app.exam.vocabulary import Scale, Side, vocabulary
from app.knowledge.load import knowledge
from tests.strategies import CELLS, exams, values_of

KNOWN = knowledge()
CANNOT = Untestable("arm in plaster")
FLIPPED = {
    Kind.NEW: Kind.GONE, Kind.GONE: Kind.NEW,
    Kind.WORSE: Kind.BETTER, Kind.BETTER: Kind.WORSE,
}  # fmt: skip
OPPOSITE = {Toward.WORSE: Toward.BETTER, Toward.BETTER: Toward.WORSE, None: None}
# How much is said of a difference.
SAID = {
    Kind.SAME: 0,
    Kind.ONE_GRADE: 1, Kind.WITHIN_ERROR: 1, Kind.DIFFERENT: 1,
    Kind.NEW: 2, Kind.GONE: 2, Kind.WORSE: 2, Kind.BETTER: 2,
}  # fmt: skip


def exam(**cells: Recorded) -> Exam:
    """An exam; `drift_right=2` is a side of a paired finding."""
    held: dict[tuple[str, Side | None], Recorded] = {}
    for key, value in cells.items():
        name, _, side = key.rpartition("_")
        if side in ("right", "left"):
            held[name, Side(side)] = value
        else:
            held[key, None] = value
    return Exam(cells=MappingProxyType(held))


def only(then: Exam, now: Exam, name: str, side: Side | None = None) -> Compared:
    """The one comparison with this name."""
    (found,) = [
        each for each in compare(then, now, KNOWN) if (each.name, each.side) == (name, side)
    ]
    return found


@pytest.mark.parametrize(
    ("then", "now", "kind", "toward"),
    [
        (0, 0, Kind.SAME, None),
        (2, 2, Kind.SAME, None),
        (0, 1, Kind.ONE_GRADE, Toward.WORSE),
        (1, 0, Kind.ONE_GRADE, Toward.BETTER),
        (1, 2, Kind.ONE_GRADE, Toward.WORSE),
        (3, 2, Kind.ONE_GRADE, Toward.BETTER),
        (0, 2, Kind.NEW, Toward.WORSE),
        (3, 0, Kind.GONE, Toward.BETTER),
        (1, 3, Kind.WORSE, Toward.WORSE),
        (3, 1, Kind.BETTER, Toward.BETTER),
        (CANNOT, 0, Kind.NOT_COMPARABLE, None),
        (2, CANNOT, Kind.NOT_COMPARABLE, None),
        (CANNOT, CANNOT, Kind.NOT_COMPARABLE, None),
    ],
)
def test_a_grade_is_compared_by_steps(
    then: Recorded, now: Recorded, kind: Kind, toward: Toward | None
) -> None:
    """One step may be two examiners: no published figure says that it is more."""
    found = only(exam(drift_right=then), exam(drift_right=now), "drift", Side.RIGHT)

    assert (kind, toward) == (found.kind, found.toward)


@pytest.mark.parametrize("value", [0, 1, 2, 3])
def test_what_is_not_examined_now_is_not_better(value: int) -> None:
    """And what was not examined before is not new."""
    for then, now in ((exam(drift_left=value), Exam()), (Exam(), exam(drift_left=value))):
        found = only(then, now, "drift", Side.LEFT)

        assert (Kind.NOT_COMPARABLE, None) == (found.kind, found.toward)


@pytest.mark.parametrize(
    ("name", "then", "now", "kind", "toward"),
    [
        ("nystagmus", False, True, Kind.NEW, Toward.WORSE),
        ("nystagmus", True, False, Kind.GONE, Toward.BETTER),
        ("step_length", "normal", "short", Kind.NEW, Toward.WORSE),
        ("step_length", "short", "shuffling", Kind.WORSE, Toward.WORSE),
        ("walking_aid", "frame", "stick", Kind.BETTER, Toward.BETTER),
        ("base", "normal", "wide", Kind.NEW, Toward.WORSE),
        ("base", "wide", "normal", Kind.GONE, Toward.BETTER),
        ("base", "narrow", "wide", Kind.DIFFERENT, None),
        ("hx_levodopa", "not_tried", "clear", Kind.DIFFERENT, None),
        ("hx_alcohol_helps", False, True, Kind.DIFFERENT, None),
        ("lying_sys", Decimal(130), Decimal(150), Kind.DIFFERENT, None),
        ("five_stands_s", Decimal(12), Decimal(20), Kind.DIFFERENT, Toward.WORSE),
        ("stands_30s", 8, 12, Kind.DIFFERENT, Toward.BETTER),
        # Huang 2011: 3.5 s in people with Parkinson disease.
        ("tug_s", Decimal("12.0"), Decimal("15.5"), Kind.WITHIN_ERROR, Toward.WORSE),
        ("tug_s", Decimal("12.0"), Decimal("15.51"), Kind.WORSE, Toward.WORSE),
        ("tug_s", Decimal("15.5"), Decimal("12.0"), Kind.WITHIN_ERROR, Toward.BETTER),
        ("tug_s", Decimal("15.6"), Decimal("12.0"), Kind.BETTER, Toward.BETTER),
        ("tug_s", Decimal("12.0"), Decimal("12.00"), Kind.SAME, None),
    ],
)
def test_words_and_measures_are_compared_by_what_is_known_of_them(
    name: str, then: Recorded, now: Recorded, kind: Kind, toward: Toward | None
) -> None:
    """An order where there is one, a published figure where there is one, else as it is."""
    found = only(exam(**{name: then}), exam(**{name: now}), name)

    assert (kind, toward) == (found.kind, found.toward)


@pytest.mark.parametrize(
    ("seconds", "kind"),
    [
        # 10 m in 10 s is 1.00 m/s; 10 / 9.1743… is 1.09.
        ("10.98", Kind.WITHIN_ERROR),
        ("10.99", Kind.WORSE),
        ("9.18", Kind.WITHIN_ERROR),
        ("9.17", Kind.BETTER),
    ],
)
def test_walking_speed_is_compared_with_its_published_change(seconds: str, kind: Kind) -> None:
    """Combs 2014: 0.09 m/s. Slower is worse, though the seconds are more."""
    then = exam(walk_m=Decimal(10), walk_s=Decimal(10))
    now = exam(walk_m=Decimal(10), walk_s=Decimal(seconds))
    found = only(then, now, "walking_speed_m_per_s")

    assert kind == found.kind
    assert ["detectable", "substantial"] == [each.kind for each in found.figures]


@given(exams(), exams())
def test_changing_the_exams_over_changes_every_word_over(one: Exam, other: Exam) -> None:
    """New is gone, worse is better; what is neither stays what it is."""
    there, back = compare(one, other, KNOWN), compare(other, one, KNOWN)

    assert [
        (each.name, each.side, each.now, each.then, FLIPPED.get(each.kind, each.kind), toward)
        for each in there
        for toward in [OPPOSITE[each.toward]]
    ] == [(each.name, each.side, each.then, each.now, each.kind, each.toward) for each in back]


@given(exams(), exams())
def test_a_mirror_changes_the_sides_and_nothing_else(one: Exam, other: Exam) -> None:
    """RIGHT and LEFT are never taken for each other."""

    def by_cell(found: tuple[Compared, ...]) -> dict[object, object]:
        return {(each.name, each.side): (each.then, each.now, each.kind) for each in found}

    mirrored = by_cell(compare(one.mirrored(), other.mirrored(), KNOWN))

    assert {
        (each.name, each.side.other if each.side else None): (each.then, each.now, each.kind)
        for each in compare(one, other, KNOWN)
    } == mirrored


@given(exams())
def test_an_exam_is_the_same_as_itself(one: Exam) -> None:
    """But for what could not be tested, which is not known to be the same."""
    for each in compare(one, one, KNOWN):
        unknown = isinstance(each.then, Untestable)

        assert (Kind.NOT_COMPARABLE if unknown else Kind.SAME) == each.kind


@given(exams(), exams())
def test_everything_that_was_recorded_is_compared_just_once_right_before_left(
    one: Exam, other: Exam
) -> None:
    """Nothing is lost between two visits."""
    found = [(each.name, each.side) for each in compare(one, other, KNOWN)]
    cells = [cell for cell in found if cell[0] not in QUANTITIES]

    assert {*one.cells, *other.cells} == set(cells)
    assert len(set(found)) == len(found)
    assert sorted(cells, key=lambda cell: vocabulary().place(*cell)) == cells


@given(st.data(), st.sampled_from(CELLS))
def test_what_is_more_is_never_called_less(data: st.DataObject, cell: tuple[str, Side]) -> None:
    """With the exam before unchanged, a worse value now never reads better than a milder one."""
    name, _ = cell
    course = KNOWN.course
    drawn = [data.draw(values_of(name)) for _ in range(3)]
    finding = vocabulary()[name]
    order = {
        "lower_is_worse": lambda value: -Decimal(value),
        "later_is_worse": finding.values.index if finding.scale is Scale.CHOICE else None,
    }.get(course.direction(name), Decimal)
    if order is None or course.direction(name) in ("no_order", "first_is_best"):
        return
    then, milder, worse = drawn[0], *sorted(drawn[1:], key=order)
    ranks = []
    for now in (milder, worse):
        (found,) = compare(
            Exam(cells=MappingProxyType({cell: then})),
            Exam(cells=MappingProxyType({cell: now})),
            KNOWN,
        )
        ranks.append(SAID[found.kind] * (-1 if found.toward is Toward.BETTER else 1))

    assert ranks == sorted(ranks)
