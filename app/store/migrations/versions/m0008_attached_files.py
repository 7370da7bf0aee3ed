"""The files inside a signed page, and the certificates that pages were sealed with.

Tables of their own: the key of a document is its hash, and two exams may attach the same bytes.
Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables, and the triggers that let them only be added to."""
    op.create_table(
        "attached_file",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("document_sha256", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_sha256"],
            ["document.sha256"],
            name="fk_attached_file_document_sha256_document",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_attached_file"),
        sa.UniqueConstraint(
            "document_sha256", "name", name="uq_attached_file_document_sha256_name"
        ),
    )
    op.create_table(
        "seal_certificate",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_seal_certificate"),
    )
    for table in ("attached_file", "seal_certificate"):
        _only_added_to(table)


def _only_added_to(table: str) -> None:
    if op.get_bind().dialect.name == "sqlite":
        for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted")):
            op.execute(
                f"""
                CREATE TRIGGER {table}_is_never_{done} BEFORE {verb} ON {table}
                BEGIN SELECT RAISE(ABORT, 'a row of {table} is never {done}: add a new one'); END
                """
            )
        return
    op.execute(
        f"""
        CREATE TRIGGER {table}_is_never_changed BEFORE UPDATE OR DELETE ON {table}
        FOR EACH ROW EXECUTE FUNCTION row_is_only_added()
        """
    )
    op.execute(
        f"""
        CREATE TRIGGER {table}_is_never_emptied BEFORE TRUNCATE ON {table}
        FOR EACH STATEMENT EXECUTE FUNCTION row_is_only_added()
        """
    )


def downgrade() -> None:
    """Going back would forget what was signed."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
