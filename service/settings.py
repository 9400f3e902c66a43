"""Settings: what the environment says (DIGSEASON_...), with defaults that need no set-up."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Where things lie. Everything kept by default lies in the data folder."""

    model_config = SettingsConfigDict(env_prefix="DIGSEASON_")

    data: Path
    database_url: str = ""
    mail_from: str = "Digseason <digseason@localhost>"
    contact: str = ""
    tick_s: int = 30
    inbox_settled_s: int = 10
    push_max_bytes: int = 1_000_000
    push_per_min: int = 60
    silent_factor: float = Field(default=3, ge=1, allow_inf_nan=False)
    sensor_accuracy_c: float = Field(default=0.2, ge=0, allow_inf_nan=False)

    @property
    def store_file(self) -> Path:
        """The SQLite file that is the database unless a URL is set."""
        return self.data / "digseason.db"

    @property
    def store_url(self) -> str:
        """The database."""
        return self.database_url or f"sqlite:///{self.store_file}"

    @property
    def inbox(self) -> Path:
        """The watched folder, with one for each logger in it."""
        return self.data / "inbox"

    @property
    def outbox(self) -> Path:
        """The folder that digests are delivered into."""
        return self.data / "outbox"
