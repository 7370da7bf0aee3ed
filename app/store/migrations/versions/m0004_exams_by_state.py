"""The exams that wait for somebody are found without reading those that wait for nobody.

Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the indexes by which the worklist is read."""
    op.create_index("ix_exam_state_started_at", "exam", ["state", "started_at"])
    op.create_index(
        "ix_alert_waiting",
        "alert",
        ["since", "exam_id"],
        sqlite_where=sa.text("seen_by IS NULL"),
        postgresql_where=sa.text("seen_by IS NULL"),
    )


def downgrade() -> None:
    """No step goes back: those before it could not."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
