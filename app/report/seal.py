"""The clinic's seal on a PDF: an organisation's seal, not a person's qualified signature.

PAdES B-B, and B-T where a time-stamp server was set: ETSI EN 319 142-1, which pyHanko implements.
The seal is not drawn: a drawn one would be an annotation outside of the tags and fonts that an
archive asks for; the page says in its own words that it carries one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

import requests

from app.language.words import N_, _
from app.report.own_thread import in_own_thread
from app.report.seal_key import CannotSeal, SealKey

if TYPE_CHECKING:
    from asn1crypto import tsp
    from pyhanko.sign.timestamps import TimeStamper

FIELD = "ClinicSeal"
REASON = N_("The clinic's seal (an organisation's seal, not a person's qualified signature)")
# How long a time-stamp server may say nothing.
TIMEOUT_SECONDS = 10
_TIMESTAMP_HEADERS: Mapping[str, str] = {
    "Content-Type": "application/timestamp-query",
    "Accept": "application/timestamp-reply",
}


@dataclass(frozen=True)
class Seal:
    """A key that was read, ready to seal. timestamp_url: of an RFC 3161 server; empty without."""

    key: SealKey
    timestamp_url: str = ""

    def check(self, now: datetime) -> None:
        """Refuse to seal outside of the time for which the certificate was made.

        Raises: CannotSeal.
        """
        self.key.check(now)

    def sealed(self, content: bytes, now: datetime) -> bytes:
        """The PDF with the seal appended; what was there stays in front of it, byte for byte.

        now: the time that the seal names.
        Raises: CannotSeal, where the certificate does not hold now or no time stamp came.
        """
        self.check(now)
        from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
        from pyhanko.sign.fields import SigSeedSubFilter
        from pyhanko.sign.general import SigningError
        from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
        from pyhanko.sign.timestamps.common_utils import TimestampRequestError

        class AsRendered(IncrementalPdfFileWriter):
            """Leaves the metadata as they were rendered.

            pyHanko would name itself and the machine's time there, and write the description of
            PDF/UA's schema in another form than PDF/A's own examples have.
            """

            def _update_meta(self) -> None:
                pass

        class SignerAt(PdfSigner):
            """Names our time in place of the machine's."""

            def init_signing_session(self, *asked: Any, **more: Any) -> Any:
                session = super().init_signing_session(*asked, **more)
                session.system_time = now
                return session

        metadata = PdfSignatureMetadata(
            field_name=FIELD,
            md_algorithm="sha256",
            subfilter=SigSeedSubFilter.PADES,
            reason=_(REASON),
            name=self.key.name,
            # A certificate from elsewhere may be made for signing or for sealing.
            signer_key_usage=set(),
        )
        stamper = _stamper(self.timestamp_url) if self.timestamp_url else None
        writer = AsRendered(BytesIO(content))
        try:
            sealer = SignerAt(metadata, self.key.signer, timestamper=stamper)
            made = in_own_thread(lambda: sealer.sign_pdf(writer))
        except (TimestampRequestError, OSError) as error:
            raise CannotSeal(_("the time-stamp server gave no time stamp")) from error
        except SigningError as error:
            raise CannotSeal(
                _("the certificate cannot be used: {error}").format(error=error)
            ) from error
        return bytes(made.getvalue())


def _stamper(url: str) -> "TimeStamper":
    from asn1crypto import tsp
    from pyhanko.sign.timestamps import TimeStamper
    from pyhanko.sign.timestamps.common_utils import TimestampRequestError

    class OneServer(TimeStamper):
        """Asks the server that was set and no other: a redirect is not followed."""

        async def async_request_tsa_response(self, req: "tsp.TimeStampReq") -> "tsp.TimeStampResp":
            answer = requests.post(
                url,
                data=req.dump(),
                headers=_TIMESTAMP_HEADERS,
                timeout=TIMEOUT_SECONDS,
                allow_redirects=False,
            )
            kind = answer.headers.get("Content-Type", "").partition(";")[0]
            if answer.status_code != 200 or kind != "application/timestamp-reply":
                raise TimestampRequestError(
                    _("answer {status_code}").format(status_code=answer.status_code)
                )
            try:
                return tsp.TimeStampResp.load(answer.content, strict=True)
            except ValueError as error:
                raise TimestampRequestError(_("no time stamp")) from error

    return OneServer()
