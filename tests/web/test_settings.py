"""What a clinic sets reaches the program."""

import pytest
from pydantic import ValidationError

from app.settings import ROOT, Settings


def test_without_any_setting_the_program_keeps_to_this_machine() -> None:
    """Nobody in the network reaches a server that nobody set up."""
    settings = Settings(_env_file=None)

    assert ("127.0.0.1", 8000, False) == (settings.host, settings.port, settings.demo)
    assert f"sqlite:///{ROOT}/data/evenhand.sqlite3" == settings.database_url


def test_every_setting_comes_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under the program's own prefix."""
    given = {
        "HOST": "0.0.0.0", "PORT": "9000", "DEMO": "true", "CLINIC": "Harbour Clinic",
        "DATABASE_URL": "sqlite:///elsewhere.db",
    }  # fmt: skip
    for name, value in given.items():
        monkeypatch.setenv(f"EVENHAND_{name}", value)
    settings = Settings(_env_file=None)

    assert set(given) == {name.upper() for name in Settings.model_fields}
    assert ("0.0.0.0", 9000, True) == (settings.host, settings.port, settings.demo)
    assert "Harbour Clinic" == settings.clinic
    assert "sqlite:///elsewhere.db" == settings.database_url


@pytest.mark.parametrize("port", ["-1", "65536", "http"])
def test_a_port_that_is_none_is_refused_at_the_start(
    monkeypatch: pytest.MonkeyPatch, port: str
) -> None:
    """Better than a server that nobody finds."""
    monkeypatch.setenv("EVENHAND_PORT", port)
    with pytest.raises(ValidationError, match="port"):
        Settings(_env_file=None)
