"""Deliver what waits in the outbox, each message by the channel that the settings give it.

A message is claimed, handed over, then marked while the next one is claimed: one that was handed
over but not marked when the process died is handed over again once its lease has lapsed, with the
same Message-ID. What fails for now is tried again, later each time; what fails for good is told to
the coordinators. A channel that takes nothing ends its run, and costs no message anything.
"""

from __future__ import annotations

import logging
import random
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from threading import Event

from sqlalchemy import Connection, Engine

from service.channels.choosing import CHANNELS, open_channel
from service.channels.contract import (
    Channel,
    ChannelDownError,
    DoubtfulSendError,
    PassingSendError,
    PermanentSendError,
    SendError,
)
from service.quiet_hours import find_quiet_end
from service.settings import Settings
from service.store.channel_troubles import (
    ChannelTrouble,
    end_trouble,
    fetch_troubles,
    keep_trouble,
)
from service.store.engine import reading, writing
from service.store.holds import Hold, fetch_hold
from service.store.outbox import (
    LONGEST_WAIT,
    End,
    Message,
    claim_message,
    end_message,
    fetch_due_channels,
    mark_delivered,
    put_back,
    put_off,
    put_off_for_quiet,
)
from service.store.recipients import Recipient, fetch_recipients
from service.store.undelivered import add_undelivered

MESSAGE_WAIT, LONGEST_MESSAGE_WAIT = timedelta(minutes=5), timedelta(hours=6)
MOST_ATTEMPTS = 25
"""Five days of waits: [RFC-5321] 4.5.4.1 has a sender give up after four or five."""
MOST_DOUBTED = 5
"""So many addresses refused one after the other, and it is not them but the channel."""
CHANNEL_WAIT, LONGEST_CHANNEL_WAIT = timedelta(minutes=1), timedelta(minutes=30)

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Sent:
    """A message that was handed over.

    receipt : what was said to it; of a file, where it lies
    is_real : whether it went out, and not into a file
    """

    message: Message
    receipt: str
    is_real: bool


@dataclass(frozen=True)
class NotSent:
    """A message that was not taken. `end`: None where it is tried again."""

    message: Message
    why: str
    end: End | None


@dataclass(frozen=True)
class DeliveryReport:
    """What a delivery came to.

    troubles : why a channel took nothing any more, by its name
    hold : why nothing was sent at all; None: nothing holds
    """

    sent: list[Sent] = field(default_factory=list)
    not_sent: list[NotSent] = field(default_factory=list)
    troubles: dict[str, str] = field(default_factory=dict)
    hold: Hold | None = None

    @property
    def files(self) -> list[Path]:
        """The files that were written."""
        return [Path(one.receipt) for one in self.sent if not one.is_real]


def deliver(
    engine: Engine,
    settings: Settings,
    now: datetime,
    at_once: bool = True,
    stop: Event | None = None,
) -> DeliveryReport:
    """Hand over every message that is due at `now` or becomes so meanwhile; return what came of it.

    Unless `at_once`, a channel in trouble is left alone until its next try is due. `stop` ends it
    between two messages.
    """
    report, begun_s = DeliveryReport(), time.monotonic()
    with reading(engine) as connection:
        hold = fetch_hold(connection)
        troubles = fetch_troubles(connection)
        due = fetch_due_channels(connection, now)
        readers = fetch_recipients(connection) if due else {}
    if hold:
        return replace(report, hold=hold)
    for name in (one for one in CHANNELS if one in due):
        trouble = troubles.get(name)
        if trouble and not at_once and now < trouble.next_try_at <= now + LONGEST_WAIT:
            continue
        with closing(open_channel(name, settings)) as channel:
            run = _Run(
                engine,
                name,
                channel,
                trouble,
                report,
                readers,
                lambda: now + timedelta(seconds=time.monotonic() - begun_s),
            )
            run.deliver(stop or Event())
    return report


