"""Truth tables written from published criteria, and the rules held against them.

Each table is worked out here in plain Python from what the source says, over every combination of
its items; where the rule differs from its source, the difference itself is tested, row by row.

Held elsewhere, and not repeated here:
- freeman2011 and norcliffe2018 at their cutoffs: tests/assess/test_pressure.py, and over drawn
  pressures in test_arithmetic.py beside this.
- montero2022, every branch over every combination of answers; the cutoffs of cdc_steadi for the
  timed up and go and the tandem stand: tests/assess/test_fall_risk.py.
- bohannon2011 and cdc_steadi, cell by cell and at the ends of each band:
  tests/knowledge/test_norms.py. Here they are held against other printings of the same figures.
- jankovic1999 and postuma2015, sign by sign: tests/assess/test_signs.py.
- bhatia2018, at three years, as qualifiers: tests/assess/test_qualifiers.py.
"""

from decimal import ROUND_HALF_UP, Decimal
from itertools import product

import pytest

from app.assess.assess import world_of
from app.assess.warnings import judge_warning
from app.knowledge.load import knowledge
from tests.assess.examined import assessed, category, exam_of

STRONG = ("fits", "fits_with_cautions")


def raised(name: str, text: str, medicines: tuple[str, ...] = ()) -> bool:
    """Whether a warning is raised, without the rest of the assessment."""
    world = world_of(exam_of(text, medicines=medicines), knowledge())
    return judge_warning(world, knowledge().warnings[name]) is not None


# ---- postuma2015: parkinsonism is bradykinesia with rest tremor, rigidity, or both.
# Postuma RB et al. Mov Disord 2015;30:1591-1601.

CLEAR = (
    "rest_tremor_hand each 0; rest_tremor_leg each 0; rest_tremor_jaw 0; posture_tremor each 0;"
    " walking_tremor_hand each 0; kinetic_tremor each 0; finger_tap_slow each 0;"
    " toe_tap_slow each 0; hand_open_slow each 0; arm_resistance each 0; leg_resistance each 0;"
)
BRADYKINESIA = {
    "arm": "finger_tap_slow {0} 2; finger_tap_decrement {0} 2;",
    "leg": "toe_tap_slow {0} 2; toe_tap_halts {0} 2;",
}
REST_TREMOR = {"arm": "rest_tremor_hand {0} 2;", "leg": "rest_tremor_leg {0} 2;"}
RIGIDITY = (
    "{1}_resistance {0} 2; {1}_resistance_directions {0} both; {1}_resistance_speed {0} same;"
    " {1}_resistance_varies {0} no;"
)


@pytest.mark.parametrize("limb", ["arm", "leg"])
@pytest.mark.parametrize(
    ("slow_side", "other_side"),
    [("right", "right"), ("left", "left"), ("right", "left"), ("left", "right")],
)
@pytest.mark.parametrize(("slow", "tremor", "rigid"), list(product((False, True), repeat=3)))
def test_parkinsonism_is_bradykinesia_with_rest_tremor_or_rigidity(
    slow: bool, tremor: bool, rigid: bool, slow_side: str, other_side: str, limb: str
) -> None:
    """Every combination, on every side; the criteria do not ask for the same side."""
    text = CLEAR
    text += BRADYKINESIA[limb].format(slow_side) if slow else ""
    text += REST_TREMOR[limb].format(other_side) if tremor else ""
    text += RIGIDITY.format(other_side, limb) if rigid else ""
    found = category("parkinsonism", text)

    assert (slow and (tremor or rigid)) == (found.level == "fits")
    # What is there of it is listed without a claim that it fits (the contract's own levels).
    if not (slow and (tremor or rigid)):
        assert ("partial" if slow or tremor or rigid else "not_supported") == found.level


