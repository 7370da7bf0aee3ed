"""The tables of accounts and of the browsers in which they have signed in."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, Integer, Text, UniqueConstraint
from sqlmodel import Field

from app.store.columns import EntryId, KeyText, Table, UtcDateTime, one_of
from app.store.tables import ACCOUNT_ROLES


class AccountRow(Table, table=True):
    """Somebody who may sign in.

    sign_in_key: the sign-in name as it is compared. password_hash: Argon2id, NULL until a password
    is set. totp_counter: the last time step that was used, which cannot be used again. oidc_key:
    issuer and subject of the identity provider, NULL for a local account. revision: counts the
    changes of what an administrator sees of it.
    """

    __tablename__ = "account"
    __table_args__ = (
        UniqueConstraint("sign_in_key"),
        UniqueConstraint("oidc_key"),
        one_of("role", ACCOUNT_ROLES),
    )

    id: str = Field(sa_type=Text, primary_key=True)
    sign_in_name: str = Field(sa_type=Text)
    sign_in_key: str = Field(sa_type=KeyText)
    printed_name: str = Field(sa_type=Text)
    role: str = Field(sa_type=Text)
    is_active: bool
    password_hash: str | None = Field(default=None, sa_type=Text)
    totp_secret: str | None = Field(default=None, sa_type=Text)
    totp_counter: int | None = Field(default=None, sa_type=EntryId)
    oidc_key: str | None = Field(default=None, sa_type=Text)
    created_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = Field(default=0, sa_type=Integer, sa_column_kwargs={"server_default": "0"})


class InvitationRow(Table, table=True):
    """A code that can be used once to set a password. account_id NULL: the first administrator."""

    __tablename__ = "invitation"

    code_hash: str = Field(sa_type=Text, primary_key=True)
    account_id: str | None = Field(
        default=None, sa_type=Text, sa_column_args=[ForeignKey("account.id")]
    )
    made_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class SignInRow(Table, table=True):
    """One browser in which somebody has signed in. Only the hash of its token is kept.

    proved_at: when a password or the identity provider last said who it is. signing_proof_at: when
    the provider said so for a signature that is still to be made, else NULL. active_at: when the
    person last did something. ended_at: set when it was signed out, replaced or ended.
    """

    __tablename__ = "sign_in"
    __table_args__ = (Index(None, "account_id"),)

    token_hash: str = Field(sa_type=Text, primary_key=True)
    account_id: str = Field(sa_type=Text, sa_column_args=[ForeignKey("account.id")])
    started_at: datetime = Field(sa_type=UtcDateTime)
    proved_at: datetime = Field(sa_type=UtcDateTime)
    active_at: datetime = Field(sa_type=UtcDateTime)
    locked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    signing_proof_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    source: str = Field(sa_type=Text)


class GuessRow(Table, table=True):
    """Wrong passwords for one name from one address, so that the next try can be made to wait."""

    __tablename__ = "guess"

    account_key: str = Field(sa_type=Text, primary_key=True)
    source: str = Field(sa_type=Text, primary_key=True)
    failures: int = Field(sa_type=Integer)
    last_at: datetime = Field(sa_type=UtcDateTime)


class ProviderRequestRow(Table, table=True):
    """A sign-in that was sent to the identity provider and has not come back yet."""

    __tablename__ = "provider_request"

    state_hash: str = Field(sa_type=Text, primary_key=True)
    nonce: str = Field(sa_type=Text)
    verifier: str = Field(sa_type=Text)
    # What the fresh proof is for: "sign_in", "unlock", "sign" or "link", and where to go on.
    purpose: str = Field(sa_type=Text)
    return_to: str = Field(sa_type=Text)
    token_hash: str | None = Field(default=None, sa_type=Text)
    made_at: datetime = Field(sa_type=UtcDateTime)
