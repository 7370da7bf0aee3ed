"""The knowledge is loaded strictly: a fault stops the program, and names file, rule and key.

Each test breaks one thing in a copy of the real knowledge, and the message stands here whole.
"""

from textwrap import dedent

import pytest

from app.knowledge.load import knowledge, load_knowledge
from tests.knowledge.conftest import Copy

# What is broken: the file, what stands there, what takes its place, and what is said of it.
CHANGED = {
    "a misspelt key": (
        "categories/tics.toml",
        'label = "Tics"',
        'lable = "Tics"',
        """
        categories/tics.toml: label: Field required
        categories/tics.toml: lable: Extra inputs are not permitted
        """,
    ),
    "a value of the wrong kind": (
        "categories/tics.toml",
        'status = "draft"',
        'status = "finished"',
        "categories/tics.toml: status: Input should be 'draft' or 'reviewed'",
    ),
    "text that is empty": (
        "categories/tics.toml",
        'label = "Tics"',
        'label = ""',
        "categories/tics.toml: label: String should have at least 1 character",
    ),
    "an id that is not the name of the file": (
        "categories/tics.toml",
        'id = "tics"',
        'id = "ticks"',
        "categories/tics.toml: id: expected tics, the name of the file",
    ),
    "not TOML": (
        "categories/tics.toml",
        'status = "draft"',
        "status = draft",
        "categories/tics.toml: not TOML: Invalid value (at line 4, column 10)",
    ),
    "a key that stands twice": (
        "categories/tics.toml",
        'status = "draft"',
        'status = "draft"\nstatus = "draft"',
        "categories/tics.toml: not TOML: Cannot overwrite a value (at line 5, column 17)",
    ),
    "a table that has no meaning": (
        "thresholds.toml",
        "[threshold.walk_slow]",
        "[limit.walk_slow]",
        "thresholds.toml: limit: expected the tables threshold",
    ),
    "a category that is listed but missing": (
        "index.toml",
        '"tics"',
        '"tics", "restless_legs"',
        "categories/restless_legs.toml: is listed but missing",
    ),
    "a category that is not listed": (
        "index.toml",
        '"tics", ',
        "",
        "categories/tics.toml: is not listed in index.toml",
    ),
    "further ways of a condition that is none": (
        "completions.toml",
        "[completion.parkinsonism_cautioned]",
        "[completion.parkinsonism_caution]",
        "completions.toml: parkinsonism_caution is not the name of a condition",
    ),
    "a further way that asks of a side without one": (
        "completions.toml",
        '"symmetric"',
        '"rigid"',
        (
            "completions.toml: parkinsonism_cautioned: when: rigid is judged on each side: "
            "write any(…) or both(…)"
        ),
    ),
    "a warning that is not listed": (
        "index.toml",
        '"swallowing", ',
        "",
        "warnings/swallowing.toml: is not listed in index.toml",
    ),
    "a requirement beside one that is built": (
        "categories/nothing_abnormal.toml",
        "built_from_vocabulary = true",
        'built_from_vocabulary = true\nrequires = "tics"',
        "categories/nothing_abnormal.toml: requires: give it, or built_from_vocabulary, not both",
    ),
    "no requirement at all": (
        "categories/tics.toml",
        'requires = "tics"\n',
        "",
        "categories/tics.toml: requires: give it, or built_from_vocabulary, not both",
    ),
    "something explained that is no finding": (
        "categories/painful_gait.toml",
        'explains = ["painful_limp"',
        'explains = ["painful_step"',
        (
            "categories/painful_gait.toml: painful_gait: explains: "
            "painful_step is not a finding, sign or quantity"
        ),
    ),
    "an answer shown that is no finding": (
        "fall_risk.toml",
        '"hx_falls_12m", "hx_unsteady"',
        '"hx_fallen", "hx_unsteady"',
        "fall_risk.toml: fall_risk: shows: hx_fallen is not a finding",
    ),
    "a norm with a number too few": (
        "norms.toml",
        "male = [14, 12,",
        "male = [14,",
        (
            "norms.toml: chair_stands_30s: Value error, "
            "expected one number in male and in female for each of ages"
        ),
    ),
    "an age band that is none": (
        "norms.toml",
        '"60-64"',
        '"60 to 64"',
        "norms.toml: chair_stands_30s: ages.0: String should match pattern '^[0-9]+-[0-9]+$'",
    ),
    "a balance of something that is no finding": (
        "signs.toml",
        'findings = ["rest_tremor_hand"',
        'findings = ["rest_tremor_arm"',
        "signs.toml: arms_equal: findings: rest_tremor_arm is not a finding",
    ),
    "a balance that counts where no sign is": (
        "signs.toml",
        'arm_resistance = "rigid_arm"',
        'arm_resistance = "rigidity"',
        (
            "signs.toml: arms_equal: counted_where: arm_resistance = rigidity: "
            "expected a finding = a sign"
        ),
    ),
    "a step with a cause that is nothing": (
        "steps.toml",
        'because = ["hx_memory"]',
        'because = ["memory"]',
        "steps.toml: check_cognition: because: memory is not a category, warning or finding",
    ),
    "a step that does not say consider": (
        "steps.toml",
        'says = "Consider imaging of the brain"',
        'says = "Image the brain"',
        "steps.toml: image_brain: says: String should match pattern '^Consider '",
    ),
    "a threshold from a source that is not there": (
        "thresholds.toml",
        'source = "montero2022"',
        'source = "montero1999"',
        "thresholds.toml: walk_slow: source montero1999: is not in sources.toml",
    ),
}


@pytest.mark.parametrize(("file", "old", "new", "said"), CHANGED.values(), ids=CHANGED.keys())
def test_a_change_that_breaks_it_is_told(
    copy: Copy, file: str, old: str, new: str, said: str
) -> None:
    """Where it stands, what is wrong, and where it can be said, what would be right."""
    copy.change(file, old, new)

    assert dedent(said).strip() == copy.fault()


def test_a_file_that_is_gone_is_told(copy: Copy) -> None:
    """Half of the knowledge is none."""
    (copy.folder / "norms.toml").unlink()

    assert "norms.toml: there is no such file" == copy.fault()


def test_a_category_whose_file_is_gone_is_told(copy: Copy) -> None:
    """The index is the list of what there has to be."""
    (copy.folder / "categories" / "tics.toml").unlink()

    assert "categories/tics.toml: is listed but missing" == copy.fault()


def test_a_folder_that_is_gone_is_told(copy: Copy) -> None:
    """The first of what is missing is named."""
    for file in (copy.folder / "warnings").iterdir():
        file.unlink()
    (copy.folder / "warnings").rmdir()

    assert "warnings/acute_ataxia.toml: is listed but missing" == copy.fault()


def test_a_file_in_another_encoding_is_told(copy: Copy) -> None:
    """Its words would come out wrong on screen."""
    (copy.folder / "index.toml").write_bytes('version = "Né"'.encode("latin-1"))

    assert copy.fault().startswith("index.toml: not TOML: 'utf-8' codec can't decode byte 0xe9")


def test_an_unbroken_copy_loads_as_the_knowledge_itself(copy: Copy) -> None:
    """So that each fault above comes from the one thing that was broken."""
    copied, shipped = load_knowledge(copy.folder), knowledge()

    assert (shipped.version, shipped.definitions, shipped.conditions) == (
        copied.version,
        copied.definitions,
        copied.conditions,
    )


def test_the_knowledge_is_loaded_once() -> None:
    """At start-up, or the program does not start."""
    assert knowledge() is knowledge()
