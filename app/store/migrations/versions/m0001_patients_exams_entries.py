"""The first tables: patients, exams, and entries that are only ever added.

Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
ENTRY_ID = sa.BigInteger().with_variant(sa.Integer, "sqlite")
MOMENT = sa.DateTime(timezone=True)

SQLITE_TRIGGERS = (
    """
    CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never changed: add a new one'); END
    """,
    """
    CREATE TRIGGER entry_is_never_deleted BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never deleted: add a new one'); END
    """,
)
POSTGRESQL_TRIGGERS = (
    """
    CREATE FUNCTION entry_is_only_added() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'an entry is never %: add a new one',
            CASE TG_OP WHEN 'UPDATE' THEN 'changed' ELSE 'deleted' END
            USING ERRCODE = 'restrict_violation';
    END $$
    """,
    """
    CREATE TRIGGER entry_is_never_changed BEFORE UPDATE OR DELETE ON entry
    FOR EACH ROW EXECUTE FUNCTION entry_is_only_added()
    """,
    """
    CREATE TRIGGER entry_is_never_emptied BEFORE TRUNCATE ON entry
    FOR EACH STATEMENT EXECUTE FUNCTION entry_is_only_added()
    """,
)


def upgrade() -> None:
    """Make the tables and the triggers that guard the entries."""
    _patient()
    _exam()
    _entry()
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    for trigger in SQLITE_TRIGGERS if on_sqlite else POSTGRESQL_TRIGGERS:
        op.execute(trigger)


def downgrade() -> None:
    """Going back would lose every exam."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")


def _patient() -> None:
    op.create_table(
        "patient",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("chart_number", sa.Text(), nullable=False),
        sa.Column("family_name", sa.Text(), nullable=False),
        sa.Column("given_name", sa.Text(), nullable=False),
        sa.Column("birth_date", sa.Date(), nullable=False),
        sa.Column("sex", sa.Text(), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("chart_key", KEY, nullable=False),
        sa.Column("family_first_key", KEY, nullable=False),
        sa.Column("given_first_key", KEY, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_patient"),
        sa.UniqueConstraint("chart_key", name="uq_patient_chart_key"),
        sa.CheckConstraint("sex IN ('female', 'male')", name=op.f("ck_patient_sex_known")),
    )
    op.create_index("ix_patient_family_first_key", "patient", ["family_first_key"])
    op.create_index("ix_patient_given_first_key", "patient", ["given_first_key"])


def _exam() -> None:
    op.create_table(
        "exam",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("patient_id", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("started_at", MOMENT, nullable=False),
        sa.Column("started_by", sa.Text(), nullable=False),
        sa.Column("started_role", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_exam"),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name="fk_exam_patient_id_patient"),
        sa.CheckConstraint(
            "state IN ('open', 'ready', 'signed', 'amended')", name=op.f("ck_exam_state_known")
        ),
        sa.CheckConstraint(
            "started_role IN ('nurse', 'physician')", name=op.f("ck_exam_started_role_known")
        ),
        sa.CheckConstraint("revision >= 0", name=op.f("ck_exam_revision_counts")),
    )
    op.create_index("ix_exam_patient_id_started_at", "exam", ["patient_id", "started_at"])
    op.create_index("ix_exam_started_at", "exam", ["started_at"])


def _entry() -> None:
    op.create_table(
        "entry",
        sa.Column("id", ENTRY_ID, primary_key=True, nullable=False),
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("side", sa.Text(), nullable=True),
        sa.Column("value", sa.Text(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("replaces", ENTRY_ID, nullable=True),
        sa.Column("bulk", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_entry_exam_id_exam"),
        sa.ForeignKeyConstraint(["replaces"], ["entry.id"], name="fk_entry_replaces_entry"),
        sa.UniqueConstraint(
            "exam_id", "revision", "finding", "side", name="uq_entry_exam_id_revision_finding_side"
        ),
        sa.UniqueConstraint("replaces", name="uq_entry_replaces"),
        sa.CheckConstraint("side IN ('right', 'left')", name=op.f("ck_entry_side_known")),
        sa.CheckConstraint("role IN ('nurse', 'physician')", name=op.f("ck_entry_role_known")),
        sa.CheckConstraint("revision > 0", name=op.f("ck_entry_revision_counts")),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_entry_exam_id_id", "entry", ["exam_id", "id"])
    op.create_index(
        "uq_entry_single_finding",
        "entry",
        ["exam_id", "revision", "finding"],
        unique=True,
        sqlite_where=sa.text("side IS NULL"),
        postgresql_where=sa.text("side IS NULL"),
    )
