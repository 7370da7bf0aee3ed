"""The clinic's own data, fetched by an administrator as one file."""

import tempfile
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import IO

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response, StreamingResponse

from app.language.words import _
from app.report.data.columns import Form
from app.report.data.files import FORMATS
from app.store.engine import reading
from app.store.signed_pieces import signed_count
from app.web.admin_pages import ExportPage
from app.web.allowed import require
from app.web.answers import show
from app.web.exporting import Asked, exported
from app.web.forms import FormFields
from app.web.wording import local

router = APIRouter(prefix="/admin/export")

_FORMS = {"removed": Form.REMOVED, "identified": Form.IDENTIFIED}
_PIECE = 1 << 20


@router.get("")
def show_export(request: Request) -> Response:
    """What can be fetched, and what it promises."""
    require(request, "export", "write")
    with reading(request.app.state.engine) as session:
        count = signed_count(session)
    return show(request, "admin/export.html", ExportPage(title=_("Export"), signed=count))


@router.post("")
def fetch_export(request: Request, form: FormFields) -> Response:
    """Every signed exam as tables in one archive; the audit has noted it before it leaves."""
    me = require(request, "export", "write")
    kind, format_ = _FORMS.get(form.get("form", "")), form.get("format", "")
    if kind is None or format_ not in FORMATS:
        raise HTTPException(422)
    with exported(request.app.state.engine, Asked(kind, format_), me.actor) as (folder, _):
        # It has no name, so that nothing of it is left whatever happens.
        packed = tempfile.TemporaryFile()  # noqa: SIM115 - closed when the last of it was sent
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(folder.iterdir()):
                archive.write(file, file.name)
    day = f"{local(datetime.now(UTC)):%Y-%m-%d}"
    name = f"evenhand-{kind.value.replace(' ', '-')}-{day}.zip"
    size = packed.tell()
    packed.seek(0)
    return StreamingResponse(
        _pieces(packed),
        media_type="application/zip",
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Content-Length": str(size),
        },
    )


def _pieces(packed: IO[bytes]) -> Iterator[bytes]:
    with packed:
        while piece := packed.read(_PIECE):
            yield piece
