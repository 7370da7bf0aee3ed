"""What a clinic sets reaches the program."""

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from pydantic import ValidationError

from app.cli import main
from app.main import DemoDatabase, create_app
from app.people.oidc import ProviderSettings
from app.settings import ROOT, Settings
from app.store.account_changes import add_account
from app.store.actor import PROGRAM
from app.store.alerts import alerts
from app.store.engine import make_engine, reading, writing

PROVIDER = {
    "ADDRESS": "https://evenhand.example/",
    "OIDC_ISSUER": "https://login.example",
    "OIDC_CLIENT_ID": "evenhand",
    "OIDC_CLIENT_SECRET": "a-secret",
    "OIDC_LABEL": "Harbour Login",
}
FOUND = ProviderSettings(
    "https://login.example", "evenhand", "a-secret", "https://evenhand.example/provider/back"
)


def test_without_any_setting_the_program_keeps_to_this_machine() -> None:
    """Nobody in the network reaches a server that nobody set up."""
    settings = Settings(_env_file=None)

    assert ("127.0.0.1", 8000, False) == (settings.host, settings.port, settings.demo)
    assert not settings.plain_http
    assert f"sqlite:///{ROOT}/data/evenhand.sqlite3" == settings.database_url


def test_every_setting_comes_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under the program's own prefix."""
    given = {
        "HOST": "0.0.0.0", "PORT": "9000", "DEMO": "true", "CLINIC": "Harbour Clinic",
        "DATABASE_URL": "sqlite:///elsewhere.db", "PLAIN_HTTP": "true",
        "SEAL_PASSPHRASE": "secret", "SEAL_FOLDER": "keys", "SIGN_WITHOUT_SEAL": "true",
        "TIMESTAMP_URL": "https://tsa.example",
        "FHIR_DOCUMENT_TYPE": "34797-1",
        "API_TOKEN": "t" * 32, "API_DOCS": "true", "SMALL_COUNTS": "10",
        "DATABASE_POOL": "7", "WORKERS": "2", "LOG": "text", "LANGUAGE": "de",
    } | PROVIDER  # fmt: skip
    for name, value in given.items():
        monkeypatch.setenv(f"EVENHAND_{name}", value)
    settings = Settings(_env_file=None)

    in_a_file = {
        "OIDC_CLIENT_SECRET_FILE", "SEAL_FILE", "SEAL_PASSPHRASE_FILE", "API_TOKEN_FILE",
    }  # fmt: skip
    assert set(given) | in_a_file == {name.upper() for name in Settings.model_fields}
    assert PROVIDER["OIDC_LABEL"] == settings.oidc_label
    assert FOUND == settings.provider()
    assert ("0.0.0.0", 9000, True) == (settings.host, settings.port, settings.demo)
    assert (7, 2) == (settings.database_pool, settings.workers)
    assert ("text", "de") == (settings.log, settings.language)
    assert settings.plain_http
    assert settings.sign_without_seal
    assert ("secret", "https://tsa.example") == (settings.passphrase(), settings.timestamp_url)
    assert "Harbour Clinic" == settings.clinic
    assert "sqlite:///elsewhere.db" == settings.database_url
    assert "34797-1" == settings.fhir_document_type
    assert 10 == settings.small_counts


@pytest.mark.parametrize("least", [0, 2, 4, 101])
def test_a_number_that_hides_hardly_anything_is_refused_at_the_start(least: int) -> None:
    """It would look as if small counts were hidden."""
    with pytest.raises(ValidationError, match="small_counts"):
        Settings(_env_file=None, small_counts=least)


def test_a_type_that_no_document_could_name_is_refused_at_the_start() -> None:
    """It is found when the server starts, and not by whoever sends the first document."""
    with pytest.raises(ValidationError, match=r"not one of 11488-4 \(Consult note\), 34797-1"):
        Settings(_env_file=None, fhir_document_type="57133-1")


@pytest.mark.parametrize("port", ["-1", "65536", "http"])
def test_a_port_that_is_none_is_refused_at_the_start(
    monkeypatch: pytest.MonkeyPatch, port: str
) -> None:
    """Better than a server that nobody finds."""
    monkeypatch.setenv("EVENHAND_PORT", port)
    with pytest.raises(ValidationError, match="port"):
        Settings(_env_file=None)


def with_provider(**changed: Any) -> Settings:
    """Settings with an identity provider, some of them changed; None leaves one out."""
    given = {name.lower(): value for name, value in PROVIDER.items()} | changed
    return Settings(
        _env_file=None, **{name: value for name, value in given.items() if value is not None}
    )


def test_without_an_identity_provider_there_is_none() -> None:
    """Also where the address of the server is written down."""
    assert Settings(_env_file=None).provider() is None
    assert Settings(_env_file=None, address="https://evenhand.example").provider() is None


