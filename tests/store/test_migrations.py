"""The tables as the migrations make them, and what the database itself refuses."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import DBAPIError

from app.exam.vocabulary import Side
from app.store import (  # noqa: F401
    audit_tables,
    people_tables,
    practice_tables,
    signing_tables,
    tables,
)
from app.store.account_changes import add_account
from app.store.actor import PROGRAM
from app.store.audit_tables import EmergencyAccessRow, SettingRow
from app.store.columns import Table
from app.store.engine import MIGRATIONS, make_engine, migrate, writing
from app.store.practice import add_attempt
from app.store.refusals import Unreadable
from app.store.signing_tables import (
    AttachedFileRow,
    ConclusionRow,
    DocumentRow,
    ReviewRow,
    SealCertificateRow,
    SignatureRow,
)
from app.store.tables import OnPaperRow
from app.store.verify import EVIDENCE
from tests.store.clinic import NOW, an_exam, stored, write

ROOT = Path(__file__).parents[2]


@contextmanager
def changing(engine: Engine) -> Iterator[Connection]:
    """A transaction that writes past the functions of the store."""
    with engine.execution_options(evenhand_writes=True).begin() as connection:
        yield connection


def described(engine: Engine) -> dict[str, Any]:
    """Everything that the database says of its tables, but for Alembic's own."""
    seen = inspect(engine)

    def told(constraints: Any) -> list[str]:
        # A condition inside is an object of its own each time; as text it can be compared.
        return sorted(
            str({**each, "dialect_options": str({k: str(v) for k, v in options.items()})})
            for each in constraints
            for options in [each.get("dialect_options", {})]
        )

    return {
        table: {
            "columns": [
                (each["name"], str(each["type"]), each["nullable"])
                for each in seen.get_columns(table)
            ],
            "checks": told(seen.get_check_constraints(table)),
            "uniques": told(seen.get_unique_constraints(table)),
            "indexes": told(seen.get_indexes(table)),
            "foreign": told(seen.get_foreign_keys(table)),
            "primary": seen.get_pk_constraint(table)["constrained_columns"],
        }
        for table in seen.get_table_names()
        if table != "alembic_version"
    }


def test_the_migrations_end_where_the_models_stand(engine: Engine) -> None:
    """Otherwise the next generated step would change what nobody meant to change."""
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})

        assert [] == compare_metadata(context, Table.metadata)


def test_the_migrations_and_the_models_make_the_same_tables(
    engine: Engine, empty_engine: Engine
) -> None:
    """Alembic does not compare CHECKs, nor the names of constraints on SQLite."""
    with changing(empty_engine) as connection:
        Table.metadata.create_all(connection)

    assert described(empty_engine) == described(engine)


def test_migrating_twice_changes_nothing(empty_engine: Engine) -> None:
    """It runs at every start."""
    migrate(empty_engine)
    exam = an_exam(empty_engine)
    migrate(empty_engine)

    assert exam == stored(empty_engine, exam.id)


def test_servers_that_start_together_migrate_once(empty_url: str) -> None:
    """Several app servers over one database start at the same moment after an update."""
    program = (
        "import sys; from app.store.engine import make_engine, migrate; "
        "migrate(make_engine(sys.argv[1]))"
    )
    started = [
        subprocess.Popen(
            [sys.executable, "-c", program, empty_url],
            cwd=ROOT,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(3)
    ]
    ended = [process.communicate()[1] for process in started]

    assert ["", "", ""] == ended
    assert [0, 0, 0] == [process.returncode for process in started]
    engine = make_engine(empty_url)
    assert 0 == an_exam(engine).revision
    engine.dispose()


def test_a_migration_that_fails_leaves_the_database_as_it_was(empty_engine: Engine) -> None:
    """A database between two versions could be opened by neither."""
    with changing(empty_engine) as connection:
        connection.execute(text("CREATE TABLE entry (stray INTEGER)"))
    with pytest.raises(DBAPIError, match="already exists"):
        migrate(empty_engine)

    assert ["entry"] == inspect(empty_engine).get_table_names()


def test_tables_of_a_newer_version_are_not_touched(engine: Engine) -> None:
    """An old program would write what the new one no longer understands."""
    with changing(engine) as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))

    with pytest.raises(Unreadable, match="do not belong to this version"):
        migrate(engine)


