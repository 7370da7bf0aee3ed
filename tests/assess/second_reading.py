"""The contract's signs and categories (sections 2 and 3), read again in plain Python.

It reads exams in which everything is known, so that true and false are all there is. It was written
from the contract's page and shares nothing with the knowledge files or their evaluator.
"""

from collections.abc import Callable
from decimal import Decimal
from itertools import product
from typing import Any

from app.assess.assessment import Recognised
from app.exam.record import Exam
from app.exam.vocabulary import SIDES, Side

URGENCY = ("emergency", "same_day", "soon", "routine")
TASKS = ("finger_tap", "toe_tap", "hand_open")
LIMBS = ("arm", "leg")


class Seen:
    """An exam in which everything is known, with the medicines that were recognised."""

    def __init__(self, exam: Exam, medicines: tuple[Recognised, ...]) -> None:
        self.exam = exam
        self.medicines = medicines

    def v(self, name: str, side: Side | None = None) -> Any:
        """A recorded value."""
        value = self.exam.value(name, side)
        assert value is not None, f"{name} {side} is not known"
        return value

    def any(self, *names: str) -> bool:
        """Present (or yes) on some side."""
        return any(self.v(name, side) for name in names for side in SIDES)

    def both(self, name: str) -> bool:
        """Present (or yes) on both sides."""
        return all(self.v(name, side) for side in SIDES)

    def some(self, sign: Callable[[Side], bool]) -> bool:
        """A derived sign on some side."""
        return any(map(sign, SIDES))

    def takes(self, medicine_class: str) -> bool:
        """A medicine of a class is taken."""
        return any(medicine_class in each.classes for each in self.medicines)

    # ---- section 2

    def task(self, task: str, side: Side) -> bool:
        """Slow, and decrement or halts."""
        slow, *more = (self.v(f"{task}_{what}", side) for what in ("slow", "decrement", "halts"))
        return bool(slow and any(more))

    def brady(self, side: Side) -> bool:
        """Bradykinesia in arm or leg."""
        return any(self.task(task, side) for task in TASKS)

    def core_brady_arm(self, side: Side) -> bool:
        """By finger taps, which are testable here."""
        return self.task("finger_tap", side)

    def core_brady(self, side: Side) -> bool:
        """By finger taps and toe taps."""
        return self.core_brady_arm(side) or self.task("toe_tap", side)

    def delayed(self, side: Side) -> bool:
        """The recorded onset of a posture tremor."""
        return bool(self.v("posture_tremor_onset", side) == "delayed")

    def rest_tremor(self, side: Side) -> bool:
        """Of hand or leg, walking, or re-emergent."""
        names = ("rest_tremor_hand", "rest_tremor_leg", "walking_tremor_hand")
        re_emergent = self.v("posture_tremor", side) and self.delayed(side)
        return any(self.v(name, side) for name in names) or bool(re_emergent)

    def rest_tremor_anywhere(self) -> bool:
        """With the jaw."""
        return self.some(self.rest_tremor) or bool(self.v("rest_tremor_jaw"))

    def action_tremor(self, side: Side) -> bool:
        """Kinetic, or held out at once."""
        at_once = self.v("posture_tremor", side) and not self.delayed(side)
        return bool(self.v("kinetic_tremor", side) or at_once)

    def tone(self, limb: str, side: Side) -> str:
        """The kind of tone."""
        if not self.v(f"{limb}_resistance", side):
            return "normal"
        if self.v(f"{limb}_resistance_varies", side):
            return "paratonia"
        both_ways = self.v(f"{limb}_resistance_directions", side) == "both"
        if self.v(f"{limb}_resistance_speed", side) == "catch":
            return "mixed" if both_ways else "spasticity"
        return "rigidity" if both_ways else "unclear"

    def spastic(self, limb: str, side: Side) -> bool:
        """Spasticity or mixed."""
        return self.tone(limb, side) in ("spasticity", "mixed")

    def any_spastic(self) -> bool:
        """In any limb."""
        return any(self.spastic(limb, side) for limb, side in product(LIMBS, SIDES))

    def any_spastic_leg(self) -> bool:
        """In a leg."""
        return self.some(lambda side: self.spastic("leg", side))

    def rigid(self, limb: str, side: Side) -> bool:
        """Rigidity."""
        return self.tone(limb, side) == "rigidity"

    def any_rigid(self) -> bool:
        """In any limb."""
        return any(self.rigid(limb, side) for limb, side in product(LIMBS, SIDES))

    def limb_ataxia(self, *, definite: bool = False) -> bool:
        """On any side."""
        grades = [self.v(n, s) for n, s in product(("dysmetria", "endpoint_tremor"), SIDES)]
        return max(grades) >= (2 if definite else 1)

    def gait_ataxia(self) -> bool:
        """Of the gait."""
        return bool(
            self.v("veering")
            or self.v("base") == "wide"
            or self.v("tandem_walk") == "unable"
            or self.v("romberg") == "unsteady_eyes_open"
        )

    def short_steps(self) -> bool:
        """Short or shuffling."""
        return self.v("step_length") in ("short", "shuffling")

    def recent(self) -> bool:
        """Not over a quarter of a year."""
        return bool(self.v("hx_years") <= Decimal("0.25"))

    def acute(self) -> bool:
        """Sudden or over days or weeks, and recent."""
        return self.v("hx_onset") != "months_years" and self.recent()

    def plantar_up(self, side: Side) -> bool:
        """An extensor response."""
        return bool(self.v("plantar", side) == "up")

    def brisk(self, limb: str, side: Side, grade: int) -> bool:
        """Brisk reflexes from a grade up."""
        return bool(self.v(f"reflexes_brisk_{limb}", side) >= grade)

    def any_brisk(self, grade: int = 2) -> bool:
        """Anywhere."""
        return any(self.brisk(limb, side, grade) for limb, side in product(LIMBS, SIDES))

    def orthostatic(self) -> tuple[bool, bool]:
        """An orthostatic fall, and whether its systolic criterion is met."""
        lying = self.v("lying_sys")
        systolic = lying - self.v("standing_sys") >= (30 if lying >= 150 else 20)
        return systolic or self.v("lying_dia") - self.v("standing_dia") >= 10, systolic

    def neurogenic(self) -> bool:
        """Little rise of the heart rate for a systolic fall."""
        rise = self.v("standing_hr") - self.v("lying_hr")
        fall = self.v("lying_sys") - self.v("standing_sys")
        return self.orthostatic()[1] and bool(rise / fall < Decimal("0.5"))

    def symmetric(self) -> bool:
        """Equal sums for arms and for legs, and not all nothing."""
        sums: dict[tuple[str, Side], int] = {}
        for (limb, tremor, task), side in product(
            (("arm", "rest_tremor_hand", "finger_tap"), ("leg", "rest_tremor_leg", "toe_tap")),
            SIDES,
        ):
            grades = [self.v(tremor, side)]
            grades += [self.v(f"{task}_{what}", side) for what in ("slow", "decrement", "halts")]
            grades += [self.v(f"{limb}_resistance", side)] if self.rigid(limb, side) else []
            sums[limb, side] = sum(grades)
        right, left = SIDES
        equal = all(sums[limb, right] == sums[limb, left] for limb in LIMBS)
        return equal and any(sums.values())


