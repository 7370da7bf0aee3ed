"""What differs in words: no more than is known."""

from decimal import Decimal
from types import MappingProxyType

import pytest

from app.assess.compared import Compared, compare
from app.exam.record import Exam, Recorded, Untestable
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge
from app.report.differences import change_words, figure_words, value_then

KNOWN = knowledge()


def exam(name: str, value: Recorded | None) -> Exam:
    """An exam with one cell, on the RIGHT where the finding has sides."""
    side = Side.RIGHT if vocabulary()[name].paired else None
    return Exam(cells=MappingProxyType({} if value is None else {(name, side): value}))


def one(name: str, then: Recorded | None, now: Recorded | None) -> Compared:
    """The comparison of one cell."""
    return compare(exam(name, then), exam(name, now), KNOWN)[0]


@pytest.mark.parametrize(
    ("name", "then", "now", "says"),
    [
        ("drift", 0, 1, "one grade more"),
        ("drift", 3, 2, "one grade less"),
        ("drift", 0, 2, "new"),
        ("drift", 2, 0, "no longer found"),
        ("drift", 1, 3, "worse"),
        ("drift", 2, None, "not known now"),
        ("drift", Untestable("pain"), 2, "not known then"),
        ("drift", Untestable("pain"), None, "not known both times"),
        ("drift", 2, 2, "the same"),
        ("base", "narrow", "wide", "different"),
        ("turn_steps", 3, 2, "1 step less; points to better"),
        ("lying_sys", Decimal(130), Decimal(150), "20 mmHg more"),
        ("tug_s", Decimal("10.2"), Decimal("9.0"), "1.2 s less; may be error of measurement"),
        # Beyond the figure of 3.5 s, and not rounded to it.
        ("tug_s", Decimal("10.00"), Decimal("13.501"), "3.501 s more; worse"),
    ],
)
def test_a_difference_says_what_is_known_of_it(
    name: str, then: Recorded | None, now: Recorded | None, says: str
) -> None:
    """The words do not call a change what may be none."""
    assert says == change_words(one(name, then, now))


def test_a_figure_says_in_whom_it_was_measured() -> None:
    """It holds for people with Parkinson disease, and for nobody else."""
    figure = KNOWN.course.detectable("tug_s")

    assert figure
    assert (
        "3.5 s: up to it, the difference may be error of measurement; measured in 72 people with "
        "Parkinson disease (Huang 2011, read in the source)"
    ) == figure_words(figure, KNOWN)


def test_what_describes_an_absent_finding_was_not_asked() -> None:
    """Which is another thing than not examined."""
    then = Exam(
        cells=MappingProxyType(
            {
                ("posture_tremor", Side.RIGHT): 2,
                ("posture_tremor_onset", Side.RIGHT): "delayed",
            }
        )
    )
    now = exam("posture_tremor", 0)
    onset = compare(then, now, KNOWN)[1]

    assert "not asked, as nothing was there to describe" == value_then(onset, now, onset.now)
    assert "after a delay" == value_then(onset, then, onset.then)
