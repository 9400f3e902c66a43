"""One round at a time, whichever processes and hosts use the store."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from threading import Event, Thread

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from service.store.busy import StoreBusyError
from service.store.engine import writing
from service.store.round_lease import (
    LEASE,
    LOOKING_AHEAD,
    ROUND,
    RoundHeldError,
    RoundLease,
    RoundLostError,
    give_back_lease,
    renew_lease,
    take_lease,
)

ASKED_EVERY_S = 0.2
RENEWED_EVERY_S = LEASE.total_seconds() / 3
GIVEN_BACK_WITHIN_S = 5.0
"""A store that is away for no longer does not let the next round wait until the lease lapses."""

log = logging.getLogger(__name__)


def holding_outlooks(engine: Engine) -> AbstractContextManager[RoundLease]:
    """Hold the lease of looking ahead, as `holding_round` does that of the round."""
    return holding_round(engine, what=LOOKING_AHEAD)


@contextmanager
def holding_round(
    engine: Engine,
    patience_s: float = 0,
    renewed_every_s: float = RENEWED_EVERY_S,
    what: int = ROUND,
) -> Iterator[RoundLease]:
    """Hold the lease of the round, renewed while it lasts.

    RoundHeldError where another has it for longer than this waits.

    Whoever writes under it calls `renew_lease` in the same transaction, first of all: then a round
    that was taken for dead, and was not, writes nothing.
    """
    lease = _take(engine, patience_s, what)
    done = Event()
    renewing = Thread(target=_renew, args=(engine, lease, renewed_every_s, done), daemon=True)
    renewing.start()
    try:
        yield lease
    finally:
        done.set()
        renewing.join()
        _give_back(engine, lease)


def _take(engine: Engine, patience_s: float, what: int) -> RoundLease:
    end = time.monotonic() + patience_s
    while True:
        try:
            with writing(engine) as connection:
                return take_lease(connection, what)
        except RoundHeldError:
            if time.monotonic() >= end:
                raise
        time.sleep(ASKED_EVERY_S)


def _renew(engine: Engine, lease: RoundLease, every_s: float, done: Event) -> None:
    while not done.wait(every_s):
        try:
            with writing(engine) as connection:
                renew_lease(connection, lease)
        except RoundLostError:
            return
        except (
            SQLAlchemyError,
            StoreBusyError,
        ) as error:  # the next time may go well; if not, writing will tell
            log.warning("the lease of the round was not renewed: %s", error)


def _give_back(engine: Engine, lease: RoundLease) -> None:
    end = time.monotonic() + GIVEN_BACK_WITHIN_S
    while True:
        try:
            with writing(engine) as connection:
                return give_back_lease(connection, lease)
        except (SQLAlchemyError, StoreBusyError):
            if time.monotonic() >= end:
                raise
        time.sleep(ASKED_EVERY_S)
