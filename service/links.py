"""Signed links: they hold for one address, and no one else can make them.

A link is the number of a consent and 128 bits of HMAC-SHA-256 [RFC-2104] over it and its address.
The key is a setting, or is made once and kept in the data folder.
"""

from __future__ import annotations

import hmac
import os
import re
import secrets
from base64 import urlsafe_b64encode
from contextlib import suppress
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from tempfile import NamedTemporaryFile

from service.settings import Settings
from service.store.consents import Consent

_MAC_BYTES = 16
_CODE_DIGITS = 6
_TOKEN = re.compile(r"(?<![\w.-])\d+(?:\.\d+)*\.[\w-]{22}(?![\w-])", re.ASCII)
_CODE = re.compile(
    rf"\b(code|answer|c[oó]digo|responda)(:?\s+)\d{{{_CODE_DIGITS}}}\b", re.IGNORECASE | re.ASCII
)


class Links:
    """Makes and checks the links and codes of addresses."""

    def __init__(self, settings: Settings) -> None:
        self._base = settings.base_url.rstrip("/")
        self._given = settings.link_secret.get_secret_value()
        self._file = settings.data / "link.key"

    def write(self, consent: Consent) -> str | None:
        """Return the address of the page of a consent; None: no base URL is set."""
        return f"{self._base}/told/{self.write_token(consent)}" if self._base else None

    def write_dug(self, consent: Consent, notice_id: int) -> str | None:
        """Return the address of the page on which the window of a notice is dug."""
        return f"{self._base}/dug/{self.write_token(consent, notice_id)}" if self._base else None

    def write_token(self, consent: Consent, *more: int) -> str:
        """Return what the link of a consent, and of a notice to it, ends in."""
        numbers = ".".join(map(str, (consent.id, *more)))
        signed = self._sign(f"link {numbers}", consent)[:_MAC_BYTES]
        return f"{numbers}.{urlsafe_b64encode(signed).rstrip(b'=').decode()}"

    def write_code(self, consent: Consent) -> str:
        """Return the six digits that confirm an address."""
        number = int.from_bytes(self._sign("code", consent)[:8]) % 10**_CODE_DIGITS
        return f"{number:0{_CODE_DIGITS}d}"

    def holds(self, token: str, consent: Consent, *more: int) -> bool:
        """Whether a token is that of a consent, and of a notice to it."""
        return hmac.compare_digest(token.encode(), self.write_token(consent, *more).encode())

    def is_code(self, code: str, consent: Consent) -> bool:
        """Whether a code is that of a consent."""
        return hmac.compare_digest(code.strip().encode(), self.write_code(consent).encode())

    def write_account(self, account_id: int, count: int, expires_at: datetime) -> str:
        """Return what the link ends in by which an account's password is chosen."""
        said = f"{account_id}.{count}.{int(expires_at.timestamp())}"
        signed = hmac.digest(self._key, f"account {said}".encode(), "sha256")[:_MAC_BYTES]
        return f"{said}.{urlsafe_b64encode(signed).rstrip(b'=').decode()}"

    def read_account(self, token: str, now: datetime) -> tuple[int, int] | None:
        """Return the account and the count that a link is of; None: it is none, or has expired."""
        numbers = find_numbers(token, longest=11)
        if len(numbers) != 3:
            return None
        account_id, count, expires_s = numbers
        expires_at = datetime.fromtimestamp(expires_s, UTC)
        own = self.write_account(account_id, count, expires_at)
        holds = hmac.compare_digest(token.encode(), own.encode()) and now < expires_at
        return (account_id, count) if holds else None

    def write_browser(self, email: str) -> str:
        """Return what a browser keeps by which someone has signed in with an address."""
        signed = hmac.digest(self._key, f"browser {email}".encode(), "sha256")[:_MAC_BYTES]
        return urlsafe_b64encode(signed).rstrip(b"=").decode()

    def is_browser(self, kept: str, email: str) -> bool:
        """Whether that is what a browser keeps."""
        return hmac.compare_digest(kept.encode(), self.write_browser(email).encode())

    @cached_property
    def _key(self) -> bytes:
        return self._given.encode() if self._given else _read_key(self._file)

    def _sign(self, purpose: str, consent: Consent) -> bytes:
        said = "\0".join((purpose, str(consent.id), consent.channel, consent.address))
        return hmac.digest(self._key, said.encode(), "sha256")


def hide_secrets(text: str) -> str:
    """Return what was written to an address without what any link or code in it is secret by."""
    return _CODE.sub(r"\1\2...", _TOKEN.sub("...", text))


def find_numbers(token: str, longest: int = 9) -> list[int]:
    """Return the numbers that a token says to be of; of what is no token none."""
    numbers = token.split(".")[:-1]
    are_numbers = all(one.isascii() and one.isdigit() and len(one) <= longest for one in numbers)
    return list(map(int, numbers)) if are_numbers else []


def _read_key(path: Path) -> bytes:
    """Return the key, made where there is none yet: whole, and for its owner alone."""
    if not path.exists():
        with NamedTemporaryFile(dir=path.parent, prefix=".link-key-") as made:  # mode 0600
            made.write(secrets.token_hex(32).encode())
            made.flush()
            with suppress(FileExistsError):  # another process was quicker: its key holds
                os.link(made.name, path)
    return path.read_bytes()
