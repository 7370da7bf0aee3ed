"""What is said of each thing that is known: in words, with links that lead somewhere."""

import dataclasses
from collections.abc import Iterator

import pytest

from app.knowledge.case import CategoryCase, WarningCase
from app.knowledge.describe import (
    describe_category,
    describe_falls,
    describe_intended_use,
    describe_step,
    describe_warning,
)
from app.knowledge.describe_case import describe_case
from app.knowledge.describe_parts import (
    describe_medicine_class,
    describe_norm,
    describe_sign,
    describe_source,
    describe_threshold,
    sign_ids,
)
from app.knowledge.described import CaseDescription, Claim, Named, SignDescription
from app.knowledge.linked import Term, plain
from app.knowledge.load import knowledge
from app.knowledge.mentions import label_of, short_name, sources_named, used_by
from app.knowledge.model import Source

KNOWN = knowledge()
DESCRIBED: dict[str, object] = {
    **{f"pattern {c.id}": describe_category(c, KNOWN) for c in KNOWN.categories.values()},
    **{f"warning {w.id}": describe_warning(w, KNOWN) for w in KNOWN.warnings.values()},
    **{f"sign {sign}": describe_sign(sign, KNOWN) for sign in sign_ids(KNOWN)},
    **{f"step {s.id}": describe_step(s, KNOWN) for s in KNOWN.steps.values()},
    **{
        f"class {c.id}": describe_medicine_class(c, KNOWN) for c in KNOWN.medicines.classes.values()
    },
    **{f"norm {n.id}": describe_norm(n, KNOWN) for n in KNOWN.norms.values()},
    **{f"threshold {t.id}": describe_threshold(t, KNOWN) for t in KNOWN.thresholds.values()},
    **{f"source {s.id}": describe_source(s, KNOWN) for s in KNOWN.sources.values()},
    "falls group": describe_falls(KNOWN),
    **{f"use: {each.title}": each for each in describe_intended_use(KNOWN)},
}


def texts(told: object) -> Iterator[str]:
    """Every text that a reader sees: all but what a link is made of."""
    if isinstance(told, str):
        yield told
    elif isinstance(told, tuple):
        for each in told:
            yield from texts(each)
    elif dataclasses.is_dataclass(told):
        for field in dataclasses.fields(told):
            if field.name not in ("id", "group"):
                yield from texts(getattr(told, field.name))


def links(told: object) -> Iterator[tuple[str, str]]:
    """Every place that a link leads to."""
    if isinstance(told, tuple):
        for each in told:
            yield from links(each)
    elif isinstance(told, Named | Term) and told.group:
        yield told.group, told.id
    elif dataclasses.is_dataclass(told):
        for field in dataclasses.fields(told):
            yield from links(getattr(told, field.name))


@pytest.mark.parametrize("name", DESCRIBED)
def test_a_description_is_made_of_words(name: str) -> None:
    """No name of the files, no code, no unit as machines write it, no id of a source."""
    found = list(texts(DESCRIBED[name]))

    assert found
    for text in found:
        assert "_" not in text, text
        assert "mm[Hg]" not in text, text
        assert not any(sign in text for sign in (">=", "<=", "any(", "both(", "takes(")), text
        assert not any(source in text.split() for source in KNOWN.sources), text


@pytest.mark.parametrize("name", DESCRIBED)
def test_every_link_leads_somewhere(name: str) -> None:
    """To something that has a label."""
    for group, thing in links(DESCRIBED[name]):
        assert label_of(group, thing, KNOWN)


def test_a_pattern_is_described_whole() -> None:
    """Requirement, core, cautions, qualifiers, steps, look-alikes, cases and sources."""
    category = KNOWN.categories["parkinsonism"]
    told = describe_category(category, KNOWN)

    assert "Parkinsonism" == told.label
    assert "draft, written by engineers and not yet reviewed by a clinician" == told.status
    assert (
        "Bradykinesia on either side, and (rest tremor anywhere, or rigid limb on either side)."
        == (told.sentence)
    )
    assert told.rule is not None
    assert "All of:" == plain(told.rule.words)
    assert len(category.core) == len(told.core)
    assert [caution.says for caution in category.caution] == [each.says for each in told.cautions]
    assert [each.label for each in category.qualifier] == [each.label for each in told.qualifiers]
    assert "Hand tremor at rest" in told.explains
    assert "Handwriting: small" in told.explains
    assert category.misleads == told.misleads
    assert [each.name for each in told.cases] == [
        sources_named(case.name, KNOWN) for case in category.case
    ]
    assert (
        Claim(
            "Parkinsonism is bradykinesia together with rest tremor, rigidity, or both.",
            "read in the source",
            told.claims[0].source,
            KNOWN.sources["postuma2015"].citation,
            "",
        ),
    ) == told.claims
    assert told.claims[0].source is not None
    assert "Postuma 2015" == told.claims[0].source.label


