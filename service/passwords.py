"""Passwords: kept as Argon2id hashes [RFC-9106], and how good they must be."""

from __future__ import annotations

from functools import cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

SHORTEST, LONGEST = 12, 200
"""Characters. A length and no rules of signs: [NIST-800-63B] 3.1.1."""

_hasher = PasswordHasher()
_turns = BoundedSemaphore(2)
"""Each hash takes 64 MB while it is computed: who try at once take turns."""


def is_good_password(password: str, email: str) -> bool:
    """Whether a password is long enough, and not the address or one sign over and over."""
    is_long = SHORTEST <= len(password) <= LONGEST
    return is_long and len(set(password)) > 4 and password.lower() != email.lower()


def hash_password(password: str) -> str:
    """Return what is kept of a password; takes a tenth of a second."""
    with _turns:
        return _hasher.hash(password)


def verify_password(password_hash: str | None, password: str) -> bool:
    """Whether a password is the one; takes as long where there is none."""
    kept = password_hash or _hash_of_none()
    try:
        with _turns:
            is_one = _hasher.verify(kept, password[:LONGEST])
    except (VerificationError, InvalidHashError):
        return False
    return is_one and password_hash is not None


def is_outdated(password_hash: str) -> bool:
    """Whether a hash was made more cheaply than is done now."""
    return _hasher.check_needs_rehash(password_hash)


@cache
def _hash_of_none() -> str:
    return hash_password("of no one")
