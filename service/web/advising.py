"""Advisories as a coordinator drafts them and decides on them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any, Literal

from sqlalchemy import Connection, Engine, select

from alerts.advisories.figures import Advisory
from alerts.advisories.sms import compose_advisory_sms
from alerts.digest import Reader
from alerts.words import LANGUAGES, translations
from service.advisories.drafting import draft_by_hand, find_blocks, find_figures_now
from service.advisories.members import find_members
from service.advisories.releasing import NotHeldError, Run, foresee, note_for, release
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
from service.web.access import Visitor
from service.web.advisory_words import tell_differences
from service.web.problems import Problem

LONGEST_NOTE = 2_000
ALSO_FOR_OTHERS = "this advisory is also for districts that this account does not see"

Wrong = Literal["other", "changed", "why"]


class UndecidedError(Exception):
    """Nothing was decided: it is not as it was read, how things stand has changed, no reason."""

    def __init__(self, wrong: Wrong) -> None:
        super().__init__(wrong)
        self.wrong: Wrong = wrong


@dataclass(frozen=True)
class Decision:
    """What is said of an advisory: note, drop or release.

    notes : how many it had when it was read
    as_drafted : whether it goes out though how things stand has changed
    """

    say: str
    notes: int
    as_drafted: bool = False
    language: str | None = None
    text: str = ""
    why: str = ""


def find_readable(connection: Connection, who: Visitor) -> list[KeptAdvisory]:
    """Return the advisories that a visitor may read, the latest first."""
    every = fetch_advisories(connection)
    return [one for one in every if may_read(connection, who.reach, one.district_ids)]


def find_advisory(connection: Connection, number: int, who: Visitor) -> KeptAdvisory:
    """Return one advisory, or refuse it."""
    found = fetch_advisories(connection, number)
    if not found or not may_read(connection, who.reach, found[0].district_ids):
        raise Problem(HTTPStatus.NOT_FOUND, "no advisory has this number")
    return found[0]


def find_told(connection: Connection, one: KeptAdvisory, who: Visitor) -> list[Any] | None:
    """Return for whom an advisory was released, as `fetch_members` does; None: the visitor does not
    see all that it is about, and so not all of these.
    """
    if not may_decide(connection, who.reach, one.district_ids):
        return None
    return fetch_members(connection, one.id)


def draft_one(engine: Engine, settings: Settings, who: Visitor, now: datetime) -> int:
    """Draft one now; return its number."""
    with reading(engine) as connection:
        scope = find_scope(connection, who.reach)
        if not find_blocks(connection, scope):
            raise Problem(HTTPStatus.CONFLICT, "there are no blocks yet")
    number = draft_by_hand(engine, settings, now, who.account.name, None, scope)
    with writing(engine) as connection:
        who.note(connection, "drafted an advisory", f"{number}", now)
    return number


def read_as(connection: Connection, who: Visitor, language: str) -> Reader:
    """Return a member who reads in a language."""
    of = connection.scalar(select(organisation.c.name)) or ""
    return Reader(translations(language).gettext("a member"), language, who.account.unit, of)


def write_text(one: KeptAdvisory, reader: Reader) -> str:
    """Return an advisory as the text that a member gets."""
    return compose_advisory_sms(one.figures, reader, note_for(one, reader.language))


def decides(connection: Connection, one: KeptAdvisory, who: Visitor) -> bool:
    """Whether an advisory waits for the word of a visitor."""
    return one.state == "held" and may_decide(connection, who.reach, one.district_ids)


def foresee_release(
    engine: Engine, settings: Settings, one: KeptAdvisory, now: datetime
) -> tuple[Run, Advisory]:
    """Return what releasing an advisory would come to, and what one of now would say."""
    with reading(engine) as connection:
        figures = find_figures_now(connection, settings, now, None, one.district_ids)
    with writing(engine) as connection:
        members = find_members(connection, settings, now, one.district_ids)
        return foresee(one, members, settings), figures


def decide_on(
    engine: Engine,
    settings: Settings,
    who: Visitor,
    number: int,
    decision: Decision,
    now: datetime,
) -> None:
    """Do what is decided; `compose_released` writes the messages of a release. UndecidedError."""
    with reading(engine) as connection:
        one = find_advisory(connection, number, who)
        if not may_decide(connection, who.reach, one.district_ids):
            raise Problem(HTTPStatus.FORBIDDEN, ALSO_FOR_OTHERS)
        changes = False
        if decision.say == "release":
            figures = find_figures_now(connection, settings, now, None, one.district_ids)
            changes = any(tell_differences(one.figures, figures, "en"))
    if one.state != "held" or len(one.notes) != decision.notes:
        raise UndecidedError("other")
    if changes and not decision.as_drafted:
        raise UndecidedError("changed")
    if decision.say == "drop" and not decision.why:
        raise UndecidedError("why")
    try:
        with writing(engine) as connection:
            _do(connection, one, who, decision, now)
    except NotHeldError:
        raise UndecidedError("other") from None


def _do(
    connection: Connection, one: KeptAdvisory, who: Visitor, decision: Decision, now: datetime
) -> None:
    person, number = who.account.name, one.id
    match decision.say:
        case "note":
            language = decision.language if decision.language in LANGUAGES else None
            add_note(connection, number, KeptNote(language, decision.text, person, now))
            who.note(connection, "noted on an advisory", f"{number}", now)
        case "drop":
            if not mark_dropped(connection, number, person, decision.why, now):
                raise NotHeldError
            who.note(connection, "dropped an advisory", f"{number}: {decision.why}", now)
        case "release":
            release(connection, one, person, now)
            who.note(connection, "released an advisory", f"{number}", now)
        case _:
            pass
