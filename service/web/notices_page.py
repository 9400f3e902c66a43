"""/notices: what waits for a reader, what they were sent, and what was told of their blocks."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.figures import show_day
from alerts.gsm import count_parts
from alerts.letter_html import write_html
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.sentences import tell
from service.store.blocks import fetch_block_names
from service.store.engine import reading, writing
from service.store.holds import fetch_hold
from service.store.notices import MadeNotice, fetch_last_notices
from service.store.outbox import find_state
from service.store.recipients import fetch_recipients
from service.web.access import LONGEST_WHY, Administrator, Known, Visitor
from service.web.api.parts import Number
from service.web.letters import answer_letter, read_beginning, read_message
from service.web.own_messages import (
    choose_reader,
    drop_message,
    find_message,
    find_messages,
    find_next,
    let_held_go,
    need_next,
    send_once_more,
)
from service.web.pages import Filled, answer_page, choose_language, redirect
from service.web.seen_blocks import unname_sources

AT_ONCE, MESSAGES = 30, 20


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
            name = choose_reader(who, of)
            names = fetch_block_names(connection, who.reach.block_ids)
            told = fetch_last_notices(connection, who.reach.block_ids, AT_ONCE + 1, before)
            messages = find_messages(connection, who, of, MESSAGES)
            waiting = find_next(connection, name)
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
            messages=[
                (one, find_state(one, now), read_beginning(one.channel, one.message))
                for one in messages
            ],
            told=[_tell(one, who, names, language, now) for one in told[:AT_ONCE]],
            older=told[AT_ONCE - 1].id if len(told) > AT_ONCE else None,
        )

    @routes.get("/notices/next")
    def preview(request: Request, who: Known, of: str = "") -> Response:
        """Show what a reader is told next, as mail and as text."""
        with reading(engine) as connection:
            found = need_next(connection, who, of)
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
        with reading(engine) as connection:
            found = need_next(connection, who, of)
        return answer_letter(write_html(found.letter))

    @routes.get("/notices/messages/{number}")
    def show_message(request: Request, number: Number, who: Known) -> Response:
        """Show a message as it was sent, or is to be."""
        with reading(engine) as connection:
            row = find_message(connection, number, who)
        read = read_message(row.channel, row.message)
        return answer_page(
            request,
            "message.html",
            message=row,
            state=find_state(row, datetime.now(UTC)),
            subject=row.recipient_name if read.subject is None else read.subject,
            frame=f"/notices/messages/{number}/mail" if read.html else "",
            text=read.text,
            parts=count_parts(row.message) if row.channel == "sms" else None,
            may_decide=who.account.role == "administrator",
            longest=LONGEST_WHY,
        )

    @routes.get("/notices/messages/{number}/mail")
    def show_mail(number: Number, who: Known) -> Response:
        """Show a mail as its reader's program does."""
        with reading(engine) as connection:
            row = find_message(connection, number, who)
        return answer_letter(read_message(row.channel, row.message).html)

    @routes.post("/notices/messages/{number}")
    def decide(number: Number, fields: Filled, who: Administrator) -> Response:
        """Let a message wait no longer, or be sent again."""
        now, why = datetime.now(UTC), fields.get("why", "")[:LONGEST_WHY]
        with writing(engine) as connection:
            find_message(connection, number, who)
            if fields.get("say") == "again":
                send_once_more(connection, number, who, now)
            elif fields.get("say") == "drop" and why:
                drop_message(connection, number, why, who, now)
        return redirect(f"/notices/messages/{number}")

    @routes.post("/notices/hold")
    def decide_on_hold(fields: Filled, who: Administrator) -> Response:
        """Let messages go again that are held back, or drop those that wait."""
        with writing(engine) as connection:
            let_held_go(connection, who, fields.get("say") == "drop", datetime.now(UTC))
        return redirect("/notices")

    return routes


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