def level(requirement: bool, core: bool, cautions: bool) -> str:
    """The table of levels, where everything is known."""
    if requirement:
        return "fits_with_cautions" if cautions else "fits"
    return "partial" if core else "not_supported"


def levels(s: Seen) -> dict[str, str]:
    """Section 3, but for functional and nothing_abnormal, which follow from the others."""
    nystagmus, slurred = s.v("nystagmus"), bool(s.v("speech_slurred"))
    umn = [
        s.some(s.plantar_up),
        s.any("clonus"),
        s.any("hoffmann"),
        s.any_brisk(),
        s.any("drift"),
        s.any("stiff_leg_swing"),
    ]
    uneven = s.any(*(f"{task}_uneven" for task in TASKS))
    lost = s.any("vibration_reduced") or s.any("reflexes_absent")
    closed = s.v("romberg") == "worse_eyes_closed"
    gait = [
        s.v("base") == "wide",
        s.v("turn_en_bloc") > 0,
        s.v("turn_steps") >= 3,
        s.v("freezing") > 0,
        s.v("feet_stuck") > 0,
        s.v("rise") == "falls_back",
        s.v("pull_test") == "would_fall",
        s.v("tandem_walk") == "unable",
    ]
    excluded = s.some(s.core_brady_arm) or s.rest_tremor_anywhere()
    lower_motor = s.any("foot_drop") or s.v("hip_waddle") > 0 or s.any("weak_leg")
    upper_leg = [s.any_spastic_leg(), s.some(s.plantar_up), s.any("clonus")]
    paratonic = [
        (limb, side) for limb, side in product(LIMBS, SIDES) if s.tone(limb, side) == "paratonia"
    ]
    both_ways = any(
        s.v(f"{limb}_resistance_directions", side) == "both" for limb, side in paratonic
    )
    hand_brady = s.some(lambda side: s.task("hand_open", side))
    action_cautions = [
        s.rest_tremor_anywhere(),
        hand_brady,
        s.any("endpoint_tremor"),
        s.gait_ataxia(),
        s.v("hx_years") < 3,
        s.takes("tremor_causing"),
        s.v("hx_thyroid_symptoms"),
        s.v("hx_memory"),
    ]
    return {
        "parkinsonism": level(
            s.some(s.brady) and (s.rest_tremor_anywhere() or s.any_rigid()),
            s.some(s.brady) or s.rest_tremor_anywhere() or s.any_rigid(),
            any(parkinsonism_cautions(s).values()),
        ),
        "action_tremor": level(
            all(map(s.action_tremor, SIDES))
            and not s.some(s.core_brady)
            and not s.any_rigid()
            and not s.any("dystonia")
            and not s.v("dystonia_midline")
            and not s.any("dysmetria"),
            s.some(s.action_tremor) or bool(s.v("head_tremor") or s.v("voice_tremor")),
            any(action_cautions),
        ),
        "cerebellar_ataxia": level(
            sum((s.limb_ataxia(), uneven, s.gait_ataxia(), slurred, nystagmus)) >= 2
            and (s.limb_ataxia() or s.gait_ataxia() or nystagmus),
            s.limb_ataxia() or nystagmus or s.gait_ataxia() or slurred,
            closed or s.any_spastic() or s.takes("ataxia_causing") or s.v("hx_heavy_alcohol"),
        ),
        "sensory_ataxia": level(
            closed and lost and bool(s.v("base") == "wide" or s.v("veering") or s.v("hx_unsteady")),
            closed or s.any("vibration_reduced"),
            nystagmus or slurred,
        ),
        "upper_motor_neuron": level(
            s.any_spastic() or sum(umn) >= 2, s.any_spastic() or any(umn), False
        ),
        "higher_level_gait": level(
            s.short_steps() and sum(gait) >= 2 and not excluded,
            s.v("feet_stuck") > 0 or ((s.short_steps() or s.v("freezing") > 0) and not excluded),
            hand_brady or s.some(lambda side: s.rigid("arm", side)),
        ),
        "dystonia": level(
            s.any("dystonia") or bool(s.v("dystonia_midline")),
            s.any("dystonia")
            or bool(s.v("dystonia_midline"))
            or s.v("sensory_trick")
            or s.v("tremor_null_point"),
            False,
        ),
        "chorea": level(s.any("chorea"), s.any("chorea"), False),
        "myoclonus": level(s.any("myoclonus", "flap"), s.any("myoclonus", "flap"), False),
        "tics": level(bool(s.v("tics")), bool(s.v("tics")), False),
        "neuromuscular_weakness": level(
            lower_motor and (s.any("reflexes_absent") or not any(upper_leg)),
            lower_motor,
            any(upper_leg),
        ),
        "painful_gait": level(s.any("painful_limp"), s.any("painful_limp"), False),
        "paratonia": level(both_ways or len(paratonic) >= 2, bool(paratonic), False),
        "orthostatic_tremor": level(s.v("standing_leg_tremor"), s.v("standing_leg_tremor"), False),
    }


