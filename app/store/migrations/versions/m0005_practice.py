"""Tries at practice cases.

Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Make the table, and the triggers that let rows only be added to it."""
    op.create_table(
        "practice_attempt",
        sa.Column("id", NUMBER, nullable=False),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("case_id", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("graded", sa.Text(), nullable=False),
        sa.Column("agreed", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "agreed >= 0 AND agreed <= total AND total > 0",
            name=op.f("ck_practice_attempt_score_counts"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name="fk_practice_attempt_account_id_account"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_practice_attempt"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_practice_attempt_account_id_id", "practice_attempt", ["account_id", "id"])
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    for trigger in ON_SQLITE if on_sqlite else ON_POSTGRESQL:
        op.execute(trigger)


def downgrade() -> None:
    """Going back would lose what people have learned by."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")


ON_SQLITE = tuple(
    f"""
    CREATE TRIGGER practice_attempt_is_never_{done} BEFORE {verb} ON practice_attempt
    BEGIN SELECT RAISE(ABORT, 'a row of practice_attempt is never {done}: add a new one'); END
    """
    for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted"))
)
# The function is that of step 0002.
ON_POSTGRESQL = (
    """
    CREATE TRIGGER practice_attempt_is_never_changed BEFORE UPDATE OR DELETE ON practice_attempt
    FOR EACH ROW EXECUTE FUNCTION row_is_only_added()
    """,
    """
    CREATE TRIGGER practice_attempt_is_never_emptied BEFORE TRUNCATE ON practice_attempt
    FOR EACH STATEMENT EXECUTE FUNCTION row_is_only_added()
    """,
)
