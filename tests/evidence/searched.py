"""Every line that the program logs while pages are tested is searched for the people it knows.

The lines are those of the program's own formatter, whoever writes them. A test fails whose program
named somebody; the end of a run says how many lines were searched, over all its processes.
"""

import json
import logging
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

import pytest

from app.settings import ROOT
from app.web.logged import JSON, Lines, log_config

# What tests of pages call people who are not the usual one (tests/web/clinic.py).
OTHERS = ("Osei", "Beata", "HC-2042", "HC-404", "hc-2041")
OF_A_PATIENT = ("chart_number", "family_name", "given_name", "birth_date")
OF_AN_EXAM = ("reason", "impression", "plan")


@cache
def known_words() -> frozenset[str]:
    """Names, numbers, birth dates, passwords and words of all invented people, in small letters."""
    # It imports the whole program, which not every run needs.
    from tests.web.clinic import MEMBERS, PASSWORD, PERSON

    demo = tomllib.loads((ROOT / "seed_demo" / "clinic.toml").read_text("utf-8"))
    patients = [*demo["patient"], PERSON]
    found = {str(each[name]) for each in patients for name in OF_A_PATIENT}
    exams = [PERSON, *(exam for each in demo["patient"] for exam in each["exam"])]
    found |= {str(exam[name]) for exam in exams for name in OF_AN_EXAM if name in exam}
    found |= {str(each[name]) for each in demo["account"] for name in each if name != "role"}
    found |= {text for each in MEMBERS for text in (each.name, each.sign_in_name)}
    return frozenset(word.casefold() for word in (found | {PASSWORD, *OTHERS}))


def named_in(line: str, words: frozenset[str] | None = None) -> list[str]:
    """Which of the words stand in a line of the log, which escapes what is not ASCII.

    words: the known ones, where none are given.
    """
    try:
        text = json.dumps(json.loads(line), ensure_ascii=False)
    except ValueError:
        text = line
    plain = text.casefold()
    return sorted(word for word in words or known_words() if word in plain)


class Searched(logging.Handler):
    """A plugin that hears of every line. lines: how many there were."""

    def __init__(self) -> None:
        super().__init__()
        self.setFormatter(Lines(JSON))
        self.lines = 0
        self.found: list[tuple[list[str], str]] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Search a line."""
        line = self.format(record)
        self.lines += 1
        if named := named_in(line):
            self.found.append((named, line))

    @contextmanager
    def searching(self) -> Iterator[None]:
        """Log what a server logs. Fails at the end where somebody was named meanwhile."""
        root, served = logging.getLogger(), log_config(JSON)["loggers"]
        before = {name: logging.getLogger(name).level for name in served}
        for name, wanted in served.items():
            logging.getLogger(name).setLevel(wanted["level"])
        root.addHandler(self)
        try:
            yield
        finally:
            root.removeHandler(self)
            for name, level in before.items():
                logging.getLogger(name).setLevel(level)
        found, self.found = self.found, []
        assert [] == found, "the log names somebody"

    @pytest.hookimpl(tryfirst=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """One of several processes tells the first one."""
        if hasattr(session.config, "workeroutput"):
            session.config.workeroutput["searched"] = self.lines

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: object) -> None:
        """The first process hears how many lines one of the others searched."""
        self.lines += getattr(node, "workeroutput", {}).get("searched", 0)

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Say how much was searched."""
        if self.lines:
            terminalreporter.write_line(f"LOG {self.lines} lines searched")
