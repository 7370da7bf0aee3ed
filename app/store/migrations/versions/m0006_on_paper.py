"""Exams that were done on paper and entered later.

A table of its own and no column of the exam, so that nothing of the exams that are there changes.
Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table, and the triggers that let it only be added to."""
    op.create_table(
        "on_paper",
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("examined_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("examined_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_on_paper_exam_id_exam"),
        sa.PrimaryKeyConstraint("exam_id", name="pk_on_paper"),
    )
    if op.get_bind().dialect.name == "sqlite":
        for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted")):
            op.execute(
                f"""
                CREATE TRIGGER on_paper_is_never_{done} BEFORE {verb} ON on_paper
                BEGIN SELECT RAISE(ABORT, 'a row of on_paper is never {done}: add a new one'); END
                """
            )
        return
    op.execute(
        """
        CREATE TRIGGER on_paper_is_never_changed BEFORE UPDATE OR DELETE ON on_paper
        FOR EACH ROW EXECUTE FUNCTION row_is_only_added()
        """
    )
    op.execute(
        """
        CREATE TRIGGER on_paper_is_never_emptied BEFORE TRUNCATE ON on_paper
        FOR EACH STATEMENT EXECUTE FUNCTION row_is_only_added()
        """
    )


def downgrade() -> None:
    """Going back would forget when a patient was examined."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
