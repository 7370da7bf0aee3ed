"""The table of tries at practice cases. Nothing in it is about a patient."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer, Text
from sqlmodel import Field

from app.store.columns import EntryId, Table, UtcDateTime


class PracticeAttemptRow(Table, table=True):
    """One try at an invented case. Only ever added.

    It stands outside the audit chain, which vouches for what is known of patients and for who may
    do what; a try is neither, and one row for each would only hide what is looked for there.

    case_id: as the knowledge names it; a case may be retired. graded: canonical JSON, the findings
    as an exam holds them. agreed, total: the score as it was shown then.
    """

    __tablename__ = "practice_attempt"
    __table_args__ = (
        CheckConstraint("agreed >= 0 AND agreed <= total AND total > 0", name="score_counts"),
        Index(None, "account_id", "id"),
        {"sqlite_autoincrement": True},
    )

    id: int | None = Field(default=None, sa_type=EntryId, primary_key=True)
    account_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("account.id")])
    case_id: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcDateTime)
    graded: str = Field(sa_type=Text)
    agreed: int = Field(sa_type=Integer)
    total: int = Field(sa_type=Integer)
