"""The revision of an account, so that nobody overwrites what somebody else has changed.

Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Count the changes of each account, from now on."""
    op.add_column(
        "account", sa.Column("revision", sa.Integer(), nullable=False, server_default="0")
    )


def downgrade() -> None:
    """Going back would forget what was changed."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
