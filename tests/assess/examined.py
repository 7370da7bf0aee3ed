"""Exams written in short: `drift right 2; hx_onset sudden; toe_tap_slow each 0; rise untestable`.

A paired finding has its side, or `each` for both; `yes` and `no` are true and false.
"""

import json
from collections.abc import Iterable
from functools import cache
from typing import Any

import pytest

from app.assess.assess import assess
from app.assess.assessment import Assessment, CategoryFound, WarningRaised
from app.assess.changes import Altered
from app.exam.reading import parse_exam
from app.exam.record import Exam
from app.exam.vocabulary import Side, vocabulary
from app.knowledge.load import knowledge

_WORDS = {"yes": "true", "no": "false", "untestable": '{"untestable": "pain"}'}


def exam_of(
    text: str = "",
    *,
    medicines: Iterable[str] | None = None,
    age: int | None = None,
    sex: str | None = None,
) -> Exam:
    """The exam that is written so; what is not said was not examined."""
    findings: dict[str, dict[str, str] | str] = {}
    for statement in filter(None, map(str.strip, text.split(";"))):
        name, *sides, word = statement.split()
        typed = _WORDS.get(word, word if word[0].isdigit() else json.dumps(word))
        if vocabulary()[name].paired:
            held = findings.setdefault(name, {})
            assert isinstance(held, dict)
            held |= dict.fromkeys(("right", "left") if sides == ["each"] else sides, typed)
        else:
            findings[name] = typed
    written = ", ".join(f"{json.dumps(name)}: {_written(held)}" for name, held in findings.items())
    patient = json.dumps({"age": age, "sex": sex})
    listed = json.dumps(None if medicines is None else list(medicines))
    return parse_exam(f'{{"patient": {patient}, "findings": {{{written}}}, "medicines": {listed}}}')


def _written(held: dict[str, str] | str) -> str:
    if isinstance(held, str):
        return held
    return f"{{{', '.join(f'{json.dumps(side)}: {typed}' for side, typed in held.items())}}}"


def assessed(text: str = "", **given: Any) -> Assessment:
    """The assessment of the exam that is written so."""
    if given.get("medicines") is not None:
        given["medicines"] = tuple(given["medicines"])
    return _assessed(text, tuple(given.items()))


@cache
def _assessed(text: str, given: tuple[tuple[str, Any], ...]) -> Assessment:
    return assess(exam_of(text, **dict(given)), knowledge())


def category(name: str, text: str = "", **given: Any) -> CategoryFound:
    """What is found of one category."""
    return next(each for each in assessed(text, **given).categories if each.id == name)


def warning(name: str, text: str = "", **given: Any) -> WarningRaised | None:
    """One warning, where it is raised."""
    return next((each for each in assessed(text, **given).warnings if each.id == name), None)


def urgency(name: str, text: str = "", **given: Any) -> str | None:
    """How urgent a warning is, where it is raised."""
    raised = warning(name, text, **given)
    return raised.urgency if raised else None


def steps(text: str = "", **given: Any) -> dict[str, str]:
    """The next steps, each with its urgency."""
    return {step.id: step.urgency for step in assessed(text, **given).next_steps}


def asked(text: str = "", **given: Any) -> list[str]:
    """What is asked for, in order, each as `drift right` or `rise`."""
    return [
        f"{each.finding} {each.side}" if each.side else each.finding
        for each in assessed(text, **given).check_next
    ]


def derived(name: str, text: str, side: str) -> Any:
    """A derived sign on a side, in an exam that is written for `SIDE`."""
    return assessed(text.replace("SIDE", side)).derived[name][Side(side)]


def rows(*held: tuple[str, Any]) -> pytest.MarkDecorator:
    """Rows of an exam written for `SIDE` and what is derived there, each tested on both sides."""
    return pytest.mark.parametrize(
        ("text", "expected", "side"),
        [(text, value, side) for side in ("right", "left") for text, value in held],
    )


def in_short(altered: Altered) -> str:
    """`drift left: 2 > 0`; an unknown finding is `?`."""
    where = f"{altered.name} {altered.side}" if altered.side else altered.name
    return f"{where}: {'?' if altered.was is None else altered.was} > {altered.becomes}"