@pytest.mark.parametrize(
    "missing", ["ADDRESS", "OIDC_ISSUER", "OIDC_CLIENT_ID", "OIDC_CLIENT_SECRET"]
)
def test_half_an_identity_provider_is_refused_at_the_start(missing: str) -> None:
    """Better than a link that leads nowhere; and what was given is not repeated."""
    with pytest.raises(ValidationError, match=f"needs also EVENHAND_{missing}") as refused:
        with_provider(**{missing.lower(): None})
    assert "a-secret" not in str(refused.value)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("oidc_issuer", "http://login.example"), ("oidc_issuer", "login.example"),
        ("address", "http://evenhand.example"), ("address", "evenhand.example"),
        ("address", "https://evenhand.example/below"), ("address", "https:///"),
    ],
)  # fmt: skip
def test_an_address_that_could_be_read_on_the_way_is_refused(name: str, value: str) -> None:
    """Whoever reads the answer of the provider could be first to use it."""
    with pytest.raises(ValidationError, match="address"):
        with_provider(**{name: value})


@pytest.mark.parametrize(
    ("address", "plain_http"),
    [("http://127.0.0.1:8000", False), ("http://localhost", False), ("http://evenhand", True)],
)
def test_plain_http_is_for_this_machine_or_where_the_clinic_says_so(
    address: str, plain_http: bool
) -> None:
    """As for everything else."""
    found = with_provider(address=address, plain_http=plain_http).provider()

    assert found
    assert f"{address}/provider/back" == found.redirect_uri


def test_the_secret_can_stand_in_a_file(tmp_path: Path) -> None:
    """Where the environment of a service can be read by others."""
    file = tmp_path / "secret"
    file.write_text("a-secret\n")

    assert FOUND == with_provider(oidc_client_secret=None, oidc_client_secret_file=file).provider()
    with pytest.raises(ValidationError, match="exclude each other"):
        with_provider(oidc_client_secret_file=file)
    with pytest.raises(ValidationError, match="cannot be read: FileNotFoundError"):
        with_provider(oidc_client_secret=None, oidc_client_secret_file=tmp_path / "none")
    file.write_text("\n")
    with pytest.raises(ValidationError, match="needs also EVENHAND_OIDC_CLIENT_SECRET, or _FILE"):
        with_provider(oidc_client_secret=None, oidc_client_secret_file=file)


def test_the_secret_stays_out_of_what_is_shown_of_the_settings() -> None:
    """They end up in tracebacks."""
    assert "a-secret" not in repr(with_provider())


def start(database: Path, *, demo: bool) -> None:
    """Start the program on a database, and stop it."""
    settings = Settings(_env_file=None, database_url=f"sqlite:///{database}", demo=demo)
    with TestClient(create_app(settings), base_url="https://testserver"):
        pass


def called_to(database: Path) -> list[str]:
    """To whose emergencies a physician is called."""
    engine = make_engine(f"sqlite:///{database}")
    with reading(engine) as session:
        found = [each.patient.chart_number for each in alerts(session)]
    engine.dispose()
    return found


def test_a_demonstration_never_becomes_a_clinic(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Everybody knows the passwords of its accounts; the message, a line, says what to set."""
    database = tmp_path / "evenhand.sqlite3"
    start(database, demo=True)
    assert ["DEMO-0008"] == called_to(database), "the demonstration is finished beside the server"
    for _ in range(2):
        with pytest.raises(DemoDatabase, match="set EVENHAND_DEMO=true, or EVENHAND_DATABASE_URL"):
            start(database, demo=False)
    monkeypatch.setenv("EVENHAND_DATABASE_URL", f"sqlite:///{database}")
    monkeypatch.setenv("EVENHAND_DEMO", "false")

    assert 2 == main(["serve"])
    assert re.fullmatch(
        r"evenhand: this database holds .* demonstration.*\n", capsys.readouterr().err
    )
    start(database, demo=True)
    assert ["DEMO-0008"] == called_to(database)


def test_a_clinic_never_becomes_a_demonstration(tmp_path: Path) -> None:
    """Its people would be called invented; it is refused, and the next start goes on as before."""
    database = tmp_path / "evenhand.sqlite3"
    start(database, demo=False)
    engine = make_engine(f"sqlite:///{database}")
    with writing(engine) as session:
        add_account(
            session, "admin", "Ada Chwilowa", "administrator", actor=PROGRAM, now=datetime.now(UTC)
        )
    engine.dispose()
    with pytest.raises(DemoDatabase, match="set EVENHAND_DEMO=false, or EVENHAND_DATABASE_URL"):
        start(database, demo=True)
    start(database, demo=False)
