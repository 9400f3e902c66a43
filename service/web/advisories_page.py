"""/advisories: what a region is told, drafted, noted, released or dropped by a person's word."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, BackgroundTasks, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.advisories.letter import compose_advisory, tell_outcomes
from alerts.figures import show_day
from alerts.gsm import count_parts
from alerts.letter_html import write_html
from alerts.lines import bind_numbers
from alerts.words import LANGUAGES
from service.advisories.releasing import compose_released, note_for
from service.advisories.scope import find_scope, may_read
from service.settings import Settings
from service.store.advisories import fetch_advisories
from service.store.engine import reading
from service.web.access import LONGEST_WHY, Coordinator, Visitor
from service.web.advising import (
    LONGEST_NOTE,
    Decision,
    UndecidedError,
    decide_on,
    decides,
    draft_one,
    find_advisory,
    find_told,
    foresee_release,
    read_as,
    write_text,
)
from service.web.advisory_words import (
    tell_differences,
    tell_left_out,
    tell_run,
    tell_scope,
    tell_state,
)
from service.web.api.parts import Number
from service.web.letters import answer_letter
from service.web.pages import Fields, Filled, answer_page, choose_language, redirect
from service.web.writing import run_writing

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
        request: Request, number: Number, who: Coordinator, language: str = ""
    ) -> Response:
        """Show an advisory as it is read, how it stands, and what releasing it comes to."""
        return await run_writing(page, request, number, who, language)

    @routes.get("/advisories/{number}/mail")
    def show_mail(
        request: Request, number: Number, who: Coordinator, language: str = ""
    ) -> Response:
        """Show it as a member's mail program does."""
        with reading(engine) as connection:
            one = find_advisory(connection, number, who)
            reader = read_as(connection, who, _choose(request, language))
        note = note_for(one, reader.language)
        letter = compose_advisory(one.figures, reader, note, one.released_by)
        return answer_letter(write_html(letter))

    @routes.post("/advisories/{number}")
    async def decide(
        request: Request, number: Number, fields: Filled, who: Coordinator, after: BackgroundTasks
    ) -> Response:
        """Put a word on top of it, release it, or drop it."""
        return await run_writing(_decide, request, number, fields, who, after)

    def page(
        request: Request, number: int, who: Visitor, read_in: str = "", wrong: str = ""
    ) -> Response:
        language, now = choose_language(request), datetime.now(UTC)
        with reading(engine) as connection:
            one = find_advisory(connection, number, who)
            reader = read_as(connection, who, _choose(request, read_in))
            may = decides(connection, one, who)
            members = find_told(connection, one, who) or []
        run, figures = foresee_release(engine, settings, one, now) if may else (None, None)
        text = write_text(one, reader)
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
            may_decide=may,
            wrong=wrong,
            longest_note=LONGEST_NOTE,
            longest_why=LONGEST_WHY,
        )

    def _draft(who: Visitor) -> Response:
        number = draft_one(engine, settings, who, datetime.now(UTC))
        return redirect(f"/advisories/{number}")

    def _decide(
        request: Request, number: int, fields: Fields, who: Visitor, after: BackgroundTasks
    ) -> Response:
        now, seen = datetime.now(UTC), fields.get("notes", "")
        decision = Decision(
            say=fields.get("say", ""),
            notes=int(seen) if seen.isdecimal() else -1,
            as_drafted=bool(fields.get("as_drafted")),
            language=fields.get("language"),
            text=fields.get("text", "")[:LONGEST_NOTE],
            why=fields.get("why", "")[:LONGEST_WHY],
        )
        try:
            decide_on(engine, settings, who, number, decision, now)
        except UndecidedError as error:
            return page(request, number, who, wrong=error.wrong)
        if decision.say == "release":
            after.add_task(compose_released, engine, settings, now)
        return redirect(f"/advisories/{number}")

    return routes


def _choose(request: Request, language: str) -> str:
    """Return a language that messages have; that of the visitor where it is none."""
    return language if language in LANGUAGES else choose_language(request)