def test_a_qualifier_says_at_which_level_it_is_given() -> None:
    """Essential tremor is named only where the pattern fits (bhatia2018)."""
    told = describe_category(KNOWN.categories["action_tremor"], KNOWN)

    assert ["fits the pattern", ""] == [each.at for each in told.qualifiers[:2]]


def test_a_step_of_a_pattern_says_when() -> None:
    """At which level, with which closer description, and under what further condition."""
    told = describe_category(KNOWN.categories["upper_motor_neuron"], KNOWN)

    assert [
        "Where it fits",
        "Where it fits, and is described as “one side only, the other examined and free”",
        (
            "Where it fits, and is described as “both legs, arms examined and free”, if: the "
            "warning “possible compression of the cord or of the nerve roots below it” is not "
            "raised"
        ),
    ] == [plain(each.when) for each in told.steps]


def test_the_pattern_built_from_the_vocabulary_has_its_sentence_alone() -> None:
    """And says why one of its answers has no case."""
    told = describe_category(KNOWN.categories["nothing_abnormal"], KNOWN)

    assert None is told.rule
    assert KNOWN.categories["nothing_abnormal"].says == told.sentence
    assert 1 == len(told.no_cases)
    assert told.no_cases[0].startswith("Requirement met: yes: ")


def test_a_warning_is_described_whole() -> None:
    """Signs, context, urgencies, closer descriptions, steps."""
    told = describe_warning(KNOWN.warnings["wernicke"], KNOWN)
    drop = describe_warning(KNOWN.warnings["orthostatic_drop"], KNOWN)

    assert told.context is not None
    assert [("EMERGENCY, now", False), ("same day", True)] == [
        (tier.urgency, tier.rule is None) for tier in told.tiers
    ]
    assert ["Consider thiamine into a vein, before glucose"] == [each.label for each in told.steps]
    assert None is drop.context
    assert ["little rise of the heart rate, which suggests a neurogenic cause"] == [
        each.label for each in drop.qualifiers
    ]


def test_the_falls_group_is_described_whole() -> None:
    """Branch by branch, with the caveat and the hazards."""
    told = describe_falls(KNOWN)

    assert "High" == told.branches[0].level
    assert None is told.branches[-1].rule
    assert "NG249" in told.caveat
    assert list(KNOWN.hazards) == [each.id for each in told.hazards]
    assert "Where the group is high" == plain(told.steps[0].when)
    assert plain(told.steps[-1].when).startswith("Whatever the group, if: a fall")


def test_a_sign_has_a_rule_or_values_or_sums() -> None:
    """And says on which sides it is judged."""
    rigid, tone, equal = (
        describe_sign(each, KNOWN) for each in ("rigid_arm", "tone_arm", "arms_equal")
    )

    assert ("Judged on each side.", True) == (rigid.judged, rigid.rule is not None)
    assert ["normal", "paratonia", "spasticity"] == [each.label for each in tone.values[:3]]
    assert (None, ()) == (tone.rule, tone.counted)
    assert "Hand tremor at rest" in equal.counted
    assert "Arm: resistance to passive movement, counted where there is: rigid arm" in equal.counted
    assert "Judged once." == describe_sign("gait_ataxia", KNOWN).judged


def test_what_is_no_sign_is_not_described() -> None:
    """A page can say that there is none."""
    with pytest.raises(KeyError):
        describe_sign("nothing", KNOWN)


def test_a_step_names_everything_that_it_follows_from() -> None:
    """Patterns, warnings, the falls group, an urgency, a hazard, what is open, a condition."""

    def follows(step: str) -> list[str]:
        return [plain(each) for each in describe_step(KNOWN.steps[step], KNOWN).follows]

    assert ["Every warning of the urgency “same day”"] == follows("same_day_assessment")
    assert ["The warning “Possible lack of thiamine”"] == follows("thiamine_before_glucose")
    assert [
        "The falls group. Where the group is low",
        "Any hazard beside the falls group",
    ] == follows("falls_advice")
    assert ["Any pattern that is open, or an open falls group"] == follows("examine_next")
    assert "By itself, if: decline in memory or thinking" == follows("check_cognition")[-1]
    assert "as urgent as its cause" == describe_step(KNOWN.steps["image_head_now"], KNOWN).urgency
    assert "routine" == describe_step(KNOWN.steps["test_thyroid"], KNOWN).urgency


