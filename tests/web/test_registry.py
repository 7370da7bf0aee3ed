"""The page of counts: numbers of exams, nobody's name, and no small number."""

import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import insert

from app.knowledge.load import knowledge
from app.report.small_counts import WITHHELD, Shown, shown_alone
from app.store.counts import Counts
from app.store.engine import writing
from app.store.signing_tables import ConclusionRow
from app.store.tables import STATES, ExamRow
from app.web.registry_view import tallies
from tests.report.test_small_counts import possible
from tests.web.clinic import ADMINISTRATOR, PERSON, Clinic
from tests.web.tables import audit_rows

# Tallies whose lines make the total of signed exams, and those whose lines are divided.
ALONE, DIVIDED = ("months", "falls"), ("levels", "sides", "warnings")
# In which month, how many exams, on which side they have parkinsonism, in which falls group.
SOME = (
    ("2026-03", 2, "right", "low"),
    ("2026-04", 40, "right", "low"),
    ("2026-05", 30, "left", "high"),
    ("2026-07", 9, "both", "low"),
)


@pytest.fixture
def registry(clinic: Clinic) -> Clinic:
    """Signed exams of one patient, written past the signing of each."""
    patient_id = clinic.stored(clinic.new_exam()).patient.id
    exams, concluded = [], []
    for month, count, side, group in SOME:
        first = datetime.strptime(f"{month}-01+0000", "%Y-%m-%d%z")
        for number in range(count):
            exam_id = f"{month}-{number:03}"
            exams.append(
                {"id": exam_id, "patient_id": patient_id, "state": "signed", "reason": "",
                 "started_at": first + timedelta(minutes=number), "started_by": "x",
                 "started_role": "physician", "revision": 1}
            )  # fmt: skip
            for kind, item, level, at in (
                ("category", "parkinsonism", "fits", side), ("falls_group", "", group, None),
            ):  # fmt: skip
                concluded.append(
                    {"exam_id": exam_id, "kind": kind, "item": item, "level": level, "side": at}
                )
    with writing(clinic.app.state.engine) as session:
        session.execute(insert(ExamRow), exams)
        session.flush()
        session.execute(insert(ConclusionRow), concluded)
    return clinic


def tables(text: str) -> dict[str, dict[str, list[str]]]:
    """Each table by its caption: the cells of each row by its head."""
    found = {}
    for caption, body in re.findall(
        r"<caption[^>]*>(.*?)</caption>.*?<tbody>(.*?)</tbody>", text, flags=re.DOTALL
    ):
        rows = re.findall(r"<th[^>]*>(.*?)</th>(.*?)</tr>", body, flags=re.DOTALL)
        found[unescape(caption)] = {
            unescape(head): re.findall(r"<td[^>]*>(.*?)</td>", cells) for head, cells in rows
        }
    return found


def drawn(text: str) -> Iterator[str]:
    """The words of the drawings that are counts."""
    yield from re.findall(r'<text class="(?:told|small|withheld)"[^>]*>(.*?)</text>', text)


def test_the_counts_stand_in_a_table_and_in_a_drawing_and_no_small_one_does(
    registry: Clinic,
) -> None:
    """Two exams in March are fewer than five; July, the next larger, is withheld beside them."""
    text = registry.get("/registry").text
    found = tables(text)

    assert "All exams: 81 signed exams." in text
    assert {
        "Open, being recorded": ["fewer than 5"], "Ready, handed over": ["0"],
        "Signed": ["81"], "Signed and amended": ["0"],
    } == found["State"]  # fmt: skip
    assert {
        "Mar 2026": ["fewer than 5"], "Apr 2026": ["40"], "May 2026": ["30"],
        "Jun 2026": ["0"], "Jul 2026": ["withheld"],
    } == found["Month of the exam"]  # fmt: skip
    assert ["81", "81", "0", "0", "0"] == found["Patterns by level"]["Parkinsonism"]
    assert ["81", "42", "30", "9", "0"] == found["Patterns by side"]["Parkinsonism"]
    assert ["51"] == found["Falls group"]["Low by the questions and tests"]
    assert "None in any signed exam." in text
    in_tables = [cell for rows in found.values() for cells in rows.values() for cell in cells]
    assert sorted(in_tables) == sorted(drawn(text))


