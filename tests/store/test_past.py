"""A database of each earlier version, filled, comes to this one with every value as it was."""

import hashlib
from decimal import Decimal

import pytest
from sqlalchemy import Engine, text

from app.exam.vocabulary import Side
from app.store.engine import known_versions, migrate, reading
from app.store.signatures import document, signatures
from app.store.verify import verify
from app.web.came_back import UNALTERED, came_back
from tests.store.clinic import stored, write
from tests.store.desk import decide
from tests.store.past import MADE_BY_A_STEP, filled, held, in_order, tables_of

# Its cells: the drift was taken back, the timed test keeps its digits.
DRIFT, TIMED = ("drift", Side.RIGHT), ("tug_s", None)


@pytest.mark.parametrize("version", sorted(known_versions()))
def test_every_value_of_a_version_is_there_after_the_update(
    empty_engine: Engine, version: str
) -> None:
    """What was recorded stays, what was signed still verifies, and it goes on from there."""
    rows = filled(empty_engine, version)
    with empty_engine.connect() as connection:
        before = {each.name for each in tables_of(connection)}
    migrate(empty_engine)

    # A table without a row would show nothing: tests.store.write_past adds them.
    assert before <= set(rows)
    with empty_engine.connect() as connection:
        for table in tables_of(connection):
            if table.name in before | MADE_BY_A_STEP:
                wanted, kept = in_order(table, rows.get(table.name, [])), held(connection, table)

                # A column that came since is not in the file.
                assert wanted == [
                    {name: row[name] for name in each}
                    for each, row in zip(wanted, kept, strict=True)
                ], table.name
    newest = rows["audit"][-1] if "audit" in before else None
    with reading(empty_engine) as session:
        checked = verify(session)
        signed = [each for row in rows["exam"] for each in signatures(session, row["id"])]
        pages = [document(session, each.document_sha256).content for each in signed]

        assert () == checked.alterations
        assert [UNALTERED] * len(pages) == [came_back(session, page).verdict for page in pages]
    assert [each.document_sha256 for each in signed] == [
        hashlib.sha256(page).hexdigest() for page in pages
    ]
    assert len(pages) == len(rows.get("signature", []))
    if newest is None:
        # The entries of before there was an audit are taken into its first row.
        assert (1, len(rows["entry"])) == (checked.audit, checked.rows)
    else:
        assert (newest["number"], newest["hash"]) == (checked.head.number, checked.head.hash)
    _goes_on(empty_engine, rows["exam"][0]["id"])


def _goes_on(engine: Engine, exam_id: str) -> None:
    """The first exam reads as it was written, and takes the next entry under the next number."""
    was = stored(engine, exam_id)
    ids = {name: _largest(engine, name) for name in ("entry", "review_entry")}

    assert (3, "Bríd", "two\nlines") == (was.revision, was.patient.given_name, was.reason)
    assert (None, Decimal("9.50")) == (was.cells[DRIFT].value, was.cells[TIMED].value)
    after = write(engine, exam_id, {DRIFT: 2}, at_revision=3)
    decide(engine, exam_id, {("code", "R26.81"): True}, 4)

    assert ids["entry"] + 1 == after.cells[DRIFT].entry_id
    assert ids["review_entry"] + 1 == _largest(engine, "review_entry")
    with reading(engine) as session:
        assert () == verify(session).alterations


def _largest(engine: Engine, table: str) -> int:
    with engine.connect() as connection:
        found = connection.execute(text(f"SELECT max(id) FROM {table}")).scalar_one()
    return int(found or 0)
