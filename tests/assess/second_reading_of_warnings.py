"""The contract's warnings (contract, section 4), read again in plain Python.

As second_reading.py: of exams in which everything is known, and from the contract's page alone.
"""

from app.exam.vocabulary import SIDES, Side
from tests.assess.second_reading import Seen, parkinsonism_cautions


def first(*tiers: tuple[str, object]) -> str | None:
    """The urgency of the first that is true."""
    return next((urgency for urgency, held in tiers if held), None)


def warnings(s: Seen, levels: dict[str, str]) -> dict[str, str | None]:
    """Each warning with its urgency, or None where it is not raised."""
    sudden = s.v("hx_onset") == "sudden" and s.recent()
    fits = {name for name, level in levels.items() if level.startswith("fits")}
    weak = s.any("weak_arm", "weak_leg")
    slurred = bool(s.v("speech_slurred"))
    fell = s.v("hx_fall_blackout")
    ataxia = s.limb_ataxia() or s.gait_ataxia()
    eyes = s.v("hx_eye_movement_trouble") or s.v("nystagmus") or s.v("vertical_gaze") == "limited"
    cautions = parkinsonism_cautions(s)
    stroke = s.any("drift") or weak or ataxia or slurred or suspect_catch(s, "arm", "leg")
    slow = s.any("finger_tap_slow", "toe_tap_slow", "hand_open_slow")
    return {
        "stroke_like": first(("emergency", stroke and sudden)),
        "rapid_weakness": first(
            (
                "emergency",
                weak
                and s.acute()
                and (s.both("weak_arm") or s.both("weak_leg") or s.v("hx_swallowing")),
            ),
            ("same_day", weak and s.acute()),
        ),
        "cord_compression": cord_compression(s),
        "drug_fever_rigidity": first(("emergency", fever_rigidity(s))),
        "serotonin_excess": first(("emergency", serotonin(s))),
        "acute_ataxia": first(
            (
                "emergency",
                (ataxia or s.v("nystagmus"))
                and (
                    sudden
                    or (
                        s.v("hx_headache_vomiting")
                        and (
                            s.limb_ataxia(definite=True) or s.v("veering") >= 2 or s.v("nystagmus")
                        )
                    )
                ),
            )
        ),
        "after_head_injury": first(
            (
                "emergency",
                s.v("hx_head_injury")
                and (
                    s.some(s.brady)
                    or s.short_steps()
                    or s.gait_ataxia()
                    or s.v("hx_confusion")
                    or s.v("hx_headache_vomiting")
                    or s.any("drift")
                    or weak
                    or s.acute()
                    or s.takes("anticoagulant")
                ),
            )
        ),
        "flap": first(
            ("emergency", s.any("flap") and s.v("hx_confusion")), ("same_day", s.any("flap"))
        ),
        "wernicke": first(
            *(
                (
                    urgency,
                    held
                    and (eyes or ataxia or s.v("hx_confusion"))
                    and (s.v("hx_poor_nutrition") or s.v("hx_heavy_alcohol")),
                )
                for urgency, held in (
                    ("emergency", s.v("hx_confusion") and eyes),
                    ("same_day", True),
                )
            )
        ),
        "short_course": first(
            (
                "soon",
                (s.some(s.brady) or s.any_rigid() or s.any_spastic() or ataxia or s.short_steps())
                and (s.acute() or s.recent() or s.v("hx_recent_worsening")),
            )
        ),
        "blackout_falls": first(("same_day", fell and s.v("hx_fall_injury")), ("soon", fell)),
        "orthostatic_drop": first(("soon", s.orthostatic()[0])),
        "vertical_gaze": first(("soon", s.v("vertical_gaze") != "normal")),
        "atypical_parkinsonism": first(
            (
                "soon",
                levels["parkinsonism"] == "fits_with_cautions"
                and any(held for name, held in cautions.items() if name != "medicine"),
            )
        ),
        "dopamine_blocker": first(
            (
                "soon",
                (s.some(s.brady) or s.any_rigid() or slow) and s.takes("parkinsonism_causing"),
            )
        ),
        "antipsychotic_sensitivity": first(
            (
                "soon",
                levels["parkinsonism"] != "not_supported"
                and (
                    s.v("hx_hallucinations") or s.v("hx_fluctuating") or s.v("hx_memory_first_year")
                ),
            )
        ),
        "copper_disease": first(
            (
                "soon",
                (
                    levels["parkinsonism"] != "not_supported"
                    or fits & {"action_tremor", "dystonia", "cerebellar_ataxia", "chorea"}
                )
                and (s.exam.patient.age or 0) <= 50,
            )
        ),
        "swallowing": first(("soon", s.v("hx_swallowing"))),
        # The pull test was recorded here, so there is nothing to warn of any more.
        "pull_test_unsafe": None,
    }


