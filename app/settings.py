"""What a clinic can set: environment variables EVENHAND_*, or a file .env beside the program."""

from pathlib import Path

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

ROOT = Path(__file__).resolve().parent.parent


class Settings(BaseSettings):
    """The settings of one running server."""

    model_config = SettingsConfigDict(
        env_prefix="EVENHAND_", env_file=ROOT / ".env", extra="ignore", frozen=True
    )

    host: str = "127.0.0.1"
    port: int = Field(default=8000, ge=0, le=65535)
    database_url: str = f"sqlite:///{ROOT / 'data' / 'evenhand.sqlite3'}"
    # Invented people only; every page says so.
    demo: bool = False
    clinic: str = Field(default="", max_length=80)
