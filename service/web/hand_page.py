"""/hand/TOKEN: a page on which a thermometer's reading is noted, on the phone, without scripts.

The address holds the token of its thermometer, and nothing else lets anyone in: no cookie and no
login that another site could make a browser use, so that no request can be forged by who does not
know the address. It therefore stays out of the log, of caches and of referrers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from http import HTTPStatus
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine

from alerts.figures import show_depths, show_temperature
from alerts.hand_words import HandReadingError, confirm, refuse, show_time
from alerts.words import translations
from probes.hand_texts import parse_temperature
from probes.units import to_c
from service.farm.text import value_text
from service.intake.hand import Written, find_thermometer, keep_hand_readings
from service.intake.undoing import withdraw
from service.store.engine import reading, writing
from service.store.frozen import FrozenError
from service.store.thermometers import HandReading, Thermometer, fetch_hand_readings
from service.store.tokens import PushToken, find_push_token, mark_used
from service.web.access import by_secret
from service.web.api.parts import Number
from service.web.bearer import Door
from service.web.pages import (
    Fields,
    answer_dead_link,
    answer_page,
    choose_language,
    read_fields,
    redirect,
)
from service.web.problems import Problem
from service.web.writing import run_writing

LATEST = 6
LONGEST = {"day": 10, "time": 8, "depth": 10, "temperature": 20, "person": 100, "note": 300}
LONGEST |= {"unit": 1}


def hand_page_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False, dependencies=[by_secret])

    @routes.get("/hand/{secret}")
    def show(request: Request, secret: str) -> Response:
        """Show the form."""
        with reading(engine) as connection:
            token = find_push_token(connection, secret, datetime.now(UTC))
            try:
                thermometer = find_thermometer(connection, token.logger_id if token else "")
            except HandReadingError:
                return answer_dead_link(request)
            return _page(request, connection, thermometer, secret, {})

    @routes.post("/hand/{secret}")
    async def note(request: Request, secret: str) -> Response:
        """Note what was filled in; the same sent again is noted once."""
        try:
            token = await door.admit_secret(secret)
        except Problem as problem:
            if problem.status == HTTPStatus.UNAUTHORIZED:
                return answer_dead_link(request)
            raise
        filled = await read_fields(request)
        fields = {name: filled.get(name, "")[:most] for name, most in LONGEST.items()}
        return await run_writing(_note, request, token, secret, fields)

    @routes.post("/hand/{secret}/take-back/{import_id}")
    async def take_back(request: Request, secret: str, import_id: Number) -> Response:
        """Take back what was noted with this thermometer."""
        try:
            token = await door.admit_secret(secret)
        except Problem as problem:
            if problem.status == HTTPStatus.UNAUTHORIZED:
                return answer_dead_link(request)
            raise
        await run_writing(_take_back, token.logger_id, import_id)
        return redirect(f"/hand/{secret}")

    def _take_back(logger_id: str, import_id: int) -> None:
        with writing(engine) as connection:
            own = fetch_hand_readings(connection, [logger_id], import_id)
            if len(own) == 1:  # otherwise it was taken back before, is another's, or of a file
                person = own[0].person or "whoever noted it"
                try:
                    withdraw(connection, import_id, person, "taken back", datetime.now(UTC))
                except FrozenError as error:
                    raise Problem(HTTPStatus.CONFLICT, str(error)) from None

    def _note(request: Request, token: PushToken, secret: str, fields: Fields) -> Response:
        now, language = datetime.now(UTC), choose_language(request)
        with writing(engine) as connection:
            try:
                thermometer = find_thermometer(connection, token.logger_id)
            except HandReadingError:
                return answer_dead_link(request)
            written = [_as_written(fields)]
            report = keep_hand_readings(connection, thermometer, written, "page", now)
            mark_used(connection, token.id, now)
            for _, refusal in report.refused:
                not_noted = translations(language).gettext("Not noted.")
                told = [f"{not_noted} {refuse(refusal, language)}"]
                return _page(request, connection, thermometer, secret, fields, told, refused=True)
            ((_, noted),) = report.noted
            kept = {name: fields[name] for name in ("person", "unit")}
            told = confirm(noted, language)
            return _page(request, connection, thermometer, secret, kept, told)

    return routes


def _as_written(fields: Fields) -> Written:
    """Return a reading; the unit that was chosen counts where the number has none."""
    temperature = fields["temperature"]
    if temperature[-1:].isdigit():
        temperature += fields["unit"]
    try:
        depth_cm = float(fields["depth"])
    except ValueError:
        depth_cm = None
    at = f"{fields['day']} {fields['time']}"
    return Written(at, depth_cm, temperature, fields["person"], fields["note"])


def _page(
    request: Request,
    connection: Connection,
    thermometer: Thermometer,
    secret: str,
    fields: Fields,
    told: Sequence[str] = (),
    refused: bool = False,
) -> Response:
    """Return the page with what was filled in, what came of it, and the latest readings."""
    language = choose_language(request)
    here = datetime.now(ZoneInfo(thermometer.timezone))
    depths = {
        value_text(depth_cm): show_depths([depth_cm], language)
        for depth_cm in thermometer.depths_cm
    }
    begun = {
        **dict.fromkeys(LONGEST, ""),
        "depth": next(iter(depths)) if len(depths) == 1 else "",
        "unit": thermometer.unit or "",
        "day": f"{here:%Y-%m-%d}",
        "time": f"{here:%H:%M}",
    }
    return answer_page(
        request,
        "hand.html",
        HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK,
        title=f"{thermometer.name}, {thermometer.site_name}",
        told=told,
        refused=refused,
        fields=begun | fields,
        depths=depths,
        latest=_list(connection, thermometer, secret, language),
    )


def _list(
    connection: Connection, thermometer: Thermometer, secret: str, language: str
) -> list[dict[str, str]]:
    """Return the latest readings; one that came alone has where it is taken back."""
    noted = fetch_hand_readings(connection, [thermometer.id])
    together = Counter(one.import_id for one in noted)
    zone = ZoneInfo(thermometer.timezone)
    return [
        {
            "at": show_time(one.observed_at.astimezone(zone), language),
            "said": _show_reading(one, language),
            "take_back": f"/hand/{secret}/take-back/{one.import_id}"
            if together[one.import_id] == 1
            else "",
        }
        for one in noted[: -LATEST - 1 : -1]
    ]


def _show_reading(one: HandReading, language: str) -> str:
    value, unit = parse_temperature(one.said)
    unit = unit or "C"  # it is kept with its unit
    temperature = show_temperature(to_c(value, unit), unit, language)
    return f"{show_depths([one.depth_cm], language)}: {temperature}"
