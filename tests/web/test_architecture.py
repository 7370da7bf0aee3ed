"""docs/architecture.md: the way of one finding, held to the program while it goes that way."""

import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from fastapi import FastAPI

from app.settings import ROOT
from tests.web.clinic import Clinic
from tests.web.test_review import TREMOR, examined, send, settled

TEXT = (ROOT / "docs" / "architecture.md").read_text()
# (step, file, name); the name is missing where the file is meant as a whole.
NAMED = [
    (int(step), file, name)
    for step, where in re.findall(r"^\| (\d+) \|.*\| (.*) \|$", TEXT, re.M)
    for file, name in re.findall(r"`([\w/]+\.\w+)`(?: `([\w.]+)`)?", where)
]
SENT, REVIEWED, SIGNED = range(3, 9), range(9, 10), range(10, 13)


def named(steps: range) -> list[tuple[str, str]]:
    """The functions of the program that these steps name."""
    return [(file, name) for step, file, name in NAMED if step in steps and file.startswith("app/")]


@contextmanager
def traced(calls: list[tuple[str, str]]) -> Iterator[None]:
    """Note each call of a function that the document names, in every thread that begins now."""
    wanted = {(str(ROOT / file), name): (file, name) for _, file, name in NAMED}

    def look(frame: FrameType, _event: str, _argument: object) -> None:
        code = frame.f_code
        if (key := (code.co_filename, code.co_qualname)) in wanted:
            calls.append(wanted[key])

    before = sys.gettrace()
    threading.settrace(look)
    sys.settrace(look)
    try:
        yield
    finally:
        sys.settrace(before)
        threading.settrace(before)


def gone(way: list[tuple[str, str]], calls: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """As much of the way as the calls went, in its order."""
    rest = iter(calls)
    return [each for each in way if each in rest]


def test_twelve_steps_name_files_that_are_there() -> None:
    """Scripts and templates are looked at as text: here is no browser."""
    assert list(range(1, 13)) == sorted({step for step, _, _ in NAMED})
    for _, file, name in NAMED:
        text = (ROOT / file).read_text()
        if name and file.endswith(".js"):
            assert f"function {name}(" in text, (file, name)


def test_a_finding_goes_the_way_that_is_described(app: FastAPI) -> None:
    """A reader who follows the twelve steps finds in each file what the program runs there."""
    entry: list[tuple[str, str]] = []
    review: list[tuple[str, str]] = []
    signature: list[tuple[str, str]] = []
    calls: list[tuple[str, str]] = []
    with Clinic.of(app) as clinic:
        exam_id = examined(clinic, *TREMOR[:-1])
    with traced(calls), Clinic.of(app, has_members=False) as clinic:
        calls.clear()
        clinic.cell(exam_id, *TREMOR[-1])
        entry.extend(calls)
        form = settled(clinic, exam_id)
        calls.clear()
        clinic.get(f"/exams/{exam_id}/review")
        review.extend(calls)
        calls.clear()
        assert 303 == send(clinic, exam_id, form).status_code
        signature.extend(calls)

    assert named(SENT) == gone(named(SENT), entry)
    assert named(REVIEWED) == gone(named(REVIEWED), review)
    assert named(SIGNED) == gone(named(SIGNED), signature)
