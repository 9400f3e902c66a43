"""Compose what waits to be told: one digest per recipient, a message per channel of theirs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from email.utils import make_msgid
from functools import partial
from types import MappingProxyType

from sqlalchemy import Connection, select

from alerts.addresses import parse_address
from alerts.consent import word_link
from alerts.digest import Reader, choose_pictured, compose_digest
from alerts.dug import word_dug_link
from alerts.expectations import Expectation
from alerts.late import renew_likely
from alerts.letter import Letter, Link
from alerts.mail import compose_mail
from alerts.sms import compose_sms
from alerts.undelivered import compose_undelivered, compose_undelivered_sms
from service.channels.choosing import is_real
from service.charts.blocks import Seen
from service.consents import ask, find_unasked, may_be_told
from service.dig.ranks import start_ranking
from service.due import Due, When, find_due
from service.links import Links
from service.outlooks import fetch_expected
from service.settings import Settings
from service.store.consents import Consent, ensure_consent
from service.store.dug import fetch_all_dug, find_open, leave_out_dug
from service.store.notices import mark_composed
from service.store.outbox import add_digest, add_message
from service.store.recipients import Recipient, fetch_recipients
from service.store.silences import mark_silences_composed
from service.store.tables import organisation
from service.store.undelivered import (
    add_undelivered,
    fetch_suspensions,
    mark_undelivered_composed,
)

MOST_DUG_LINKS = 12
"""Who is told of more blocks than that at once coordinates, and does not dig."""
NOTHING_SEEN = Seen()


def compose_waiting(
    connection: Connection, settings: Settings, when: When, seen: Seen = NOTHING_SEEN
) -> int:
    """Compose a digest for each recipient whom something waits for; return how many.

    Who has only addresses that are suspended, not confirmed or stopped is told once they have
    another; who was not asked yet is. What did not arrive is told in a message of its own.
    """
    count = 0
    name = connection.scalar(select(organisation.c.name)) or ""
    suspended = fetch_suspensions(connection)
    recipients = fetch_recipients(connection).values()
    for recipient, channel, address in find_unasked(connection, recipients, settings):
        found = _find_addresses(connection, recipient, suspended, when.now)
        if when.has_come(recipient) and (channel, address) in found:
            ask(connection, recipient, channel, address, name, settings, when.now)
    links = Links(settings)
    every = list(find_due(connection, when))
    expected = _fetch_expected(connection, every)
    dug = fetch_all_dug(connection)
    ranking = start_ranking(connection)
    for due in every:
        recipient = due.recipient
        places = find_places(connection, recipient, suspended, settings, when.now)
        if recipient.addresses and not places:
            continue
        reader = Reader(recipient.name, recipient.language, recipient.unit, name)
        news = renew_likely(due.notices, expected[due.day])
        notices, settled = leave_out_dug(news, dug.get(recipient.name, {}))
        if not (notices or due.silences or due.undelivered):
            continue
        post = Post(connection, settings.mail_from, recipient, places, links, when.now)
        if notices or due.silences:
            told = list(notices.values()), reader, due.day, list(due.silences.values())
            block_ids = {one.block_id for one in notices.values()}
            ranks = ranking.rank(recipient, block_ids, due.day + timedelta(days=1))
            pictured = choose_pictured(list(notices.values())) if notices else []
            drawn = seen.of_blocks(due.forms(block_ids), pictured)
            digest_id = post.put_out(
                partial(compose_digest, *told, expected[due.day], *drawn, ranks),
                partial(compose_sms, *told, ranks),
                find_open(notices),
            )
            mark_composed(connection, recipient.name, {*notices, *settled}, digest_id)
            if due.silences:
                mark_silences_composed(connection, recipient.name, due.silences, digest_id)
        if due.undelivered:
            missing = list(due.undelivered.values())
            digest_id = post.put_out(
                partial(compose_undelivered, missing, reader),
                partial(compose_undelivered_sms, missing, recipient.language),
            )
            mark_undelivered_composed(connection, recipient.name, due.undelivered, digest_id)
        count += 1
    return count


def preview_digest(connection: Connection, due: Due, of: str) -> tuple[Letter, str] | None:
    """Return what a recipient is told next, without pictures: as a letter, and as a text.

    None: nothing of it is told to them. `of` is the organisation.
    """
    recipient = due.recipient
    dug = fetch_all_dug(connection).get(recipient.name, {})
    expected = _fetch_expected(connection, [due])[due.day]
    notices, _ = leave_out_dug(renew_likely(due.notices, expected), dug)
    if not (notices or due.silences):
        return None
    reader = Reader(recipient.name, recipient.language, recipient.unit, of)
    told = list(notices.values()), reader, due.day, list(due.silences.values())
    return compose_digest(*told, expected), compose_sms(*told)


def _fetch_expected(
    connection: Connection, every: Iterable[Due]
) -> dict[date, dict[str, Expectation]]:
    """Return what is to come in the blocks of digests, by the day that they are of."""
    blocks_of: defaultdict[date, set[str]] = defaultdict(set)
    for due in every:
        blocks_of[due.day] |= due.block_ids
    return {day: fetch_expected(connection, ids, day) for day, ids in blocks_of.items()}


def find_places(
    connection: Connection,
    recipient: Recipient,
    suspended: Collection[tuple[str, str]],
    settings: Settings,
    now: datetime,
) -> list[Consent]:
    """Return where a recipient may be told now; nowhere as long as that would reach no one.

    A file does not stand in for an address that has not said yes yet.
    """
    every = [
        ensure_consent(connection, recipient.name, channel, address)
        for channel, address in _find_addresses(connection, recipient, suspended, now)
    ]
    places = [one for one in every if may_be_told(one, settings)]
    waits = any(one not in places and one.state != "stopped" for one in every)
    reaches = any(is_real(one.channel, settings) for one in places)
    return places if reaches or not waits else []


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


@dataclass(frozen=True)
class Post:
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
