"""The operator told by mail what is wrong with the service, once, and once more when it is over.

Whoever runs looks: `digseason serve --pages-only` tells of the jobs that stand still. Such mails go
out at once and not by the outbox, which may be what stands still.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from contextlib import closing
from datetime import datetime
from email.utils import make_msgid
from socket import gethostname

from sqlalchemy import Engine

from alerts.addresses import parse_address
from alerts.letter import Entry, Letter, Part
from alerts.mail import compose_mail
from service.channels.choosing import open_channel
from service.channels.contract import SendError
from service.settings import Settings
from service.store.alarms import (
    Alarm,
    claim_alarms,
    fetch_alarms,
    keep_alarms,
    mark_alarms_told,
    note_alarms_untold,
)
from service.store.engine import reading, writing
from service.store.outbox import Message
from service.watching.checkup import find_alarms
from service.watching.logs import tell

log = logging.getLogger(__name__)


def look_after(engine: Engine, settings: Settings, now: datetime) -> None:
    """Keep what is wrong, and tell the operator what is news."""
    with reading(engine) as connection:
        found = {
            one.what: (one.said, one.remedy or "") for one in find_alarms(connection, settings, now)
        }
        known = fetch_alarms(connection)
    if not found and not known:
        return
    with writing(engine) as connection:
        keep_alarms(connection, found, now)
        news = claim_alarms(connection, now)
    if not news:
        return
    failure = _send(settings, news, now) if settings.operator else None
    for one in news:
        said = f"over: {one.what}" if one.over_at else f"{one.what}: {one.said}"
        tell(log, "alarm", said, logging.WARNING, what=one.what, over=one.over_at is not None)
    if failure:
        tell(log, "alarm", f"the operator was not told: {failure}", logging.WARNING)
    with writing(engine) as connection:
        if failure:
            note_alarms_untold(connection, news, failure)
        else:
            mark_alarms_told(connection, news, now)


def compose_alarms(alarms: Sequence[Alarm]) -> Letter:
    """Return what is wrong, and what is over, as a letter."""
    wrong = [one for one in alarms if one.over_at is None]
    over = [one for one in alarms if one.over_at is not None]
    first, *more = (*wrong, *over)
    subject = f"Digseason: {first.what if first in wrong else f'{first.what} is well again'}"
    if more:
        subject += f", and {len(more)} more"
    parts = [
        Part(None, tuple(Entry(one.what, (f"{one.said}.", one.remedy)) for one in wrong)),
        Part(
            "Over",
            items=tuple(f"{one.what}, since {one.over_at:%Y-%m-%d %H:%M} UTC" for one in over),
        ),
    ]
    source = (
        f"By Digseason on {gethostname()}, to its operator: once, and once more when it is over. "
        "`digseason check` says all that it looks at."
    )
    kept = tuple(one for one in parts if one.entries or one.items)
    return Letter(subject, "en", kept, source)


def _send(settings: Settings, alarms: Sequence[Alarm], now: datetime) -> str | None:
    """Hand the mail over; return why that failed, None where it did not."""
    to, sender = settings.operator, settings.mail_from
    message_id = make_msgid(domain=parse_address(sender).domain)
    mail = compose_mail(compose_alarms(alarms), sender, to, now, message_id).decode()
    address = parse_address(to).addr_spec
    with closing(open_channel("mail", settings)) as channel:
        try:
            channel.send(Message(0, "operator", "mail", address, message_id, now, 1, mail))
        except SendError as error:
            return str(error)
    return None
