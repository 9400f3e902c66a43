"""Who is to be told what now, and in which forms their mails show blocks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from alerts.digest import choose_pictured
from alerts.late import leave_out_past
from alerts.notices import Notice
from alerts.silence_news import SilenceNotice
from alerts.undelivered import Undelivered
from service.charts.blocks import Form
from service.consents import may_reach
from service.settings import Settings
from service.store.consents import fetch_consents
from service.store.notices import Waiting, fetch_waiting
from service.store.recipients import Recipient, fetch_recipients
from service.store.silences import fetch_waiting_silences
from service.store.undelivered import fetch_suspensions, fetch_waiting_undelivered


@dataclass(frozen=True)
class When:
    """Which digests are due: as of a day, or of each recipient's yesterday.

    at_their_hour : only once that hour has come in their zone, and once a local day
    """

    now: datetime
    as_of: date | None
    at_their_hour: bool

    def has_come(self, recipient: Recipient) -> bool:
        """Return whether a recipient's hour has come, or does not matter."""
        return not self.at_their_hour or self._local(recipient).hour >= recipient.hour

    def is_due(self, recipient: Recipient) -> bool:
        """Return whether a recipient may be told now."""
        last = recipient.last_digest_at
        zone = ZoneInfo(recipient.timezone)
        told_today = last and last.astimezone(zone).date() == self._local(recipient).date()
        return not self.at_their_hour or (self.has_come(recipient) and not told_today)

    def day(self, recipient: Recipient) -> date:
        """Return the last day of readings that a digest rests on."""
        return self.as_of or self._local(recipient).date() - timedelta(days=1)

    def _local(self, recipient: Recipient) -> datetime:
        return self.now.astimezone(ZoneInfo(recipient.timezone))


@dataclass(frozen=True)
class Due:
    """What a recipient is to be told now, by the ids that it waits under, as of a day."""

    recipient: Recipient
    day: date
    notices: dict[int, Notice]
    silences: dict[int, SilenceNotice]
    undelivered: dict[int, Undelivered]

    @property
    def block_ids(self) -> set[str]:
        """The blocks that there is news of."""
        return {one.block_id for one in self.notices.values()}

    def forms(self, block_ids: Iterable[str]) -> list[Form]:
        """Return in which form some blocks stand in a mail."""
        reader = self.recipient
        return [Form(one, self.day, reader.language, reader.unit) for one in block_ids]


def find_due(connection: Connection, when: When) -> Iterator[Due]:
    """Yield what waits for each recipient who may be told now, by name.

    As of another day silences wait on: they are of today; and so is what did not arrive.
    """
    is_today = when.as_of is None
    waiting = fetch_waiting(connection)
    silences = fetch_waiting_silences(connection) if is_today else {}
    undelivered = fetch_waiting_undelivered(connection) if is_today else {}
    names = sorted({*waiting, *silences, *undelivered})
    recipients = fetch_recipients(connection) if names else {}
    for name in names:
        recipient = recipients.get(name)
        if recipient and when.is_due(recipient):
            yield Due(
                recipient,
                when.day(recipient),
                _find_news(waiting.get(name, ()), when.day(recipient)),
                dict(silences.get(name, ())),
                dict(undelivered.get(name, ())),
            )


def _find_news(waiting: Collection[Waiting], day: date) -> dict[int, Notice]:
    """Return what is still news of what waits: who says yes late is not told what was."""
    heard = {one.id for one in waiting if one.heard}
    return leave_out_past({one.id: one.notice for one in waiting}, heard, day)


def find_shown(
    connection: Connection, settings: Settings, when: When
) -> tuple[set[Form], set[Form]]:
    """Return in which forms blocks stand in the mails that are due, and in which with a chart."""
    shown: set[Form] = set()
    pictured: set[Form] = set()
    suspended = fetch_suspensions(connection)
    consents = fetch_consents(connection)
    for due in find_due(connection, when):
        gets_mail = any(
            channel == "mail"
            and (channel, address) not in suspended
            and may_reach(consents, due.recipient, channel, address, settings)
            for channel, address in due.recipient.addresses
        )
        if due.notices and gets_mail:
            shown.update(due.forms(due.block_ids))
            pictured.update(due.forms(choose_pictured(list(due.notices.values()))))
    return shown, pictured if settings.mail_charts else set()