def is_sqlite(engine: Engine) -> bool:
    """Whether this is the file."""
    return engine.dialect.name == "sqlite"


def test_there_is_no_way_back(engine: Engine) -> None:
    """Taking a table back would delete exams."""
    exam = an_exam(engine)

    def go_back() -> None:
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS))
        with changing(engine) as connection:
            config.attributes["connection"] = connection
            command.downgrade(config, "base")

    with pytest.raises(NotImplementedError, match="restore a backup"):
        go_back()

    assert exam == stored(engine, exam.id)


ATTACKS = {
    "sqlite": (
        "UPDATE entry SET value = '0'",
        "UPDATE entry SET bulk = TRUE WHERE id = 1",
        "DELETE FROM entry",
        "INSERT OR REPLACE INTO entry SELECT * FROM entry",
        (
            "REPLACE INTO entry SELECT 99, exam_id, revision, finding, side, '0', \"by\", role, "
            "at, replaces, bulk, account_id FROM entry"
        ),
    ),
    "postgresql": (
        "UPDATE entry SET value = '0'",
        "UPDATE entry SET bulk = TRUE WHERE id = 1",
        "DELETE FROM entry",
        "TRUNCATE entry",
        "TRUNCATE patient CASCADE",
        "INSERT INTO entry SELECT * FROM entry ON CONFLICT (id) DO UPDATE SET value = '0'",
    ),
}


def test_no_statement_changes_or_deletes_an_entry(engine: Engine) -> None:
    """The past cannot be changed, not even by a mistake of ours."""
    exam = an_exam(engine)
    kept = write(engine, exam.id, {("tug_s", None): 9}, at_revision=0)
    for attack in ATTACKS[engine.dialect.name]:
        with (
            pytest.raises(DBAPIError, match=r"an entry is never (changed|deleted): add a new one"),
            changing(engine) as connection,
        ):
            connection.execute(text(attack))

    assert kept == stored(engine, exam.id)


# What every act is kept in, and tries at practice cases, which no audit row names; the entries have
# triggers of their own, tested above.
ONLY_ADDED = sorted(
    {str(each.__tablename__) for each in EVIDENCE} - {"entry"}
    | {"audit", "practice_attempt", "conclusion"}
)


def a_row_of_each(engine: Engine) -> None:
    """One row in every table that is only ever added to."""
    exam = an_exam(engine)
    with writing(engine) as session:
        who = add_account(session, "per", "Dr Per Prøve", "physician", actor=PROGRAM, now=NOW)
        session.add(
            DocumentRow(sha256="d", exam_id=exam.id, media_type="x", content=b"x", made_at=NOW)
        )
        add_attempt(session, who.id, "any", {}, agreed=0, total=1, now=NOW)
        session.add(OnPaperRow(exam_id=exam.id, examined_at=NOW, examined_by="Dr Per Prøve"))
        session.add(SettingRow(name="name", value="Hill Clinic", by="Ada", at=NOW))
        session.add(EmergencyAccessRow(account_id=who.id, reason="why", at=NOW, until=NOW))
        session.add(
            ReviewRow(
                exam_id=exam.id, revision=1, kind="plan", item="", value='"x"', by="Dr Per Prøve",
                role="physician", at=NOW,
            )
        )  # fmt: skip
        session.add(ConclusionRow(exam_id=exam.id, kind="category", item="x", level="fits"))
        session.add(SealCertificateRow(sha256="s", content=b"x", used_at=NOW))
        session.flush()
        session.add(
            AttachedFileRow(id="a", document_sha256="d", name="x", media_type="x", content=b"x")
        )
        session.add(
            SignatureRow(
                id="s", exam_id=exam.id, number=0, kind="exam", revision=1, knowledge="1",
                content="{}", content_sha256="c", note="n", account_id=who.id,
                printed_name="Dr Per Prøve",
                role="physician", meaning="signed", signed_at=NOW, signed_offset="+00:00",
                document_sha256="d", audit_number=1, audit_hash="h",
            )
        )  # fmt: skip