def test_every_step_follows_from_something() -> None:
    """Or it would never be shown."""
    for step in KNOWN.steps.values():
        assert describe_step(step, KNOWN).follows, step.id


def test_a_medicine_class_marks_the_weak_and_the_other_spellings() -> None:
    """And its source, where it has one."""
    causing = describe_medicine_class(KNOWN.medicines.classes["parkinsonism_causing"], KNOWN)
    thinning = describe_medicine_class(KNOWN.medicines.classes["anticoagulant"], KNOWN)
    valproate = next(each for each in causing.ingredients if each.name == "valproate")

    assert "A medicine that can cause parkinsonism" == causing.label
    assert (True, ("valproic acid", "divalproex")) == (valproate.is_weak, valproate.spellings)
    assert causing.source is not None
    assert ("Shin 2012", None, "") == (causing.source.label, thinning.source, thinning.citation)


def test_a_norm_shows_its_bands() -> None:
    """cdc_steadi: men of 60 to 64 years, under 14."""
    told = describe_norm(KNOWN.norms["chair_stands_30s"], KNOWN)

    assert ("60 to 64", "14", "12") == told.bands[0]
    assert ("stands", "CDC STEADI") == (told.unit, told.source.label)


def test_a_number_stands_with_its_unit_and_what_is_compared_with_it() -> None:
    """montero2022, and one that has no published source."""
    walk, once, delay = (
        describe_threshold(KNOWN.thresholds[each], KNOWN)
        for each in ("walk_slow", "one_fall", "delayed_from")
    )

    assert ("0.8 m/s", ("usual walking speed: 0.8 m/s or less",)) == (walk.number, walk.compared)
    assert walk.source is not None
    assert "Montero-Odasso 2022" == walk.source.label
    assert ["Slow walk"] == [each.label for each in walk.used_by]
    assert "1 fall in 12 months" == once.number
    assert (None, "no published source") == (delay.source, delay.standing)
    assert "Jankovic 1999" in delay.note


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("postuma2015", "Postuma 2015"),
        ("vandeloo2024", "van de Loo 2024"),
        ("norcliffe2018", "Norcliffe-Kaufmann 2018"),
        ("nice_ng127", "NICE NG127"),
        ("cdc_steadi", "CDC STEADI"),
    ],
)
def test_a_source_has_a_name_for_running_text(source: str, expected: str) -> None:
    """As a reader would write it."""
    assert expected == short_name(KNOWN.sources[source])


def test_a_source_without_an_author_is_called_by_its_id_in_capitals() -> None:
    """Rather than by a word that is no name."""
    source = Source(id="report2020", citation="a report", standing="memory")

    assert "REPORT2020" == short_name(source)


def test_no_two_sources_or_signs_have_one_name() -> None:
    """A link by name would lead to the wrong one."""
    names = [short_name(source) for source in KNOWN.sources.values()]
    signs = [describe_sign(sign, KNOWN).label for sign in sign_ids(KNOWN)]

    assert len(set(names)) == len(names)
    assert len(set(signs)) == len(signs)


def test_what_speaks_of_something_is_named_there() -> None:
    """Both ways: the pattern names the sign, and the sign the pattern."""
    assert "Parkinsonism" in [each.label for each in used_by(KNOWN, "signs", "rigid")]
    assert "Arms equally affected" in [each.label for each in used_by(KNOWN, "signs", "rigid_arm")]
    assert "Intended use" in [each.label for each in used_by(KNOWN, "sources", "rizzo2016")]
    assert "Falls group" in [each.label for each in used_by(KNOWN, "sources", "vandeloo2024")]
    assert () == used_by(KNOWN, "signs", "nothing")


def test_every_sign_is_spoken_of_or_shown() -> None:
    """What nothing speaks of would be reviewed for nothing."""
    shown = {sign.id for sign in KNOWN.signs.values() if sign.shown}
    shown |= {kind.id for kind in KNOWN.kinds.values() if kind.shown}
    lonely = {
        told.id
        for told in DESCRIBED.values()
        if isinstance(told, SignDescription) and not told.used_by
    }

    assert set() == lonely - shown


# ---- cases


def category_case(**given: object) -> CaseDescription:
    """A case of a pattern."""
    case = CategoryCase.model_validate({"name": "A case", "expect": "yes"} | given)
    return describe_case(case, KNOWN)


