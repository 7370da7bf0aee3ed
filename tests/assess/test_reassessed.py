"""What reads differently now, and in which order it is told."""

from types import MappingProxyType

from app.assess.assess import assess
from app.assess.reassessed import Change, changes, concluded
from app.exam.record import Exam
from app.exam.vocabulary import Side
from app.knowledge.load import knowledge


def test_less_is_told_after_more() -> None:
    """By rank: a new emergency, a new warning, one that is gone, a level, a hazard."""
    signed_as = {
        ("warning", "a"): "soon",
        ("warning", "gone"): "emergency",
        ("category", "c"): "fits",
        ("hazard", "h"): "present",
    }
    now = {
        ("hazard", "h"): "absent",
        ("category", "c"): "partial",
        ("warning", "new"): "routine",
        ("warning", "a"): "emergency",
    }

    assert (
        Change("warning", "a", "soon", "emergency"),
        Change("warning", "new", "not_raised", "routine"),
        Change("warning", "gone", "emergency", "not_raised"),
        Change("category", "c", "fits", "partial"),
        Change("hazard", "h", "present", "absent"),
    ) == changes(signed_as, now)


def test_what_is_not_spoken_of_was_not_concluded() -> None:
    """A version that does not have a rule did not conclude it; the falls group was open then."""
    assert () == changes({}, {("warning", "a"): "not_raised", ("category", "c"): "not_supported"})
    assert () == changes({}, {("hazard", "h"): "absent", ("fall_risk", "fall_risk"): "open"})
    assert (Change("category", "old", "fits", "not_supported"),) == changes(
        {("category", "old"): "fits"}, {}
    )


def test_what_an_assessment_concludes_is_read_off_it() -> None:
    """Listed categories, warnings besides the falls group, the falls group, hazards."""
    exam = Exam(
        cells=MappingProxyType(
            {("chorea", Side.LEFT): 2, ("hx_swallowing", None): True, ("base", None): "wide"}
        )
    )
    found = concluded(assess(exam, knowledge()))

    assert "fits" == found["category", "chorea"]
    assert "soon" == found["warning", "swallowing"]
    assert "open" == found["fall_risk", "fall_risk"]
    assert "present" == found["hazard", "base_wide"]
    assert ("warning", "fall_risk") not in found
    assert ("category", "tics") not in found
