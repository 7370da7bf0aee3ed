"""The page on which somebody puts a PDF that came back: unaltered, altered or unknown."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.language.words import N_, _
from app.report.phrases import clean
from app.store.engine import reading
from app.web.allowed import may, require
from app.web.answers import show
from app.web.came_back import came_back
from app.web.forms import RawBody
from app.web.identity import SignedIn
from app.web.noted import noted
from app.web.pages import Fault, Page
from app.web.upload import BadUpload, Upload, UploadedFile, read_upload

router = APIRouter()

PATH = "/verify"
# A signed page is far below 1 MB.
MAX_UPLOAD_BYTES = 20 * 1024 * 1024
_TITLE = N_("Check a signed PDF")


@dataclass(frozen=True)
class CheckedFile:
    """One file with its verdict. more: for whoever may read the exam, as is path; else empty."""

    name: str
    verdict: str
    says: str
    more: tuple[str, ...]
    path: str


@dataclass(frozen=True, kw_only=True)
class VerifyFilesPage(Page):
    """verify.html. most_mb: what all files together may have; most_bytes: the same in bytes."""

    fault: str = ""
    files: tuple[CheckedFile, ...] = ()
    most_mb: int = MAX_UPLOAD_BYTES // (1024 * 1024)
    most_bytes: int = MAX_UPLOAD_BYTES


@router.get(PATH)
def show_verify(request: Request) -> Response:
    """The form."""
    require(request, "verification", "read")
    return show(request, "verify.html", VerifyFilesPage(title=_(_TITLE)))


@router.post(PATH)
def verify_files(request: Request, body: RawBody) -> Response:
    """Look files up. They are read in memory and not kept; that it was done is noted."""
    me = require(request, "verification", "read")
    try:
        sent = read_upload(request.headers.get("content-type", ""), body)
    except BadUpload:
        sent = Upload()
    if not sent.files:
        fault = _("Choose one or more PDF files.")
        page = VerifyFilesPage(title=_(_TITLE), fault=fault, faults=(Fault("files", fault),))
        return show(request, "verify.html", page, status=422)
    files = tuple(_checked(request, me, each) for each in sent.files)
    return show(request, "verify.html", VerifyFilesPage(title=_(_TITLE), files=files))


def _checked(request: Request, me: SignedIn, file: UploadedFile) -> CheckedFile:
    with reading(request.app.state.engine) as session:
        found = came_back(session, file.content)
    may_read = bool(found.exam_id) and may(me, "document", "read", found.state)
    noted(request, me, "verify_page", exam_id=found.exam_id, found=found.verdict)
    return CheckedFile(
        name=clean(file.name, most=120) or _("without a name"),
        verdict=found.verdict,
        says=found.says,
        more=found.more if may_read else (),
        path=f"/exams/{found.exam_id}" if may_read else "",
    )
