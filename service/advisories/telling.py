"""Coordinators are told that an advisory waits for their word."""

from __future__ import annotations

from functools import partial

from sqlalchemy import Connection, select

from alerts.advisories.letter import compose_draft
from alerts.advisories.sms import compose_draft_sms
from alerts.digest import Reader
from service.advisories.releasing import note_for
from service.digests import Post, find_places
from service.due import When
from service.links import Links
from service.settings import Settings
from service.store.advisories import fetch_advisories, fetch_untold, mark_told
from service.store.recipients import fetch_recipients
from service.store.tables import organisation
from service.store.undelivered import fetch_suspensions


def compose_drafts(connection: Connection, settings: Settings, when: When) -> int:
    """Compose a message to each coordinator who is to be told of a draft; return how many."""
    untold = fetch_untold(connection)
    if not untold:
        return 0
    name = connection.scalar(select(organisation.c.name)) or ""
    links = Links(settings)
    recipients, suspended = fetch_recipients(connection), fetch_suspensions(connection)
    drafts = {one.id: one for one in fetch_advisories(connection)}
    count = 0
    for number, coordinator in untold:
        recipient, draft = recipients.get(coordinator), drafts[number]
        if recipient is None or not when.has_come(recipient):
            continue
        places = find_places(connection, recipient, suspended, settings, when.now)
        if not places:
            continue
        reader = Reader(recipient.name, recipient.language, recipient.unit, name)
        post = Post(connection, settings.mail_from, recipient, places, links, when.now)
        note = note_for(draft, reader.language)
        digest_id = post.put_out(
            partial(compose_draft, draft.figures, number, reader, note),
            partial(compose_draft_sms, draft.figures, number, reader.language),
        )
        mark_told(connection, number, coordinator, digest_id)
        count += 1
    return count
