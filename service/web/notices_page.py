"""/notices: what waits for a reader, what they were sent, and what was told of their blocks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine, select

from alerts.figures import show_day
from alerts.gsm import count_parts
from alerts.letter import Letter
from alerts.letter_html import write_html
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.sentences import tell
from service.digests import preview_digest
from service.due import When, find_due
from service.store.blocks import fetch_block_names
from service.store.engine import reading, writing
from service.store.holds import fetch_hold, release_sending
from service.store.notices import MadeNotice, fetch_last_notices
from service.store.outbox import end_message, fetch_messages, find_state, send_again
from service.store.recipients import fetch_recipients
from service.store.tables import organisation
from service.web.access import Administrator, Known, Visitor
from service.web.api.parts import Number
from service.web.letters import answer_letter, read_mail
from service.web.pages import Filled, answer_page, choose_language, redirect
from service.web.problems import Problem
from service.web.seen_blocks import unname_sources

AT_ONCE, MESSAGES = 30, 20
LONGEST_WHY = 300


@dataclass(frozen=True)
class _Next:
    """What a reader is told next."""

    letter: Letter
    text: str


def notices_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/notices")
    def show(
        request: Request,
        who: Known,
        of: str = "",
        before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
    ) -> Response:
        """Show them; an administrator also what goes to others, `of` one of them."""
        language = choose_language(request)
        is_for_all = who.account.role == "administrator"
        with reading(engine) as connection:
            name = _choose_reader(who, of)
            names = fetch_block_names(connection, who.reach.block_ids)
            told = fetch_last_notices(connection, who.reach.block_ids, AT_ONCE + 1, before)
            messages = []
            if name or is_for_all:
                messages = fetch_messages(connection, recipient_name=name, latest=MESSAGES)
            waiting = _find_next(connection, name) if name else None
            hold = fetch_hold(connection) if is_for_all else None
            readers = sorted(fetch_recipients(connection)) if is_for_all else []
        now = datetime.now(UTC)
        return answer_page(
            request,
            "notices.html",
            name=name,
            of=of,
            readers=readers,
            waiting=waiting,
            hold=hold,
            messages=[(one, find_state(one, now)) for one in reversed(messages)],
            told=[_tell(one, who, names, language, now) for one in told[:AT_ONCE]],
            older=told[AT_ONCE - 1].id if len(told) > AT_ONCE else None,
        )

    @routes.get("/notices/next")
    def preview(request: Request, who: Known, of: str = "") -> Response:
        """Show what a reader is told next, as mail and as text."""
        found = find_next(who, of)
        return answer_page(
            request,
            "message.html",
            message=None,
            subject=found.letter.subject,
            frame=f"/notices/next/mail?of={quote(of)}",
            text=found.text,
            parts=count_parts(found.text),
        )

    @routes.get("/notices/next/mail")
    def preview_mail(who: Known, of: str = "") -> Response:
        """Show what a reader is told next as their mail program does."""
        return answer_letter(write_html(find_next(who, of).letter))

    @routes.get("/notices/messages/{number}")
    def show_message(request: Request, number: Number, who: Known) -> Response:
        """Show a message as it was sent, or is to be."""
        row, now = find_message(number, who), datetime.now(UTC)
        is_mail = row.channel == "mail"
        mail = read_mail(row.message) if is_mail else None
        return answer_page(
            request,
            "message.html",
            message=row,
            state=find_state(row, now),
            subject=mail.subject if mail else row.recipient_name,
            frame=f"/notices/messages/{number}/mail" if mail and mail.html else "",
            text=mail.text if mail else row.message,
            parts=None if mail else count_parts(row.message),
            may_decide=who.account.role == "administrator",
            longest=LONGEST_WHY,
        )

    @routes.get("/notices/messages/{number}/mail")
    def show_mail(number: Number, who: Known) -> Response:
        """Show a mail as its reader's program does."""
        return answer_letter(read_mail(find_message(number, who).message).html)

    @routes.post("/notices/messages/{number}")
    def decide(number: int, fields: Filled, who: Administrator) -> Response:
        """Let a message wait no longer, or be sent again."""
        now, why = datetime.now(UTC), fields.get("why", "")[:LONGEST_WHY]
        row = find_message(number, who)
        about = f"{number} to {row.recipient_name}"
        with writing(engine) as connection:
            (row,) = fetch_messages(connection, [number])
            state = find_state(row, now)
            if fields.get("say") == "again" and state != "delivered" and not row.is_suspended:
                send_again(connection, number)
                who.note(connection, "let a message be sent again", about, now)
            elif fields.get("say") == "drop" and state in ("waits", "later", "held") and why:
                end_message(connection, number, "dropped", why, now, who.account.email)
                who.note(connection, "dropped a message", f"{about}: {why}", now)
        return redirect(f"/notices/messages/{number}")

    @routes.post("/notices/hold")
    def let_go(fields: Filled, who: Administrator) -> Response:
        """Let messages go again that are held back, or drop those that wait."""
        now = datetime.now(UTC)
        with writing(engine) as connection:
            waiting = fetch_messages(connection, with_delivered=False)
            if release_sending(connection):
                drops = fields.get("say") == "drop"
                for row in waiting if drops else ():
                    if not row.ended:
                        said = "told before a restore"
                        end_message(connection, row.id, "dropped", said, now, who.account.email)
                what = "dropped what was held back" if drops else "let messages go again"
                who.note(connection, what, "", now)
        return redirect("/notices")

    def find_next(who: Visitor, of: str) -> _Next:
        with reading(engine) as connection:
            name = _choose_reader(who, of)
            found = _find_next(connection, name) if name else None
        if found is None:
            raise Problem(HTTPStatus.NOT_FOUND, "nothing waits to be told")
        return found

    def find_message(number: int, who: Visitor) -> Any:
        with reading(engine) as connection:
            found = fetch_messages(connection, [number])
        is_for_all = who.account.role == "administrator"
        for row in found:
            if is_for_all or row.recipient_name == who.account.recipient_name:
                return row
        raise Problem(HTTPStatus.NOT_FOUND, "no message of yours has this number")

    return routes


def _choose_reader(who: Visitor, of: str) -> str | None:
    """Return the reader whose messages are shown; an administrator may name any."""
    if who.account.role == "administrator" and of:
        return of
    return who.account.recipient_name


def _find_next(connection: Connection, name: str) -> _Next | None:
    when = When(datetime.now(UTC), None, at_their_hour=False)
    of = connection.scalar(select(organisation.c.name)) or ""
    for due in find_due(connection, when):
        if due.recipient.name == name:
            found = preview_digest(connection, due, of)
            return found and _Next(*found)
    return None


def _tell(
    made: MadeNotice, who: Visitor, names: set[str], language: str, now: datetime
) -> dict[str, str]:
    """Return a notice in the words of then; neighbours that may not be seen have no name in it."""
    notice = made.notice
    known = replace(notice, sources=unname_sources(notice.sources, names, language))
    made_on = made.at.date()
    return {
        "day": show_day(made_on, language, now.date()),
        "block": tidy(notice.block_name),
        "block_id": notice.block_id,
        "site": tidy(notice.site_name),
        "words": bind_numbers(tell(known, language, who.account.unit, made_on)),
    }
