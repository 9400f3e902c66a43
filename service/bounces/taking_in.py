"""Take in what came back: the mail is noted, its address suspended where nothing arrives there."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine

from service.bounces.folders import MailFolderError, read_letters
from service.bounces.reports import Bounce, read_report
from service.settings import Settings
from service.store.engine import writing
from service.store.outbox import end_message, fetch_messages, note_failure
from service.store.undelivered import add_undelivered


@dataclass
class BounceReport:
    """What was found.

    failed, late : a line for each message
    unknown : reports of no message of this store
    others : letters that are no reports
    trouble : why the folder could not be read to its end
    """

    failed: list[str] = field(default_factory=list)
    late: list[str] = field(default_factory=list)
    unknown: int = 0
    others: int = 0
    trouble: str | None = None


def take_in_bounces(engine: Engine, settings: Settings, now: datetime) -> BounceReport:
    """Read what lies in the folder for it; letters that are no reports stay as they are."""
    taken = BounceReport()
    try:
        for letter in read_letters(settings.bounces) if settings.bounces else ():
            if take_in_letter(engine, letter.content, now, taken):
                letter.done()
    except MailFolderError as error:
        taken.trouble = str(error)
    return taken


def take_in_letter(engine: Engine, letter: bytes, now: datetime, taken: BounceReport) -> bool:
    """Do what a letter reports, and add it to what was taken; return whether it is a report."""
    bounces = read_report(letter)
    if bounces is None:
        taken.others += 1
        return False
    with writing(engine) as connection:
        for bounce in bounces:
            _take_in(connection, bounce, now, taken)
    return True


def _take_in(connection: Connection, bounce: Bounce, now: datetime, taken: BounceReport) -> None:
    found = bounce.message_id
    rows = fetch_messages(connection, message_id=found, lock=True) if found else []
    if not rows:
        taken.unknown += 1
        return
    (row,) = rows
    # a letter that was read, and not marked when the process died; or that another process reads
    if row.ended == "bounced":
        return
    told = f"message {row.id} to {row.recipient_name}, {row.address}: {bounce.said}"
    if not bounce.failed:
        note_failure(connection, row.id, f"late: {bounce.said}")
        taken.late.append(told)
        return
    why = f"came back: {bounce.said}"
    end_message(connection, row.id, "bounced", why, now)
    to = (row.recipient_name, row.channel, row.address)
    add_undelivered(connection, *to, why, now, _is_bad(bounce, row), row.id)
    taken.failed.append(told)


def _is_bad(bounce: Bounce, row: Any) -> bool:
    """Whether nothing arrives at the address itself, and not at one that it led on to."""
    is_its_own = row.channel == "sms" or row.address.lower() in bounce.addresses
    return bounce.verdict == "address" and is_its_own
