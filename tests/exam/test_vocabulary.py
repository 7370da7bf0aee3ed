"""The vocabulary is exactly the contract's: every id, scale, side, value, unit and limit."""

import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.exam.vocabulary import GRADE_WORDS, SIDES, Finding, Scale, Side, vocabulary

CONTRACT = Path(__file__).parents[1] / "contract" / "findings.toml"


def agreed() -> Iterator[tuple[str, dict[str, Any]]]:
    """Each finding of the contract with its table, the tasks and limbs written out."""
    tables = tomllib.loads(CONTRACT.read_text(encoding="utf-8"), parse_float=Decimal)
    for key, table in tables.items():
        for word, members in (("TASK", table.get("tasks")), ("LIMB", table.get("limbs"))):
            for member in members or ():
                core = table["core"] and member in table.get("core_tasks", members)
                yield key.replace(word, member), table | {"core": core}
        if not table.keys() & {"tasks", "limbs"}:
            yield key, table


AGREED = dict(agreed())


def test_there_is_no_finding_more_and_none_less_and_the_order_is_the_same() -> None:
    """Lists in an assessment are in this order."""
    assert list(AGREED) == list(vocabulary())
    assert len(AGREED) == len(vocabulary())


@pytest.mark.parametrize("finding_id", AGREED)
def test_a_finding_is_recorded_as_agreed(finding_id: str) -> None:
    """What is not said in the contract is not so: no unit, no limit, not core."""
    table, finding = AGREED[finding_id], vocabulary()[finding_id]
    history = table["station"] in ("history", "measures")

    assert {
        "id": finding_id,
        "station": table["station"],
        "scale": table["scale"],
        "paired": table["sides"] == "pair",
        "values": tuple(table.get("values", ())),
        "unit": table.get("unit", ""),
        "minimum": table.get("min"),
        "maximum": table.get("max"),
        "core": table.get("core", False),
        # "history ... a nurse may record all of it", and the same of the measures.
        "nurse": table.get("nurse", history),
        "has_normal": table.get("normal", True),
    } == {
        name: getattr(finding, name)
        for name in (
            *("id", "station", "scale", "paired", "values", "unit"),
            *("minimum", "maximum", "core", "nurse", "has_normal"),
        )
    }


@pytest.mark.parametrize("finding_id", AGREED)
def test_a_finding_has_words_for_all_that_can_be_recorded(finding_id: str) -> None:
    """Nothing on screen or in print falls back on an id."""
    finding = vocabulary()[finding_id]

    assert finding.label
    assert "{" not in finding.label
    assert len(finding.values) == len(finding.words) == len(set(finding.words))
    assert (finding.scale is Scale.CHOICE) == bool(finding.values)
    assert (finding.scale in (Scale.COUNT, Scale.NUMBER)) == bool(finding.unit)
    assert (finding.minimum is None) == (finding.maximum is None) == (not finding.unit)


def test_no_two_findings_of_a_station_have_the_same_label() -> None:
    """Or nobody could tell which cell they fill in."""
    for station in vocabulary().stations:
        labels = [finding.label for finding in vocabulary().at(station.id)]

        assert len(labels) == len(set(labels)), station.label


def test_the_stations_are_in_the_order_of_the_exam_and_hold_every_finding_once() -> None:
    """From the chair to the gait, then what the picture asks for, history and measures."""
    stations = [station.id for station in vocabulary().stations]

    assert [
        *("rest", "posture", "reach", "repeat", "tone", "gait", "more", "history", "measures")
    ] == stations
    assert list(vocabulary()) == [
        finding.id for station in stations for finding in vocabulary().at(station)
    ]


@pytest.mark.parametrize(
    ("finding_id", "details"),
    [
        ("posture_tremor", ["posture_tremor_onset", "posture_tremor_delay_s"]),
        (
            "arm_resistance",
            [
                *("arm_resistance_directions", "arm_resistance_speed", "arm_resistance_varies"),
                *("arm_activation_only", "arm_cogwheel"),
            ],
        ),
        (
            "leg_resistance",
            [
                *("leg_resistance_directions", "leg_resistance_speed", "leg_resistance_varies"),
                *("leg_activation_only", "leg_cogwheel"),
            ],
        ),
        ("drift", []),
    ],
)
def test_details_belong_to_the_finding_that_they_describe(
    finding_id: str, details: list[str]
) -> None:
    """They are asked for when it is present; those of the arm by the arm's resistance."""
    assert details == [finding.id for finding in vocabulary().details_of(finding_id)]


def test_a_detail_is_recorded_on_the_same_sides_as_its_finding() -> None:
    """And the finding exists."""
    for finding in vocabulary().values():
        if finding.detail_of:
            assert vocabulary()[finding.detail_of].paired == finding.paired


