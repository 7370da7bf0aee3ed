"""The help at a row: there for every finding, short, beside its source, and loaded strictly."""

import re

import pytest

from app.exam.vocabulary import vocabulary
from app.knowledge.describe_help import describe_help, describe_help_stations
from app.knowledge.files import BadKnowledge, Files
from app.knowledge.help import LONGEST, key_of, load_help
from app.knowledge.load import knowledge
from app.settings import ROOT
from tests.knowledge.conftest import Copy

KNOWN = knowledge()
TEXTS = KNOWN.help.texts
SPRITE = (ROOT / "static" / "drawings.svg").read_text(encoding="utf-8")
LONG = "Watch the hand while the patient counts backwards. " * 6
WRONG = {
    "help for what is no finding": (
        "reach.toml",
        "[help.dysmetria]",
        "[help.past_pointing]",
        "help/reach.toml: past_pointing: is not a finding of this station",
    ),
    "help in the file of another station": (
        "reach.toml",
        "[help.dysmetria]",
        "[help.flap]",
        "help/reach.toml: flap: is not a finding of this station",
    ),
    "help for one task only": (
        "repeat.toml",
        "[help.TASK_slow]",
        "[help.finger_tap_slow]",
        "help/repeat.toml: finger_tap_slow: is not a finding of this station",
    ),
    "a drawing that is not there": (
        "gait.toml",
        'drawing = "base"',
        'drawing = "feet"',
        "help/gait.toml: base: drawing: feet is not in help/drawings.toml",
    ),
    "no support": (
        "gait.toml",
        'drawing = "base"\nsupport = "common practice"',
        'drawing = "base"',
        "help/gait.toml: base: support: Field required",
    ),
    "support by a name alone": (
        "gait.toml",
        'drawing = "base"\nsupport = "common practice"',
        'drawing = "base"\nsupport = "postuma2015"',
        (
            "help/gait.toml: base: support: Value error, "
            'expected "common practice" or a list of sources'
        ),
    ),
    "support by nothing": (
        "gait.toml",
        'drawing = "base"\nsupport = "common practice"',
        'drawing = "base"\nsupport = []',
        (
            "help/gait.toml: base: support: "
            "Tuple should have at least 1 item after validation, not 0"
        ),
    ),
    "a text too long to be read with a patient in front": (
        "reach.toml",
        'looks = "An even swing along the whole way, no worse at the end."',
        f'looks = "{LONG}"',
        (
            "help/reach.toml: kinetic_tremor: Value error, expected at most 285 characters in do, "
            "looks and mistaken together, about two lines; these are 484"
        ),
    ),
    "nothing that it is mistaken for": (
        "rest.toml",
        "mistaken = ",
        "mistook = ",
        """\
help/rest.toml: rest_tremor_hand: mistaken: Field required
help/rest.toml: rest_tremor_hand: mistook: Extra inputs are not permitted""",
    ),
}


def fault(copy: Copy) -> str:
    """What is said when the help alone is loaded, which is quicker than the whole knowledge."""
    with pytest.raises(BadKnowledge) as refused:
        load_help(Files(copy.folder), vocabulary())
    return str(refused.value)


@pytest.mark.parametrize("wrong", WRONG)
def test_a_faulty_text_stops_the_program(copy: Copy, wrong: str) -> None:
    """And the message names file, finding and key."""
    file, old, new, expected = WRONG[wrong]
    copy.change(f"help/{file}", old, new)

    assert expected == fault(copy)


def test_a_source_that_is_not_there_stops_it_too(copy: Copy) -> None:
    """As everywhere in the knowledge."""
    copy.change("help/tone.toml", 'source = "lance1980"', 'source = "lance1981"')

    assert (
        "help/tone.toml: LIMB_resistance_speed: source lance1981: is not in sources.toml"
        == copy.fault()
    )


def test_a_finding_without_help_and_a_file_of_no_station_stop_it_too(copy: Copy) -> None:
    """What is examined is never left unexplained, and no text lies where nobody reads it."""
    path = copy.folder / "help" / "reach.toml"
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole[: whole.index("[help.dysmetria]")], encoding="utf-8")
    assert "help/reach.toml: dysmetria: has no help" == fault(copy)

    path.write_text(whole, encoding="utf-8")
    copy.add("help/eyes.toml", "")
    assert "help/eyes.toml: is not the name of a station" == fault(copy)


def test_everything_that_is_examined_or_measured_has_help() -> None:
    """Counted against the vocabulary; questions have it where a word needs its definition."""
    without = [
        finding.id for finding in vocabulary().values() if describe_help(finding, KNOWN) is None
    ]

    assert [] == [each for each in without if vocabulary()[each].station != "history"]
    asked = [finding for finding in vocabulary().at("history") if finding.id not in without]
    assert {"hx_falls_12m", "hx_levodopa", "hx_dream_enactment"} <= {each.id for each in asked}


def test_tasks_and_limbs_share_a_text() -> None:
    """So that fingers and toes, arm and leg are judged alike."""
    words = vocabulary()

    assert "TASK_slow" == key_of(words["toe_tap_slow"]) == key_of(words["hand_open_slow"])
    assert describe_help(words["arm_cogwheel"], KNOWN) is describe_help(
        words["leg_cogwheel"], KNOWN
    )
    told = [text.label for station in describe_help_stations(KNOWN) for text in station.texts]
    assert "Slow (finger taps; toe taps; hand opening)" in told
    assert "Cogwheel (arm; leg)" in told
    assert len(told) == len(set(told)) == len(TEXTS)


def test_a_text_is_about_two_lines_and_says_where_it_comes_from() -> None:
    """Every one; what has no source says that it is common practice."""
    for text in TEXTS.values():
        assert len(text.do) + len(text.looks) + len(text.mistaken) <= LONGEST, text.id
        for part in (text.do, text.looks, text.mistaken):
            assert part[0].isupper() or part[0] == "“", text.id
            assert part.endswith((".", "?", "”")), text.id
    described = {
        text.id: text for station in describe_help_stations(KNOWN) for text in station.texts
    }
    assert "Common practice, no source" == described["face_still"].basis
    assert (
        "Lance 1980 (read in a secondary copy); Postuma 2015 (from memory, not yet checked against "
        "the source); the rest common practice"
    ) == described["LIMB_resistance_speed"].basis


def test_it_never_diagnoses_and_names_sides_in_full() -> None:
    """It is read at the bedside, where a wrong side or a verdict would do harm."""
    texts = [f"{each.do} {each.looks} {each.mistaken}" for each in TEXTS.values()]
    texts += [each.says for each in KNOWN.help.drawings.values()]
    for text in texts:
        assert not re.search(r"diagnos|\b[RL]\b|\b(right|left) (arm|hand|leg)", text), text


def test_every_drawing_is_drawn_used_and_told_in_words() -> None:
    """One size and one line for all, in the colour of the text around it."""
    drawn = re.findall(r'<symbol id="(\w+)" viewBox="0 0 330 140">', SPRITE)
    used = {text.drawing for text in TEXTS.values()} - {None}

    assert set(KNOWN.help.drawings) == set(drawn) == used
    assert len(drawn) == SPRITE.count('fill="none" stroke="currentColor" stroke-width="2"')
    assert not re.search(r"#[0-9a-f]{3,6}\b(?!oot)|rgb|style|<script|http(?!://www.w3.org/2000/svg)",
                         SPRITE.replace("#foot", ""))  # fmt: skip
    words = re.findall(r"<text[^>]*>([^<]*)<", SPRITE)
    assert {"RIGHT", "LEFT"} <= set(words)
    assert {"R", "L"}.isdisjoint(words)
