"""What is held of a person, as they themselves or an administrator ask for it."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus

from sqlalchemy import Connection, Engine

from service.forgetting import fetch_held, forget, write_held
from service.settings import Settings
from service.store.accounts import fetch_accounts
from service.store.engine import reading, writing
from service.store.forgetting import find_reader
from service.web.access import Visitor
from service.web.letters import read_message
from service.web.own_tokens import ask_person
from service.web.problems import Problem


def hand_out(engine: Engine, of: str) -> str:
    """Return all that is held of one who signs in or is told, as JSON; messages as shown."""
    with reading(engine) as connection:
        held = fetch_held(connection, of)
    _need(held)
    for row in held.get("outbox", ()):
        row["message"] = vars(read_message(row["channel"], row["message"]))
    return write_held(held)


def take_out(
    engine: Engine, settings: Settings, who: Visitor, of: str, sure: str, now: datetime
) -> None:
    """Forget one who signs in or is told, for good, where who asks has said twice of whom."""
    ask_person(who)
    if sure.strip() != of:
        said = "to confirm, write the address or name as it stands there"
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
    with writing(engine) as connection:
        _need(fetch_held(connection, of))
        _leave_an_administrator(connection, of)
        who.note(connection, "forgot a person", "", now)  # before, as it may be themselves
        _, files = forget(connection, settings, of, now)
    for path in files:
        path.unlink(missing_ok=True)


def _need(held: object) -> None:
    if not held:
        raise Problem(HTTPStatus.NOT_FOUND, "nothing is held of anyone called so")


def _leave_an_administrator(connection: Connection, of: str) -> None:
    reader = find_reader(connection, of)
    there = [
        one
        for one in fetch_accounts(connection)
        if one.role == "administrator" and not one.revoked_at
    ]
    left = [one for one in there if one.email != of and (one.recipient_name or "") != reader]
    if there and not left:
        said = "no administrator would be left; let someone else be one first"
        raise Problem(HTTPStatus.CONFLICT, said)