@pytest.mark.parametrize(
    "text",
    [
        # A tremor of action is no rest tremor.
        BRADYKINESIA["arm"] + "kinetic_tremor {0} 3;",
        BRADYKINESIA["arm"] + "posture_tremor {0} 3; posture_tremor_onset {0} at_once;",
        # Cogwheel without resistance is no rigidity.
        BRADYKINESIA["arm"] + "arm_cogwheel {0} yes;",
        # Resistance that depends on the speed is none either.
        BRADYKINESIA["arm"]
        + RIGIDITY.format("{0}", "leg").replace("speed {0} same", "speed {0} catch"),
        # Postural instability is none of the defining signs, unlike in the older criteria.
        BRADYKINESIA["arm"] + "pull_test would_fall;",
        # Bradykinesia is shown in a limb; face, voice and trunk do not stand in for it.
        REST_TREMOR["arm"] + RIGIDITY.format("{0}", "arm") + "face_still 3; speech_quiet 3;",
        REST_TREMOR["arm"] + RIGIDITY.format("{0}", "arm") + "moves_little 3; rise slow;",
        # Slow without decrement or halts, and shrinking without being slow.
        REST_TREMOR["arm"] + "toe_tap_slow {0} 3; toe_tap_decrement {0} 0; toe_tap_halts {0} 0;",
        REST_TREMOR["arm"] + "toe_tap_decrement {0} 3;",
    ],
)
@pytest.mark.parametrize("side", ["right", "left"])
def test_what_the_criteria_do_not_count_makes_no_parkinsonism(text: str, side: str) -> None:
    """Listed as partial at most."""
    assert "partial" == category("parkinsonism", CLEAR + text.format(side)).level


# ---- dunkley2003: the Hunter criteria. With a serotonergic medicine, any of: spontaneous clonus;
# inducible clonus with agitation or sweating; ocular clonus with agitation or sweating; tremor
# with hyperreflexia; hypertonia with a temperature over 38 and ocular or inducible clonus.
# Dunkley EJC et al. QJM 2003;96:635-642. The exam's clonus is the inducible one; it records neither
# sweating nor ocular clonus.

Row = tuple[bool, bool, bool, bool, bool, bool]
HUNTER_ROWS: list[Row] = [
    (clonus, tremor, brisk, stiff, agitated, hot)
    for clonus, tremor, brisk, stiff, agitated, hot in product((False, True), repeat=6)
]


def hunter(row: Row) -> bool:
    """Whether the criteria are met, on a serotonergic medicine."""
    clonus, tremor, brisk, stiff, agitated, hot = row
    return (clonus and agitated) or (tremor and brisk) or (stiff and hot and clonus)


def serotonin_excess(row: Row, medicine: str = "sertraline") -> bool:
    """Whether the rule raises its warning; onset over months, not confused, the rest normal."""
    clonus, tremor, brisk, stiff, agitated, hot = row
    text = CLEAR + "rise normal; head_tremor 0; voice_tremor 0; standing_leg_tremor no;"
    text += " endpoint_tremor each 0; hx_confusion no; hx_onset months_years;"
    text += f" clonus left no; clonus right {'yes' if clonus else 'no'};"
    text += " kinetic_tremor each 2;" if tremor else ""
    text += f" reflexes_brisk_arm each 0; reflexes_brisk_leg each {2 if brisk else 0};"
    text += RIGIDITY.format("each", "leg") if stiff else ""
    text += f" hx_agitation {'yes' if agitated else 'no'}; hx_fever {'yes' if hot else 'no'}"
    return raised("serotonin_excess", text, (medicine,))


def test_with_agitation_the_warning_is_the_hunter_criteria() -> None:
    """Every combination of clonus, tremor, brisk reflexes, stiffness and fever."""
    agitated = [row for row in HUNTER_ROWS if row[4]]

    assert [hunter(row) for row in agitated] == [serotonin_excess(row) for row in agitated]


def test_without_agitation_and_fever_the_warning_is_stricter_than_the_hunter_criteria() -> None:
    """Tremor with brisk reflexes alone meets them; the rule leaves that everyday picture out."""
    calm = [row for row in HUNTER_ROWS if not row[4] and not row[5]]
    met = [row for row in calm if hunter(row)]

    assert [] == [row for row in calm if serotonin_excess(row)]
    assert [row for row in calm if row[1] and row[2]] == met