def test_a_case_tells_a_finding_a_line_and_what_is_absent_together() -> None:
    """RIGHT before LEFT; the same on both sides is said once."""
    told = category_case(
        age=70,
        sex="female",
        medicines=["lithium"],
        level="fits",
        given={
            "drift left": 2,
            "drift right": 1,
            "clonus right": True,
            "weak_arm right": 1,
            "weak_arm left": 1,
            "chorea right": 0,
            "chorea left": 0,
            "tics": 0,
            "base": "normal",
            "rise": {"untestable": "pain"},
            "turn_steps": 3,
            "lying_sys": 150,
            "hx_years": 1,
            "hx_fever": False,
            "hx_falls_12m": 0,
            "arm_resistance_varies right": False,
            "arm_resistance_varies left": False,
        },
    )

    assert (
        "Age: 70 years",
        "Sex: female",
        "Pronator drift: RIGHT 1 slight, LEFT 2 definite",
        "Arm: resistance comes and goes, both sides: no",
        "Rise from a chair: could not be tested, pain",
        "Distance between the feet: normal",
        "Steps for a half turn: 3",
        "Clonus, RIGHT: yes",
        "Weak arm, both sides: 1 slight",
        "Time since the first symptom: 1 year",
        "Falls in the last 12 months: 0",
        "Lying: systolic pressure: 150 mmHg",
        "Medicines: lithium",
    ) == told.given
    assert ("Looked for and absent: chorea; tics", "Answered no: fever") == told.also
    assert "Requirement met: yes. Result: fits the pattern." == told.expects


def test_a_case_without_a_level_says_only_the_answer() -> None:
    """And no medicines are said to be none."""
    told = category_case(given={}, medicines=[])

    assert (("Medicines: none",), (), "Requirement met: yes.") == (
        told.given,
        told.also,
        told.expects,
    )


def test_a_case_of_a_warning_says_how_urgent() -> None:
    """Or that it is not raised."""
    raised = {"name": "A", "given": {}, "expect": "yes", "urgency": "soon"}

    assert "Raised: yes. How urgent: soon, within about 2 weeks." == (
        describe_case(WarningCase.model_validate(raised), KNOWN).expects
    )
    assert "Raised: no." == (
        describe_case(WarningCase(name="A", given={}, expect="no"), KNOWN).expects
    )


# ---- intended use

FIGURES = {
    # rizzo2016: pooled 80.6 %; non-experts 73.8 %; experts 79.6 %, 83.9 % after follow-up.
    "Rizzo 2016": ("80.6 %", "73.8 %", "79.6 %", "83.9 %"),
    # postuma2018: 434 with the disease, 192 without; probable: 94.5 % and 88.5 %.
    "Postuma 2018": ("434", "192", "94.5 %", "88.5 %"),
    # jain2006: 26 of 71.
    "Jain 2006": ("71", "26 (37 %)"),
    # mahlknecht2013: 32.2 %; more than one neurological cause in 30.8 % of those with one.
    "Mahlknecht 2013": ("32.2 %", "30.8 %"),
    "van de Loo 2024": ("31 to 48 %", "77 to 88 %"),
}


def test_the_evidence_is_that_of_the_sources_and_says_what_it_is_not() -> None:
    """And that none of it was measured with this program."""
    told = next(each for each in describe_intended_use(KNOWN) if "evidence" in each.title)
    claims = {each.source.label: each.claim for each in told.claims if each.source}

    for source, figures in FIGURES.items():
        for figure in figures:
            assert figure in claims[source], source
    assert "has not been tested on patients" in told.text[0]
    assert "not autopsy" in claims["Postuma 2018"]


def test_the_intended_use_says_what_is_asked_of_it() -> None:
    """Users, patients, inputs, logic, evidence, unknowns, urgency, state, responsibility.

    fda_cds (the text of 2022, from memory): what software shows so that a clinician need not rely
    on it.
    """
    whole = " ".join(text for each in describe_intended_use(KNOWN) for text in texts(each))

    for words in (
        "licensed physician", "an adult", "No picture, sound, sensor", "yes, no or unknown",
        "not a means of detecting an emergency", "No clinician has reviewed it yet",
        f"version {KNOWN.version}", "local pathways come first", "never orders, starts or stops",
    ):  # fmt: skip
        assert words in whole
    assert "{version}" not in whole


def test_a_term_is_a_run_of_words() -> None:
    """The smallest part of a description."""
    assert "rigid limb" == plain((Term("rigid "), Term("limb", "signs", "rigid")))
