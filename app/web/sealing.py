"""The clinic's seal in a running server: its key is read once, and each page is sealed with it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import make_url

from app.knowledge.load import Knowledge
from app.language.words import _
from app.report.attached import attached_files
from app.report.page import ReportInput
from app.report.pdf import pdf
from app.report.seal import Seal
from app.report.seal_key import CannotSeal, SealKey, own_key, read_key
from app.store.signing import AttachedFile

OWN_FILE = "evenhand-seal.p12"


@dataclass(frozen=True)
class Sealing:
    """What pages are sealed with. seal: None where there is none, and then why_not says why.

    may_go_without: whether the clinic signs all the same, on a page that says so.
    """

    seal: Seal | None
    why_not: str = ""
    may_go_without: bool = False

    def ready(self, now: datetime) -> Seal | None:
        """The seal, if it holds now; None where there is none and the clinic signs without.

        Raises: CannotSeal.
        """
        try:
            if self.seal is None:
                raise CannotSeal(self.why_not)
            self.seal.check(now)
        except CannotSeal:
            if self.may_go_without:
                return None
            raise
        return self.seal


UNSEALED = Sealing(None, may_go_without=True)


@dataclass(frozen=True)
class SealedPage:
    """A page as it will be kept. certificate: of the seal on it, empty without one."""

    content: bytes
    attached: tuple[AttachedFile, ...]
    certificate: bytes


def open_sealing(
    open_key: Callable[[], SealKey], timestamp_url: str, may_go_without: bool
) -> Sealing:
    """Read the key. A server without a key starts all the same: drafts need none."""
    try:
        return Sealing(Seal(open_key(), timestamp_url), may_go_without=may_go_without)
    except CannotSeal as fault:
        return Sealing(None, str(fault), may_go_without)


def seal_key(
    file: Path | None,
    passphrase: str,
    folder: Path | None,
    database_url: str,
    clinic: str,
    now: datetime,
) -> SealKey:
    """The key that the clinic gave, or the one made at first start and kept beside the data.

    A database on another machine has no place beside it, and a key for each server would make
    several seals of one clinic: there the file or the folder has to be named.
    Raises: CannotSeal.
    """
    if file is not None:
        return read_key(file, passphrase)
    own = seal_place(file, folder, database_url)
    if own is None:
        raise CannotSeal(
            _("set EVENHAND_SEAL_FILE or EVENHAND_SEAL_FOLDER, the same on each server")
        )
    return own_key(own, clinic, now)


def seal_place(file: Path | None, folder: Path | None, database_url: str) -> Path | None:
    """Where the key is, or would be made; None where the settings name no place for one."""
    if file is not None:
        return file
    if folder is None:
        address = make_url(database_url)
        if address.drivername != "sqlite":
            return None
        folder = Path(str(address.database)).parent
    return folder / OWN_FILE


def cannot_seal(fault: CannotSeal) -> str:
    """Why nothing was signed, in one line for whoever wanted to sign."""
    return _(
        "Not signed: the clinic’s seal (an organisation’s seal) cannot be given: "
        "{fault}. Whoever runs the server can mend it."
    ).format(fault=fault)


def sealed_page(
    sealing: Sealing, report: ReportInput, known: Knowledge, now: datetime
) -> SealedPage:
    """Render a signed page with its attached files, and seal it, once.

    Raises: CannotSeal.
    """
    attached = attached_files(report, known)
    kept = tuple(AttachedFile(each.name, each.media_type, each.content) for each in attached)
    seal = sealing.ready(now)
    if seal is not None:
        named = pdf(replace(report, sealed_by=seal.key.name), known, attached)
        try:
            return SealedPage(seal.sealed(named, now), kept, seal.key.certificate)
        except CannotSeal:
            if not sealing.may_go_without:
                raise
    return SealedPage(pdf(report, known, attached), kept, b"")
