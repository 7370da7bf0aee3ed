"""What is so in every completion, said in sentences that Kleene logic decides by itself.

Kleene logic may say unknown of what is so whatever the unknown findings turn out to be
(docs/decisions/0009). Of all that a level or an urgency goes by, just these conditions can then
hold. Beside each stands when it does so: more ways to hold, none of them new. The solver proves
that each sentence implies its condition in every completion, and that with them no case is left, in
any exam (tests/proofs/test_query.py). After a change of the rules those proofs say what is to be
said anew.
"""

from collections.abc import Mapping
from functools import lru_cache

from app.knowledge.load import Knowledge
from app.logic.expression import Expression
from app.logic.parse import parse

_STIFF_BOTH_WAYS = (
    "any((arm_resistance and arm_resistance_directions is both)"
    " or (leg_resistance and leg_resistance_directions is both))"
)
_RIGID_OR_SPASTIC = (
    "any((arm_resistance and not arm_resistance_varies and arm_resistance_directions is both)"
    " or (leg_resistance and not leg_resistance_varies and leg_resistance_directions is both))"
)
_ARM_CATCHES_OR_VARIES = (
    "arm_resistance and (arm_resistance_varies or arm_resistance_speed is catch)"
)
_LEG_CATCHES_OR_VARIES = (
    "leg_resistance and (leg_resistance_varies or leg_resistance_speed is catch)"
)
# Limb ataxia, where it is there, makes the cerebellar pattern together with one of these.
_NO_DYSMETRIA_OR_ATAXIA = (
    "(not any(dysmetria) or gait_ataxia or nystagmus or any(uneven_task) or speech_slurred)"
)
# Bradykinesia, where it is there, makes parkinsonism; in a limb that is stiff both ways this, or
# paratonia or spasticity.
_NO_BRADYKINESIA_OR_MORE = (
    f"(not any(core_bradykinesia) or rest_tremor_anywhere or {_STIFF_BOTH_WAYS})"
)
_NO_BRADYKINESIA_OF_ARMS_OR_STIFF = f"(not any(core_bradykinesia_arm) or {_STIFF_BOTH_WAYS})"
_NOT_RIGID_OR_BRADYKINESIA = "(not any(rigid) or any(bradykinesia))"
_SMALL_STEPS = (
    "short_steps and at_least(2, base is wide, turn_en_bloc, turn_steps >= many_turn_steps,"
    " freezing, feet_stuck, rise is falls_back, pull_test is would_fall, tandem_walk is unable)"
)

IN_EVERY_COMPLETION: Mapping[str, tuple[str, ...]] = {
    # The medicine is a caution, and without it the symmetry is.
    "parkinsonism_cautioned": ("symmetric",),
    "short_course_soon": (
        (
            "((acute_onset and recent) or hx_years <= recent_years or hx_recent_worsening)"
            f" and {_RIGID_OR_SPASTIC}"
        ),
    ),
    # Dystonia is listed itself, and so is parkinsonism by any bradykinesia.
    "copper_disease_soon": (
        (
            "age <= copper_age and both(action_tremor) and not any(rigid)"
            f" and {_NO_DYSMETRIA_OR_ATAXIA}"
        ),
    ),
    # Another category fits: which one depends on what is unknown.
    "functional_cautioned": (
        # Parkinsonism, spasticity or paratonia.
        f"any(bradykinesia) and {_STIFF_BOTH_WAYS}",
        # Spasticity or paratonia.
        (
            "any((arm_resistance and arm_resistance_directions is both"
            " and arm_resistance_speed is catch)"
            " or (leg_resistance and leg_resistance_directions is both"
            " and leg_resistance_speed is catch))"
        ),
        f"both({_ARM_CATCHES_OR_VARIES})",
        f"both({_LEG_CATCHES_OR_VARIES})",
        f"any({_ARM_CATCHES_OR_VARIES}) and any({_LEG_CATCHES_OR_VARIES})",
        # Action tremor, or what rules it out.
        (
            f"both(action_tremor) and {_NO_BRADYKINESIA_OR_MORE} and {_NOT_RIGID_OR_BRADYKINESIA}"
            f" and {_NO_DYSMETRIA_OR_ATAXIA}"
        ),
        # The same where a tremor may re-emerge, which is one at rest.
        (
            "any(bradykinesia) and both(kinetic_tremor or posture_tremor)"
            f" and {_NO_BRADYKINESIA_OR_MORE} and {_NO_DYSMETRIA_OR_ATAXIA}"
        ),
        # A higher-level gait, or parkinsonism.
        (
            f"{_SMALL_STEPS} and {_NO_BRADYKINESIA_OF_ARMS_OR_STIFF}"
            " and (not rest_tremor_anywhere or any(bradykinesia))"
        ),
        # A higher-level gait, action tremor or parkinsonism.
        (
            f"both(action_tremor) and {_SMALL_STEPS} and {_NO_BRADYKINESIA_OF_ARMS_OR_STIFF}"
            f" and {_NOT_RIGID_OR_BRADYKINESIA} and {_NO_DYSMETRIA_OR_ATAXIA}"
        ),
        # Nerve and muscle, or the upper motor neuron.
        (
            "(any(foot_drop) or hip_waddle or any(weak_leg)) and (any(reflexes_absent)"
            " or (not any(plantar is up) and not any(clonus))"
            " or any(hoffmann) or any(brisk) or any(drift) or any(stiff_leg_swing))"
        ),
    ),
}


@lru_cache(maxsize=64)
def ways_in_every_completion(knowledge: Knowledge, name: str) -> tuple[Expression, ...]:
    """The further ways in which a condition holds; none for most.

    Raises: BadExpression, BadName, where a sentence no longer fits the knowledge.
    """
    names = frozenset(knowledge.definitions)
    return tuple(
        knowledge.names.resolve(parse(sentence), names)
        for sentence in IN_EVERY_COMPLETION.get(name, ())
    )