def test_with_fever_alone_the_warning_is_wider_by_clonus() -> None:
    """The criteria ask for stiffness beside it, unless the clonus is spontaneous: not recorded."""
    hot = [row for row in HUNTER_ROWS if row[5] and not row[4]]
    wider = [row for row in hot if serotonin_excess(row) and not hunter(row)]

    assert [] == [row for row in hot if hunter(row) and not serotonin_excess(row)]
    assert [r for r in hot if r[0] and not r[3] and not (r[1] and r[2])] == wider


def test_without_a_serotonergic_medicine_there_is_no_such_warning() -> None:
    """The first condition of the criteria."""
    assert [] == [row for row in HUNTER_ROWS if serotonin_excess(row, "paracetamol")]


# ---- caine1997: two of dietary deficiency, oculomotor signs, cerebellar signs, and an altered
# mental state. Caine D et al. J Neurol Neurosurg Psychiatry 1997;62:51-60.


@pytest.mark.parametrize("diet", ["hx_poor_nutrition", "hx_heavy_alcohol"])
@pytest.mark.parametrize(
    "eyes", ["hx_eye_movement_trouble yes", "nystagmus yes", "vertical_gaze limited"]
)
@pytest.mark.parametrize("cerebellar", ["dysmetria right 1", "veering 1"])
def test_lack_of_thiamine_is_two_of_four_of_which_diet_is_one(
    diet: str, eyes: str, cerebellar: str
) -> None:
    """All 16 combinations. The rule is stricter by the four that have two others without diet."""
    met, held = set(), set()
    for row in product((False, True), repeat=4):
        text = "hx_poor_nutrition no; hx_heavy_alcohol no; hx_eye_movement_trouble no;"
        text += " nystagmus no; vertical_gaze normal; dysmetria each 0; endpoint_tremor each 0;"
        text += " veering 0; base normal; tandem_walk able; romberg steady; hx_confusion no;"
        signs = (f"{diet} yes", eyes, cerebellar, "hx_confusion yes")
        text += "; ".join(sign for sign, there in zip(signs, row, strict=True) if there)
        if sum(row) >= 2:
            met.add(row)
        if raised("wernicke", text):
            held.add(row)

    assert {row for row in met if row[0]} == held
    assert 4 == len(met - held)


# ---- bhatia2018: essential tremor is an isolated action tremor of both arms for three years or
# more, without other neurological signs. Bhatia KP et al. Mov Disord 2018;33:75-87.

ISOLATED = CLEAR + (
    " kinetic_tremor each 2; posture_tremor each 2; posture_tremor_onset each at_once;"
    " endpoint_tremor each 0; dystonia each 0; dystonia_midline 0; dysmetria each 0; veering 0;"
    " base normal; tandem_walk able; romberg steady; hx_memory no; hx_thyroid_symptoms no;"
)


@pytest.mark.parametrize(
    ("years", "level", "qualifier"),
    [
        ("2.99", "fits_with_cautions", "too_early_to_name"),
        ("3", "fits", "essential_pattern"),
        ("30", "fits", "essential_pattern"),
    ],
)
def test_an_isolated_tremor_of_both_hands_is_essential_from_three_years(
    years: str, level: str, qualifier: str
) -> None:
    """Before, it is too early to name."""
    found = category("action_tremor", f"{ISOLATED} hx_years {years}", medicines=[])

    assert level == found.level
    assert {qualifier} == {"too_early_to_name", "essential_pattern"} & set(found.qualifiers)


@pytest.mark.parametrize(
    "sign",
    [
        *("dystonia right 1", "dystonia_midline 1", "dysmetria left 1"),
        *(BRADYKINESIA["leg"].format("right"), RIGIDITY.format("left", "arm")),
        # One hand alone, and a head or a voice alone, are other tremors.
        "kinetic_tremor left 0; posture_tremor left 0",
        "kinetic_tremor each 0; posture_tremor each 0; head_tremor 2",
        "kinetic_tremor each 0; posture_tremor each 0; voice_tremor 2",
    ],
)
def test_what_the_definition_excludes_does_not_fit(sign: str) -> None:
    """Dystonia, ataxia and parkinsonism; and it takes both arms."""
    assert category("action_tremor", f"{ISOLATED} hx_years 9; {sign}").level not in STRONG


