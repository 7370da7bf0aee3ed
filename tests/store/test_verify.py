"""Whoever gets past the triggers is found, and the very row is named."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, text
from sqlmodel import col, select

from app.exam.vocabulary import Side
from app.store.audit import START, Head, head, link, note
from app.store.audit_tables import AuditRow
from app.store.came_back import known_page, own_certificates
from app.store.engine import reading, writing
from app.store.exams import ExamRecord
from app.store.refusals import StaleReview, Unreadable
from app.store.signatures import attached_to, hash_of
from app.store.signed_content import note_of
from app.store.signing import AttachedFile
from app.store.signing_tables import DocumentRow
from app.store.verify import parse_head, verify
from tests.store.clinic import NOW, PHYSICIAN, write
from tests.store.desk import a_reviewed_exam, amended, pieces_of, signed, to_amend, to_sign
from tests.store.test_audit import unguarded
from tests.store.test_migrations import changing

DRIFT = ("drift", Side.RIGHT)
PAGE = b"%PDF-1.7 a page that was signed"


@pytest.fixture
def kept(engine: Engine, exam: ExamRecord) -> Head:
    """An exam with five entries and a stored page; the head that was printed after them."""
    for revision in range(5):
        write(engine, exam.id, {DRIFT: revision % 3 + 1}, at_revision=revision)
    with writing(engine) as session:
        page = DocumentRow(
            sha256=hashlib.sha256(PAGE).hexdigest(),
            exam_id=exam.id,
            media_type="application/pdf",
            content=PAGE,
            made_at=NOW,
        )
        session.add(page)
        note(session, PHYSICIAN, "print", at=NOW, exam_id=exam.id, rows=(page,))
    with reading(engine) as session:
        return head(session)


def tampered(engine: Engine, table: str, *statements: str) -> None:
    """Change a table as somebody could who owns the database."""
    with changing(engine) as connection:
        for statement in (*unguarded(engine, table), *statements):
            connection.execute(text(statement))


def row_of(entry: int, kept: Head) -> int:
    """The row of the audit that tells of an entry: five of them, then the page."""
    return kept.number - 6 + entry


def found(engine: Engine, heads: Sequence[Head] = ()) -> list[str]:
    """Every alteration that is found, in words."""
    with reading(engine) as session:
        return [str(each) for each in verify(session, heads).alterations]


def test_what_nobody_touched_verifies(engine: Engine, kept: Head) -> None:
    """The counts say that something was checked at all."""
    with reading(engine) as session:
        checked = verify(session, [kept])

    assert ((), kept) == (checked.alterations, checked.head)
    assert (kept.number, 6) == (checked.audit, checked.rows)


def test_a_changed_value_is_named(engine: Engine, kept: Head) -> None:
    """A grade of 2 that becomes 0 is what somebody would want to hide."""
    tampered(engine, "entry", "UPDATE entry SET value = '0' WHERE id = 2")

    assert [f"entry 2: altered since audit row {row_of(2, kept)}"] == found(engine)


def test_a_changed_author_or_time_is_named(engine: Engine, kept: Head) -> None:
    """Who and when are as much the record as what."""
    tampered(engine, "entry", """UPDATE entry SET "by" = 'Somebody Else' WHERE id = 3""")

    assert 1 == len(found(engine))
    assert found(engine)[0].startswith("entry 3: altered")


def test_a_deleted_entry_is_named(engine: Engine, kept: Head) -> None:
    """The newest, which no other entry refers to."""
    tampered(engine, "entry", "DELETE FROM entry WHERE id = 5")

    assert [f"entry 5: deleted since audit row {row_of(5, kept)}"] == found(engine)


def test_an_entry_that_was_added_past_the_audit_is_named(engine: Engine, kept: Head) -> None:
    """It would count in the exam, and nobody would have made it."""
    tampered(
        engine,
        "entry",
        'INSERT INTO entry (id, exam_id, revision, finding, value, "by", role, at, bulk)'
        " SELECT 99, exam_id, 9, 'tug_s', '9', \"by\", role, at, bulk FROM entry WHERE id = 1",
    )

    assert ["entry 99: added past the audit"] == found(engine)


def test_a_changed_page_is_named(engine: Engine, kept: Head) -> None:
    """The bytes are what was signed."""
    sha256 = hashlib.sha256(PAGE).hexdigest()
    blob = "X'00'" if engine.dialect.name == "sqlite" else "'\\x00'::bytea"
    tampered(engine, "document", f"UPDATE document SET content = {blob}")

    assert f"document {sha256}: its bytes are not those that were signed" in found(engine)


def test_a_changed_note_is_named_and_not_shown(engine: Engine) -> None:
    """What is signed names its hash, so that the printed hash of the content vouches for it too."""
    exam = a_reviewed_exam(engine)
    prepared, revision = to_sign(engine, exam.id)
    with pytest.raises(StaleReview):
        signed(engine, exam.id, (replace(prepared, note="another"), revision))
    signed(engine, exam.id, (prepared, revision))
    piece = amended(engine, exam.id, to_amend(engine, exam.id))
    assert prepared.note == note_of(piece)
    assert [] == found(engine)
    tampered(engine, "signature", "UPDATE signature SET note = 'Signed, and normal'")

    named = [each for each in found(engine) if "its note is not the one that was signed" in each]
    assert 2 == len(named)
    for each in pieces_of(engine, exam.id):
        with pytest.raises(Unreadable, match="altered after it was signed"):
            note_of(each)


def test_a_page_is_known_to_the_last_byte(engine: Engine) -> None:
    """What comes back from elsewhere is this very page, or it is not; the newest piece is named."""
    exam = a_reviewed_exam(engine)
    prepared, revision = to_sign(engine, exam.id)
    signed(engine, exam.id, (prepared, revision))
    amended(engine, exam.id, to_amend(engine, exam.id))
    with reading(engine) as session:
        known = known_page(session, prepared.document)

        assert known
        assert ("amended", 0, 1) == (known.state, known.signature.number, known.newest.number)
        assert known_page(session, prepared.document + b"\n") is None


def test_a_changed_file_inside_a_page_is_named(engine: Engine) -> None:
    """Whoever imports the attached exam relies on it as on the page; so with the certificate."""
    exam = a_reviewed_exam(engine)
    prepared, revision = to_sign(engine, exam.id)
    file = AttachedFile("exam.json", "application/json", b"{}")
    with_more = replace(prepared, attached=(file,), certificate=b"0 of the clinic")
    signed(engine, exam.id, (with_more, revision))
    again = to_amend(engine, exam.id)
    # The same certificate is kept once.
    amended(
        engine, exam.id, (again[0], replace(again[1], certificate=b"0 of the clinic"), again[2])
    )
    with reading(engine) as session:
        kept = attached_to(session, hash_of(prepared.document))
        certificates = own_certificates(session)
    assert [("exam.json", b"{}")] == [(each.name, each.content) for each in kept]
    assert [b"0 of the clinic"] == list(certificates.values())
    assert [] == found(engine)
    tampered(engine, "attached_file", "UPDATE attached_file SET name = 'other.json'")
    tampered(engine, "seal_certificate", "DELETE FROM seal_certificate")

    (first, second) = found(engine)
    assert first.startswith("attached_file ")
    assert "altered since audit row" in first
    assert second.startswith(f"seal_certificate {hash_of(b'0 of the clinic')}: deleted")


def test_counts_that_are_not_those_of_what_was_signed_are_named(engine: Engine) -> None:
    """No audit row names them; the signed content vouches for them."""
    exam = a_reviewed_exam(engine)
    assessment = (
        '{"categories":[{"id":"chorea","level":"fits","side":"left"}],'
        '"warnings":[{"id":"fall_risk","level":"high","urgency":"soon"}]}'
    )
    signed(engine, exam.id, to_sign(engine, exam.id, assessment=assessment))
    assert [] == found(engine)
    tampered(engine, "conclusion", "UPDATE conclusion SET level = 'low' WHERE level = 'high'")

    assert [f"what is counted of exam {exam.id}: is not what was signed"] == found(engine)


# ---- the chain itself


def test_a_changed_row_of_the_audit_is_named(engine: Engine, kept: Head) -> None:
    """That one and no other."""
    tampered(engine, "audit", "UPDATE audit SET name = 'Somebody Else' WHERE number = 3")

    assert ["audit row 3: altered"] == found(engine)


def test_a_row_whose_hash_was_written_anew_is_named_by_the_next(engine: Engine, kept: Head) -> None:
    """Its own hash is right again, so the row after it tells."""
    with reading(engine) as session:
        row = session.exec(select(AuditRow).where(col(AuditRow.number) == 3)).one()
        row.name = "Somebody Else"
        new = link(row)
        session.expunge_all()
    tampered(
        engine,
        "audit",
        f"UPDATE audit SET name = 'Somebody Else', hash = '{new}' WHERE number = 3",
    )

    assert [
        "audit row 3: altered, and its hash written anew: audit row 4 follows another"
    ] == found(engine)


def test_a_deleted_row_of_the_audit_is_named(engine: Engine, kept: Head) -> None:
    """Its entry, which nothing speaks of any more, is named as well."""
    tampered(engine, "audit", "DELETE FROM audit WHERE number = 3")

    assert "audit row 3: deleted" in found(engine)
    assert any(each.endswith("added past the audit") for each in found(engine))


def test_rows_in_another_order_are_named(engine: Engine, kept: Head) -> None:
    """The number is part of what is hashed."""
    tampered(
        engine,
        "audit",
        "UPDATE audit SET number = 999 WHERE number = 3",
        "UPDATE audit SET number = 3 WHERE number = 4",
        "UPDATE audit SET number = 4 WHERE number = 999",
    )

    assert {"audit row 3: altered", "audit row 4: altered"} <= set(found(engine))


def test_a_tail_that_was_cut_off_is_caught_by_a_head_that_was_printed(
    engine: Engine, kept: Head
) -> None:
    """What is left is a good chain: only what was kept elsewhere can tell."""
    last = kept.number
    tampered(engine, "audit", f"DELETE FROM audit WHERE number > {last - 2}")
    tampered(engine, "document", "DELETE FROM document")
    tampered(engine, "entry", "DELETE FROM entry WHERE id = 5")

    assert [] == found(engine)
    assert [f"audit rows {last - 1} to {last}: cut off: a signed page names {kept}"] == found(
        engine, [kept]
    )


def test_a_chain_that_was_written_anew_is_caught_by_a_head_that_was_printed(
    engine: Engine, kept: Head
) -> None:
    """An administrator can compute every hash again, but not those on paper."""
    other = Head(kept.number, "a" * 64)

    assert [f"audit row {kept.number}: rewritten: a signed page names {other}"] == found(
        engine, [other]
    )


# ---- heads as people type them


def test_a_head_is_read_as_it_is_printed(kept: Head) -> None:
    """Number, colon, hash."""
    assert kept == parse_head(f" {kept} ")
    assert START == parse_head(str(START))


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "number of its row"),
        ("x:" + "0" * 64, "number of its row"),
        ("٣:" + "0" * 64, "number of its row"),
        ("12", "hash of 64 digits"),
        ("12:" + "0" * 63, "hash of 64 digits"),
        ("12:" + "G" * 64, "hash of 64 digits"),
    ],
)
def test_a_head_that_cannot_be_one_is_refused(typed: str, says: str) -> None:
    """A typing error must not look like a chain that was rewritten."""
    with pytest.raises(ValueError, match=says):
        parse_head(typed)


def test_the_time_of_a_row_is_the_same_on_both_databases(engine: Engine, kept: Head) -> None:
    """Otherwise a database that moved from one to the other would not verify."""
    with reading(engine) as session:
        row = session.exec(select(AuditRow).where(col(AuditRow.number) == 1)).one()

        assert datetime(2026, 3, 4, 9, 30, 15, 123456, tzinfo=UTC) == row.at