# ---- sides


def test_right_stands_before_left() -> None:
    """Everywhere: screen, print, note and export."""
    assert (Side.RIGHT, Side.LEFT) == SIDES
    assert ("right", "left") == SIDES


def test_each_side_is_opposite_to_the_other() -> None:
    """The patient's sides, not the examiner's."""
    assert Side.LEFT is Side.RIGHT.other
    assert Side.RIGHT is Side.LEFT.other


def test_a_single_finding_has_the_one_side_none() -> None:
    """So that a cell is always a finding and a side."""
    assert (None,) == vocabulary()["rise"].sides
    assert SIDES == vocabulary()["drift"].sides


def test_cells_are_ordered_by_finding_and_then_right_before_left() -> None:
    """The one sort key of every list."""
    place = vocabulary().place

    assert place("rest_tremor_hand", Side.RIGHT) < place("rest_tremor_hand", Side.LEFT)
    assert place("rest_tremor_hand", Side.LEFT) < place("rest_tremor_leg", Side.RIGHT)
    assert place("rest_tremor_leg", Side.LEFT) < place("rest_tremor_jaw")


# ---- values in words


@pytest.mark.parametrize(
    ("finding_id", "value", "words"),
    [
        ("drift", 0, "0 none"),
        ("drift", 1, "1 slight"),
        ("drift", 2, "2 definite"),
        ("drift", 3, "3 marked"),
        ("clonus", True, "yes"),
        ("clonus", False, "no"),
        ("rise", "pushes_off", "pushes off with the hands"),
        ("turn_steps", 6, "6 steps"),
        ("turn_steps", 1, "1 step"),
        ("hx_falls_12m", 0, "0 falls in 12 months"),
        ("hx_falls_12m", 1, "1 fall in 12 months"),
        ("hx_falls_12m", 2, "2 falls in 12 months"),
        ("hx_years", Decimal(1), "1 year"),
        ("tug_s", Decimal("9.30"), "9.30 s"),
        ("walk_m", Decimal("1E+1"), "10 m"),
        ("posture_tremor_delay_s", Decimal("1E-1"), "0.1 s"),
    ],
)
def test_a_value_in_words(finding_id: str, value: object, words: str) -> None:
    """A grade keeps its digit, a number its unit and every digit that was typed."""
    assert words == vocabulary()[finding_id].words_of(value)


# ---- what is abnormal by itself


@pytest.mark.parametrize(
    ("finding_id", "abnormal", "normal"),
    [
        ("drift", [1, 2, 3], [0]),
        ("clonus", [True], [False]),
        ("rise", ["slow", "pushes_off", "falls_back", "unable"], ["normal"]),
        ("plantar", ["up"], ["down"]),
        # A way in which something is, not a fault: `normal = false` in the contract.
        ("posture_tremor_onset", [], ["at_once", "delayed"]),
        ("arm_resistance_speed", [], ["same", "catch"]),
        # Numbers are judged by norms and thresholds, never by themselves.
        ("turn_steps", [], [1, 20]),
        ("tug_s", [], [Decimal(9), Decimal(60)]),
    ],
)
def test_what_is_abnormal_by_itself(
    finding_id: str, abnormal: list[object], normal: list[object]
) -> None:
    """Grade 1 or more, yes, or a choice other than the first where the first is the normal one."""
    finding = vocabulary()[finding_id]

    assert abnormal == [value for value in (*abnormal, *normal) if finding.is_abnormal(value)]


def test_the_normal_value_is_never_abnormal_and_can_be_recorded() -> None:
    """It is what `rest of this station normal` writes."""
    for finding in vocabulary().values():
        normal = finding.normal_value()
        recordable: tuple[object, ...] = {
            Scale.GRADE: (0, 1, 2, 3),
            Scale.YESNO: (False, True),
            Scale.CHOICE: finding.values if finding.has_normal else (None,),
        }.get(finding.scale, (None,))

        assert recordable[0] == normal
        assert not finding.is_abnormal(normal)


def test_only_what_the_examiner_sees_or_feels_is_a_sign() -> None:
    """History and measures are not, so that they are never left over as unexplained."""

    def stations(of: list[Finding]) -> set[str]:
        return {finding.station for finding in of}

    every = list(vocabulary().values())

    assert {"history", "measures"} == stations([each for each in every if not each.is_sign])
    assert {"rest", "posture", "reach", "repeat", "tone", "gait", "more"} == stations(
        [each for each in every if each.is_sign]
    )


def test_there_is_a_word_for_each_grade() -> None:
    """0 none, 1 slight, 2 definite, 3 marked: the contract's scale."""
    assert ("none", "slight", "definite", "marked") == GRADE_WORDS