@pytest.mark.parametrize("sign", ["rest_tremor_hand right 1", "veering 1", "hx_memory yes"])
def test_with_a_sign_of_uncertain_meaning_it_is_not_called_essential(sign: str) -> None:
    """Rest tremor, an unsure gait or failing memory: the source has a wider name for these."""
    found = category("action_tremor", f"{ISOLATED} hx_years 9; {sign}")

    assert "fits_with_cautions" == found.level
    assert "essential_pattern" not in found.qualifiers


# ---- jankovic1999: in Parkinson's disease the tremor of held-out hands came back after a mean of
# 9.37 s; of 20 people with essential tremor 19 had no delay, and one 1.29 s.
# Jankovic J et al. J Neurol Neurosurg Psychiatry 1999;67:646-650.


@pytest.mark.parametrize("delay", ["0", "1.29"])
def test_a_tremor_with_the_delays_of_essential_tremor_is_an_action_tremor(delay: str) -> None:
    """And nothing of parkinsonism is listed."""
    text = ISOLATED.replace(
        "posture_tremor_onset each at_once", f"posture_tremor_delay_s each {delay}"
    )
    listed = {each.id: each.level for each in assessed(f"{text} hx_years 9").listed}

    assert {"action_tremor": "fits"} == listed


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_tremor_with_the_mean_delay_of_parkinsons_disease_is_a_rest_tremor(side: str) -> None:
    """Re-emergent; with bradykinesia it makes parkinsonism, and no action tremor."""
    text = CLEAR + BRADYKINESIA["arm"].format(side)
    text += f"posture_tremor {side} 2; posture_tremor_delay_s {side} 9.37"
    found = category("parkinsonism", text)

    assert "fits" == found.level
    assert "re_emergent_tremor" in found.qualifiers
    assert "not_supported" == category("action_tremor", text).level


# ---- norms, against other printings of the same figures

# The normal ranges of chair stands in 30 s (Rikli RE, Jones CJ), whose lower ends are the cutoffs
# of cdc_steadi, which calls a lower number below average.
NORMAL_CHAIR_STANDS = """
60-64  14-19  12-17
65-69  12-18  11-16
70-74  12-17  10-15
75-79  11-17  10-15
80-84  10-15   9-14
85-89   8-14   8-13
90-94   7-12   4-11
"""


@pytest.mark.parametrize(
    ("age", "sex", "lowest"),
    [
        (int(age), sex, int(normal.split("-")[0]))
        for band, male, female in map(str.split, NORMAL_CHAIR_STANDS.strip().splitlines())
        for age in band.split("-")
        for sex, normal in (("male", male), ("female", female))
    ],
)
def test_chair_stands_below_the_normal_range_are_a_hazard(age: int, sex: str, lowest: int) -> None:
    """Through the whole assessment: one fewer is, the lowest normal number is not."""
    for stands, low in ((lowest - 1, True), (lowest, False)):
        found = assessed(f"stands_30s {stands}", age=age, sex=sex).hazards

        assert low == ("chair_stands_low" in {each.id for each in found})


# Bohannon RW, Andrews AW. Physiotherapy 2011;97:182-189, in cm/s with its decimal. The smallest and
# the largest stand in its abstract; the third figure of the others is from memory.
WALKING_SPEED = """
20-29  135.8 134.1
30-39  143.3 133.7
40-49  143.4 139.0
50-59  143.3 131.3
60-69  133.9 124.1
70-79  126.2 113.2
80-99   96.8  94.3
"""


def test_the_walking_speeds_are_the_published_ones_rounded() -> None:
    """To two decimals of a metre, as they are shown."""
    norm = knowledge().norms["usual_walking_speed"]
    for band, *printed in map(str.split, WALKING_SPEED.strip().splitlines()):
        for sex, figure in zip(("male", "female"), printed, strict=True):
            rounded = (Decimal(figure) / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)

            assert rounded == norm.value(Decimal(band[:2]), sex), (band, sex)
