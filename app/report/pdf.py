"""The PDF: A4, tagged, bundled fonts, nothing fetched, the same bytes for the same input."""

import atexit
import gc
import hashlib
import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from jinja2 import Environment

from app.assess.words import DISCLAIMER
from app.exam.vocabulary import GRADES, graded
from app.knowledge.load import Knowledge
from app.language.words import InEachLanguage, _
from app.places import STATIC, TEMPLATES
from app.report.archive import VARIANT, archived
from app.report.attached import Attached
from app.report.grid import GridStation, full_grid
from app.report.letters import missing_scripts, texts_in
from app.report.page import Banner, ReportInput, banner
from app.report.phrases import clean, day, moment, on_paper_words
from app.report.references import Checked, Reference, References
from app.report.signed import (
    AmendmentLines,
    SignatureLines,
    StateWords,
    amendment_lines,
    seal_words,
    signature_lines,
    state_words,
)
from app.report.summary import Summary, summary
from app.report.templates import environment

_BASE_URL = STATIC.as_uri() + "/"
_TEMPLATES = TEMPLATES / "report"
_STYLES = {"print": "report.css", "paper": "paper.css", "leaflet": "leaflet.css"}
# Text in each of the faces that an exam is printed in.
_SAMPLE = "<html lang=en><title>-</title><p>a <b>b</b> <i>c</i><table><tr><th>d<td>1</table>"
# The running head has two lines and no more, however long a name is.
_MOST_IN_RUNNING_HEAD = 32

# WeasyPrint lays text out with Pango and FreeType, whose font maps are not shown to be safe when
# two threads share one, and a web server calls pdf() from a pool of threads. Rendering is bound by
# the processor, so threads would gain nothing anyway: one at a time, with one font configuration.
_ONE_AT_A_TIME = threading.Lock()


class NotServed(ValueError):
    """The page asked for something that is not a bundled font or style sheet."""


@dataclass(frozen=True)
class PrintPage:
    """All that print.html may read. fit: a class of report.css."""

    fit: str
    title: str
    banner: Banner
    short_banner: Banner
    clinic: str
    exam_id: str
    started: str
    printed: str
    printed_iso: str
    demo: bool
    disclaimer: str
    knowledge: str
    legend: str
    codes_from: str
    state: StateWords
    signature: SignatureLines | None
    amendments: tuple[AmendmentLines, ...]
    summary: Summary
    grid: tuple[GridStation, ...]
    sources: tuple[Reference, ...]
    checked: tuple[Checked, ...]
    attached: str
    notice: str
    seal: str
    lacks: str


def pdf(report: ReportInput, knowledge: Knowledge, attached: tuple[Attached, ...] = ()) -> bytes:
    """Render the exam. No clock is read: the only time in the file is the input's printed_at.

    attached: files that travel inside, from attached_files.
    Raises: NotServed if the page were to ask for anything that is not bundled.
    """
    page = print_page(report, knowledge, attached)
    with _one_at_a_time():
        identifier = _identifier(f"exam {page.exam_id}")
        return archived(_fitted(page), identifier, attached, report.printed_at)


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """The turn to render; what a page was laid out with is given back at its end.

    WeasyPrint's boxes point at each other. A server grows by 5 MiB a page until Python looks for
    such circles; to look is cheap where it has frozen what stays (app/web/process.py), and
    elsewhere the process ends soon.
    """
    with _ONE_AT_A_TIME:
        try:
            yield
        finally:
            if gc.get_freeze_count():
                gc.collect()


def warm_up() -> None:
    """Read WeasyPrint, the fonts and the styles now: three times as long as a page takes."""
    with _one_at_a_time():
        fetcher, fonts, styles = _fetcher_fonts_styles()
        from weasyprint import HTML

        for template in styles:
            _environment().get_template(f"{template}.html")
        document = HTML(string=_SAMPLE, base_url=_BASE_URL, url_fetcher=fetcher).render(
            stylesheets=[styles["print"]], font_config=fonts, pdf_variant=VARIANT
        )
        archived(document, _identifier("nothing"), (), None)


def print_markup(report: ReportInput, knowledge: Knowledge) -> str:
    """The HTML of an exam that fits on two pages, for a comparison with other engines."""
    page = print_page(report, knowledge)
    return _environment().get_template("print.html").render(page=page)


def blank_pdf(page: object) -> bytes:
    """Render the blank sheet, whose page is a PaperPage.

    Raises: NotServed, as pdf() does.
    """
    with _one_at_a_time():
        return archived(_laid_out("paper", page), _identifier("blank sheet"), (), None)


def leaflet_file(pages: Sequence[object], exam_id: str) -> bytes:
    """Render the first LeafletPage that fits on one sheet, or the last of them.

    Raises: NotServed, as pdf() does.
    """
    with _one_at_a_time():
        for page in pages:
            document = _laid_out("leaflet", page)
            if len(document.pages) == 1:
                break
        return archived(document, _identifier(f"leaflet of exam {exam_id}"), (), None)


