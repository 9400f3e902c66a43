"""Signing in, one-time links and what becomes of accounts; each deed is noted with it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import make_msgid
from typing import Literal

from sqlalchemy import Connection, Engine, select

from alerts.addresses import parse_address
from alerts.invitation import compose_invitation
from alerts.mail import compose_mail
from service.links import Links
from service.passwords import hash_password, is_outdated, verify_password
from service.settings import Settings
from service.store.accounts import (
    Account,
    Role,
    add_account,
    begin_session,
    end_sessions,
    fetch_account,
    find_account,
    has_administrator,
    set_account,
    set_places,
)
from service.store.attempts import Bound, count_attempt, forget_attempts
from service.store.audit import note_deed
from service.store.engine import reading, writing
from service.store.outbox import add_digest, add_message
from service.store.tables import organisation
from service.store.tokens import revoke_tokens

TRIES = Bound("sign-in", 5, timedelta(minutes=15))
TRIES_AGAIN = Bound("sign-in again", 5, timedelta(minutes=15))
TRIES_FROM_ONE_PLACE = Bound("sign-in from", 50, timedelta(minutes=15))
REQUESTS = Bound("link", 3, timedelta(hours=1))
REQUESTS_FROM_ONE_PLACE = Bound("link from", 20, timedelta(hours=1))
"""Ours, no source; that there are bounds: [NIST-800-63B] 3.2.2."""

INVITATION, RESET = timedelta(days=7), timedelta(hours=2)
FIRST = 0
"""Stands in a link for the account that is not there yet: the first administrator's."""


@dataclass(frozen=True)
class Refused:
    """Why no one is signed in. `until`: when there may be another try; None: at once."""

    until: datetime | None = None
    why: Literal["password", "not invited", "provider"] = "password"


def plain_email(email: str) -> str:
    """Return an address as tries are counted by it: however it is typed, and no longer than any."""
    return email.strip().lower()[:254]


def sign_in(
    engine: Engine, email: str, password: str, place: str, now: datetime, again: bool = False
) -> str | Refused:
    """Return the secret of a new session, or why there is none.

    A try is counted before it is known how it ends, by the place that it comes from and, unless
    that has too many, by the address, and no writer waits while a password is verified. Tries of
    browsers by which the same person has signed in before, `again`, are counted for themselves:
    no stranger locks these out.
    """
    email, bound = plain_email(email), TRIES_AGAIN if again else TRIES
    with writing(engine) as connection:
        count = count_attempt(connection, TRIES_FROM_ONE_PLACE, place, now)
        if not count.is_over:
            count = count_attempt(connection, bound, email, now)
            if count.is_first_over:
                note_deed(connection, email, "locked out for a while", place, now)
        account = find_account(connection, email)
    if count.is_over:
        return Refused(count.ends_at)
    can = account is not None and account.revoked_at is None
    if not verify_password(account.password_hash if account and can else None, password):
        return Refused()
    assert account is not None  # noqa: S101 (a password of no account is never right)
    with writing(engine) as connection:
        if is_outdated(account.password_hash or ""):
            set_account(connection, account.id, password_hash=hash_password(password))
        set_account(connection, account.id, signed_in_at=now)
        forget_attempts(connection, bound, email)
        note_deed(connection, email, "signed in", place, now)
        return begin_session(connection, account.id, now)


def sign_in_as_known(
    engine: Engine, email: str, provider: str, place: str, now: datetime
) -> str | Refused:
    """Return the secret of a new session for whom a provider knows by a mail address, if an
    account is invited by it; none is made.
    """
    with writing(engine) as connection:
        account = find_account(connection, email)
        if account is None or account.revoked_at is not None:
            note_deed(connection, email[:254], f"came by {provider}, not invited", place, now)
            return Refused(why="not invited")
        set_account(connection, account.id, signed_in_at=now)
        note_deed(connection, account.email, f"signed in by {provider}", place, now)
        return begin_session(connection, account.id, now)


def count_place(engine: Engine, place: str, now: datetime) -> Refused | None:
    """Count that someone tries to sign in from a place; return a refusal where it is too often."""
    with writing(engine) as connection:
        count = count_attempt(connection, TRIES_FROM_ONE_PLACE, place, now)
    return Refused(count.ends_at) if count.is_over else None


def invite(
    connection: Connection,
    who: str,
    email: str,
    name: str,
    role: Role,
    now: datetime,
    recipient_name: str | None = None,
) -> Account:
    """Make an account without a password, for which a link is to be made."""
    made = add_account(connection, email, name, role, now, recipient_name)
    note_deed(connection, who, f"invited as {role}", made.email, now)
    return made


def make_link(
    connection: Connection,
    links: Links,
    account: Account,
    who: str,
    now: datetime,
    lasts: timedelta = INVITATION,
) -> str:
    """Return the path of a page on which an account's password is chosen, once; an earlier link
    does not hold any more.
    """
    count = account.link_count + 1
    set_account(connection, account.id, link_count=count)
    note_deed(connection, who, "made a link to choose a password", account.email, now)
    return f"/welcome/{links.write_account(account.id, count, now + lasts)}"


