"""/advisories: what a region is told, drafted, noted, released or dropped by a person's word."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, BackgroundTasks, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine, select

from alerts.advisories.figures import Advisory
from alerts.advisories.letter import compose_advisory, tell_outcomes
from alerts.advisories.sms import compose_advisory_sms
from alerts.digest import Reader
from alerts.figures import show_day
from alerts.gsm import count_parts
from alerts.letter_html import write_html
from alerts.lines import bind_numbers
from alerts.words import LANGUAGES, translations
from service.advisories.drafting import draft_by_hand, find_blocks, find_figures_now
from service.advisories.members import find_members
from service.advisories.releasing import (
    NotHeldError,
    compose_released,
    foresee,
    note_for,
    release,
)
from service.advisories.scope import find_scope, may_decide, may_read
from service.settings import Settings
from service.store.advisories import (
    KeptAdvisory,
    KeptNote,
    add_note,
    fetch_advisories,
    fetch_members,
    mark_dropped,
)
from service.store.engine import reading, writing
from service.store.tables import organisation
from service.web.access import Coordinator, Visitor
from service.web.advisory_words import (
    tell_differences,
    tell_left_out,
    tell_run,
    tell_scope,
    tell_state,
)
from service.web.letters import answer_letter
from service.web.pages import Fields, Filled, answer_page, choose_language, redirect
from service.web.problems import Problem
from service.web.writing import run_writing

LONGEST_NOTE, LONGEST_WHY = 2_000, 300
LISTED = 200


def advisories_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/advisories")
    def show(request: Request, who: Coordinator) -> Response:
        """List the advisories, the latest first."""
        language, today = choose_language(request), datetime.now(UTC).date()
        with reading(engine) as connection:
            every = fetch_advisories(connection)
            kept = [one for one in every if may_read(connection, who.reach, one.district_ids)]
            scope = find_scope(connection, who.reach)
        shown = [
            (
                one,
                show_day(one.as_of, language, today),
                tell_outcomes(one.figures.region, language),
                " ".join((*tell_scope(one, language), tell_state(one, language, today))),
            )
            for one in kept[:LISTED]
        ]
        return answer_page(request, "advisories.html", kept=shown, scope=scope)

    @routes.post("/advisories")
    async def draft(who: Coordinator) -> Response:
        """Draft one now."""
        return await run_writing(_draft, who)

    @routes.get("/advisories/{number}")
    async def show_one(
        request: Request, number: int, who: Coordinator, language: str = ""
    ) -> Response:
        """Show an advisory as it is read, how it stands, and what releasing it comes to."""
        return await run_writing(page, request, number, who, language)

    @routes.get("/advisories/{number}/mail")
    def show_mail(request: Request, number: int, who: Coordinator, language: str = "") -> Response:
        """Show it as a member's mail program does."""
        with reading(engine) as connection:
            one, of = _find(connection, number, who), _name_region(connection)
        reader = _reader(request, who, language, of)
        note = note_for(one, reader.language)
        letter = compose_advisory(one.figures, reader, note, one.released_by)
        return answer_letter(write_html(letter))

    @routes.post("/advisories/{number}")
    async def decide(
        request: Request, number: int, fields: Filled, who: Coordinator, after: BackgroundTasks
    ) -> Response:
        """Put a word on top of it, release it, or drop it."""
        return await run_writing(_decide, request, number, fields, who, after)

    def page(
        request: Request, number: int, who: Visitor, read_in: str = "", wrong: str = ""
    ) -> Response:
        language, now = choose_language(request), datetime.now(UTC)
        with reading(engine) as connection:
            one, of = _find(connection, number, who), _name_region(connection)
            decides = one.state == "held" and may_decide(connection, who.reach, one.district_ids)
            members = fetch_members(connection, number)
            figures = _find_figures(connection, one, now) if decides else None
        run = None
        if decides:
            with writing(engine) as connection:
                told = find_members(connection, settings, now, one.district_ids)
                run = foresee(one, told, settings)
        reader = _reader(request, who, read_in, of)
        text = compose_advisory_sms(one.figures, reader, note_for(one, reader.language))
        return answer_page(
            request,
            "advisory.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            one=one,
            outcomes=tell_outcomes(one.figures.region, language),
            state=" ".join((*tell_scope(one, language), tell_state(one, language, now.date()))),
            read_in=reader.language,
            languages=LANGUAGES,
            text=text,
            parts=count_parts(text),
            run=run,
            told=[bind_numbers(said) for said in tell_run(run, settings, language)] if run else [],
            changes=[*tell_differences(one.figures, figures, language)] if figures else [],
            members=members[:LISTED],
            tell_left_out=tell_left_out,
            others=max(len(members) - LISTED, 0),
            may_decide=decides,
            wrong=wrong,
            longest_note=LONGEST_NOTE,
            longest_why=LONGEST_WHY,
        )

    def _draft(who: Visitor) -> Response:
        now = datetime.now(UTC)
        with reading(engine) as connection:
            scope = find_scope(connection, who.reach)
            if not find_blocks(connection, scope):
                raise Problem(HTTPStatus.CONFLICT, "there are no blocks yet")
        number = draft_by_hand(engine, settings, now, who.account.name, None, scope)
        with writing(engine) as connection:
            who.note(connection, "drafted an advisory", f"{number}", now)
        return redirect(f"/advisories/{number}")

    def _decide(
        request: Request, number: int, fields: Fields, who: Visitor, after: BackgroundTasks
    ) -> Response:
        now, said, person = datetime.now(UTC), fields.get("say"), who.account.name
        with reading(engine) as connection:
            one = _find(connection, number, who)
            if not may_decide(connection, who.reach, one.district_ids):
                said = "this advisory is also for districts that this account does not see"
                raise Problem(HTTPStatus.FORBIDDEN, said)
            changes = said == "release" and _has_changed(connection, one, now)
        if one.state != "held" or f"{len(one.notes)}" != fields.get("notes"):
            return page(request, number, who, wrong="other")
        if said == "release" and changes and not fields.get("as_drafted"):
            return page(request, number, who, wrong="changed")
        why = fields.get("why", "")[:LONGEST_WHY]
        if said == "drop" and not why:
            return page(request, number, who, wrong="why")
        try:
            with writing(engine) as connection:
                if said == "note":
                    language = fields.get("language")
                    text = fields.get("text", "")[:LONGEST_NOTE]
                    note = KeptNote(language if language in LANGUAGES else None, text, person, now)
                    add_note(connection, number, note)
                    who.note(connection, "noted on an advisory", f"{number}", now)
                elif said == "drop":
                    if not mark_dropped(connection, number, person, why, now):
                        raise NotHeldError
                    who.note(connection, "dropped an advisory", f"{number}: {why}", now)
                elif said == "release":
                    release(connection, one, person, now)
                    who.note(connection, "released an advisory", f"{number}", now)
                    after.add_task(compose_released, engine, settings, now)
        except NotHeldError:
            return page(request, number, who, wrong="other")
        return redirect(f"/advisories/{number}")

    def _has_changed(connection: Connection, one: KeptAdvisory, now: datetime) -> bool:
        return any(tell_differences(one.figures, _find_figures(connection, one, now), "en"))

    def _find_figures(connection: Connection, one: KeptAdvisory, now: datetime) -> Advisory:
        return find_figures_now(connection, settings, now, None, one.district_ids)

    def _reader(request: Request, who: Visitor, language: str, of: str) -> Reader:
        """Return a member who reads in a language; where it is none, in that of the visitor."""
        read_in = language if language in LANGUAGES else choose_language(request)
        return Reader(translations(read_in).gettext("a member"), read_in, who.account.unit, of)

    return routes


def _find(connection: Connection, number: int, who: Visitor) -> KeptAdvisory:
    found = fetch_advisories(connection, number)
    if not found or not may_read(connection, who.reach, found[0].district_ids):
        raise Problem(HTTPStatus.NOT_FOUND, "no advisory has this number")
    return found[0]


def _name_region(connection: Connection) -> str:
    return connection.scalar(select(organisation.c.name)) or ""
