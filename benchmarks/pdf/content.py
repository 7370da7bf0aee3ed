"""The printed exam that is measured, and ours as a function that makes the file anew each time."""

from collections.abc import Callable

from app.knowledge.load import knowledge
from app.report.page import ReportInput
from app.report.pdf import pdf, print_markup
from tests.report.samples import emergency_exam, one_sided_exam, signed_report
from tests.report.samples import report as draft


def report() -> ReportInput:
    """A signed exam of two pages, with its summary and its grid."""
    return signed_report(one_sided_exam(), sealed_by="Example Clinic for Movement")


def short_report() -> ReportInput:
    """A draft of two pages with few findings, for what is made many times."""
    return draft(emergency_exam())


def markup() -> str:
    """The exam as HTML, as WeasyPrint is given it."""
    return print_markup(report(), knowledge())


def ours(asked: ReportInput) -> Callable[[], bytes]:
    """Ours: tagged, for the archive, with the words made from the exam each time."""
    return lambda: pdf(asked, knowledge())