def print_page(
    report: ReportInput, knowledge: Knowledge, attached: tuple[Attached, ...] = ()
) -> PrintPage:
    """Everything that the PDF shows, in words."""
    who = banner(report)
    references = References(report.assessment, knowledge)
    state = state_words(report.signature, report.amendments)
    page = PrintPage(
        fit="roomy",
        title=_("{word}, motor exam of {started_at}: {name}").format(
            word=state.word, started_at=day(report.started_at), name=who.name
        ),
        banner=who,
        short_banner=banner(report, most=_MOST_IN_RUNNING_HEAD),
        clinic=clean(report.clinic),
        exam_id=clean(report.exam_id, most=40),
        started=_examined(report),
        printed=moment(report.printed_at),
        printed_iso=report.printed_at.isoformat(timespec="seconds"),
        demo=report.demo,
        disclaimer=_(DISCLAIMER),
        knowledge=report.assessment.knowledge,
        legend=", ".join(map(graded, GRADES)),
        codes_from=f"{knowledge.icd.classification}, {knowledge.icd.release}",
        state=state,
        signature=None if report.signature is None else signature_lines(report.signature),
        amendments=amendment_lines(report.amendments),
        summary=summary(report, knowledge, references),
        grid=full_grid(report.exam),
        sources=references.lines,
        checked=references.checked,
        attached=", ".join(each.name for each in attached),
        # Asked for by its licence wherever its codes go, as they do in the FHIR document.
        notice=knowledge.hpo.attribution if attached else "",
        seal=seal_words(report.signature, report.sealed_by),
        lacks="",
    )
    return replace(page, lacks=_lacking(missing_scripts(texts_in(page))))


def _lacking(scripts: tuple[str, ...]) -> str:
    if not scripts:
        return ""
    return _(
        "The typeface of this page holds none of: {scripts}. Such letters may be "
        "missing or wrong here; the chart has them."
    ).format(scripts=", ".join(scripts))


def _examined(report: ReportInput) -> str:
    examined, paper = moment(report.started_at), report.paper
    if paper is None:
        return examined
    return on_paper_words(examined, clean(paper.by), moment(paper.entered_at))


def bundled(url: str) -> Path:
    """The file below static/ that a URL means.

    Raises: NotServed for everything else, so that no page can read a file or reach the network.
    """
    parts = urlsplit(url)
    path = Path(unquote(parts.path)).resolve()
    if (
        parts.scheme != "file"
        or parts.netloc
        or path.suffix not in (".css", ".woff2")
        or not path.is_relative_to(STATIC)
        or not path.is_file()
    ):
        raise NotServed(f"{url[:200]}: only bundled fonts and styles are served")
    return path


def _fitted(page: PrintPage) -> Any:
    """Lay out on two pages if it can be made to fit: the summary, and the full grid.

    What is longer keeps the grid on a page of its own as long as the summary fills page one only.
    """
    roomy = _laid_out("print", replace(page, fit="roomy"))
    if len(roomy.pages) <= 2:
        return roomy
    # The smaller type saves about a tenth: enough where summary and grid each run over by little.
    if len(roomy.pages) <= 4:
        tight = _laid_out("print", replace(page, fit="tight"))
        if len(tight.pages) == 2:
            return tight
    if "grid" in roomy.pages[1].anchors:
        return roomy
    return _laid_out("print", replace(page, fit="flow"))


def _identifier(belongs_to: str) -> bytes:
    return hashlib.sha256(f"evenhand {belongs_to}".encode()).digest()[:16]


def _laid_out(template: str, page: object) -> Any:
    from weasyprint import HTML
    from weasyprint.urls import FatalURLFetchingError

    markup = _environment().get_template(f"{template}.html").render(page=page)
    try:
        fetcher, fonts, styles = _fetcher_fonts_styles()
        return HTML(string=markup, base_url=_BASE_URL, url_fetcher=fetcher).render(
            stylesheets=[styles[template]], font_config=fonts, pdf_variant=VARIANT
        )
    except FatalURLFetchingError as refused:
        raise NotServed(str(refused)) from refused


@InEachLanguage
def _environment() -> Environment:
    return environment(_TEMPLATES)


@cache
def _fetcher_fonts_styles() -> tuple[Any, Any, dict[str, Any]]:
    """Made once in a process: reading the fonts takes longer than laying out a page."""
    from weasyprint import CSS
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class OnlyBundled(URLFetcher):
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            try:
                return URLFetcherResponse(url, bundled(url).read_bytes())
            except NotServed as refused:
                # WeasyPrint passes over ordinary errors; this one must stop the page.
                raise FatalURLFetchingError(str(refused)) from refused

    # Its warnings quote letters that no font has, which are somebody's name; logs hold no names.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    fetcher, fonts = OnlyBundled(), FontConfiguration()
    styles = {
        template: CSS(filename=STATIC / file, font_config=fonts, url_fetcher=fetcher)
        for template, file in _STYLES.items()
    }
    # The fonts clean up after themselves, which fails once the interpreter has gone to pieces.
    atexit.register(_fetcher_fonts_styles.cache_clear)
    return fetcher, fonts, styles
