"""What cannot be done for now, since others use the store; no fault of who asked."""

from __future__ import annotations

import sqlite3

_SQLITE = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_POSTGRESQL = ("40001", "40P01", "55P03")  # cannot serialise, deadlock, lock timeout


class NotNowError(Exception):
    """What cannot be done now, since others are at work, and may be tried again as it is."""


class StoreBusyError(NotNowError):
    """Others were writing for longer than this could wait; nothing of it is kept."""

    def __init__(self) -> None:
        super().__init__(
            "others are writing to the store, and this has waited long enough: nothing of it was "
            "kept. Try again in a minute; `digseason check` says what runs"
        )


def is_busy(error: BaseException | None) -> bool:
    """Return whether an error of a driver says that others hold what is to be written to."""
    if isinstance(error, sqlite3.Error):
        return getattr(error, "sqlite_errorcode", 0) & 0xFF in _SQLITE
    return getattr(error, "sqlstate", None) in _POSTGRESQL
