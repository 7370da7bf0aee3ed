"""What a clinic can set: environment variables EVENHAND_*, or a file .env beside the program."""

from pathlib import Path
from typing import Literal, Self
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from app import places
from app.people.oidc import ProviderSettings
from app.people.outside import LOOPBACK
from app.report.fhir.terms import CONSULT_NOTE, DOCUMENT_TYPES
from app.store.engine import parse_address

ROOT = places.ROOT
# Where the identity provider sends the browser back to, below the clinic's own address.
WAY_BACK = "/provider/back"
SHORTEST_TOKEN = 32
# Below it, what is hidden can be worked out by who knows how it is hidden.
LEAST_HIDDEN = 5


class Settings(BaseSettings):
    """The settings of one running server."""

    model_config = SettingsConfigDict(
        env_prefix="EVENHAND_",
        env_file=ROOT / ".env",
        extra="ignore",
        frozen=True,
        # What is wrong is said without what was given: among it are passwords and secrets.
        hide_input_in_errors=True,
    )

    host: str = "127.0.0.1"
    port: int = Field(default=8000, ge=0, le=65535)
    database_url: str = f"sqlite:///{ROOT / 'data' / 'evenhand.sqlite3'}"
    # PostgreSQL: the connections of each process, all together fewer than the server takes.
    database_pool: int = Field(default=20, ge=1, le=500)
    # Processes that answer, each with its own memory and its own connections.
    workers: int = Field(default=1, ge=1, le=64)
    # Invented people only; every page says so.
    demo: bool = False
    clinic: str = Field(default="", max_length=80)
    # Of the pages, the PDFs and the notes: one for the whole installation.
    language: Literal["en", "de"] = "en"
    # The lines of the log on the console: for a program that reads them, or for a person.
    log: Literal["json", "text"] = "json"
    # An inner network without https: passwords and findings can then be read on the way.
    plain_http: bool = False
    # What a FHIR document says that it is: a LOINC code of those that the report knows.
    fhir_document_type: str = CONSULT_NOTE
    # What another program must carry to ask for decision support; without it there is none.
    api_token: SecretStr = SecretStr("")
    api_token_file: Path | None = None
    # The description of /api for programmers, at /api/openapi.json.
    api_docs: bool = False
    # The address that browsers use, as in https://evenhand.clinic.example; for the provider and
    # for links in what leaves.
    address: str = ""
    # The clinic's identity provider; docs/guide/identity-provider.md.
    oidc_issuer: str = ""
    oidc_client_id: str = ""
    oidc_client_secret: SecretStr = SecretStr("")
    oidc_client_secret_file: Path | None = None
    # As in “Sign in with …”.
    oidc_label: str = Field(default="the identity provider", min_length=1, max_length=40)

    # The clinic's seal on signed pages; docs/guide/seal.md.
    seal_file: Path | None = None
    seal_passphrase: SecretStr = SecretStr("")
    seal_passphrase_file: Path | None = None
    # Where a key of its own is made at first start, instead of beside the database.
    seal_folder: Path | None = None
    timestamp_url: str = ""
    sign_without_seal: bool = False

    # The smallest number of people that the page of counts tells; 1: every number.
    small_counts: int = Field(default=5, ge=1, le=100)

    @field_validator("small_counts")
    @classmethod
    def _check_small_counts(cls, least: int) -> int:
        """Refuse to start with a number that would hide hardly anything, and look as if it did."""
        if 1 < least < LEAST_HIDDEN:
            raise ValueError(f"1, which hides nothing, or {LEAST_HIDDEN} to 100")
        return least

    @field_validator("timestamp_url")
    @classmethod
    def _check_timestamp_url(cls, url: str) -> str:
        """Refuse to start with a time-stamp server that could not be asked."""
        parts = urlsplit(url)
        if url and (parts.scheme not in ("http", "https") or not parts.hostname):
            raise ValueError("not the address of a time-stamp server, as in https://tsa.example")
        return url

    @field_validator("database_url")
    @classmethod
    def _check_database(cls, url: str) -> str:
        """Refuse to start without the address of a database."""
        parse_address(url)
        return url

    @field_validator("fhir_document_type")
    @classmethod
    def _check_document_type(cls, code: str) -> str:
        """Refuse to start with a type that no document could name."""
        if code not in DOCUMENT_TYPES:
            known = ", ".join(f"{each} ({words})" for each, words in DOCUMENT_TYPES.items())
            raise ValueError(f"not one of {known}")
        return code

    @model_validator(mode="after")
    def _check_seal(self) -> Self:
        """Refuse two answers to one question; a seal that is missing is told when it is needed."""
        if self.seal_file is not None and self.seal_folder is not None:
            raise ValueError("EVENHAND_SEAL_FILE and EVENHAND_SEAL_FOLDER exclude each other")
        # Whether it can be read is told when it is needed, as of the seal itself.
        if self.seal_passphrase.get_secret_value() and self.seal_passphrase_file is not None:
            raise ValueError("EVENHAND_SEAL_PASSPHRASE and …_FILE exclude each other")
        return self

    @model_validator(mode="after")
    def _check_token(self) -> Self:
        """Refuse to start with a token that could be guessed."""
        token = self.token()
        if token and len(token) < SHORTEST_TOKEN:
            raise ValueError(f"EVENHAND_API_TOKEN: shorter than {SHORTEST_TOKEN} characters")
        return self

    def token(self) -> str:
        """What a program must carry to ask for decision support, "" where there is none.

        Raises: ValueError, where its own file cannot be read.
        """
        return _secret("API_TOKEN", self.api_token, self.api_token_file)

    @model_validator(mode="after")
    def _check_provider(self) -> Self:
        """Refuse to start with an identity provider that nobody could sign in with."""
        self.provider()
        return self

    def provider(self) -> ProviderSettings | None:
        """How the clinic's identity provider is reached; None without one.

        Raises: ValueError, where something is missing or not safe.
        """
        given = {
            "EVENHAND_ADDRESS": self.address,
            "EVENHAND_OIDC_ISSUER": self.oidc_issuer,
            "EVENHAND_OIDC_CLIENT_ID": self.oidc_client_id,
            "EVENHAND_OIDC_CLIENT_SECRET, or _FILE": self._client_secret(),
        }
        missing = [name for name, value in given.items() if not value]
        if set(given) - set(missing) <= {"EVENHAND_ADDRESS"}:
            return None
        if missing:
            raise ValueError(f"an identity provider needs also {'; '.join(missing)}")
        secret, way_back = self._client_secret(), self._way_back()
        try:
            return ProviderSettings(self.oidc_issuer, self.oidc_client_id, secret, way_back)
        except ValueError as error:
            raise ValueError(f"EVENHAND_OIDC_ISSUER: {error}") from None

    def _client_secret(self) -> str:
        return _secret("OIDC_CLIENT_SECRET", self.oidc_client_secret, self.oidc_client_secret_file)

    def passphrase(self) -> str:
        """The passphrase of the seal's file.

        Raises: ValueError, where its own file cannot be read.
        """
        return _secret("SEAL_PASSPHRASE", self.seal_passphrase, self.seal_passphrase_file)

    def _way_back(self) -> str:
        address = self.address.rstrip("/")
        parts = urlsplit(address)
        is_whole = parts.netloc != "" and not (parts.path or parts.query or parts.fragment)
        is_plain = parts.scheme == "http" and (self.plain_http or parts.hostname in LOOPBACK)
        if not (is_whole and (parts.scheme == "https" or is_plain)):
            raise ValueError(
                "EVENHAND_ADDRESS is not the address of a server, as in "
                "https://evenhand.clinic.example"
            )
        return f"{address}{WAY_BACK}"


def _secret(name: str, given: SecretStr, file: Path | None) -> str:
    """A secret, from the environment or from a file of its own.

    Raises: ValueError, where both are given or the file cannot be read.
    """
    secret = given.get_secret_value()
    if file is None:
        return secret
    if secret:
        raise ValueError(f"EVENHAND_{name} and …_FILE exclude each other")
    try:
        return file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"EVENHAND_{name}_FILE cannot be read: {type(error).__name__}") from None