def attacks_on(engine: Engine, table: str) -> list[str]:
    """Every way to change or delete a row of a table."""
    keys = inspect(engine).get_pk_constraint(table)["constrained_columns"]
    key = keys[0]
    attacks = [f"UPDATE {table} SET {key} = {key}", f"DELETE FROM {table}"]
    again = f"INTO {table} SELECT * FROM {table}"
    if is_sqlite(engine):
        return [*attacks, f"INSERT OR REPLACE {again}"]
    in_place = (
        f"INSERT {again} ON CONFLICT ({', '.join(keys)}) DO UPDATE SET {key} = excluded.{key}"
    )
    return [*attacks, f"TRUNCATE {table} CASCADE", in_place]


def test_no_statement_changes_or_deletes_what_is_only_added(engine: Engine) -> None:
    """Signatures, signed pages, reviews, settings, emergency access, tries, the audit itself."""
    a_row_of_each(engine)

    def rows() -> list[list[tuple[Any, ...]]]:
        with engine.connect() as connection:
            return [
                [tuple(row) for row in connection.execute(text(f"SELECT * FROM {table}"))]
                for table in ONLY_ADDED
            ]

    before = rows()
    for table in ONLY_ADDED:
        for attack in attacks_on(engine, table):
            with (
                pytest.raises(DBAPIError, match=r"is never (changed|deleted): add a new one"),
                changing(engine) as connection,
            ):
                connection.execute(text(attack))

    assert [] not in before
    assert before == rows()


def entry_sql(*, revision: int = 9, side: str = "left", role: str = "nurse", replaces: str) -> str:
    """An entry of the pronator drift, made past the functions of the store."""
    return (
        'INSERT INTO entry (exam_id, revision, finding, side, value, "by", role, at, replaces, '
        f"bulk) SELECT exam_id, {revision}, 'drift', '{side}', '0', 'x', '{role}', at, {replaces}, "
        "FALSE FROM entry WHERE id = 1"
    )


TWICE = (
    'INSERT INTO entry SELECT 99, exam_id, revision, finding, side, value, "by", role, at, NULL, '
    "bulk, account_id FROM entry WHERE finding = 'tug_s'"
)


REFUSED = {
    "UPDATE exam SET state = 'lost'": "ck_exam_state_known",
    "UPDATE exam SET started_role = 'porter'": "ck_exam_started_role_known",
    "UPDATE exam SET revision = -1": "ck_exam_revision_counts",
    "UPDATE exam SET patient_id = 'nobody'": "foreign key",
    "UPDATE patient SET sex = 'x'": "ck_patient_sex_known",
    "DELETE FROM exam": "foreign key",
    "DELETE FROM patient": "foreign key",
    entry_sql(revision=0, replaces="NULL"): "ck_entry_revision_counts",
    entry_sql(side="middle", replaces="NULL"): "ck_entry_side_known",
    entry_sql(role="porter", replaces="NULL"): "ck_entry_role_known",
    entry_sql(revision=1, side="right", replaces="NULL"): "unique",
    entry_sql(side="right", replaces="77"): "foreign key",
    entry_sql(side="right", replaces="1"): "unique.*replaces",
    TWICE: "unique",
}


def test_the_database_refuses_what_cannot_be(engine: Engine) -> None:
    """Words outside their list, lost owners, a cell written or an entry replaced twice."""
    exam = an_exam(engine)
    right = ("drift", Side.RIGHT)
    write(engine, exam.id, {right: 1}, at_revision=0)
    kept = write(engine, exam.id, {right: 2, ("tug_s", None): 9}, at_revision=1)
    for statement, constraint in REFUSED.items():
        with pytest.raises(DBAPIError, match=f"(?is){constraint}"), changing(engine) as connection:
            connection.execute(text(statement))

    assert kept == stored(engine, exam.id)
