"""The server's clock jumps under a running exam: an hour back, a year on, out of summer time.

The order of what was recorded and the chain of the audit rest on numbers, and not on the clock. How
long a sign-in and a wait hold then: tests/people/test_limits.py and test_throttle.py.
"""

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import pytest

from app.store.engine import reading
from app.store.verify import verify
from tests.web.clinic import PHYSICIAN, Clinic
from tests.web.test_lock import unlock
from tests.web.test_review import amendment, send, settled, signed

HOUR, YEAR = timedelta(hours=1), timedelta(days=365)


@dataclass
class Clock:
    """What the program takes for the time: that of the machine, moved."""

    moved: timedelta = timedelta(0)


class _LikeDatetime(type):
    def __instancecheck__(cls, instance: object) -> bool:
        return isinstance(instance, datetime)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """The clock of every module of the program, and of what signs somebody in for a test."""
    clock = Clock()

    class Moved(datetime, metaclass=_LikeDatetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Any:
            return datetime.now(tz) + clock.moved

    for name, module in list(sys.modules.items()):
        is_theirs = name.startswith("app.") or name == "tests.web.clinic"
        if is_theirs and getattr(module, "datetime", None) is datetime:
            monkeypatch.setattr(module, "datetime", Moved)
    return clock


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The server stands where summer time ends on the last Sunday of October."""
    with monkeypatch.context() as there:
        there.setenv("TZ", "Europe/Berlin")
        time.tzset()
        yield
    time.tzset()


def grade(clinic: Clinic, exam_id: str, value: str) -> int:
    """Enter one cell; the status."""
    return int(clinic.cell(exam_id, "drift", "right", value).status_code)


def order_of(clinic: Clinic, exam_id: str) -> tuple[list[int], list[object]]:
    """The revisions of the entries and their values, in the order in which they stand."""
    entries = clinic.entries(exam_id)
    return [each.revision for each in entries], [each.value for each in entries]


def alterations(clinic: Clinic) -> tuple[object, ...]:
    """What the audit finds altered."""
    with reading(clinic.app.state.engine) as session:
        return verify(session).alterations


def test_an_hour_back_locks_keeps_the_order_and_signs_once_the_clock_is_right(
    clinic: Clinic, clock: Clock
) -> None:
    """What comes later counts, though its time is earlier; nothing is signed before it was seen."""
    exam_id = clinic.new_exam()
    assert 200 == grade(clinic, exam_id, "1")
    clock.moved = -HOUR / 2
    # The sign-in began later than now: how long it has been is not known.
    assert 401 == grade(clinic, exam_id, "2")
    clinic.start_sign_in(PHYSICIAN)
    assert 200 == grade(clinic, exam_id, "2")
    refused = send(clinic, exam_id, settled(clinic, exam_id))

    assert 409 == refused.status_code
    assert "check the server&#39;s clock" in refused.text
    assert ([1, 2], [1, 2]) == order_of(clinic, exam_id)
    assert 2 == clinic.value(exam_id, "drift", "right")
    assert [] == signed(clinic, exam_id)

    clock.moved = timedelta(0)
    assert 401 == grade(clinic, exam_id, "3")
    assert 200 == unlock(clinic)
    assert 200 == grade(clinic, exam_id, "3")
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    assert () == alterations(clinic)


def test_a_year_on_ends_every_sign_in_and_what_was_signed_then_is_not_amended_before(
    clinic: Clinic, clock: Clock
) -> None:
    """The page tells why; every other exam goes on once the clock is right again."""
    exam_id = clinic.new_exam()
    clock.moved = YEAR
    assert 401 == clinic.get(f"/exams/{exam_id}").status_code
    clinic.start_sign_in(PHYSICIAN)
    assert 200 == grade(clinic, exam_id, "1")
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code

    clock.moved = timedelta(0)
    assert 401 == clinic.get(f"/exams/{exam_id}").status_code
    clinic.start_sign_in(PHYSICIAN)
    refused = send(clinic, exam_id, amendment(clinic, exam_id), "amend")
    other = clinic.new_exam(chart_number="HC-2")

    assert 409 == refused.status_code
    assert "check the server&#39;s clock" in refused.text
    assert 1 == len(signed(clinic, exam_id))
    assert 200 == grade(clinic, other, "1")
    assert 303 == send(clinic, other, settled(clinic, other)).status_code
    assert () == alterations(clinic)


def test_the_hour_that_comes_twice_is_told_apart(
    clinic: Clinic, clock: Clock, berlin: None
) -> None:
    """31 October 2027, 02:30 in summer time, and an hour later 02:30 again (tz database)."""
    first = datetime(2027, 10, 31, 0, 30, tzinfo=UTC)
    clock.moved = first - datetime.now(UTC)
    clinic.start_sign_in(PHYSICIAN)
    exam_id = clinic.new_exam()
    assert 200 == grade(clinic, exam_id, "1")
    assert 303 == send(clinic, exam_id, settled(clinic, exam_id)).status_code
    clock.moved += HOUR
    clinic.start_sign_in(PHYSICIAN)
    assert 303 == send(clinic, exam_id, amendment(clinic, exam_id), "amend").status_code
    times = [each.signed_at for each in signed(clinic, exam_id)]
    page = clinic.get(f"/exams/{exam_id}").text

    assert ["02:30 +0200", "02:30 +0100"] == [f"{each:%H:%M %z}" for each in times]
    assert times[0] < times[1]
    assert "UTC+02:00" in page
    assert "UTC+01:00" in page
    assert () == alterations(clinic)
