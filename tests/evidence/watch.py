"""Fails a whole run in which a test that shows a control did not run, or did not pass.

Where the tests are spread over processes, their reports come together in the first one, and the
look is taken there.
"""

from collections import defaultdict

import pytest

from tests.evidence.claims import base_id, named_tests


class Evidence:
    """A plugin that hears of every test."""

    def __init__(self) -> None:
        self.outcomes: defaultdict[str, set[str]] = defaultdict(set)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep how each test ended: the call itself, and a beginning or an end that went wrong."""
        if report.when == "call" or report.outcome != "passed":
            self.outcomes[base_id(report.nodeid)].add(report.outcome)

    @pytest.hookimpl(tryfirst=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail what passed without its evidence."""
        if hasattr(session.config, "workerinput") or not is_whole(session.config):
            return
        self.missing = missing(self.outcomes, named_tests())
        if self.missing and session.exitstatus == pytest.ExitCode.OK:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Name what is missing."""
        for line in getattr(self, "missing", ()):
            terminalreporter.write_line(f"EVIDENCE {line}", red=True)


def missing(outcomes: dict[str, set[str]], named: dict[str, list[str]]) -> list[str]:
    """A line for each named test that did not run, or of which a case was skipped or failed."""
    lines = []
    for test, shows in sorted(named.items()):
        ended = outcomes.get(test, set())
        if ended != {"passed"}:
            how = ", ".join(sorted(ended)) or "did not run"
            lines.append(f"{test}: {how}; it is to show {', '.join(shows)}")
    return lines


def is_whole(config: pytest.Config) -> bool:
    """Whether nothing was left out of this run on purpose: no path, no -k, no --lf, no list."""
    option = config.option
    chosen = (option.keyword, option.markexpr, option.deselect, option.collectonly)
    again = (getattr(option, "lf", False), getattr(option, "stepwise", False))
    return config.args_source is pytest.Config.ArgsSource.TESTPATHS and not any((*chosen, *again))
