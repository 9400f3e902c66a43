"""What was found is told at once: to who grows there, and where they agreed to the coordinator."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from itertools import groupby

from sqlalchemy import Connection, select

from alerts.dig.find_news import compose_find_news, compose_find_news_sms
from alerts.digest import Reader
from service.digests import Post, find_places
from service.due import When
from service.links import Links
from service.settings import Settings
from service.store.dig_news import (
    fetch_last_told_at,
    fetch_waiting_finds,
    leave_out,
    mark_finds_composed,
)
from service.store.finds_consents import fetch_finds_consents
from service.store.recipients import fetch_recipients
from service.store.shared_clock import is_over
from service.store.tables import organisation
from service.store.undelivered import fetch_suspensions

PAUSE = timedelta(hours=1)
"""Who was told hears what comes after that in one message: a crew may suspect at each vine."""


def compose_finds(connection: Connection, settings: Settings, when: When) -> int:
    """Compose a message to each who is to be told, one a site; return how many.

    As of another day they wait on: they are of today.
    """
    waiting = fetch_waiting_finds(connection) if when.as_of is None else {}
    if not waiting:
        return 0
    name = connection.scalar(select(organisation.c.name)) or ""
    links = Links(settings)
    recipients, suspended = fetch_recipients(connection), fetch_suspensions(connection)
    consents, told_at = fetch_finds_consents(connection), fetch_last_told_at(connection)
    count = 0
    for recipient_name, finds in waiting.items():
        recipient = recipients.get(recipient_name)
        has_paused = is_over(told_at.get(recipient_name), PAUSE, when.now)
        if recipient is None or (when.at_their_hour and not has_paused):
            continue
        places = find_places(connection, recipient, suspended, settings, when.now)
        if not places:
            continue
        reader = Reader(recipient.name, recipient.language, recipient.unit, name)
        post = Post(connection, settings.mail_from, recipient, places, links, when.now)
        ordered = sorted(finds, key=lambda one: one.site_id)
        for site_id, group in groupby(ordered, key=lambda one: one.site_id):
            of_site = list(group)
            ids, news = [one.id for one in of_site], [one.news for one in of_site]
            is_grower = of_site[0].role == "grower"
            consent = consents.get(site_id)
            if consent is None and not is_grower:
                leave_out(connection, recipient_name, ids)
                continue
            today = when.day(recipient) + timedelta(days=1)
            agreed = consent and consent.agreed_at.date()
            digest_id = post.put_out(
                partial(compose_find_news, news, reader, today, agreed, is_grower),
                partial(compose_find_news_sms, news, recipient.language),
            )
            mark_finds_composed(connection, recipient_name, ids, digest_id)
            count += 1
    return count
