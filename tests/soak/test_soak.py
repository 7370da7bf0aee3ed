"""Twenty kills under people at work: nothing that was acknowledged is lost, nothing is half there.

The long run is script/soak; its figures stand in docs/reliability.md.
"""

import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace

import pytest
from sqlalchemy import Engine

from app.exam.vocabulary import Side
from app.store.engine import make_engine, reading
from app.store.signatures import Signature
from app.store.signing import AttachedFile
from tests.soak.acts import Act, Entered, HandedOver, Reviewed, Signed, Started, TakenBack
from tests.soak.judge import half_written, lost
from tests.soak.run import one_round
from tests.soak.servers import Nursery
from tests.store.clinic import NURSE, PHYSICIAN, an_exam, write
from tests.store.desk import IMPRESSION, SIGNER, an_account, changed, decide, signed, to_sign

# What a half-written file would look like, and what is said of it.
BROKEN = {
    "UPDATE exam SET state = 'open'": "is open with 1 signatures",
    "UPDATE exam SET state = 'amended'": "is amended with 1 signatures",
    "UPDATE exam SET revision = revision + 1": "is at revision 3",
    "DELETE FROM attached_file": "without its files",
    "DELETE FROM signature": "page without its signature",
    "DELETE FROM document": "page without its signature",
    "DELETE FROM audit WHERE action = 'sign'": "added past the audit",
    "DELETE FROM entry": "by the audit",
    "DELETE FROM review_entry": "by the audit",
    "DELETE FROM exam": "patient without the exam",
}
# Others each time would be found once and never again; script/soak draws others.
SEED = 20_261_126


@pytest.mark.parametrize(("database", "kills"), [("sqlite", 14), ("postgresql", 6)])
def test_what_was_acknowledged_is_there_once_and_whole_whatever_is_killed(
    nursery: Nursery, database: str, kills: int
) -> None:
    """SIGKILL for the server, at its start as well, and for every process of PostgreSQL."""
    outcome = one_round(database, kills, random.Random(SEED), nursery)

    assert ([], [], []) == (outcome.lost, outcome.untold, outcome.half_written)
    assert kills == outcome.kills.total()
    # It was not idle meanwhile, and was cut off in the middle.
    assert outcome.acts.total() > kills // 2
    assert outcome.unanswered > 0


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    """A new database with its tables."""
    made = make_engine(url)
    yield made
    made.dispose()


def a_signed_exam(engine: Engine) -> Signature:
    """One entry, a review, a signature."""
    an_account(engine)
    exam = an_exam(engine)
    write(engine, exam.id, {("drift", Side.RIGHT): 1}, 0)
    decide(engine, exam.id, {IMPRESSION: "A slow hand."}, 1)
    file = AttachedFile("exam.json", "application/json", b"{}")
    return signed(engine, exam.id, changed(to_sign(engine, exam.id), attached=(file,)))


@pytest.mark.parametrize("kind", ["sqlite"])
def test_what_is_lost_or_was_told_to_nobody_is_named(engine: Engine) -> None:
    """A comparison that finds nothing proves something only where it would find it."""
    piece = a_signed_exam(engine)
    exam_id = piece.exam_id
    entry = Entered(exam_id, PHYSICIAN.name, "drift", "right", "1", 1)
    review = Reviewed(exam_id, SIGNER.name, "A slow hand.", "")
    signature = Signed(exam_id, SIGNER.name, 0, piece.document_sha256)
    true: list[Act] = [Started(exam_id, NURSE.name), entry, review, signature]
    false: list[Act] = [
        replace(entry, value="2"),
        replace(entry, revision=2),
        replace(entry, by="Somebody"),
        replace(review, plan="Something else."),
        replace(signature, page_sha256="0" * 64),
        replace(signature, number=1),
        TakenBack(exam_id, PHYSICIAN.name, 1),
        HandedOver("0" * 32, NURSE.name),
    ]
    with reading(engine) as session:
        assert ([], []) == lost(session, true)
        for each in false:
            assert [str(each)] == [
                one.removeprefix("no such exam: ") for one in lost(session, [*true, each])[0]
            ]
        for untold, says in ((entry, "revision 1"), (signature, "signature 0")):
            told = [each for each in true if each is not untold]
            assert [f"nobody was told: {says}"] == lost(session, told)[1]
        assert [f"an exam that nobody was told of: {exam_id}"] == lost(session, [])[1]


@pytest.mark.parametrize("kind", ["sqlite"])
def test_what_is_half_written_is_named(engine: Engine) -> None:
    """Each part that one transaction writes, taken away by itself."""
    a_signed_exam(engine)
    # The last connection to close moves everything into the one file.
    engine.dispose()
    whole = str(engine.url.database)
    for number, (broken, says) in enumerate(({"SELECT 1": ""} | BROKEN).items()):
        file = f"{whole}.{number}"
        shutil.copy(whole, file)
        with closing(sqlite3.connect(file, isolation_level=None)) as connection:
            triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            for (name,) in triggers.fetchall():
                connection.execute(f"DROP TRIGGER {name}")
            connection.execute(broken)
        opened = make_engine(f"sqlite:///{file}")
        with reading(opened) as session:
            named = half_written(session)
        opened.dispose()

        assert any(says in each for each in named) == bool(says), (broken, named)
