"""What is so in every completion is said, with the reasons that make it so (docs/decisions/0009).

That nothing is missed in any exam, and nothing said too early, is proved by solver:
tests/proofs/test_exact.py.
"""

import pytest

from app.assess.assess import world_of
from app.assess.exact import because_exactly, exactly
from app.knowledge.load import knowledge
from app.logic.expression import Reference
from app.logic.truth import UNKNOWN, YES
from tests.assess.examined import category, exam_of

KNOWN = knowledge()
EITHER_WAY = [
    # Rigid or spastic: the limb is stiff both ways, and all the time.
    (
        "short_course_soon",
        (
            "arm_resistance left 1; arm_resistance_varies left no;"
            " arm_resistance_directions left both; hx_recent_worsening yes"
        ),
        ["hx_recent_worsening", "arm_resistance", "arm_resistance_directions"],
    ),
    # Of nerve and muscle, or of the upper motor neuron: another pattern fits.
    (
        "functional_cautioned",
        "tremor_entrains yes; foot_drop right 2; hoffmann right yes",
        ["hoffmann", "foot_drop"],
    ),
    # Parkinsonism, spasticity or paratonia.
    (
        "functional_cautioned",
        (
            "tremor_entrains yes; toe_tap_slow right 2; toe_tap_decrement right 2;"
            " leg_resistance right 2; leg_resistance_directions right both"
        ),
        ["toe_tap_slow", "toe_tap_decrement", "leg_resistance", "leg_resistance_directions"],
    ),
]


@pytest.mark.parametrize(("name", "text", "reasons"), EITHER_WAY, ids=lambda each: str(each)[:40])
def test_what_is_true_either_way_is_called_true(name: str, text: str, reasons: list[str]) -> None:
    """And its reasons are what was recorded: not a speed that nobody tried."""
    world = world_of(exam_of(text), KNOWN)

    assert UNKNOWN is world.truth(Reference(name))
    assert YES is exactly(world, name)
    assert sorted(reasons) == sorted(str(each.finding) for each in because_exactly(world, name))


def test_what_may_come_out_either_way_stays_unknown() -> None:
    """A stiffness that may come and go is neither rigid nor spastic for sure."""
    text = "arm_resistance left 1; arm_resistance_directions left both; hx_recent_worsening yes"

    assert UNKNOWN is exactly(world_of(exam_of(text), KNOWN), "short_course_soon")


def test_what_is_true_by_itself_has_its_own_reasons() -> None:
    """And none of those that would do whichever way the rest came out."""
    text = (
        "arm_resistance left 1; arm_resistance_varies left no; arm_resistance_directions left both;"
        " arm_resistance_speed left catch; hx_recent_worsening yes"
    )
    world = world_of(exam_of(text), KNOWN)

    assert YES is world.truth(Reference("short_course_soon"))
    assert "arm_resistance_directions" not in {
        each.finding for each in because_exactly(world, "short_course_soon")
    }


def test_a_category_shows_it() -> None:
    """Another pattern beside a functional sign is a caution, whichever of two it is."""
    found = category("functional", "tremor_entrains yes; foot_drop right 2; hoffmann right yes")

    assert "fits_with_cautions" == found.level
    assert {"foot_drop"} <= {each.finding for each in found.against}
