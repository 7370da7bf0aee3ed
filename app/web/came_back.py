"""What is said of a file that came back: unaltered, altered or unknown, and why."""

from dataclasses import dataclass

from sqlmodel import Session

from app.knowledge.terms import ROLE_WORDS
from app.language.words import N_, _
from app.report.phrases import clean, moment
from app.report.seal_check import ENCRYPTED, FileRead, SealFound, read_file
from app.report.signed import KINDS
from app.store.came_back import (
    KnownPage,
    known_page,
    newest_piece,
    own_certificates,
    page_with_hash,
)
from app.store.exams import STATE_WORDS
from app.store.signatures import Signature

UNALTERED, ALTERED, UNKNOWN = N_("unaltered"), N_("altered"), N_("unknown")


@dataclass(frozen=True)
class CameBack:
    """One file. says: a sentence for everybody; exam_id, state: of the exam that it belongs to or
    names, empty without; more: what only those may read who may read that exam.
    """

    verdict: str
    says: str
    exam_id: str = ""
    state: str = ""
    more: tuple[str, ...] = ()


def came_back(session: Session, content: bytes) -> CameBack:
    """Look a file up. Nothing of it is kept.

    Raises: Unreadable, where the database itself was altered.
    """
    known = known_page(session, content)
    if known is not None:
        return _unaltered(known)
    read, own = read_file(content), own_certificates(session)
    ours = [each for each in read.seals if each.certificate_sha256 in own]
    if ours:
        return _with_our_seal(session, ours[-1], read)
    # What cannot be opened may be the page as it was, behind a password.
    if read.fault != ENCRYPTED and any(
        each.hex().encode() in content.lower() for each in own.values()
    ):
        return _altered(session, read, _("It carries this clinic’s seal, and it is damaged."))
    if read.fault:
        return CameBack(UNKNOWN, _("The file is {fault}.").format(fault=read.fault))
    piece = newest_piece(session, read.exam_id) if read.exam_id else None
    if piece is not None:
        if piece[1] is not None:
            return _altered(
                session,
                read,
                _(
                    "It names an exam of this clinic and is none of its signed pages: it was "
                    "changed "
                    "or saved anew, or it is a draft."
                )
                + _others(read),
            )
        return CameBack(
            UNKNOWN,
            _("It names an exam of this clinic that is not signed; a draft cannot be checked."),
            read.exam_id,
            piece[0],
        )
    return CameBack(
        UNKNOWN,
        _("It carries no seal, and it is no signed page of this clinic.")
        if not read.seals
        else _("It is no signed page of this clinic.") + _others(read),
    )


def _unaltered(known: KnownPage) -> CameBack:
    return CameBack(
        UNALTERED,
        _("These are the very bytes that were signed in this clinic.")
        + ("" if known.is_newest else _(" A newer amendment stands beside the exam by now.")),
        known.signature.exam_id,
        known.state,
        tuple(_about(known)),
    )


def _about(known: KnownPage) -> list[str]:
    lines = [
        _("Exam {exam_id}, now {state}.").format(
            exam_id=known.signature.exam_id, state=STATE_WORDS[known.state]
        ),
        _piece(known.signature),
    ]
    if not known.is_newest:
        lines.append(_("Newest: {newest}").format(newest=_piece(known.newest)))
    return lines


def _piece(piece: Signature) -> str:
    what = (
        _("Amendment {number} ({kind})").format(number=piece.number, kind=KINDS[piece.kind])
        if piece.number
        else _("The exam")
    )
    return _("{what}, signed by {printed_name}, {role}, {signed_at}.").format(
        what=what,
        printed_name=piece.printed_name,
        role=ROLE_WORDS[piece.role],
        signed_at=moment(piece.signed_at),
    )


def _with_our_seal(session: Session, seal: SealFound, read: FileRead) -> CameBack:
    if not seal.is_intact:
        return _altered(
            session, read, _("This clinic’s seal on it is broken: it was changed or saved anew.")
        )
    if not seal.is_whole:
        before = page_with_hash(session, seal.covered)
        says = _("Something was added after this clinic sealed it; the page below it is as it was.")
        if before is None:
            return _altered(session, read, says)
        return CameBack(
            ALTERED, says, before.signature.exam_id, before.state, tuple(_about(before))
        )
    if read.exam_id and newest_piece(session, read.exam_id) is not None:
        return _altered(
            session,
            read,
            _(
                "This clinic’s seal holds for what it covers, but these are not the bytes that "
                "were signed."
            ),
        )
    return CameBack(
        UNKNOWN,
        _(
            "This clinic’s seal is on it, intact, but this database holds no such page: it may "
            "have been restored from an older backup."
        ),
    )


def _altered(session: Session, read: FileRead, says: str) -> CameBack:
    found = newest_piece(session, read.exam_id) if read.exam_id else None
    if found is None:
        return CameBack(ALTERED, says)
    state, piece = found
    more = (
        ()
        if piece is None
        else (
            _("It names exam {exam_id}. Newest: {piece}").format(
                exam_id=read.exam_id, piece=_piece(piece)
            ),
        )
    )
    return CameBack(ALTERED, says, read.exam_id, state, more)


def _others(read: FileRead) -> str:
    """Whose seals are on it that are not this clinic's; the name is as the certificate says it."""
    return "".join(
        (
            _(" It is sealed by {name}, intact, but that is not this clinic’s seal.")
            if each.is_intact
            else _(
                " It is sealed by {name}, and that seal is broken, but that is not this clinic’s "
                "seal."
            )
        ).format(name=clean(each.name, most=80))
        for each in read.seals
    )
