"""${message}."""

import sqlalchemy as sa
import sqlmodel
from alembic import op
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    """${message}."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Going back would lose what was recorded since."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
