"""Compose what waits to be told: one digest per recipient, a message per channel of theirs."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from email.utils import make_msgid
from functools import partial
from types import MappingProxyType
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, select

from alerts.addresses import parse_address
from alerts.consent import word_link
from alerts.digest import Reader, compose_digest
from alerts.dug import word_dug_link
from alerts.letter import Letter, Link
from alerts.mail import compose_mail
from alerts.notices import Notice
from alerts.ribbon import Ribbon
from alerts.sms import compose_sms
from alerts.undelivered import compose_undelivered, compose_undelivered_sms
from service.channels.choosing import is_real
from service.consents import ask, find_unasked, may_be_told
from service.evaluation import evaluate_blocks
from service.links import Links
from service.outlooks import fetch_expected
from service.settings import Settings
from service.showing import find_ribbon
from service.store.blocks import fetch_blocks
from service.store.consents import Consent, ensure_consent
from service.store.dug import fetch_dug, find_open, leave_out_dug
from service.store.notices import fetch_waiting, mark_composed
from service.store.outbox import add_digest, add_message
from service.store.recipients import Recipient, fetch_recipients
from service.store.silences import fetch_waiting_silences, mark_silences_composed
from service.store.tables import organisation
from service.store.undelivered import (
    add_undelivered,
    fetch_suspensions,
    fetch_waiting_undelivered,
    mark_undelivered_composed,
)

MOST_DUG_LINKS = 12
"""Who is told of more blocks than that at once coordinates, and does not dig."""


def compose_waiting(
    connection: Connection,
    settings: Settings,
    now: datetime,
    as_of: date | None,
    at_their_hour: bool,
) -> int:
    """Compose a digest for each recipient whom something waits for; return how many.

    At their hour: only once that hour has come in their zone, and once a local day. A digest as of
    another day leaves silences waiting: they are of today; and so is what did not arrive, which
    coordinators are told in a message of its own. Who has only addresses that are suspended, not
    confirmed or stopped is told once they have another; who was not asked yet is.
    """
    count = 0
    name = connection.scalar(select(organisation.c.name)) or ""
    waiting = fetch_waiting(connection)
    waiting_silences = fetch_waiting_silences(connection) if as_of is None else {}
    waiting_undelivered = fetch_waiting_undelivered(connection) if as_of is None else {}
    names = sorted({*waiting, *waiting_silences, *waiting_undelivered})
    recipients = fetch_recipients(connection)
    suspended = fetch_suspensions(connection)
    for recipient, channel, address in find_unasked(connection, recipients.values(), settings):
        is_time = not at_their_hour or _has_come(recipient, now)
        if is_time and (channel, address) in _find_addresses(connection, recipient, suspended, now):
            ask(connection, recipient, channel, address, name, settings, now)
    links = Links(settings)
    draw = _Drawer(connection, settings.sensor_accuracy_c, waiting)
    for recipient_name in names:
        recipient = recipients.get(recipient_name)
        if recipient is None or (at_their_hour and not _is_their_hour(recipient, now)):
            continue
        places = [
            ensure_consent(connection, recipient.name, channel, address)
            for channel, address in _find_addresses(connection, recipient, suspended, now)
        ]
        waits = any(not may_be_told(one, settings) and one.state != "stopped" for one in places)
        places = [one for one in places if may_be_told(one, settings)]
        reaches = any(is_real(one.channel, settings) for one in places)
        # a file does not stand in for an address that has not said yes yet
        if recipient.addresses and (not places or (waits and not reaches)):
            continue
        reader = Reader(recipient.name, recipient.language, recipient.unit, name)
        day = as_of or now.astimezone(ZoneInfo(recipient.timezone)).date() - timedelta(days=1)
        all_notices: dict[int, Notice] = dict(waiting.get(recipient_name, []))
        notices, settled = leave_out_dug(all_notices, fetch_dug(connection, recipient.name))
        silences = dict(waiting_silences.get(recipient_name, ()))
        undelivered = dict(waiting_undelivered.get(recipient_name, ()))
        if not (notices or silences or undelivered):
            continue
        post = _Post(connection, settings.mail_from, recipient, places, links, now)
        if notices or silences:
            told = list(notices.values()), reader, day, list(silences.values())
            block_ids = {one.block_id for one in notices.values()}
            expected = fetch_expected(connection, block_ids, day)
            ribbons = draw.ribbons(block_ids, day)
            digest_id = post.put_out(
                partial(compose_digest, *told, expected, ribbons),
                partial(compose_sms, *told),
                find_open(notices),
            )
            mark_composed(connection, recipient.name, {*notices, *settled}, digest_id)
            mark_silences_composed(connection, recipient.name, silences, digest_id)
        if undelivered:
            missing = list(undelivered.values())
            digest_id = post.put_out(
                partial(compose_undelivered, missing, reader),
                partial(compose_undelivered_sms, missing, recipient.language),
            )
            mark_undelivered_composed(connection, recipient.name, undelivered, digest_id)
        count += 1
    return count


def _find_addresses(
    connection: Connection,
    recipient: Recipient,
    suspended: Collection[tuple[str, str]],
    now: datetime,
) -> list[tuple[str, str]]:
    """Return (channel, address) where messages can go; what is no address is suspended."""
    found: list[tuple[str, str]] = []
    for channel, address in recipient.addresses:
        if (channel, address) in suspended:
            continue
        try:
            if channel == "mail":
                parse_address(address)
        except ValueError as error:
            why = f"'{address}' {error}"
            add_undelivered(connection, recipient.name, channel, address, why, now, suspends=True)
        else:
            found.append((channel, address))
    return found


class _Drawer:
    """Draws the ribbons of the blocks that there is news of, once for each day."""

    def __init__(
        self,
        connection: Connection,
        sensor_accuracy_c: float,
        waiting: Mapping[str, Sequence[tuple[int, Notice]]],
    ) -> None:
        self._connection, self._accuracy_c = connection, sensor_accuracy_c
        self._block_ids = {one.block_id for notices in waiting.values() for _, one in notices}
        self._of_day: dict[date, dict[str, Ribbon]] = {}

    def ribbons(self, block_ids: Collection[str], day: date) -> dict[str, Ribbon]:
        """Return the season of each of some blocks up to a day; of a retired one there is none."""
        if day not in self._of_day and block_ids:
            blocks = fetch_blocks(self._connection, self._block_ids)
            days = [day] * len(blocks)
            found = evaluate_blocks(self._connection, blocks, days, 1, self._accuracy_c)
            self._of_day[day] = {one.block.id: find_ribbon(one) for one in found}
        known = self._of_day.get(day, {})
        return {block_id: known[block_id] for block_id in block_ids if block_id in known}


@dataclass(frozen=True)
class _Post:
    """Puts a digest of one recipient into the outbox, a message for each address."""

    connection: Connection
    sender: str
    recipient: Recipient
    places: list[Consent]
    links: Links
    now: datetime

    def put_out(
        self,
        mail: Callable[[], Letter],
        sms: Callable[[], str],
        open_blocks: Mapping[int, str] = MappingProxyType({}),
    ) -> int:
        """Return the digest's id; `open_blocks`: what may be dug, by the notice that tells it."""
        digest_id = add_digest(self.connection, self.recipient.name, self.now)
        for place in self.places:
            channel, address = place.channel, place.address
            message_id = make_msgid(domain=parse_address(self.sender).domain)
            if channel == "sms":
                message = sms()
            else:
                letter, url = mail(), self.links.write(place)
                letter = replace(letter, links=tuple(self._write_links(place, open_blocks)))
                said = letter, self.sender, address, self.now, message_id, url
                message = compose_mail(*said).decode()
            add_message(self.connection, digest_id, channel, address, message_id, message, self.now)
        return digest_id

    def _write_links(self, place: Consent, open_blocks: Mapping[int, str]) -> Iterator[Link]:
        language = self.recipient.language
        for notice_id, name in open_blocks.items():
            dug = self.links.write_dug(place, notice_id)
            if dug is not None and len(open_blocks) <= MOST_DUG_LINKS:
                yield Link(word_dug_link(name, language), dug)
        stop = self.links.write(place)
        if stop is not None:
            yield Link(word_link(language), stop)


def _is_their_hour(recipient: Recipient, now: datetime) -> bool:
    zone = ZoneInfo(recipient.timezone)
    local, last = now.astimezone(zone), recipient.last_digest_at
    told_today = last is not None and last.astimezone(zone).date() == local.date()
    return _has_come(recipient, now) and not told_today


def _has_come(recipient: Recipient, now: datetime) -> bool:
    return now.astimezone(ZoneInfo(recipient.timezone)).hour >= recipient.hour
