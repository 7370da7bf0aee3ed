"""Tries at practice cases: kept as they were made, and shown to nobody else by name."""

import dataclasses
from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from app.exam.record import Cell, Value
from app.exam.vocabulary import Side
from app.store.engine import reading, writing
from app.store.practice import (
    Attempt,
    add_attempt,
    own_attempt,
    own_attempts,
    people_who_tried,
    team_attempts,
)
from app.store.refusals import NotFound, Unreadable
from tests.store.clinic import NOW
from tests.store.people import an_account, audited

GRADED: dict[Cell, Value] = {
    ("rest_tremor_hand", Side.RIGHT): 2,
    ("rest_tremor_hand", Side.LEFT): 0,
    ("posture_tremor_onset", Side.RIGHT): "delayed",
    ("posture_tremor_delay_s", Side.RIGHT): Decimal("8.5"),
    ("hoffmann", Side.LEFT): False,
    ("turn_steps", None): 2,
}


def tried(engine: Engine, account_id: str, case_id: str, agreed: int = 3, minutes: int = 0) -> int:
    """One try; its number."""
    with writing(engine) as session:
        return add_attempt(
            session, account_id, case_id, GRADED, agreed=agreed, total=6,
            now=NOW + timedelta(minutes=minutes),
        )  # fmt: skip


def test_a_try_is_read_back_as_it_was_made(engine: Engine) -> None:
    """A blank stays a blank, and a normal one a normal one."""
    nurse = an_account(engine)
    number = tried(engine, nurse.id, "lap_and_cup")
    with reading(engine) as session:
        kept = own_attempt(session, nurse.id, "lap_and_cup", number)

    assert Attempt(number, "lap_and_cup", NOW, GRADED, 3, 6) == kept


def test_nobody_opens_the_try_of_somebody_else(engine: Engine) -> None:
    """Not even by its number, nor under the name of another case."""
    one, other = (an_account(engine, name) for name in ("one", "other"))
    number = tried(engine, one.id, "lap_and_cup")
    for account_id, case_id in ((other.id, "lap_and_cup"), (one.id, "soup_spoon")):
        with pytest.raises(NotFound), reading(engine) as session:
            own_attempt(session, account_id, case_id, number)


def test_the_team_is_counted_and_never_named(engine: Engine) -> None:
    """What is read for the team holds nothing by which a person could be told."""
    one, other = (an_account(engine, name) for name in ("one", "other"))
    first = tried(engine, one.id, "lap_and_cup")
    second = tried(engine, other.id, "soup_spoon", minutes=1)
    third = tried(engine, one.id, "lap_and_cup", agreed=6, minutes=2)
    with reading(engine) as session:
        own, team = own_attempts(session, one.id, 9), team_attempts(session, 2)
        people = people_who_tried(session)

    assert [third, first] == [each.id for each in own]
    assert [third, second] == [each.id for each in team]
    assert 2 == people
    assert {"id", "case_id", "at", "graded", "agreed", "total"} == {
        field.name for field in dataclasses.fields(Attempt)
    }


def test_practising_leaves_no_row_in_the_audit(engine: Engine) -> None:
    """The chain vouches for patients and rights, and is to be searched for those."""
    nurse = an_account(engine)
    before = audited(engine)
    tried(engine, nurse.id, "lap_and_cup")

    assert before == audited(engine)


@pytest.mark.parametrize(("agreed", "total"), [(-1, 6), (7, 6), (0, 0)])
def test_the_database_refuses_a_score_that_cannot_be(
    engine: Engine, agreed: int, total: int
) -> None:
    """More agreed than there was to grade is a mistake of ours."""
    nurse = an_account(engine)
    with pytest.raises(DBAPIError, match="score_counts"), writing(engine) as session:
        add_attempt(session, nurse.id, "any", GRADED, agreed=agreed, total=total, now=NOW)


def test_a_try_that_cannot_be_read_says_which_it_is(engine: Engine) -> None:
    """Nothing is guessed about it."""
    nurse = an_account(engine)
    with writing(engine) as session:
        session.connection().execute(
            text(
                "INSERT INTO practice_attempt (account_id, case_id, at, graded, agreed, total) "
                "VALUES (:account, 'any', '2025-11-26 10:00:00', '{\"nothing\": 1}', 0, 1)"
            ),
            {"account": nurse.id},
        )
    with pytest.raises(Unreadable, match="practice attempt 1: "), reading(engine) as session:
        own_attempts(session, nurse.id, 9)
