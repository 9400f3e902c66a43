"""The secret links of a visitor's calendars."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus

from fastapi import Request
from sqlalchemy import Connection

from alerts.news import sort_key, tidy
from alerts.words import translations
from service.reach import Reach
from service.region import fetch_district_names
from service.settings import Settings
from service.store.tokens import Token, add_calendar_token, fetch_tokens, revoke_token
from service.web.access import Visitor
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks

BLOCK, DISTRICT, ALL = "block/", "district/", ""
"""How what a link is for stands in the name of its token, before an id."""


def find_choices(connection: Connection, reach: Reach, language: str) -> list[tuple[str, str]]:
    """Return what calendars there may be, each with its words; none where no block is seen."""
    blocks, names = find_blocks(connection, reach), fetch_district_names(connection)
    districts = {one.district_id for one in blocks if one.district_id in names}
    if not blocks:
        return []
    return [
        (ALL, translations(language).gettext("all blocks that you see")),
        *sorted(
            ((f"{DISTRICT}{one}", tidy(names[one])) for one in districts if one is not None),
            key=lambda pair: sort_key(pair[1]),
        ),
        *((f"{BLOCK}{one.id}", f"{tidy(one.name)}, {tidy(one.site_name)}") for one in blocks),
    ]


def find_links(connection: Connection, who: Visitor) -> list[Token]:
    every = fetch_tokens(connection, who.account.id)
    return [one for one in every if one.scope == "calendar" and one.revoked_at is None]


def write_link(request: Request, secret: str) -> str:
    """Return the address of a calendar."""
    settings: Settings = request.app.state.settings
    base = settings.base_url.rstrip("/") or f"{request.base_url}".rstrip("/")
    return f"{base}/calendar/{secret}.ics"


def make_link(connection: Connection, who: Visitor, name: str, now: datetime) -> str:
    """Return the secret of a new link: only now, since no one keeps it."""
    if name not in dict(find_choices(connection, who.reach, "en")):
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours is in such a calendar")
    secret = add_calendar_token(connection, who.account.id, now, name)
    who.note(connection, "made the link of a calendar", name, now)
    return secret


def renew_link(connection: Connection, who: Visitor, number: int, now: datetime) -> str:
    """Put another link in the place of one; return its secret."""
    name = _end(connection, who, number, now)
    secret = add_calendar_token(connection, who.account.id, now, name)
    who.note(connection, "renewed the link of a calendar", name, now)
    return secret


def revoke_link(connection: Connection, who: Visitor, number: int, now: datetime) -> None:
    """Let a link hold no longer."""
    name = _end(connection, who, number, now)
    who.note(connection, "revoked the link of a calendar", name, now)


def _end(connection: Connection, who: Visitor, number: int, now: datetime) -> str:
    """Let a link hold no longer; return what it was for."""
    own = {one.id: one for one in find_links(connection, who)}
    if number not in own:
        raise Problem(HTTPStatus.NOT_FOUND, "no calendar of yours has this number")
    revoke_token(connection, number, now, who.account.id)
    return own[number].name
