"""Codes for the summary and words for the patient: two more kinds of decision in the review.

Written out in full and without the program's own types, because a step must stay what it was.
"""

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

CHECK = "ck_review_entry_kind_known"
KINDS = "kind IN ('impression', 'plan', 'step', 'emergency', 'confirmed', 'code', 'for_patient')"


def upgrade() -> None:
    """Let the check know the kinds; no row changes."""
    if op.get_bind().dialect.name != "sqlite":
        op.drop_constraint(op.f(CHECK), "review_entry")
        op.create_check_constraint(op.f(CHECK), "review_entry", KINDS)
        return
    # SQLite builds the table anew, and its triggers go with the old one.
    with op.batch_alter_table(
        "review_entry", recreate="always", table_kwargs={"sqlite_autoincrement": True}
    ) as table:
        table.drop_constraint(op.f(CHECK), type_="check")
        table.create_check_constraint(op.f(CHECK), KINDS)
    for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted")):
        op.execute(
            f"""
            CREATE TRIGGER review_entry_is_never_{done} BEFORE {verb} ON review_entry
            BEGIN SELECT RAISE(ABORT, 'a row of review_entry is never {done}: add a new one'); END
            """
        )


def downgrade() -> None:
    """Going back would lose what was chosen."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")
