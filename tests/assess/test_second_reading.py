"""Every category and warning agrees with a second reading of the contract in plain Python.

Exams in which everything is known: most of it normal, some of it not, drawn at random.
"""

from decimal import Decimal
from types import MappingProxyType

from hypothesis import given, settings
from hypothesis import strategies as st

from app.assess.assess import assess
from app.exam.record import Cell, Exam, Patient, Value
from app.exam.vocabulary import vocabulary
from app.knowledge.load import knowledge
from tests.assess.second_reading import Seen, level, levels
from tests.assess.second_reading_of_warnings import warnings
from tests.strategies import CELLS, MEDICINES, recorded

# The values that a healthy person would have where a finding has no normal one.
UNREMARKABLE: dict[str, Value] = {
    "posture_tremor_onset": "at_once",
    "posture_tremor_delay_s": Decimal(0),
    "arm_resistance_directions": "both",
    "leg_resistance_directions": "both",
    "arm_resistance_speed": "same",
    "leg_resistance_speed": "same",
    "turn_steps": 2,
    "hx_years": Decimal(6),
    "hx_falls_12m": 0,
    "lying_sys": Decimal(120),
    "lying_dia": Decimal(70),
    "lying_hr": Decimal(60),
    "standing_sys": Decimal(120),
    "standing_dia": Decimal(70),
    "standing_hr": Decimal(70),
}
HEALTHY: dict[Cell, Value] = {}
for cell in CELLS:
    normal = vocabulary()[cell[0]].normal_value()
    HEALTHY[cell] = UNREMARKABLE.get(cell[0], 10 if normal is None else normal)
RECOGNISED = [line for line in MEDICINES if line not in ("paracetamol", "vitamin D")]


@st.composite
def known_exams(draw: st.DrawFn) -> Exam:
    """An exam in which everything is known."""
    cells = HEALTHY | draw(recorded(gaps=False))
    age = Decimal(draw(st.sampled_from((18, 50, 51, 80))))
    lines = tuple(draw(st.lists(st.sampled_from(RECOGNISED), max_size=3)))
    return Exam(Patient(age, "female"), MappingProxyType(dict(cells)), lines)


def functional(seen: Seen, others: set[str]) -> str:
    """Positive signs only; another pattern that fits is its caution."""
    signs = [
        seen.v(each) for each in ("tremor_distractible", "movement_inconsistent", "knee_buckling")
    ]
    entrains = seen.v("tremor_entrains")
    return level(
        entrains or sum(signs) >= 2,
        entrains or any(signs),
        not others.isdisjoint({"fits", "fits_with_cautions"}),
    )


@settings(max_examples=settings().max_examples * 5)
@given(known_exams())
def test_the_second_reading_comes_to_the_same(exam: Exam) -> None:
    """The level of every category, and every warning with its urgency."""
    found = assess(exam, knowledge())
    seen = Seen(exam, found.recognised)
    expected = levels(seen)
    abnormal = [
        finding
        for finding, _, value in exam.known()
        if vocabulary()[finding].is_sign and vocabulary()[finding].is_abnormal(value)
    ]
    expected |= {
        "functional": functional(seen, set(expected.values())),
        "nothing_abnormal": "not_supported" if abnormal else "fits",
    }

    assert expected == {each.id: each.level for each in found.categories}
    assert warnings(seen, expected) == {
        each: next((one.urgency for one in found.warnings if one.id == each), None)
        for each in knowledge().warnings
    }
