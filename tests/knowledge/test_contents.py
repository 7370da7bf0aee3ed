"""What the knowledge holds: every rule with what it rests on, and the lists of the contract."""

import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from app import knowledge as room
from app.knowledge.load import knowledge
from app.knowledge.model import STANDING_WORDS, Support

CONTRACT = Path(__file__).parents[1] / "contract"
KNOWN = knowledge()


def agreed(name: str) -> dict[str, Any]:
    """One of the contract's lists."""
    return tomllib.loads((CONTRACT / name).read_text(encoding="utf-8"), parse_float=Decimal)


# ---- what each rule rests on


def supported() -> Iterator[tuple[str, tuple[Support, ...]]]:
    """Every rule with its support."""
    for sign in KNOWN.signs.values():
        yield f"sign {sign.id}", sign.support
    for kind in KNOWN.kinds.values():
        yield f"kind {kind.id}", kind.support
    for balance in KNOWN.balances.values():
        yield f"balance {balance.id}", balance.support
    for category in KNOWN.categories.values():
        yield f"category {category.id}", category.support
        for caution in category.caution:
            yield f"caution {category.id}: {caution.says}", caution.support
    for warning in KNOWN.warnings.values():
        yield f"warning {warning.id}", warning.support
    for step in KNOWN.steps.values():
        yield f"step {step.id}", step.support
    yield "fall_risk", KNOWN.fall_risk.support


SUPPORTED = dict(supported())


@pytest.mark.parametrize("rule", SUPPORTED)
def test_a_rule_says_what_it_rests_on(rule: str) -> None:
    """A published source, or marked as common practice or from memory: never nothing."""
    support = SUPPORTED[rule]

    assert support
    for each in support:
        assert each.standing in STANDING_WORDS
        assert each.source or each.standing in ("common practice", "memory"), each.claim
        assert not (each.source and each.standing == "common practice"), each.claim


@pytest.mark.parametrize("hazard", KNOWN.hazards)
def test_a_hazard_is_seen_or_has_a_source_or_a_note(hazard: str) -> None:
    """What is no more than a finding by its name needs none; a number or a class does."""
    rule = KNOWN.hazards[hazard]

    assert rule.support or not re.search(r"[<>]|takes", rule.when)


@pytest.mark.parametrize("threshold", KNOWN.thresholds)
def test_a_threshold_has_a_source_or_a_note(threshold: str) -> None:
    """No number without a word on where it comes from."""
    rule = KNOWN.thresholds[threshold]

    assert rule.source or rule.note
    assert rule.unit


@pytest.mark.parametrize("medicine_class", KNOWN.medicines.classes)
def test_a_medicine_class_has_a_source_or_says_that_it_is_from_memory(medicine_class: str) -> None:
    """Members beyond a source are common practice, and are shown so."""
    rule = KNOWN.medicines.classes[medicine_class]

    assert rule.source or rule.standing in ("memory", "common practice")


def test_a_source_is_not_better_known_to_a_rule_than_it_is_by_itself() -> None:
    """What was never read cannot be quoted as read."""
    for rule, support in SUPPORTED.items():
        for each in support:
            if each.source and each.standing == "read":
                assert KNOWN.sources[each.source].standing != "memory", f"{rule}: {each.source}"


def test_every_source_is_named_by_a_rule() -> None:
    """A bibliography of what is used, and of nothing else."""
    texts = [
        file.read_text(encoding="utf-8")
        for folder in ("", "categories", "warnings")
        for file in resources.files(room).joinpath(folder).iterdir()
        if file.name.endswith(".toml") and file.name != "sources.toml"
    ]

    assert [] == [source for source in KNOWN.sources if not any(source in text for text in texts)]


def test_every_threshold_sign_and_step_is_used() -> None:
    """What no rule uses any more would be kept and reviewed for nothing."""
    sentences = " ".join(
        file.read_text(encoding="utf-8")
        for folder in ("", "categories", "warnings")
        for file in resources.files(room).joinpath(folder).iterdir()
        if file.name.endswith(".toml") and file.name not in ("thresholds.toml", "norms.toml")
    )
    shown = {sign.id for sign in KNOWN.signs.values() if sign.shown}
    once = {sign.id for sign in KNOWN.signs.values() if len(_used(sign.id, sentences)) < 2}

    assert set() == {name for name in KNOWN.thresholds if not _used(name, sentences)}
    assert set() == {name for name in once - shown if not _of_a_limb(name, sentences)}
    assert set() == {
        step.id
        for step in KNOWN.steps.values()
        if len(_used(step.id, sentences)) < 2
        and not (step.follows or step.follows_urgency or step.follows_hazards or step.follows_open)
    }


def _used(name: str, sentences: str) -> list[str]:
    return re.findall(rf"\b{name}\b", sentences)


