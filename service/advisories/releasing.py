"""Releasing an advisory: to whom it goes, what that costs, and that it goes once.

A release notes for whom it is, in one transaction with the word of the person. Their messages are
composed after that, some members at a time, so that no writer waits long; a process that dies in
between leaves members who wait, whom the next round composes for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import partial

from sqlalchemy import Connection, Engine

from alerts.advisories.letter import Note, compose_advisory
from alerts.advisories.sms import compose_advisory_sms, holds_note
from alerts.gsm import count_parts
from service.advisories.members import Member, fetch_region, growing_in
from service.channels.choosing import is_real
from service.digests import Post
from service.links import Links
from service.settings import Settings
from service.store.advisories import (
    KeptAdvisory,
    add_members,
    claim_members,
    fetch_advisories,
    has_uncomposed,
    mark_composed,
    mark_released,
)
from service.store.engine import reading, writing
from service.store.recipients import fetch_growers

AT_ONCE = 50
"""Members whose messages one transaction holds: well under a second."""


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


def foresee(advisory: KeptAdvisory, members: Sequence[Member], settings: Settings) -> Run:
    """Return what releasing an advisory would come to."""
    texts = parts = without_note = 0
    for one in members:
        count = one.count("sms")
        if count:
            text, note = _write_text(advisory, one), note_for(advisory, one.reader.language)
            texts += count
            parts += count * count_parts(text) * is_real("sms", settings)
            without_note += count * (note is not None and not holds_note(text, note))
    return Run(
        sum(bool(one.places) for one in members),
        sum(one.count("mail") for one in members),
        texts,
        parts,
        without_note,
        [(one.recipient.name, one.left_out) for one in members if one.left_out],
    )


def find_cost(run: Run, settings: Settings) -> tuple[Decimal, str] | None:
    """Return what the texts of a release cost, with the currency; None: no price is set."""
    if not settings.sms_part_price:
        return None
    price, currency = settings.sms_part_price.split()
    return (Decimal(price) * run.parts).quantize(Decimal("0.01")), currency


def release(connection: Connection, advisory: KeptAdvisory, person: str, now: datetime) -> None:
    """Release an advisory as it was read, to those who grow where it speaks of now.

    Raises
    ------
    NotHeldError
        When someone has released, dropped or replaced it meanwhile, or put another note on it.
    """
    is_first = mark_released(connection, advisory.id, person, now)
    (as_kept,) = fetch_advisories(connection, advisory.id)
    if not is_first or as_kept.notes != advisory.notes:
        raise NotHeldError
    growers = growing_in(fetch_growers(connection), advisory.district_ids)
    add_members(connection, advisory.id, growers)


def compose_released(engine: Engine, settings: Settings, now: datetime) -> None:
    """Put the messages of released advisories into the outbox that are not there yet."""
    with reading(engine) as connection:
        if not has_uncomposed(connection):
            return
        region = fetch_region(connection)
        advisories = {one.id: one for one in fetch_advisories(connection)}
    links, goes_on = Links(settings), True
    while goes_on:
        with writing(engine) as connection:
            claimed = claim_members(connection, AT_ONCE)
            goes_on = bool(claimed)
            for number, name in claimed:
                if name not in region.own:
                    mark_composed(connection, number, name, None, "is no grower here any more")
                    continue
                member = region.find_member(connection, name, settings, now)
                digest_id = None
                if member.places:
                    post = Post(
                        *(connection, settings.mail_from, member.recipient, member.places),
                        *(links, now),
                    )
                    digest_id = _put_out(post, advisories[number], member)
                mark_composed(connection, number, name, digest_id, member.left_out)


def _put_out(post: Post, advisory: KeptAdvisory, member: Member) -> int:
    note, person = note_for(advisory, member.reader.language), advisory.released_by
    said = advisory.figures, member.reader, note, person, member.own
    return post.put_out(partial(compose_advisory, *said), partial(_write_text, advisory, member))


def _write_text(advisory: KeptAdvisory, member: Member) -> str:
    note = note_for(advisory, member.reader.language)
    return compose_advisory_sms(advisory.figures, member.reader, note, member.own)
