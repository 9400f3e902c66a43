"""/hand/TOKEN: a page on which a thermometer's reading is noted, on the phone, without scripts.

The address holds the token of its thermometer, and nothing else lets anyone in: no cookie and no
login that another site could make a browser use, so that no request can be forged by who does not
know the address. It therefore stays out of the log, of caches and of referrers.
"""

from __future__ import annotations

import logging
import re
from collections import Counter
from datetime import UTC, datetime
from http import HTTPStatus
from urllib.parse import parse_qs
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response
from sqlalchemy import Connection, Engine

from alerts.figures import show_depths, show_temperature
from alerts.hand_form import dead_link, form_words, latest_title, not_noted, word_take_back
from alerts.hand_words import HandReadingError, confirm, refuse, show_time
from probes.hand_texts import parse_temperature
from probes.units import to_c
from service.farm.text import value_text
from service.intake.hand import Written, find_thermometer, keep_hand_readings
from service.intake.undoing import withdraw
from service.store.engine import reading, writing
from service.store.thermometers import HandReading, Thermometer, fetch_hand_readings
from service.store.tokens import Token, find_token, mark_used
from service.web.bearer import Door
from service.web.html import HEADERS, Html, answer_page, choose_language, fill, tag
from service.web.problems import Problem

LATEST = 6
UNITS = ("F", "C")
LONGEST = {"day": 10, "time": 8, "depth": 10, "temperature": 20, "person": 100, "note": 300}
TOKEN_IN_PATH = re.compile(r"(/(?:hand|told|dug)/)[^/?\s]+")

Fields = dict[str, str]
"""What was filled in, by the names of the form."""


class HideTokens(logging.Filter):
    """Keeps the tokens of pages out of the log of requests."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Put dots in the place of the token."""
        if isinstance(record.args, tuple):
            record.args = tuple(
                TOKEN_IN_PATH.sub(r"\1...", one) if isinstance(one, str) else one
                for one in record.args
            )
        return True


def hand_page_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/hand/{secret}")
    def show(request: Request, secret: str) -> Response:
        """Show the form."""
        language = choose_language(request)
        with reading(engine) as connection:
            token = find_token(connection, secret)
            try:
                thermometer = find_thermometer(connection, token.logger_id if token else "")
            except HandReadingError:
                return _dead_link(language)
            return _page(connection, thermometer, secret, {}, Html(), language)

    @routes.post("/hand/{secret}")
    async def note(request: Request, secret: str) -> Response:
        """Note what was filled in; the same sent again is noted once."""
        language = choose_language(request)
        try:
            token = await door.admit_secret(secret)
        except Problem as problem:
            if problem.status == HTTPStatus.UNAUTHORIZED:
                return _dead_link(language)
            raise
        fields = _read_fields(await door.read_body(request))
        return await run_in_threadpool(_note, token, secret, fields, language)

    @routes.post("/hand/{secret}/take-back/{import_id}")
    async def take_back(request: Request, secret: str, import_id: int) -> Response:
        """Take back what was noted with this thermometer."""
        try:
            token = await door.admit_secret(secret)
        except Problem as problem:
            if problem.status == HTTPStatus.UNAUTHORIZED:
                return _dead_link(choose_language(request))
            raise
        await run_in_threadpool(_take_back, token.logger_id, import_id)
        return RedirectResponse(f"/hand/{secret}", HTTPStatus.SEE_OTHER, HEADERS)

    def _take_back(logger_id: str, import_id: int) -> None:
        with writing(engine) as connection:
            own = fetch_hand_readings(connection, [logger_id], import_id)
            if len(own) == 1:  # otherwise it was taken back before, is another's, or of a file
                person = own[0].person or "whoever noted it"
                withdraw(connection, import_id, person, "taken back", datetime.now(UTC))

    def _note(token: Token, secret: str, fields: Fields, language: str) -> Response:
        now = datetime.now(UTC)
        with writing(engine) as connection:
            try:
                thermometer = find_thermometer(connection, token.logger_id)
            except HandReadingError:
                return _dead_link(language)
            written = [_as_written(fields)]
            report = keep_hand_readings(connection, thermometer, written, "page", now)
            mark_used(connection, token.id, now)
            for _, refusal in report.refused:
                text = f"{not_noted(language)} {refuse(refusal, language)}"
                answer = tag("div", tag("p", text), class_="told refused", role="alert")
                return _page(connection, thermometer, secret, fields, answer, language, 422)
            ((_, noted),) = report.noted
            paragraphs = [tag("p", sentence) for sentence in confirm(noted, language)]
            answer = tag("div", *paragraphs, class_="told", role="status")
            kept = {key: fields[key] for key in ("person", "unit") if key in fields}
            return _page(connection, thermometer, secret, kept, answer, language)

    return routes


