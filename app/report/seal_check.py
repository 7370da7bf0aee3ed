"""Read the seals in a PDF that came back: whose they are, whether they hold, what they cover."""

import hashlib
import logging
import re
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from app.language.words import N_
from app.report.own_thread import in_own_thread
from app.report.seal_key import name_of

# What the file's own description says, as templates/report/print.html writes it.
_EXAM = re.compile(r"Exam ([0-9a-f]{32})")
ENCRYPTED = N_("encrypted, so it cannot be read")

# In bytes. A signed page is below 1 MB, and its largest stream, a font, below that.
MOST_UNPACKED_STREAM = 8 * 1024 * 1024
MOST_UNPACKED = 64 * 1024 * 1024


@dataclass(frozen=True)
class SealFound:
    """One seal in a file.

    certificate_sha256: of the certificate that it carries. is_intact: what it covers was not
    changed. is_whole: it covers the file to its end. covered: SHA-256 of the file as far as it was
    there when it was sealed.
    """

    name: str
    certificate_sha256: str
    is_intact: bool
    is_whole: bool
    covered: str


@dataclass(frozen=True)
class FileRead:
    """What a file says of itself. fault: why it could not be read, in words; else empty.

    exam_id: the exam that it names, which proves nothing.
    """

    fault: str = ""
    seals: tuple[SealFound, ...] = ()
    exam_id: str = ""


def read_file(content: bytes) -> FileRead:
    """Read a file that may be anything. Nothing is fetched, and no certificate is trusted."""
    if b"%PDF-" not in content[:1024]:
        return FileRead(N_("not a PDF"))
    from pyhanko.pdf_utils.decode_limits import (
        DecodeLimits,
        DocumentDecodeBudget,
        StreamDecodeLimits,
    )
    from pyhanko.pdf_utils.reader import PdfFileReader

    # Tighter than the library's own: a small file may unpack to a thousand times its size.
    limits = DecodeLimits(
        per_stream=StreamDecodeLimits(max_output_size=MOST_UNPACKED_STREAM),
        document_budget=DocumentDecodeBudget(MOST_UNPACKED, max_ratio=1),
    )
    # What a file from outside makes a parser say may hold anything, names among it.
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        reader = PdfFileReader(BytesIO(content), strict=False, decode_limits=limits)
        if reader.encrypted:
            return FileRead(ENCRYPTED)
        exam_id = _exam_named(reader)
        seals = tuple(_seal(each, content) for each in reader.embedded_regular_signatures)
    except Exception:  # noqa: BLE001 - a broken or hostile file can fail a parser in any way
        return FileRead(N_("damaged, so it cannot be read as a PDF"))
    return FileRead(seals=seals, exam_id=exam_id)


def _exam_named(reader: Any) -> str:
    if "/Info" not in reader.trailer:
        return ""
    found = _EXAM.fullmatch(str(reader.trailer["/Info"].get("/Subject", "")))
    return found[1] if found else ""


def _seal(embedded: Any, content: bytes) -> SealFound:
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    certificate = embedded.signer_cert
    end = embedded.byte_range[2] + embedded.byte_range[3]
    try:
        nobody = ValidationContext(trust_roots=[], allow_fetching=False)
        status = in_own_thread(
            lambda: validate_pdf_signature(embedded, signer_validation_context=nobody)
        )
        is_intact = bool(status.intact and status.valid)
        is_whole = status.coverage is SignatureCoverageLevel.ENTIRE_FILE
    except Exception:  # noqa: BLE001 - a seal that cannot be checked is a broken one
        is_intact = is_whole = False
    return SealFound(
        name=name_of(certificate.subject.native),
        certificate_sha256=hashlib.sha256(certificate.dump()).hexdigest(),
        is_intact=is_intact,
        is_whole=is_whole,
        covered=hashlib.sha256(content[:end]).hexdigest(),
    )