FEW = st.integers(0, 9)
ITEMS, LEVELS, ON = ("parkinsonism", "tics"), ("fits", "partial", "open"), ("right", "left", None)


@st.composite
def counted(draw: st.DrawFn) -> Counts:
    """Counts as they come of exams: the parts of each total add up to it."""
    states = {each: draw(FEW | st.integers(0, 60)) for each in STATES}
    signed = states["signed"] + states["amended"]

    def parts(total: int, names: Sequence[Any]) -> dict[Any, int]:
        found, left = {}, total
        for name in names[:-1]:
            found[name] = draw(st.integers(0, min(left, 9)) | st.integers(0, left))
            left -= found[name]
        return {name: count for name, count in {**found, names[-1]: left}.items() if count}

    has = {item: draw(st.integers(0, signed)) for item in ITEMS}
    return Counts(
        states=states,
        months=parts(signed, ("2026-01", "2026-02", "2026-04", "2026-05")),
        falls=parts(signed, ("low", "intermediate", "high", "open")),
        levels={(i, at): n for i in ITEMS for at, n in parts(has[i], LEVELS).items()},
        sides={(i, at): n for i in ITEMS for at, n in parts(has[i], ON).items()},
        urgencies={
            ("stroke_like", at): n for at, n in parts(has["tics"], ("emergency", "soon")).items()
        },
    )


@given(counted())
def test_no_small_count_can_be_worked_out_from_all_that_the_page_tells(counts: Counts) -> None:
    """With each total that is told, every hidden small count can still be any small number."""
    least = 5
    told = {each.id: each.lines for each in tallies(counts, knowledge(), least)}
    assert not any(
        shown.number is not None and 0 < shown.number < least
        for lines in told.values()
        for line in lines
        for shown in line.counts
    )
    signed = shown_alone(counts.signed, least)
    groups: list[tuple[Shown, Sequence[Shown]]] = [
        (signed, [line.counts[0] for line in told["states"][2:]])
    ]
    groups += [(signed, [line.counts[0] for line in told.get(each, ())]) for each in ALONE]
    groups += [(line.counts[0], line.counts[1:]) for each in DIVIDED for line in told.get(each, ())]
    for total, group in groups:
        if total.number is None:
            # Nothing of what a hidden total divides into is told.
            assert all(each == WITHHELD for each in group)
            continue
        found = possible(tuple(group), total.number, least)
        for each, could_be in zip(group, found, strict=True):
            assert not each.below or (1, least - 1) == could_be


def test_a_period_is_counted_alone_and_of_few_exams_nothing_but_that(registry: Clinic) -> None:
    """With the months on both ends; a period that cannot be is said at its field."""
    assert "Exams from Apr 2026 to May 2026: 70 signed exams." in (
        registry.get("/registry?since=2026-04&until=2026-05").text
    )
    few = registry.get("/registry?since=2026-03&until=2026-03").text
    assert "Exams of Mar 2026: fewer than 5 signed exams." in few
    assert {"State"} == set(tables(few))
    assert ["withheld"] == tables(few)["State"]["Signed"]
    assert "no signed exam" in registry.get("/registry?until=2026-02").text
    for asked, fault in (
        ("since=2026-13", "Type a month as in 2026-03"),
        ("since=2026-05&until=2026-04", "The last month lies before the first"),
    ):
        answer = registry.get(f"/registry?{asked}")

        assert 422 == answer.status_code
        assert fault in answer.text
        assert {} == tables(answer.text)


def test_the_counts_name_nobody_and_the_audit_tells_who_saw_them(registry: Clinic) -> None:
    """Not even to an administrator, who may open no chart."""
    text = registry.administrator.get("/registry?since=2026-04").text

    assert PERSON["family_name"] not in text
    assert PERSON["chart_number"] not in text
    assert not re.search(r'href="/(exams|patients)', text)
    newest = audit_rows(registry.app)[-1]
    assert ("registry", ADMINISTRATOR.name, '{"from":"2026-04"}') == (
        newest.action, newest.name, newest.detail,
    )  # fmt: skip
    assert datetime.now(UTC) - newest.at < timedelta(minutes=5)
