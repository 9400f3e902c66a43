"""What cannot be done for now: others use the store, or it has no room; no fault of who asked."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection

_SQLITE = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_POSTGRESQL = ("40001", "40P01", "55P03")  # cannot serialise, deadlock, lock timeout
_FULL_SQLITE = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)  # the latter under a quota
_FULL_POSTGRESQL = ("53100",)  # disk full
_NO_ROOM = (
    "the store takes no more: the disk that it lies on is full, or fails. Nothing of it was kept. "
    "Make room there, then try again"
)


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
    return _is_among(error, _SQLITE, _POSTGRESQL)


def is_full(error: BaseException | None) -> bool:
    """Return whether an error of a driver says that nothing more can be written where it lies."""
    return _is_among(error, _FULL_SQLITE, _FULL_POSTGRESQL)


def explain_not_now(error: BaseException) -> str | None:
    """Return why what failed may be tried again as it is; None where it may not."""
    if is_full(getattr(error, "orig", None)):
        return _NO_ROOM
    return f"{error}" if isinstance(error, NotNowError) else None


def _is_among(
    error: BaseException | None, sqlite: Collection[int], postgresql: Collection[str]
) -> bool:
    if isinstance(error, sqlite3.Error):
        return getattr(error, "sqlite_errorcode", 0) & 0xFF in sqlite
    return getattr(error, "sqlstate", None) in postgresql
