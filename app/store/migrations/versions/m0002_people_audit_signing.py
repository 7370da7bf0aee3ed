"""Accounts, the audit, reviewing and signing.

Written out in full and without the program's own types, because a step must stay what it was.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
MOMENT = sa.DateTime(timezone=True)

# Rows of these are only ever added.
ONLY_ADDED = ("audit", "review_entry", "document", "signature", "setting", "emergency_access")


def upgrade() -> None:
    """Make the tables, and the triggers that guard those that are only added to."""
    op.add_column("entry", sa.Column("account_id", sa.Text(), nullable=True))
    _people()
    _clinic()
    _signing()
    _at_the_exam()
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    if not on_sqlite:
        op.execute(
            """
            CREATE FUNCTION row_is_only_added() RETURNS trigger LANGUAGE plpgsql AS $$
            BEGIN
                RAISE EXCEPTION 'a row of % is never %: add a new one', TG_TABLE_NAME,
                    CASE TG_OP WHEN 'UPDATE' THEN 'changed' ELSE 'deleted' END
                    USING ERRCODE = 'restrict_violation';
            END $$
            """
        )
    for table in ONLY_ADDED:
        for trigger in _on_sqlite(table) if on_sqlite else _on_postgresql(table):
            op.execute(trigger)


def downgrade() -> None:
    """Going back would lose signatures and the audit."""
    raise NotImplementedError("tables are never taken back; restore a backup instead")


def _on_sqlite(table: str) -> tuple[str, ...]:
    return tuple(
        f"""
        CREATE TRIGGER {table}_is_never_{done} BEFORE {verb} ON {table}
        BEGIN SELECT RAISE(ABORT, 'a row of {table} is never {done}: add a new one'); END
        """
        for verb, done in (("UPDATE", "changed"), ("DELETE", "deleted"))
    )


def _on_postgresql(table: str) -> tuple[str, ...]:
    return (
        f"""
        CREATE TRIGGER {table}_is_never_changed BEFORE UPDATE OR DELETE ON {table}
        FOR EACH ROW EXECUTE FUNCTION row_is_only_added()
        """,
        f"""
        CREATE TRIGGER {table}_is_never_emptied BEFORE TRUNCATE ON {table}
        FOR EACH STATEMENT EXECUTE FUNCTION row_is_only_added()
        """,
    )


def _people() -> None:
    op.create_table(
        "account",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("sign_in_name", sa.Text(), nullable=False),
        sa.Column("sign_in_key", KEY, nullable=False),
        sa.Column("printed_name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("is_active", sa.Boolean(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("totp_secret", sa.Text(), nullable=True),
        sa.Column("totp_counter", NUMBER, nullable=True),
        sa.Column("oidc_key", sa.Text(), nullable=True),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.CheckConstraint(
            "role IN ('nurse', 'physician', 'administrator')", name=op.f("ck_account_role_known")
        ),
        sa.PrimaryKeyConstraint("id", name="pk_account"),
        sa.UniqueConstraint("oidc_key", name="uq_account_oidc_key"),
        sa.UniqueConstraint("sign_in_key", name="uq_account_sign_in_key"),
    )
    op.create_table(
        "invitation",
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Text(), nullable=True),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name="fk_invitation_account_id_account"
        ),
        sa.PrimaryKeyConstraint("code_hash", name="pk_invitation"),
    )
    op.create_table(
        "sign_in",
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("started_at", MOMENT, nullable=False),
        sa.Column("proved_at", MOMENT, nullable=False),
        sa.Column("active_at", MOMENT, nullable=False),
        sa.Column("locked_at", MOMENT, nullable=True),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("signing_proof_at", MOMENT, nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name="fk_sign_in_account_id_account"
        ),
        sa.PrimaryKeyConstraint("token_hash", name="pk_sign_in"),
    )
    op.create_index("ix_sign_in_account_id", "sign_in", ["account_id"])
    op.create_table(
        "guess",
        sa.Column("account_key", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("account_key", "source", name="pk_guess"),
    )
    op.create_table(
        "provider_request",
        sa.Column("state_hash", sa.Text(), nullable=False),
        sa.Column("nonce", sa.Text(), nullable=False),
        sa.Column("verifier", sa.Text(), nullable=False),
        sa.Column("purpose", sa.Text(), nullable=False),
        sa.Column("return_to", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=True),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("state_hash", name="pk_provider_request"),
    )


def _clinic() -> None:
    op.create_table(
        "setting",
        sa.Column("id", NUMBER, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Text(), nullable=True),
        sa.Column("at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_setting"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_setting_name_id", "setting", ["name", "id"])
    op.create_table(
        "emergency_access",
        sa.Column("id", NUMBER, nullable=False),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("until", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name="fk_emergency_access_account_id_account"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_emergency_access"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "audit",
        sa.Column("number", NUMBER, autoincrement=False, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("patient_id", sa.Text(), nullable=False),
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("rows", sa.Text(), nullable=False),
        sa.Column("previous", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.CheckConstraint("number > 0", name=op.f("ck_audit_number_counts")),
        sa.PrimaryKeyConstraint("number", name="pk_audit"),
        sa.UniqueConstraint("hash", name="uq_audit_hash"),
    )
    op.create_index("ix_audit_account_id_number", "audit", ["account_id", "number"])
    op.create_index("ix_audit_patient_id_number", "audit", ["patient_id", "number"])


def _signing() -> None:
    op.create_table(
        "review_entry",
        sa.Column("id", NUMBER, nullable=False),
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Text(), nullable=True),
        sa.Column("at", MOMENT, nullable=False),
        sa.CheckConstraint(
            "kind IN ('impression', 'plan', 'step', 'emergency', 'confirmed')",
            name=op.f("ck_review_entry_kind_known"),
        ),
        sa.CheckConstraint(
            "role IN ('nurse', 'physician')", name=op.f("ck_review_entry_role_known")
        ),
        sa.CheckConstraint("revision > 0", name=op.f("ck_review_entry_revision_counts")),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_review_entry_exam_id_exam"),
        sa.PrimaryKeyConstraint("id", name="pk_review_entry"),
        sa.UniqueConstraint(
            "exam_id", "revision", "kind", "item", name="uq_review_entry_exam_id_revision_kind_item"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_review_entry_exam_id_id", "review_entry", ["exam_id", "id"])
    op.create_table(
        "document",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_document_exam_id_exam"),
        sa.PrimaryKeyConstraint("sha256", name="pk_document"),
    )
    op.create_table(
        "signature",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("knowledge", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("content_sha256", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("account_id", sa.Text(), nullable=False),
        sa.Column("printed_name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("meaning", sa.Text(), nullable=False),
        sa.Column("signed_at", MOMENT, nullable=False),
        sa.Column("signed_offset", sa.Text(), nullable=False),
        sa.Column("document_sha256", sa.Text(), nullable=False),
        sa.Column("audit_number", NUMBER, nullable=False),
        sa.Column("audit_hash", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(number = 0) = (kind = 'exam')", name=op.f("ck_signature_exam_is_first")
        ),
        sa.CheckConstraint(
            "kind IN ('exam', 'addendum', 'late_entry', 'correction')",
            name=op.f("ck_signature_kind_known"),
        ),
        sa.CheckConstraint("role IN ('nurse', 'physician')", name=op.f("ck_signature_role_known")),
        sa.CheckConstraint("number >= 0", name=op.f("ck_signature_number_counts")),
        sa.ForeignKeyConstraint(
            ["account_id"], ["account.id"], name="fk_signature_account_id_account"
        ),
        sa.ForeignKeyConstraint(
            ["document_sha256"], ["document.sha256"], name="fk_signature_document_sha256_document"
        ),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_signature_exam_id_exam"),
        sa.PrimaryKeyConstraint("id", name="pk_signature"),
        sa.UniqueConstraint("exam_id", "number", name="uq_signature_exam_id_number"),
    )


def _at_the_exam() -> None:
    op.create_table(
        "alert",
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("warnings", sa.Text(), nullable=False),
        sa.Column("since", MOMENT, nullable=False),
        sa.Column("seen_by", sa.Text(), nullable=True),
        sa.Column("seen_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_alert_exam_id_exam"),
        sa.PrimaryKeyConstraint("exam_id", name="pk_alert"),
    )
    op.create_table(
        "presence",
        sa.Column("exam_id", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["exam_id"], ["exam.id"], name="fk_presence_exam_id_exam"),
        sa.PrimaryKeyConstraint("exam_id", "token_hash", name="pk_presence"),
    )
