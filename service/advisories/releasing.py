"""Releasing an advisory: to whom it goes, what that costs, and that it goes once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from sqlalchemy import Connection, select

from alerts.advisories.letter import Note, compose_advisory
from alerts.advisories.sms import compose_advisory_sms, holds_note
from alerts.digest import Reader
from alerts.gsm import count_parts
from service.channels.choosing import is_real
from service.digests import Post, find_places
from service.links import Links
from service.settings import Settings
from service.store.advisories import (
    KeptAdvisory,
    add_member,
    fetch_advisories,
    mark_released,
)
from service.store.consents import Consent, ensure_consent
from service.store.recipients import Recipient, fetch_growers, fetch_recipients
from service.store.tables import organisation
from service.store.undelivered import fetch_suspensions


@dataclass(frozen=True)
class Member:
    """A grower of the region, and where the advisory goes.

    own : the ids of the districts they grow in
    left_out : why it goes nowhere
    """

    recipient: Recipient
    reader: Reader
    own: frozenset[str]
    places: list[Consent]
    left_out: str | None


@dataclass(frozen=True)
class Run:
    """What a release comes to.

    parts : of its texts that leave for real
    without_note : of its texts, how many have no room for the note
    """

    members: int
    mails: int
    texts: int
    parts: int
    without_note: int
    left_out: list[tuple[str, str]]


class NotHeldError(Exception):
    """An advisory does not wait as it was read; nothing was done."""


def note_for(advisory: KeptAdvisory, language: str) -> Note | None:
    """Return the note for readers of a language, as messages show it."""
    kept = advisory.find_note(language)
    return Note(kept.text, kept.person, kept.noted_at.date()) if kept else None


def find_members(connection: Connection, settings: Settings, now: datetime) -> list[Member]:
    """Return the growers of the region by name; each with the places that want to be told."""
    of = connection.scalar(select(organisation.c.name)) or ""
    recipients, suspended = fetch_recipients(connection), fetch_suspensions(connection)
    members: list[Member] = []
    for name, own in sorted(fetch_growers(connection).items()):
        recipient = recipients[name]
        reader = Reader(name, recipient.language, recipient.unit, of)
        places = find_places(connection, recipient, suspended, settings, now)
        left_out = None if places else _find_why(connection, recipient, set(suspended))
        members.append(Member(recipient, reader, own, places, left_out))
    return members


def _find_why(connection: Connection, recipient: Recipient, suspended: set[tuple[str, str]]) -> str:
    """Return why nothing goes to a member."""
    if not recipient.addresses:
        return "has no address"
    states: list[str] = []
    for place in recipient.addresses:
        if place in suspended:
            states.append("suspended")
        else:
            states.append(ensure_consent(connection, recipient.name, *place).state)
    said = {"asked": "has not said yes", "not asked": "has not been asked yet"}
    said |= {"stopped": "wants no messages", "suspended": "address suspended"}
    return ", ".join(dict.fromkeys(said.get(state, state) for state in states))


def foresee(advisory: KeptAdvisory, members: list[Member], settings: Settings) -> Run:
    """Return what releasing an advisory would come to."""
    texts = list(_write_texts(advisory, members))
    parts = sum(map(count_parts, texts)) if is_real("sms", settings) else 0
    bare = 0
    for member in members:
        note = note_for(advisory, member.reader.language)
        if note and _count(member, "sms"):
            bare += not holds_note(_write_text(advisory, member), note)
    told = [one for one in members if one.places]
    mails = sum(_count(one, "mail") for one in members)
    left_out = [(one.recipient.name, one.left_out) for one in members if one.left_out]
    return Run(len(told), mails, len(texts), parts, bare, left_out)


def release(
    connection: Connection,
    settings: Settings,
    advisory: KeptAdvisory,
    person: str,
    now: datetime,
) -> Run:
    """Release an advisory as it was read: its messages wait in the outbox from now on.

    Raises
    ------
    NotHeldError
        When someone has released, dropped or replaced it meanwhile, or put another note on it.
    """
    is_first = mark_released(connection, advisory.id, person, now)
    (as_kept,) = fetch_advisories(connection, advisory.id)
    if not is_first or as_kept.notes != advisory.notes:
        raise NotHeldError
    members, links = find_members(connection, settings, now), Links(settings)
    for one in members:
        digest_id = None
        if one.places:
            note = note_for(advisory, one.reader.language)
            post = Post(connection, settings.mail_from, one.recipient, one.places, links, now)
            digest_id = post.put_out(
                partial(compose_advisory, advisory.figures, one.reader, note, person, one.own),
                partial(_write_text, advisory, one),
            )
        add_member(connection, advisory.id, one.recipient.name, digest_id, one.left_out)
    return foresee(advisory, members, settings)


def _count(member: Member, channel: str) -> int:
    return sum(place.channel == channel for place in member.places)


def _write_texts(advisory: KeptAdvisory, members: list[Member]) -> Iterator[str]:
    for member in members:
        for _ in range(_count(member, "sms")):
            yield _write_text(advisory, member)


def _write_text(advisory: KeptAdvisory, member: Member) -> str:
    note = note_for(advisory, member.reader.language)
    return compose_advisory_sms(advisory.figures, member.reader, note, member.own)