def make_first_link(links: Links, now: datetime) -> str:
    """Return the path of the page on which the first administrator's account is made."""
    return f"/welcome/{links.write_account(FIRST, 0, now + INVITATION)}"


def find_by_link(
    connection: Connection, links: Links, token: str, now: datetime
) -> Account | Literal["first"] | None:
    """Return whose password a link lets choose, if it holds."""
    read = links.read_account(token, now)
    if read is None:
        return None
    account_id, count = read
    if account_id == FIRST:
        return None if has_administrator(connection) else "first"
    account = fetch_account(connection, account_id)
    holds = account is not None and account.link_count == count and account.revoked_at is None
    return account if holds else None


def choose_password(
    connection: Connection,
    account: Account,
    password_hash: str,
    now: datetime,
    ends_tokens: bool = False,
) -> str:
    """Keep a new password: links and other sessions hold no more, tokens of programs where that is
    wanted; return a new session.
    """
    values = {"password_hash": password_hash, "link_count": account.link_count + 1}
    set_account(connection, account.id, **values, signed_in_at=now)
    end_sessions(connection, account.id)
    for bound in (TRIES, TRIES_AGAIN):
        forget_attempts(connection, bound, account.email)
    note_deed(connection, account.email, "chose a password", account.email, now)
    if ends_tokens and (count := revoke_tokens(connection, account.id, now)):
        note_deed(connection, account.email, "revoked the tokens of programs", f"{count}", now)
    return begin_session(connection, account.id, now)


def count_request(engine: Engine, email: str, place: str, now: datetime) -> datetime | None:
    """Count that someone asks for a link as they have forgotten a password; return until when there
    is none, None: it was not too often. Nothing tells whether there is such an account.
    """
    with writing(engine) as connection:
        count = count_attempt(connection, REQUESTS_FROM_ONE_PLACE, place, now)
        if not count.is_over:
            count = count_attempt(connection, REQUESTS, plain_email(email), now)
    return count.ends_at if count.is_over else None


def send_link(engine: Engine, settings: Settings, email: str, now: datetime) -> None:
    """Mail a link to who has asked for one, if there is such an account that mails reach."""
    with writing(engine) as connection:
        account = find_account(connection, email)
        if account and account.revoked_at is None and may_mail(account, settings):
            link = make_link(connection, Links(settings), account, account.email, now, RESET)
            mail_link(connection, settings, account, link, now)


def may_mail(account: Account, settings: Settings) -> bool:
    """Whether a link can go to an account by mail: it is to be told as someone, and where."""
    return bool(settings.base_url and account.recipient_name)


def mail_link(
    connection: Connection, settings: Settings, account: Account, path: str, now: datetime
) -> None:
    """Put a mail with a link into the outbox."""
    assert account.recipient_name is not None  # noqa: S101 (may_mail)
    name = connection.scalar(select(organisation.c.name)) or "Digseason"
    url = settings.base_url.rstrip("/") + path
    letter = compose_invitation(name, account.language or "en", url)
    message_id = make_msgid(domain=parse_address(settings.mail_from).domain)
    mail = compose_mail(letter, settings.mail_from, account.email, now, message_id).decode()
    digest_id = add_digest(connection, account.recipient_name, now)
    add_message(connection, digest_id, "mail", account.email, message_id, mail, now)


def revoke(connection: Connection, account: Account, who: str, now: datetime) -> None:
    """Let an account sign in no more, and sign it out."""
    set_account(connection, account.id, revoked_at=now, link_count=account.link_count + 1)
    end_sessions(connection, account.id)
    note_deed(connection, who, "revoked the account", account.email, now)


def restore(connection: Connection, account: Account, who: str, now: datetime) -> None:
    """Let an account sign in again."""
    set_account(connection, account.id, revoked_at=None)
    note_deed(connection, who, "restored the account", account.email, now)


def change_role(
    connection: Connection, account: Account, role: Role, who: str, now: datetime
) -> None:
    """Let an account be of another role."""
    set_account(connection, account.id, role=role)
    note_deed(connection, who, f"made {account.role} a {role}", account.email, now)


def change_places(
    connection: Connection,
    account: Account,
    recipient_name: str | None,
    site_ids: Collection[str],
    district_ids: Collection[str],
    who: str,
    now: datetime,
) -> None:
    """Let an account be told as someone, and have these sites and districts and no others."""
    set_account(connection, account.id, recipient_name=recipient_name)
    set_places(connection, account.id, site_ids, district_ids)
    named = ", ".join(filter(None, (recipient_name, *site_ids, *district_ids))) or "nothing"
    note_deed(connection, who, f"let the account see {named}", account.email, now)


def is_address(email: str) -> bool:
    """Whether a text is one address of mail, without a name."""
    try:
        return parse_address(email).addr_spec == email
    except ValueError:
        return False


def needs_administrator(engine: Engine) -> bool:
    """Whether no one has signed in yet who may do everything."""
    with reading(engine) as connection:
        return not has_administrator(connection)
