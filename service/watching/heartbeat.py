"""A sign of life to an address of the user's: whoever waits there misses it when all stands still.

It is given by who runs the rounds, beside them. The address is the operator's own word, so it may
lie in a private network, and what it redirects to may not.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from threading import Event
from urllib.parse import urlsplit

from sqlalchemy import Engine

from service.fetching.http import Fetcher, FetchError, PermanentFetchError
from service.settings import Settings
from service.store.alarms import fetch_lasting
from service.store.busy import NotNowError
from service.store.channel_troubles import (
    HEARTBEAT,
    ChannelTrouble,
    end_trouble,
    fetch_troubles,
    keep_trouble,
)
from service.store.engine import reading, writing
from service.store.rounds import fetch_last_round_at
from service.watching.job_runs import Job

EVERY_S = 600
READ_TIMEOUT_S = 10


class Heartbeat:
    """Knows how the rounds of this process go, and says so."""

    def __init__(self) -> None:
        self.fails = False
        self._said: tuple[bool, datetime | None] | None = None
        self._said_s = 0.0

    def run(self, job: Job, engine: Engine, settings: Settings, stop: Event) -> None:
        """Run the round, and keep whether it failed."""
        try:
            job(engine, settings, stop)
        except NotNowError:
            raise
        except Exception:
            self.fails = True
            raise
        self.fails = False

    def beat(self, engine: Engine, settings: Settings, stop: Event) -> None:
        """Ask the address after each round, every ten minutes in between, and when it turns."""
        if not settings.heartbeat_url:
            return
        now = datetime.now(UTC)
        with reading(engine) as connection:
            last_at = fetch_last_round_at(connection)
            is_well = not self.fails and not fetch_lasting(connection, now)
        state = is_well, last_at
        if state == self._said and time.monotonic() - self._said_s < EVERY_S:
            return
        self._said, self._said_s = state, time.monotonic()
        url = settings.heartbeat_url if is_well else settings.heartbeat_failed_url
        if url:
            _keep(engine, _ask(url, settings, stop), now)


def _ask(url: str, settings: Settings, stop: Event) -> str | None:
    """Ask an address; return why that failed, without the address, which may hold a key."""
    host = urlsplit(url).hostname or ""
    fetcher = Fetcher(
        settings.contact,
        allow_hosts=(host,),
        read_timeout_s=READ_TIMEOUT_S,
        whole_answer_s=READ_TIMEOUT_S,
        sleep=stop.wait,
    )
    try:
        fetcher.fetch_anew(url)
    except PermanentFetchError as error:
        if error.status is None:
            return f"{error}".replace(url, host)
        if not HTTPStatus.OK <= error.status < HTTPStatus.MULTIPLE_CHOICES:
            return f"{host} answers {error.status}"
    except FetchError as error:
        return f"{error}".replace(url, host)
    return None


def _keep(engine: Engine, failure: str | None, now: datetime) -> None:
    """Keep that the address does not answer, or does again."""
    with reading(engine) as connection:
        before = fetch_troubles(connection).get(HEARTBEAT)
    if failure is None and before is None:
        return
    with writing(engine) as connection:
        if failure is None:
            end_trouble(connection, HEARTBEAT)
            return
        since, attempts = (before.since, before.attempts) if before else (now, 0)
        next_at = now + timedelta(seconds=EVERY_S)
        keep_trouble(connection, ChannelTrouble(HEARTBEAT, since, attempts + 1, next_at, failure))
