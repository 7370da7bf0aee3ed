"""What the database counts is what anybody would count who reads every exam."""

import json
from collections import Counter
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from sqlalchemy import Engine, text

from app.assess.assess import assess
from app.assess.assessment import Assessment, as_text
from app.exam.reading import parse_exam
from app.knowledge.load import knowledge
from app.store.counts import Counts, Period, count_exams
from app.store.engine import make_engine, migrate, reading, writing
from app.store.tables import OnPaperRow
from tests.store.clinic import an_exam
from tests.store.desk import amended, an_account, signed, to_amend, to_sign

CASES = Path(__file__).parents[1] / "contract" / "cases.ndjson"
SIGNED = 18
# With a minute before midnight at the end of a month in UTC, which elsewhere is another month.
FIRST = datetime(2025, 10, 31, 23, 59, tzinfo=UTC)
MAY = datetime(2026, 5, 1, tzinfo=UTC)


@cache
def drawn() -> tuple[tuple[datetime, str, Assessment], ...]:
    """When, in which state, and what it adds up to."""
    draw = Random(7)
    exams = [json.loads(line) for line in CASES.read_text().splitlines() if '"error"' not in line]
    found = []
    for number, case in enumerate(draw.sample(exams, SIGNED)):
        at = FIRST + timedelta(days=0 if number == 0 else draw.randint(0, 300))
        state = draw.choice(["signed", "signed", "amended"])
        found.append((at, state, assess(parse_exam(json.dumps(case["exam"])), knowledge())))
    return tuple(found)


def plain_count(since: datetime | None) -> dict[str, Counter[Any]]:
    """The same, one exam after the other."""
    found: dict[str, Counter[Any]] = {
        each: Counter() for each in ("months", "states", "levels", "sides", "urgencies", "falls")
    }
    for at, state, assessment in drawn():
        if since is None or at >= since:
            found["months"][f"{at:%Y-%m}"] += 1
            found["states"][state] += 1
            found["falls"][assessment.fall_risk.level] += 1
            for each in assessment.listed:
                found["levels"][each.id, each.level] += 1
                found["sides"][each.id, each.side] += 1
            for warning in assessment.warnings:
                if warning is not assessment.fall_risk:
                    found["urgencies"][warning.id, warning.urgency] += 1
    return found


def as_counters(counts: Counts) -> dict[str, Counter[Any]]:
    """As the plain count has them."""
    names = ("months", "states", "levels", "sides", "urgencies", "falls")
    return {name: Counter(getattr(counts, name)) for name in names}


def fill(engine: Engine, most: int = SIGNED) -> None:
    """Signed and amended exams, one of them on paper, and an open one of long ago."""
    an_account(engine)
    for number, (at, state, assessment) in enumerate(drawn()[:most]):
        is_on_paper = number == 1
        exam = an_exam(engine, at + timedelta(days=40 * is_on_paper), chart_number=f"C-{number}")
        if is_on_paper:
            with writing(engine) as session:
                session.add(OnPaperRow(exam_id=exam.id, examined_at=at, examined_by="Dr Prøve"))
        later = at + timedelta(days=60)
        told = as_text(assessment, indent=None)
        signed(engine, exam.id, to_sign(engine, exam.id, later, assessment=told))
        if state == "amended":
            amended(engine, exam.id, to_amend(engine, exam.id, signed_at=later))
    an_exam(engine, datetime(2024, 1, 1, tzinfo=UTC), chart_number="C-open")


def test_the_database_counts_what_a_plain_count_gives(engine: Engine) -> None:
    """By state, month, pattern, side, warning and falls group; an amended exam counts once."""
    fill(engine)
    with reading(engine) as session:
        found = count_exams(session, Period())
        of_may_on = count_exams(session, Period(since=MAY))
        before = count_exams(session, Period(before=MAY))
    everything, late = plain_count(None), plain_count(MAY)
    everything["states"]["open"] = 1

    assert SIGNED == found.signed
    assert everything == as_counters(found)
    assert late == as_counters(of_may_on)
    assert SIGNED == of_may_on.signed + before.signed
    assert 0 < of_may_on.signed < SIGNED


def test_exams_that_were_signed_before_they_were_counted_are_counted_after_an_update(
    engine: Engine,
) -> None:
    """The step of the migration reads them from what was signed."""
    fill(engine, 4)
    asked = text("SELECT * FROM conclusion ORDER BY exam_id, kind, item")
    writes = engine.execution_options(evenhand_writes=True)
    with writes.begin() as connection:
        before = [tuple(row) for row in connection.execute(asked)]
        connection.execute(text("DROP TABLE conclusion"))
        connection.execute(text("UPDATE alembic_version SET version_num = '0008'"))
    again = make_engine(engine.url.render_as_string(hide_password=False))
    migrate(again)
    with again.connect() as connection:
        after = [tuple(row) for row in connection.execute(asked)]
    again.dispose()

    assert len(before) > 4
    assert before == after
