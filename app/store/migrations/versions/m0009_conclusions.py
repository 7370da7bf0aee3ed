"""What signed exams added up to, as rows that a database can count.

The exams that were signed before get theirs from what was signed. Written out in full and without
the program's own types, because a step must stay what it was.
"""

import json
from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

_AT_ONCE = 200


def upgrade() -> None:
    """Make the table, fill it, and make the triggers that let it only be added to."""
    made = op.create_table(
        "conclusion",
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("side", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('category', 'warning', 'falls_group')", name=op.f("ck_conclusion_kind_known")
        ),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_conclusion_exam_id_exam"),
        sa.PrimaryKeyConstraint("exam_id", "kind", "item", name="pk_conclusion"),
    )
    connection = op.get_bind()
    # The ids first: a table that is read cannot be written beside it on every database.
    signed = connection.execute(
        sa.text("SELECT exam_id FROM signature WHERE number = 0 ORDER BY exam_id")
    ).scalars()
    ids = list(signed)
    for start in range(0, len(ids), _AT_ONCE):
        asked = sa.text(
            "SELECT exam_id, content FROM signature WHERE number = 0 AND exam_id IN :ids"
        ).bindparams(sa.bindparam("ids", expanding=True))
        found = connection.execute(asked, {"ids": ids[start : start + _AT_ONCE]}).all()
        rows = [row for exam_id, content in found for row in _rows(exam_id, content)]
        if rows:
            op.bulk_insert(made, rows)
    _only_added_to()


def _rows(exam_id: str, content: str) -> Iterator[dict[str, Any]]:
    assessment = json.loads(json.loads(content).get("assessment", "{}"))
    for each in assessment.get("categories", ()):
        if each["level"] != "not_supported":
            yield {
                "exam_id": exam_id,
                "kind": "category",
                "item": each["id"],
                "level": each["level"],
                "side": each["side"],
            }
    for each in assessment.get("warnings", ()):
        is_falls_group = each["id"] == "fall_risk"
        yield {
            "exam_id": exam_id,
            "kind": "falls_group" if is_falls_group else "warning",
            "item": "" if is_falls_group else each["id"],
            "level": each["level"] if is_falls_group else each["urgency"],
            "side": None,
        }


def _only_added_to() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted")):
            op.execute(
                f"""
                CREATE TRIGGER conclusion_is_never_{done} BEFORE {verb} ON conclusion
                BEGIN
                  SELECT RAISE(ABORT, 'a row of conclusion is never {done}: add a new one');
                END
                """
            )
        return
    op.execute(
        """
        CREATE TRIGGER conclusion_is_never_changed BEFORE UPDATE OR DELETE ON conclusion
        FOR EACH ROW EXECUTE FUNCTION row_is_only_added()
        """
    )
    op.execute(
        """
        CREATE TRIGGER conclusion_is_never_emptied BEFORE TRUNCATE ON conclusion
        FOR EACH STATEMENT EXECUTE FUNCTION row_is_only_added()
        """
    )


def downgrade() -> None:
    """Going back would leave exams that are counted nowhere."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
