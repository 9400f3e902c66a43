"""What a text from a phone does: stop, start, confirm, tell that a block is dug or a reading.

A phone that answers by itself would be answered for ever, and who guesses at codes would find one:
what a phone may send is bounded, what is not understood more tightly. STOP always holds.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import make_msgid

from sqlalchemy import Connection, select

from alerts.addresses import parse_address
from alerts.consent import (
    answer_no_codes,
    answer_started,
    answer_stopped,
    answer_too_many,
    answer_wrong_code,
)
from alerts.dug import answer_dug, ask_which_block
from alerts.gsm import to_gsm7
from service.intake.hand_texts import take_hand_text
from service.links import Links
from service.settings import Settings
from service.store.attempts import Bound, count_attempt, forget_attempts
from service.store.consents import Consent, confirm, ensure_consent, stop
from service.store.dug import fetch_open_windows, say_dug
from service.store.outbox import add_digest, add_message
from service.store.tables import organisation, recipient
from service.store.texts import ReceivedText, add_received_text, fetch_received_text

STOP_WORDS = {
    *("stop", "stopall", "unsubscribe", "cancel", "end", "quit"),
    *("alto", "parar", "pare", "baja", "cancelar"),
}
START_WORDS = {"start", "unstop", "yes", "inicio", "iniciar", "empezar", "alta", "si"}
DUG_WORDS = {"dug", "cavado", "cavada", "cave", "excavado"}
"""Without accents. Common practice, no source."""

TEXTS = Bound("text", 60, timedelta(hours=1))
NOT_UNDERSTOOD = Bound("text not understood", 8, timedelta(hours=6))
CODES = Bound("code", 5, timedelta(days=1))
"""Of one phone. Five tries at six digits find one in 200,000 times; ours, no source."""

_CODE = re.compile(r"\d{6}")


@dataclass(frozen=True)
class _Answer:
    text: str
    is_understood: bool = True


def take_text(
    connection: Connection, number: str, phone: str, text: str, settings: Settings, now: datetime
) -> ReceivedText:
    """Do what a text says, once, and put the answer into the outbox; return both.

    Who is told by no such number gets no answer, and who sends too much gets none for a while.
    The caller holds the write transaction.
    """
    known = fetch_received_text(connection, number)
    if known is not None:
        return known
    rows = connection.execute(
        select(recipient.c.name, recipient.c.language)
        .where(recipient.c.phone == phone, recipient.c.retired_at.is_(None))
        .order_by(recipient.c.name)
    ).all()
    answer = None
    if rows:
        people = [ensure_consent(connection, row.name, "sms", phone) for row in rows]
        answer = _answer_bounded(connection, people, phone, text, rows[0].language, settings, now)
    if answer is not None:
        message_id = make_msgid(domain=parse_address(settings.mail_from).domain)
        digest_id = add_digest(connection, rows[0].name, now)
        add_message(connection, digest_id, "sms", phone, message_id, answer, now)
    received = ReceivedText(number, phone, text, now, answer)
    add_received_text(connection, received)
    return received


def _answer_bounded(
    connection: Connection,
    people: list[Consent],
    phone: str,
    text: str,
    language: str,
    settings: Settings,
    now: datetime,
) -> str | None:
    """Do what a text says unless too many have come; return the answer, if there is one."""
    said = _plain(text)
    if said in STOP_WORDS:
        for one in people:
            stop(connection, one, f"by text: {text.strip()[:40]}", now)
    counts = [count_attempt(connection, TEXTS, phone, now)]
    answer = None
    if not counts[0].is_over:
        answer = _answer(connection, people, phone, text, language, settings, now)
        if not answer.is_understood:
            counts.append(count_attempt(connection, NOT_UNDERSTOOD, phone, now))
    if any(one.is_first_over for one in counts):
        return answer_too_many(language)
    return answer.text if answer and not any(one.is_over for one in counts) else None


def _answer(
    connection: Connection,
    people: list[Consent],
    phone: str,
    text: str,
    language: str,
    settings: Settings,
    now: datetime,
) -> _Answer:
    of = connection.scalar(select(organisation.c.name)) or "Digseason"
    said = _plain(text)
    if said in STOP_WORDS:
        return _Answer(answer_stopped(of, language))
    if said.split()[:1] and said.split()[0] in DUG_WORDS:
        return _note_dug(connection, people, said.split()[1:], language, now)
    if said in START_WORDS:
        meant = people
    elif _CODE.fullmatch(said):
        if count_attempt(connection, CODES, phone, now).is_over:
            return _Answer(answer_no_codes(of, language), is_understood=False)
        links = Links(settings)
        meant = [one for one in people if links.is_code(said, one)]
        if not meant:
            return _Answer(answer_wrong_code(language), is_understood=False)
        forget_attempts(connection, CODES, phone)
    else:
        noted = take_hand_text(connection, text, phone, now)
        return _Answer(to_gsm7(noted.text), is_understood=noted.import_id is not None)
    for one in meant:
        confirm(connection, one, one.recipient_name, f"by text: {text.strip()[:40]}", now)
    return _Answer(answer_started(of, language))


def _note_dug(
    connection: Connection, people: list[Consent], words: list[str], language: str, now: datetime
) -> _Answer:
    """Keep that a block is dug that is open and named by these words; return the answer."""
    by_person = [(one, fetch_open_windows(connection, one.recipient_name)) for one in people]
    known = {window: name for _, of_one in by_person for window, name in of_one.items()}
    named = {
        window: name
        for window, name in known.items()
        if {*words} <= {*_plain(name).split(), *_plain(window.block_id).split()}
    }
    if len(named) != 1:
        return _Answer(ask_which_block(list((named or known).values()), language), False)
    ((window, name),) = named.items()
    for one, of_one in by_person:
        if window in of_one:
            say_dug(connection, one.recipient_name, window, "by text", now)
    return _Answer(answer_dug(name, language))


def _plain(text: str) -> str:
    """Return a text in lower case without accents and signs."""
    letters = unicodedata.normalize("NFKD", text).casefold()
    return "".join(one for one in letters if one.isalnum() or one in " -").strip(" -")