def parkinsonism_cautions(s: Seen) -> dict[str, bool]:
    """Section 3.1."""
    early = s.v("hx_years") < 5
    medicine = s.takes("parkinsonism_causing")
    return {
        "cerebellar": s.limb_ataxia(definite=True) or (s.v("nystagmus") and s.gait_ataxia()),
        "gaze": s.v("vertical_gaze") != "normal",
        "upper": s.any_spastic()
        or s.any("clonus")
        or (
            s.some(s.plantar_up)
            and (s.any("hoffmann", "drift", "stiff_leg_swing") or s.any_brisk())
        ),
        "falls": s.v("hx_early_falls"),
        "wheelchair": s.v("hx_wheelchair_5y"),
        "legs": s.v("hx_lower_body_only_3y"),
        "levodopa": s.v("hx_levodopa") == "none",
        "mind": s.v("hx_memory_first_year") or (s.v("hx_hallucinations") and s.v("hx_fluctuating")),
        "apraxia": s.any("apraxia"),
        "medicine": medicine,
        "swallowing": s.v("hx_swallowing") and early,
        "pressure": s.neurogenic() and early,
        "bladder": s.v("hx_bladder") in ("retention", "incontinence") and early,
        "symmetric": s.symmetric() and not medicine,
        "base": s.v("base") == "wide",
        "onset": s.v("hx_onset") != "months_years",
    }