@dataclass
class _Run:
    """The messages of one channel, one after the other."""

    engine: Engine
    name: str
    channel: Channel
    trouble: ChannelTrouble | None
    report: DeliveryReport
    readers: Mapping[str, Recipient]
    clock: Callable[[], datetime]
    doubted: set[str] = field(default_factory=set)

    def deliver(self, stop: Event) -> None:
        """Hand over what is due, no faster than the channel takes it."""
        with writing(self.engine) as connection:
            message = self._claim(connection)
        next_s = time.monotonic()
        while message:
            quiet_until = self._find_quiet_end(message)
            if stop.wait(0 if quiet_until else max(0.0, next_s - time.monotonic())):
                with writing(self.engine) as connection:
                    put_back(connection, message)
                return
            if quiet_until:
                with writing(self.engine) as connection:
                    put_back(connection, message)
                    put_off_for_quiet(connection, message, quiet_until)
                    message = self._claim(connection)
            else:
                next_s = time.monotonic() + self._between_s
                message = self._hand_over(message)

    @property
    def _between_s(self) -> float:
        return 60 / self.channel.per_min

    def _claim(self, connection: Connection) -> Message | None:
        lease = self.channel.lease + timedelta(seconds=self._between_s)
        return claim_message(connection, self.name, self.clock(), lease)

    def _find_quiet_end(self, message: Message) -> datetime | None:
        """Return until when a message that reaches its reader waits for them; None: it need not."""
        reader = self.readers.get(message.recipient_name)
        if reader is None or not self.channel.is_real:
            return None
        return find_quiet_end(reader.quiet, reader.timezone, self.clock())

    def _hand_over(self, message: Message) -> Message | None:
        """Send a message, keep what came of it, and claim the next one.

        That is one transaction, so that never more than one is in flight.
        """
        error: SendError | None = None
        receipt = ""
        try:
            receipt = self.channel.send(message)
        except SendError as raised:
            error = raised
        error = self._weigh(message, error)
        with writing(self.engine) as connection:
            if isinstance(error, ChannelDownError):
                self._note_trouble(connection, message, error)
                return None
            if self.trouble and not isinstance(error, DoubtfulSendError):
                end_trouble(connection, self.name)
                self.trouble = None
            if error is None:
                mark_delivered(connection, message.id, self.clock(), receipt)
                self.report.sent.append(Sent(message, receipt, self.channel.is_real))
            else:
                self._note_failure(connection, message, error)
            return self._claim(connection)

    def _weigh(self, message: Message, error: SendError | None) -> SendError | None:
        """Return what went wrong, which is of the channel where it was so of several addresses."""
        if not isinstance(error, DoubtfulSendError):
            self.doubted.clear()
            return error
        self.doubted.add(message.address)
        if len(self.doubted) < MOST_DOUBTED:
            return error
        return ChannelDownError(str(error), in_transit=True)

    def _note_trouble(
        self, connection: Connection, message: Message, error: ChannelDownError
    ) -> None:
        now, before = self.clock(), self.trouble
        attempts = before.attempts + 1 if before else 1
        wait = _find_wait(attempts, CHANNEL_WAIT, LONGEST_CHANNEL_WAIT)
        wait = min(max(wait, timedelta(seconds=error.wait_s or 0)), LONGEST_WAIT)
        since = before.since if before else now
        keep_trouble(connection, ChannelTrouble(self.name, since, attempts, now + wait, str(error)))
        if error.in_transit:  # another one goes first the next time, should it be about this one
            put_off(connection, message, now + _find_message_wait(message), str(error))
        else:
            put_back(connection, message)
        self.report.troubles[self.name] = str(error)

    def _note_failure(self, connection: Connection, message: Message, error: SendError) -> None:
        now, end = self.clock(), _find_end(message, error)
        if self.trouble and isinstance(error, DoubtfulSendError):
            end = None  # it may be the channel still
        if end is None:
            put_off(connection, message, now + _find_message_wait(message), str(error))
        else:
            end_message(connection, message.id, end, str(error), now)
            add_undelivered(
                connection,
                message.recipient_name,
                message.channel,
                message.address,
                str(error),
                now,
                suspends=isinstance(error, PermanentSendError) and error.address_is_bad,
                outbox_id=message.id,
            )
        self.report.not_sent.append(NotSent(message, str(error), end))


def _find_end(message: Message, error: SendError) -> End | None:
    if isinstance(error, PassingSendError):
        return "given up" if message.attempts >= MOST_ATTEMPTS else None
    return "refused"


def _find_message_wait(message: Message) -> timedelta:
    return _find_wait(message.attempts, MESSAGE_WAIT, LONGEST_MESSAGE_WAIT)


def _find_wait(attempts: int, first: timedelta, longest: timedelta) -> timedelta:
    """Return a wait that doubles, a quarter off either way so that not all come at once."""
    doubled = first * 2 ** min(attempts - 1, 16)
    return min(doubled, longest) * random.uniform(0.75, 1.25)  # noqa: S311 (no secret)