def _of_a_limb(name: str, sentences: str) -> bool:
    """Whether a sign that is written once for arm and leg is used with its limb left open."""
    return len(_used(re.sub("arm|leg", "LIMB", name), sentences)) + len(_used(name, sentences)) > 1


# ---- wording


def test_nothing_says_diagnose() -> None:
    """It supports judgement and is not a diagnosis: steps say consider."""
    says = [
        *(category.says for category in KNOWN.categories.values()),
        *(warning.says for warning in KNOWN.warnings.values()),
        *(step.says for step in KNOWN.steps.values()),
    ]

    assert [] == [each for each in says if re.search("diagnos", each, re.IGNORECASE)]
    assert [] == [step for step in KNOWN.steps.values() if not step.says.startswith("Consider ")]


def test_the_falls_group_says_that_it_is_no_prediction() -> None:
    """nice_ng249 advises against prediction tools; sensitivity and specificity: vandeloo2024."""
    rule = KNOWN.fall_risk

    assert "not a prediction" in rule.says
    for figure in ("NG249", "31 to 48 %", "77 to 88 %"):
        assert figure in rule.caveat


# ---- the contract's lists


def spelled(ingredients: list[str]) -> dict[str, set[str]]:
    """`a=b=c` is one ingredient, a, with other spellings."""
    return {first: set(others) for first, *others in (entry.split("=") for entry in ingredients)}


@pytest.mark.parametrize(
    "medicine_class", [name for name in agreed("medicines.toml") if not name.endswith("_weak")]
)
def test_a_medicine_class_has_just_the_ingredients_agreed(medicine_class: str) -> None:
    """None more and none less, in the order of the contract."""
    expected = list(spelled(agreed("medicines.toml")[medicine_class]))

    assert expected == list(KNOWN.medicines.classes[medicine_class].ingredients)


def test_there_is_no_other_medicine_class() -> None:
    """And the weak ones are those named."""
    lists = agreed("medicines.toml")
    weak = {name: tuple(found) for name, found in lists.items() if name.endswith("_weak")}

    assert {name for name in lists if name not in weak} == set(KNOWN.medicines.classes)
    assert weak == {
        f"{each.id}_weak": each.weak for each in KNOWN.medicines.classes.values() if each.weak
    }


def test_the_spellings_are_those_agreed() -> None:
    """Wherever in the contract they are given."""
    expected: dict[str, set[str]] = {}
    for ingredients in agreed("medicines.toml").values():
        for first, others in spelled(ingredients).items():
            expected[first] = expected.get(first, set()) | others

    assert {name: others for name, others in expected.items() if others} == {
        name: set(others) for name, others in KNOWN.medicines.spellings.items()
    }


def test_no_spelling_is_an_ingredient_of_its_own() -> None:
    """Or one name would mean two medicines."""
    spellings = [each for others in KNOWN.medicines.spellings.values() for each in others]
    ingredients = {each for c in KNOWN.medicines.classes.values() for each in c.ingredients}

    assert len(spellings) == len(set(spellings))
    assert set() == ingredients & set(spellings)
    assert set(KNOWN.medicines.spellings) <= ingredients


@pytest.mark.parametrize("norm", ["chair_stands_30s", "usual_walking_speed"])
def test_a_norm_has_just_the_numbers_agreed(norm: str) -> None:
    """Band by band, for men and for women."""
    expected, found = agreed("norms.toml")[norm], KNOWN.norms[norm]

    assert expected["source"] == found.source
    assert (expected["ages"], expected["male"], expected["female"]) == (
        list(found.ages),
        list(found.male),
        list(found.female),
    )


# What a cutoff of the contract is called among the thresholds.
CUTOFFS = {
    "walk_slow_m_per_s": "walk_slow",
    "tug_slow_wfg_s": "tug_slow",
    "tug_at_risk_s": "tug_at_risk",
    "tandem_stand_s": "tandem_short",
    "five_stands_s": "five_stands_slow",
    "drop_systolic": "drop_systolic",
    "drop_diastolic": "drop_diastolic",
    "drop_systolic_supine_high": "drop_systolic_lying_high",
    "neurogenic_ratio": "neurogenic_ratio",
}
COMPARED = {"at or under": "<=", "under": "<", "at or over": ">=", "over": ">"}


@pytest.mark.parametrize("cutoff", agreed("norms.toml")["cutoffs"])
def test_a_cutoff_is_the_number_agreed_and_is_compared_as_agreed(cutoff: str) -> None:
    """Over is not at or over: at the cutoff itself the two differ."""
    expected, threshold = agreed("norms.toml")["cutoffs"][cutoff], KNOWN.thresholds[CUTOFFS[cutoff]]
    used = {
        atom.split()[1]
        for sentence in KNOWN.conditions
        for atom in re.findall(rf"\w+ [<>=]+ {threshold.id}\b", sentence)
    }

    assert expected["value"] == threshold.value
    assert expected["source"].split(";")[0] in (threshold.source, threshold.note)
    assert {COMPARED[expected["compare"]]} == used
