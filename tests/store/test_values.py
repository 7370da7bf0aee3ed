"""What is stored reads back as what was recorded, and as nothing else."""

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.exam.faults import BadExam
from app.exam.record import Cell, Recorded, Untestable
from app.exam.vocabulary import Finding, Scale, Side, vocabulary
from app.store.refusals import Unreadable
from app.store.values import (
    as_text,
    checked,
    checked_lines,
    from_text,
    lines_as_text,
    lines_from_text,
)

RIGHT, LEFT = Side.RIGHT, Side.LEFT


def values_of(finding: Finding) -> st.SearchStrategy[Recorded]:
    """Everything that a finding can hold."""
    known: st.SearchStrategy[Recorded]
    match finding.scale:
        case Scale.GRADE:
            known = st.integers(0, 3)
        case Scale.YESNO:
            known = st.booleans()
        case Scale.CHOICE:
            known = st.sampled_from(finding.values)
        case Scale.COUNT:
            known = st.integers(int(finding.minimum or 0), int(finding.maximum or 9999))
        case Scale.NUMBER:
            known = st.decimals(finding.minimum or 0, finding.maximum or 9999, places=2)
    reasons = st.sampled_from(["pain", "arm in plaster", "Schmerz, „links“", "痛"])
    return known | reasons.map(Untestable)


CELLS_WITH_VALUES = st.sampled_from(list(vocabulary().values())).flatmap(
    lambda finding: st.tuples(
        st.tuples(st.just(finding.id), st.sampled_from(finding.sides)), values_of(finding)
    )
)


@given(CELLS_WITH_VALUES)
def test_every_value_reads_back_as_itself(held: tuple[Cell, Recorded]) -> None:
    """Of the same type too: true is not 1, and a number keeps the digits that were typed."""
    (finding_id, side), value = held
    read = from_text(finding_id, side, as_text(value))

    assert (type(value), str(value)) == (type(read), str(read))


@given(CELLS_WITH_VALUES)
def test_what_is_typed_has_one_text_and_that_is_json(held: tuple[Cell, Recorded]) -> None:
    """So texts can be compared and hashed, and read by any other program."""
    (finding_id, side), value = held
    text = as_text(value)

    assert text == as_text(from_text(finding_id, side, text))
    assert text.isascii()
    assert json.loads(text) is not None


def test_numbers_keep_the_digits_that_were_typed() -> None:
    """5.60 was read to a hundredth, 5.6 to a tenth."""
    assert "5.60" == as_text(Decimal("5.60"))
    assert "5.60" == str(from_text("tug_s", None, "5.60"))


@given(st.lists(st.text(max_size=200).filter(str.isprintable).filter(str.strip), max_size=5))
def test_medicines_read_back_as_they_were_typed(lines: list[str]) -> None:
    """Spaces and all: the line is what was asked and answered."""
    kept = checked_lines(tuple(lines))

    assert tuple(lines) == kept == lines_from_text(lines_as_text(kept))


def test_every_fault_is_named_with_its_place() -> None:
    """All at once, so that one correction is enough."""
    with pytest.raises(BadExam) as refused:
        checked(
            {
                ("drift", RIGHT): 4,
                ("drift", None): 1,
                ("tug_s", LEFT): Decimal(9),
                ("tug_s", None): Decimal(601),
                ("hx_falls_12m", None): Decimal("1.5"),
                ("hx_memory", None): 1,
                ("flap", LEFT): Untestable("  "),
                ("flap", RIGHT): Untestable("sling\x00"),
                ("grip", None): None,
            }
        )

    assert (
        "findings.drift.right: 4 is not a grade from 0 to 3",
        "findings.drift: needs its side, right or left",
        "findings.tug_s.left: has no sides",
        "findings.tug_s: 601 is not from 1 to 600 s",
        "findings.hx_falls_12m: 1.5 is not a whole number",
        "findings.hx_memory: 1 is not true or false",
        "findings.flap.left: untestable needs its reason in words",
        "findings.flap.right: the reason holds a character that cannot be kept (U+0000)",
        "findings.grip: not a finding",
    ) == refused.value.faults


def test_changes_come_in_the_order_of_the_exam() -> None:
    """Right before left; entries are numbered in this order."""
    mine = checked({("tug_s", None): 9, ("drift", LEFT): 0, ("drift", RIGHT): None})

    assert [("drift", RIGHT), ("drift", LEFT), ("tug_s", None)] == list(mine)


def test_faulty_medicines_are_named_by_line() -> None:
    """The limits are those of an exam in JSON."""
    with pytest.raises(BadExam) as refused:
        checked_lines(("aspirin", " ", "x" * 201, "two\nlines"))

    assert (
        "medicines.1: an empty line is not a medicine",
        "medicines.2: longer than 200 characters",
        "medicines.3: holds a character that cannot be kept (U+000A)",
    ) == refused.value.faults
    with pytest.raises(BadExam, match="101 lines; at most 100"):
        checked_lines(("aspirin",) * 101)


@pytest.mark.parametrize(
    ("finding", "side", "text"),
    [
        ("drift", RIGHT, "4"),
        ("drift", RIGHT, "null"),
        ("drift", RIGHT, "true"),
        ("drift", RIGHT, "[1]"),
        ("drift", RIGHT, '{"untestable":"pain","value":1}'),
        ("drift", RIGHT, "nonsense"),
        ("drift", None, "1"),
        ("gone", None, "1"),
        ("tug_s", None, "NaN"),
    ],
)
def test_what_no_version_wrote_is_not_read(finding: str, side: Side | None, text: str) -> None:
    """A damaged value is an error that names the finding, not a finding that is off."""
    with pytest.raises(Unreadable, match=finding):
        from_text(finding, side, text)


@pytest.mark.parametrize("text", ["nonsense", "{}", "[1]", "null", '"aspirin"'])
def test_damaged_medicines_are_not_read(text: str) -> None:
    """An empty list would say that nothing is taken."""
    with pytest.raises(Unreadable, match="medicines"):
        lines_from_text(text)