def suspect_catch(s: Seen, *limbs: str, sides: tuple[Side, ...] = SIDES) -> bool:
    """A catch that is not known to vary."""
    return any(
        s.v(f"{limb}_resistance_speed", side) == "catch"
        and not s.v(f"{limb}_resistance_varies", side)
        for limb in limbs
        for side in sides
    )


def cord_compression(s: Seen) -> str | None:
    """Signs of the cord with bladder, bowel, cancer, pain or a fast course."""

    def sign(side: Side) -> bool:
        """What counts on one side."""
        brisk = s.brisk("arm", side, 1) or s.brisk("leg", side, 1)
        weak = s.v("weak_arm", side) or s.v("weak_leg", side)
        return bool(
            s.plantar_up(side)
            or s.v("clonus", side)
            or suspect_catch(s, "leg", sides=(side,))
            or (s.v("hoffmann", side) and (brisk or weak))
        )

    any_brisk_or_weak = s.any_brisk(1) or s.any("weak_arm", "weak_leg")
    signs = (
        s.some(sign)
        or s.both("stiff_leg_swing")
        or s.both("weak_leg")
        or (s.any("hoffmann") and any_brisk_or_weak)
    )
    on_both = all(sign(side) or s.both("stiff_leg_swing") or s.both("weak_leg") for side in SIDES)
    bladder = s.v("hx_bladder")
    roots = s.v("hx_bowel_or_saddle") and (s.v("hx_back_or_neck_pain") or bladder == "retention")
    if not (signs or roots):
        return None
    return first(
        (
            "emergency",
            bladder == "retention"
            or s.v("hx_bowel_or_saddle")
            or s.v("hx_cancer")
            or (s.acute() and on_both),
        ),
        ("same_day", bladder == "incontinence" or s.v("hx_back_or_neck_pain")),
    )


def fever_rigidity(s: Seen) -> bool:
    """Fever, a changed mind, such a medicine, and a rigid limb or neck."""
    rigid = any(
        s.v(f"{limb}_resistance", side) >= 2
        and not s.v(f"{limb}_resistance_varies", side)
        and s.v(f"{limb}_resistance_speed", side) != "catch"
        for limb in ("arm", "leg")
        for side in SIDES
    )
    medicine = s.takes("dopamine_blocking") or s.takes("dopamine_depleting")
    return bool(
        (rigid or s.v("neck_resistance") >= 2)
        and s.v("hx_fever")
        and (s.v("hx_confusion") or s.v("hx_agitation"))
        and (medicine or s.v("hx_dopamine_stopped"))
    )


def serotonin(s: Seen) -> bool:
    """Clonus, or any tremor with definitely brisk reflexes, on such a medicine."""
    paired = (
        "rest_tremor_hand",
        "rest_tremor_leg",
        "walking_tremor_hand",
        "posture_tremor",
        "kinetic_tremor",
        "endpoint_tremor",
    )
    single = ("rest_tremor_jaw", "head_tremor", "voice_tremor", "standing_leg_tremor")
    tremor = s.any(*paired) or any(s.v(name) for name in single)
    return bool(
        s.takes("serotonergic")
        and (s.any("clonus") or (tremor and s.any_brisk()))
        and (s.v("hx_agitation") or s.v("hx_fever") or s.v("hx_confusion") or s.acute())
    )