def _read_fields(body: bytes) -> Fields:
    """Return the fields of a form, each once and of bounded length."""
    pairs = parse_qs(body.decode("utf-8", "replace"), max_num_fields=20)
    return {
        key: values[0].replace("\0", "")[: LONGEST.get(key, 1)].strip()
        for key, values in pairs.items()
    }


def _as_written(fields: Fields) -> Written:
    """Return a reading; the unit that was chosen counts where the number has none."""
    temperature = fields.get("temperature", "")
    if temperature[-1:].isdigit():
        temperature += fields.get("unit", "")
    try:
        depth_cm = float(fields.get("depth", ""))
    except ValueError:
        depth_cm = None
    at = f"{fields.get('day', '')} {fields.get('time', '')}"
    return Written(at, depth_cm, temperature, fields.get("person", ""), fields.get("note", ""))


def _page(
    connection: Connection,
    thermometer: Thermometer,
    secret: str,
    fields: Fields,
    answer: Html,
    language: str,
    status: int = 200,
) -> Response:
    """Return the page with what was filled in, what came of it, and the latest readings."""
    here = datetime.now(ZoneInfo(thermometer.timezone))
    depths = {
        value_text(depth_cm): show_depths([depth_cm], language)
        for depth_cm in thermometer.depths_cm
    }
    only_depth = next(iter(depths)) if len(depths) == 1 else ""
    unit = fields.get("unit", thermometer.unit or "")
    noted = fetch_hand_readings(connection, [thermometer.id])
    content = fill(
        "hand",
        **form_words(language),
        answer=answer,
        depths=_choices("depth", depths, fields.get("depth", only_depth)),
        units=_choices("unit", {one: f"°{one}" for one in UNITS}, unit),
        temperature=fields.get("temperature", ""),
        day=fields.get("day", f"{here:%Y-%m-%d}"),
        time=fields.get("time", f"{here:%H:%M}"),
        person=fields.get("person", ""),
        note=fields.get("note", ""),
        latest=_list(noted, thermometer, secret, language),
    )
    title = f"{thermometer.name}, {thermometer.site_name}"
    return answer_page(title, content, language, status)


def _choices(name: str, choices: dict[str, str], chosen: str) -> Html:
    """Return a button of a group for each choice."""
    buttons = [
        tag(
            "label",
            tag("input", type="radio", name=name, value=key, required=True, checked=key == chosen),
            text,
        )
        for key, text in choices.items()
    ]
    return Html("".join(buttons))


def _list(noted: list[HandReading], thermometer: Thermometer, secret: str, language: str) -> Html:
    """Return the latest readings; one that came alone has a button that takes it back."""
    if not noted:
        return Html()
    together = Counter(one.import_id for one in noted)
    zone = ZoneInfo(thermometer.timezone)
    items = [
        tag(
            "li",
            tag("span", show_time(one.observed_at.astimezone(zone), language)),
            tag("span", _show_reading(one, language)),
            tag(
                "form",
                tag("button", word_take_back(language), class_="quiet"),
                method="post",
                action=f"/hand/{secret}/take-back/{one.import_id}",
            )
            if together[one.import_id] == 1
            else "",
        )
        for one in noted[: -LATEST - 1 : -1]
    ]
    return Html(tag("h2", latest_title(language)) + tag("ol", *items, class_="noted"))


def _show_reading(one: HandReading, language: str) -> str:
    value, unit = parse_temperature(one.said)
    unit = unit or "C"  # it is kept with its unit
    temperature = show_temperature(to_c(value, unit), unit, language)
    return f"{show_depths([one.depth_cm], language)}: {temperature}"


def _dead_link(language: str) -> Response:
    title, text = dead_link(language)
    return answer_page(title, tag("p", text), language, HTTPStatus.NOT_FOUND)
