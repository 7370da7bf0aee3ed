"""A proof that cannot fail proves nothing: each rule is broken on purpose, and its proof says so.

One line of the knowledge is changed, as a slip of the hand would, and the proofs are run on that.
"""

from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from app.knowledge.load import load_knowledge
from tests.proofs import test_emergencies as emergencies
from tests.proofs import test_falls as falls
from tests.proofs import test_rules as rules
from tests.proofs import test_signs as signs
from tests.proofs import test_sound as sound
from tests.proofs.proving import Proofs, TwoExams

Proof = Callable[[Any], None]
Break = Callable[[str, str, str], Path]

SIGNS = "signs.toml"
BOTH_WAYS = " and LIMB_resistance_speed is same and LIMB_resistance_directions is both"


@pytest.fixture
def broken(tmp_path: Path) -> Break:
    """Copy the knowledge, and change one place in one file."""

    def copy(file: str, written: str, instead: str) -> Path:
        source = Path(str(resources.files("app.knowledge")))
        for each in source.rglob("*.toml"):
            target = tmp_path / each.relative_to(source)
            target.parent.mkdir(exist_ok=True)
            text = each.read_text(encoding="utf-8")
            if target == tmp_path / file:
                assert text.count(written) == 1
                text = text.replace(written, instead)
            target.write_text(text, encoding="utf-8")
        return tmp_path

    return copy


@pytest.mark.parametrize(
    ("file", "written", "instead", "proof"),
    [
        pytest.param(
            SIGNS,
            f'{BOTH_WAYS}"\nsupport = [{{ source = "postuma2015"',
            ' and LIMB_resistance_speed is same"\nsupport = [{ source = "postuma2015"',
            signs.test_rigidity_is_felt_in_both_directions_and_does_not_come_and_go,
            id="rigid in one direction",
        ),
        pytest.param(
            SIGNS,
            BOTH_WAYS,
            " and LIMB_resistance_directions is both",
            signs.test_a_catch_never_counts_as_rigidity,
            id="a catch counts as rigidity",
        ),
        pytest.param(
            "categories/functional.toml",
            'requires = "tremor_entrains or',
            'requires = "(hx_fluctuating and not tics) or tremor_entrains or',
            signs.test_functional_is_never_reached_without_a_positive_sign,
            id="functional because of something else",
        ),
        pytest.param(
            SIGNS,
            "(posture_tremor_onset is at_once and not (not known(posture_tremor_onset)"
            " and posture_tremor_delay_s >= delayed_from)) or",
            "posture_tremor_onset is at_once or",
            signs.test_a_known_onset_settles_which_kind_a_posture_tremor_is,
            id="a delay in seconds that rules nothing out",
        ),
        pytest.param(
            SIGNS,
            '"kinetic_tremor or (posture_tremor and posture_onset is at_once)"',
            '"kinetic_tremor or posture_tremor"',
            signs.test_a_posture_tremor_of_unknown_onset_settles_neither_kind,
            id="action tremor whatever its onset",
        ),
        pytest.param(
            "categories/parkinsonism.toml",
            'requires = "any(bradykinesia) and (',
            'requires = "any(bradykinesia) or (',
            signs.test_parkinsonism_never_fits_without_bradykinesia,
            id="parkinsonism from rigidity alone",
        ),
        pytest.param(
            "categories/action_tremor.toml",
            " and not any(rigid)",
            "",
            signs.test_action_tremor_never_fits_beside_signs_of_another_disorder,
            id="action tremor beside rigidity",
        ),
        pytest.param(
            SIGNS,
            '"finger_tap_slow or toe_tap_slow or hand_open_slow"',
            '"finger_tap_slow and toe_tap_slow and not toe_tap_slow"',
            rules.test_every_condition_can_hold,
            id="a sign that nobody can have",
        ),
        pytest.param(
            "warnings/swallowing.toml",
            'signs = "hx_swallowing"',
            'signs = "known(hx_swallowing) or not known(hx_swallowing)"',
            rules.test_no_condition_holds_in_every_exam,
            id="a warning for everybody",
        ),
        pytest.param(
            "warnings/flap.toml",
            'signs = "any(flap)"',
            'signs = "any(flap) or (any(flap) and any(myoclonus))"',
            rules.test_no_part_of_a_condition_is_idle,
            id="a part that changes nothing",
        ),
        pytest.param(
            "fall_risk.toml",
            'level = "high"\nurgency = "soon"',
            'level = "low"\nurgency = "routine"\nsays = "Not slow."\nwhen = "not slow_walk"\n\n'
            '[[branch]]\nlevel = "high"\nurgency = "soon"',
            falls.test_a_fall_with_a_mark_of_severity_is_always_high,
            id="a falls branch in the wrong order",
        ),
        pytest.param(
            SIGNS,
            '"not surely(hx_years > recent_years)"',
            '"hx_years <= recent_years"',
            emergencies.test_an_emergency_is_not_missed_for_want_of_how_long_it_has_been,
            id="an emergency that waits for a date",
        ),
        pytest.param(
            "warnings/acute_ataxia.toml",
            'signs = "any(limb_ataxia) or',
            'signs = "(any(limb_ataxia) and not surely(any(drift))) or',
            emergencies.test_one_more_abnormal_sign_never_withdraws_an_emergency,
            id="an emergency that another sign withdraws",
        ),
    ],
)
def test_a_proof_fails_where_its_rule_is_broken(
    broken: Break, file: str, written: str, instead: str, proof: Proof
) -> None:
    """Proved of the rules as they are, refuted of the changed ones."""
    changed = Proofs(load_knowledge(broken(file, written, instead)))

    with pytest.raises(AssertionError):
        proof(changed)


@pytest.mark.parametrize(
    ("file", "written", "instead", "proof"),
    [
        pytest.param(
            "fall_risk.toml",
            'when = "slow_walk"',
            'when = "slow_walk and not hx_fear_of_falling"',
            falls.test_a_worse_answer_never_lowers_the_falls_level,
            id="worry about falling that reassures",
        ),
        pytest.param(
            SIGNS,
            "not LIMB_resistance_varies" + BOTH_WAYS,
            "not surely(LIMB_resistance_varies)" + BOTH_WAYS,
            sound.test_a_settled_yes_stays_however_the_unknown_turns_out,
            id="rigidity on suspicion",
        ),
        pytest.param(
            "categories/dystonia.toml",
            'requires = "any(dystonia) or dystonia_midline"',
            'requires = "surely(any(dystonia)) or dystonia_midline"',
            sound.test_a_settled_no_stays_however_the_unknown_turns_out,
            id="what was not examined taken for absent",
        ),
    ],
)
def test_a_proof_of_two_exams_fails_where_its_rule_is_broken(
    broken: Break, file: str, written: str, instead: str, proof: Proof
) -> None:
    """The same for what is proved of an exam and a later one."""
    changed = TwoExams(load_knowledge(broken(file, written, instead)))

    with pytest.raises(AssertionError):
        proof(changed)
