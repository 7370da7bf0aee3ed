"""Checks the audit's chain and every row that it speaks of, and names what was altered.

A chain shows a change by somebody who cannot compute it anew. Somebody who can is shown by a head
that is kept elsewhere: each signed page names one.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from app.language.words import _
from app.store.audit import START, Head, digest, key_of, link
from app.store.audit_tables import AuditRow, EmergencyAccessRow, SettingRow
from app.store.columns import Table
from app.store.conclusions import conclusions_of
from app.store.signed_content import vouches_for
from app.store.signing_tables import (
    AttachedFileRow,
    ConclusionRow,
    DocumentRow,
    ReviewRow,
    SealCertificateRow,
    SignatureRow,
)
from app.store.tables import EntryRow, OnPaperRow

# Each row of these is added by an act that the audit names.
EVIDENCE: tuple[type[Table], ...] = (
    EntryRow,
    OnPaperRow,
    ReviewRow,
    DocumentRow,
    AttachedFileRow,
    SealCertificateRow,
    SignatureRow,
    SettingRow,
    EmergencyAccessRow,
)


@dataclass(frozen=True)
class Alteration:
    """Something that is not as it was written. place: the row, as in `entry 42`."""

    place: str
    says: str

    def __str__(self) -> str:
        """One line."""
        return f"{self.place}: {self.says}"


@dataclass(frozen=True)
class Verified:
    """What was checked, and what was found. audit, rows: how many of each were read."""

    audit: int
    rows: int
    head: Head
    alterations: tuple[Alteration, ...]


@dataclass
class _Chain:
    """What the chain said on the way: the hash at each number, and the digests of rows by name."""

    hashes: dict[int, str] = field(default_factory=dict)
    digests: dict[tuple[str, str], tuple[str, int]] = field(default_factory=dict)
    last: Head = START


def verify(session: Session, heads: Iterable[Head] = ()) -> Verified:
    """Check everything.

    heads: heads of the chain that were kept elsewhere, as printed on signed pages.
    """
    chain = _Chain()
    found = [*_chain(session, chain)]
    rows = 0
    for table in EVIDENCE:
        seen = set()
        for row in session.exec(select(table)).yield_per(500):
            rows += 1
            seen.add(key_of(row))
            found += _row(row, chain)
        found += _missing(str(table.__tablename__), seen, chain)
    found += _conclusions(session)
    found += _heads(session, heads, chain)
    return Verified(len(chain.hashes), rows, chain.last, tuple(found))


def _chain(session: Session, chain: _Chain) -> Iterator[Alteration]:
    asked = select(AuditRow).order_by(col(AuditRow.number))
    for row in session.exec(asked).yield_per(500):
        place = _("audit row {number}").format(number=row.number)
        expected = chain.last.number + 1
        if row.number != expected:
            missing = (
                _("audit row {expected}").format(expected=expected)
                if row.number == expected + 1
                else _("audit rows {expected} to {number}").format(
                    expected=expected, number=row.number - 1
                )
            )
            yield Alteration(missing, "deleted")
        elif row.previous != chain.last.hash:
            yield Alteration(
                _("audit row {number}").format(number=chain.last.number)
                if chain.last.number
                else place,
                _("altered, and its hash written anew: {place} follows another").format(
                    place=place
                ),
            )
        if link(row) != row.hash:
            yield Alteration(place, "altered")
        chain.hashes[row.number] = row.hash
        chain.last = Head(row.number, row.hash)
        for name, key, was in json.loads(row.rows):
            if (name, key) in chain.digests:
                yield Alteration(
                    f"{name} {key}", _("added a second time in {place}").format(place=place)
                )
            chain.digests[name, key] = (was, row.number)


def _row(row: Table, chain: _Chain) -> Iterator[Alteration]:
    name, key = str(row.__tablename__), key_of(row)
    place = f"{name} {key}"
    was, number = chain.digests.get((name, key), ("", 0))
    if not number:
        yield Alteration(place, _("added past the audit"))
    elif digest(row) != was:
        yield Alteration(place, _("altered since audit row {number}").format(number=number))
    if isinstance(row, DocumentRow) and hashlib.sha256(row.content).hexdigest() != row.sha256:
        yield Alteration(place, _("its bytes are not those that were signed"))
    if (
        isinstance(row, SignatureRow)
        and hashlib.sha256(row.content.encode()).hexdigest() != row.content_sha256
    ):
        yield Alteration(place, _("its content is not what was signed"))
    if isinstance(row, SignatureRow) and not vouches_for(row.content, row.note):
        yield Alteration(place, _("its note is not the one that was signed"))


def _missing(name: str, seen: set[str], chain: _Chain) -> Iterator[Alteration]:
    for (table, key), (_digest, number) in chain.digests.items():
        if table == name and key not in seen:
            yield Alteration(
                f"{name} {key}", _("deleted since audit row {number}").format(number=number)
            )


def _conclusions(session: Session) -> Iterator[Alteration]:
    """What is counted of an exam, where it is not what was signed; no audit row names it."""
    kept: dict[str, set[tuple[str | None, ...]]] = {}
    for row in session.exec(select(ConclusionRow)).yield_per(500):
        kept.setdefault(row.exam_id, set()).add(_concluded(row))
    signed = select(SignatureRow.exam_id, SignatureRow.content).where(SignatureRow.number == 0)
    for exam_id, content in session.exec(signed).yield_per(100):
        try:
            expected = {_concluded(row) for row in conclusions_of(exam_id, content)}
        except (ValueError, KeyError, TypeError):
            # That the content was altered is said already.
            continue
        if kept.pop(exam_id, set()) != expected:
            yield Alteration(
                _("what is counted of exam {exam_id}").format(exam_id=exam_id),
                _("is not what was signed"),
            )
    for exam_id in kept:
        yield Alteration(
            _("what is counted of exam {exam_id}").format(exam_id=exam_id), _("was never signed")
        )


def _concluded(row: ConclusionRow) -> tuple[str | None, ...]:
    return row.kind, row.item, row.level, row.side


def _heads(session: Session, heads: Iterable[Head], chain: _Chain) -> Iterator[Alteration]:
    signed = select(SignatureRow.audit_number, SignatureRow.audit_hash)
    printed = {Head(*each) for each in session.exec(signed)} | set(heads)
    for head in sorted(printed, key=lambda each: each.number):
        if not head.number:
            continue
        if head.number > chain.last.number:
            yield Alteration(
                _("audit rows {number} to {number2}").format(
                    number=chain.last.number + 1, number2=head.number
                ),
                _("cut off: a signed page names {head}").format(head=head),
            )
        elif chain.hashes.get(head.number) not in (None, head.hash):
            yield Alteration(
                _("audit row {number}").format(number=head.number),
                _("rewritten: a signed page names {head}").format(head=head),
            )


def parse_head(text: str) -> Head:
    """Read a head as it is printed: `412:9f86…`, all 64 digits.

    Raises: ValueError.
    """
    number, _colon, hash_ = text.strip().partition(":")
    if not (number.isascii() and number.isdecimal() and len(number) <= 18):
        raise ValueError(_("a head begins with the number of its row, as in 412:9f86…"))
    if len(hash_) != 64 or not set(hash_) <= set("0123456789abcdef"):
        raise ValueError(_("a head ends with a hash of 64 digits 0 to 9 and a to f"))
    return Head(int(number), hash_)
