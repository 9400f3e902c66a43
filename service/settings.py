"""Settings: what the environment says (DIGSEASON_...), with defaults that need no set-up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, Json, SecretStr, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from alerts.addresses import parse_address
from service.channels.answers import check_expression, check_statuses
from service.channels.faults import NO_SENDER, check_sender, find_sending_faults, is_near

SHORTEST_KEY = 20
SMTP_PORTS = {"starttls": 587, "tls": 465, "none": 25}


def check_base_url(text: str) -> str:
    """Refuse an address that no page can lie under."""
    parts = urlsplit(text)
    is_one = parts.scheme in ("http", "https") and parts.hostname and not parts.query
    if text and not (is_one and text.isascii() and text.isprintable() and " " not in text):
        raise ValueError(
            "write the address at which readers reach `digseason serve`, such as "
            "https://dig.example.org"
        )
    return text


def check_heartbeat_url(text: str) -> str:
    """Refuse what cannot be asked, without showing it: it may hold a key."""
    parts = urlsplit(text)
    if text and not (parts.scheme in ("http", "https") and parts.hostname):
        raise ValueError("write an address that begins with https://")
    return text


def check_price(text: str) -> str:
    """Refuse what is no number with a currency."""
    if text and not re.fullmatch(r"\d{1,6}(\.\d{1,6})? \S{1,8}", text):
        raise ValueError("write a number and a currency, such as 0.07 EUR")
    return text


def check_operator(text: str) -> str:
    """Refuse what is no address of mail."""
    if text:
        parse_address(text)
    return text


Expression = Annotated[str, AfterValidator(check_expression)]
Statuses = Annotated[str, AfterValidator(check_statuses)]


def check_database_url(text: str) -> str:
    """Refuse what is no address of a database that can be the store, without showing it."""
    try:
        is_one = not text or make_url(text).get_backend_name() in ("postgresql", "sqlite")
    except ArgumentError:
        is_one = False
    if not is_one:
        raise ValueError("that is no address of a database; write postgresql://user@host/name")
    return text


def check_key(key: SecretStr) -> SecretStr:
    """Refuse what could be found by trying: who has one signature may try at their leisure."""
    if 0 < len(key.get_secret_value()) < SHORTEST_KEY:
        raise ValueError(
            f"is shorter than {SHORTEST_KEY} characters, and could be guessed; write what "
            "`openssl rand -hex 32` prints"
        )
    return key


Key = Annotated[SecretStr, AfterValidator(check_key)]
PerMin = Annotated[float, Field(gt=0, le=100_000)]
TimeoutS = Annotated[float, Field(gt=0, le=600)]


class Settings(BaseSettings):
    """Where things lie, by default all in the data folder, and how messages leave.

    What may hold a password is shown nowhere: neither here nor in an error.
    """

    model_config = SettingsConfigDict(env_prefix="DIGSEASON_", hide_input_in_errors=True)

    data: Path
    database_url: Annotated[str, AfterValidator(check_database_url)] = Field(default="", repr=False)
    contact: str = ""
    operator: Annotated[str, AfterValidator(check_operator)] = ""
    heartbeat_url: Annotated[str, AfterValidator(check_heartbeat_url)] = Field(
        default="", repr=False
    )
    heartbeat_failed_url: Annotated[str, AfterValidator(check_heartbeat_url)] = Field(
        default="", repr=False
    )
    log: Literal["lines", "json"] = "lines"
    tick_s: float = Field(default=30, gt=0)
    inbox_settled_s: float = Field(default=10, ge=0, allow_inf_nan=False)
    base_url: Annotated[str, AfterValidator(check_base_url)] = ""
    link_secret: Key = SecretStr("")
    texts_secret: Key = SecretStr("")

    oidc_issuer: Annotated[str, AfterValidator(check_base_url)] = ""
    oidc_client_id: str = ""
    oidc_client_secret: SecretStr = SecretStr("")
    oidc_name: str = ""

    push_max_bytes: int = 1_000_000
    push_per_min: int = 60
    silent_factor: float = Field(default=3, ge=1, allow_inf_nan=False)
    sensor_accuracy_c: float = Field(default=0.2, ge=0, allow_inf_nan=False)
    mail_charts: bool = True
    advisory_days: int = Field(default=7, ge=0)
    backup_days: int = Field(default=8, ge=0)  # a weekly one, and a day
    soon_days: int = Field(default=7, ge=0, le=60)

    mail_from: Annotated[str, AfterValidator(check_sender)] = NO_SENDER
    smtp_host: str = ""
    smtp_security: Literal["starttls", "tls", "none"] = "starttls"
    smtp_port: int | None = Field(default=None, ge=1, le=65535)
    smtp_user: str = ""
    smtp_password: SecretStr = SecretStr("")
    smtp_timeout_s: TimeoutS = 30
    smtp_per_min: PerMin = 60
    smtp_per_connection: int = Field(default=100, ge=1)

    bounces: Path | None = None
    bounces_secret: Key = SecretStr("")

    sms_url: str = Field(default="", repr=False)
    sms_method: Literal["POST", "GET", "PUT"] = "POST"
    sms_headers: Json[dict[str, str]] = Field(default={}, validate_default=False, repr=False)
    sms_body: str = Field(default="", repr=False)
    sms_secret: SecretStr = SecretStr("")
    sms_sender: str = ""
    sms_success_status: Statuses = "200-299"
    sms_success: Expression = ""
    sms_permanent_status: Statuses = ""
    sms_permanent: Expression = ""
    sms_id: Expression = ""
    sms_timeout_s: TimeoutS = 30
    sms_per_min: PerMin = 60
    sms_mail_to: str = ""
    sms_part_price: Annotated[str, AfterValidator(check_price)] = ""

    @model_validator(mode="after")
    def _check_sending(self) -> Self:
        faults = [*find_sending_faults(self), *self._find_provider_faults()]
        if self.heartbeat_failed_url and not self.heartbeat_url:
            faults.append(
                "DIGSEASON_HEARTBEAT_URL is missing: write what is asked when all is well"
            )
        if faults:
            raise ValueError("; ".join(faults))
        return self

    def _find_provider_faults(self) -> Iterator[str]:
        if not self.oidc_issuer:
            if self.oidc_client_id or self.oidc_name:
                yield "DIGSEASON_OIDC_ISSUER is missing: write the address of the provider"
            return
        if not self.oidc_client_id:
            yield "DIGSEASON_OIDC_CLIENT_ID is missing: write what the provider calls Digseason"
        if not self.base_url:
            yield "DIGSEASON_BASE_URL is missing: the provider sends people back to it"
        parts = urlsplit(self.oidc_issuer)
        if parts.scheme != "https" and not is_near(parts.hostname or "", "is_loopback"):
            yield "DIGSEASON_OIDC_ISSUER: write an address that begins with https://"

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
        """The folder that messages are written into where no channel is set up."""
        return self.data / "outbox"

    @property
    def smtp_port_used(self) -> int:
        """The port of the mail server: that of its security unless one is set."""
        return self.smtp_port or SMTP_PORTS[self.smtp_security]
