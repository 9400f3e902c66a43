"""/finds: what was found by digging, and the page on which it is noted beside the vine.

The page works as a plain form. With scripts a record goes into a queue on the phone first and is
sent from there (static/finds-queue.js), by the same route: each has the id that it got where it was
noted, so that what is sent again is kept once.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from sqlalchemy import Engine
from starlette.datastructures import UploadFile

from alerts.dig.record_words import advise, name_vine, tell_seen, word, word_choices
from alerts.dig.records import DigRecord, Insects, Outcome, Roots, Specimen, Swellings
from alerts.dig.written import CELLS, WrittenError, read_written, refuse_cell
from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.words import translations
from service.dig.status import find_told, today_at
from service.finds.keeping import (
    OthersRecordError,
    check_id,
    keep_find,
    keep_photos,
    read_photos,
)
from service.finds.photos import FORMS, LARGEST_BYTES, MOST_PHOTOS, PhotoError
from service.store.blocks import Block
from service.store.dig_photos import fetch_photo, fetch_photo_ids
from service.store.dig_records import Kept, fetch_dig_records, fetch_versions
from service.store.engine import reading, writing
from service.web.access import Owner, Planner, Visitor, anyone
from service.web.api.parts import Number
from service.web.own_finds import take_back_find
from service.web.pages import (
    STATIC,
    Fields,
    Filled,
    Sent,
    answer_page,
    choose_language,
    redirect,
)
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks
from service.web.writing import run_writing

MOST_LISTED = 100
CHOICES = (Roots, Swellings, Insects, Specimen)
"""What is chosen of a vine, a word each, in the order of the page."""
KEPT_FIELDS = ("block", "row", "person", "dug_on", "depth_cm", "by_lot")
"""What the next vine likely shares."""


def finds_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/finds")
    def show(request: Request, who: Planner, block: str = "") -> Response:
        """List what was found, the latest first."""
        language = choose_language(request)
        with reading(engine) as connection:
            told = find_told(connection, who.account, who.reach)
            blocks = {one.id: one for one in find_blocks(connection, who.reach) if one.id in told}
            chosen = block if block in told else ""
            wanted = {chosen} if chosen else told
            records = fetch_dig_records(connection, wanted)
            latest = records[: -MOST_LISTED - 1 : -1]
            photos = fetch_photo_ids(connection, [one.record_id for one in latest])
        return answer_page(
            request,
            "finds.html",
            finds=[_show(one, blocks, photos, who, language) for one in latest],
            blocks=[(one.id, tidy(one.name)) for one in blocks.values()],
            chosen=chosen,
            total=len(records),
            may_write=who.account.role in ("grower", "administrator"),
        )

    @routes.get("/finds/new")
    def begin(request: Request, who: Owner, block: str = "") -> Response:
        """Show the form."""
        return page(request, who, {"block": block})

    @routes.post("/finds/new")
    async def note(request: Request, fields: Filled, sent: Sent, who: Owner) -> Response:
        """Keep what was noted; the same sent again is kept once."""
        files = [one for one in sent.getlist("photos") if isinstance(one, UploadFile) and one.size]
        photos = [await one.read() for one in files]
        return await run_writing(_note, request, who, fields, photos)

    @routes.get("/finds/session")
    def tell_session(request: Request, who: Owner) -> JSONResponse:
        """Say to the queue of a phone who is signed in, and what its requests must hold."""
        return JSONResponse(
            {"account": f"{who.account.id}", "csrf": who.write_csrf(f"{request.url}")}
        )

    @routes.get("/finds/worker.js", dependencies=[anyone])
    def work() -> Response:
        """Return the worker, which may serve only pages that lie where it lies."""
        script = STATIC.joinpath("finds-worker.js").read_bytes()
        return Response(script, media_type="text/javascript")

    @routes.get("/finds/photos/{number}")
    def show_photo(number: Number, who: Planner) -> Response:
        """Return a photo."""
        with reading(engine) as connection:
            found = fetch_photo(connection, number)
            versions = fetch_versions(connection, found[0]) if found else []
            told = find_told(connection, who.account, who.reach)
        stands = [one for one in versions[:1] if one.until is None and one.record.block_id in told]
        if found is None or not stands:
            raise Problem(HTTPStatus.NOT_FOUND, "no photo of yours has this number")
        return Response(found[1], media_type=FORMS["JPEG"])

    @routes.post("/finds/{record_id}/withdraw")
    async def take_back(record_id: str, who: Owner) -> Response:
        """Let a record count no more."""
        await run_writing(_take_back, record_id, who)
        return redirect("/finds")

    def _take_back(record_id: str, who: Visitor) -> None:
        with writing(engine) as connection:
            take_back_find(connection, record_id, who, datetime.now(UTC))

    def _note(request: Request, who: Visitor, fields: Fields, photos: Sequence[bytes]) -> Response:
        now, language = datetime.now(UTC), choose_language(request)
        as_json = "application/json" in request.headers.get("accept", "")
        try:
            record = read_written(fields, who.reach.block_ids, now.date())
            pictures = read_photos(photos, record)
            with writing(engine) as connection:
                check_id(connection, record, who.reach.block_ids)
                kept = keep_find(connection, record, who.account.email, now)
                if kept is not Kept.WITHDRAWN:
                    keep_photos(connection, record, pictures, who.account.email, now)
        except WrittenError as error:
            labels = _labels(language)
            faults = [refuse_cell(one, language, labels[one.cell]) for one in error.faults]
        except OthersRecordError as error:
            raise Problem(HTTPStatus.CONFLICT, str(error)) from None
        except PhotoError as error:
            faults = [_refuse_photo(error, language)]
        else:
            told = _tell(record, kept, language)
            if as_json:
                return JSONResponse({"record_id": record.record_id, "kept": kept, "told": told})
            return page(request, who, {name: fields.get(name, "") for name in KEPT_FIELDS}, told)
        if as_json:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, "; ".join(faults))
        return page(request, who, fields, faults, refused=True)

    def page(
        request: Request,
        who: Visitor,
        fields: Mapping[str, str],
        told: Sequence[str] = (),
        refused: bool = False,
    ) -> Response:
        language = choose_language(request)
        with reading(engine) as connection:
            blocks = sorted(
                find_blocks(connection, who.reach), key=lambda one: (one.site_name, one.name)
            )
        now = datetime.now(UTC)
        today = next(iter(today_at(blocks[:1], now).values()), now.date())
        filled = {
            **dict.fromkeys(CELLS, ""),
            "record_id": str(uuid4()),
            "dug_on": today.isoformat(),
            "person": who.account.name,
            "specimen": Specimen.NOT_TAKEN.value,
        }
        return answer_page(
            request,
            "find.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK,
            told=told,
            refused=refused,
            fields=filled | {name: value for name, value in fields.items() if value},
            blocks=[(one.id, f"{tidy(one.name)}, {tidy(one.site_name)}") for one in blocks],
            choices=_find_choices(language),
            labels=_labels(language),
            suspicion=advise(Outcome.SUSPECTED, language),
            no_roots=advise(Outcome.NO_LIVE_ROOTS, language),
            forms=",".join(FORMS.values()),
            largest=LARGEST_BYTES,
        )

    return routes


def _find_choices(language: str) -> list[tuple[str, list[tuple[str, str]]]]:
    words = word_choices(language)
    return [
        (kind.__name__.lower(), [(one.value, text) for one, text in words[kind].items()])
        for kind in CHOICES
    ]


def _labels(language: str) -> dict[str, str]:
    """Return what the page calls each cell."""
    _ = translations(language).gettext
    return {
        "record_id": _("Number of the record"),
        "block": _("Block"),
        "row": _("Row"),
        "vine": _("Vine in the row"),
        "dug_on": _("Day"),
        "person": _("Who has dug"),
        "depth_cm": _("Depth, cm"),
        "roots": _("Roots"),
        "dead_roots": _("Dead roots were in it too"),
        "swellings": _("Swellings"),
        "insects": _("Insects"),
        "specimen": _("Specimen"),
        "by_lot": _("This vine was drawn by lot"),
        "mark": _("Mark left on the vine"),
        "note": _("Note, if any"),
        "latitude": _("Latitude"),
        "longitude": _("Longitude"),
    }


def _refuse_photo(error: PhotoError, language: str) -> str:
    _ = translations(language).gettext
    match error.kind:
        case "large" | "pixels":
            return _("A photo is too large; take a smaller one.")
        case "many":
            text = _("{most} photos of one vine are kept; choose among them.")
            return text.format(most=MOST_PHOTOS)
        case "form":
            return _("A photo cannot be read as JPEG, PNG or WebP; send one of these.")


def _tell(record: DigRecord, kept: Kept, language: str) -> list[str]:
    """Return what became of a record, and what follows."""
    _ = translations(language).gettext
    match kept:
        case Kept.NEW:
            text = _("Noted: {vine}, {outcome}.")
        case Kept.KNOWN:
            text = _("Noted before: {vine}, {outcome}.")
        case Kept.CORRECTED:
            text = _("Corrected: {vine}, {outcome}.")
        case Kept.WITHDRAWN:
            text = _("{vine} was noted and taken back before; nothing is changed.")
    outcome = word(record.outcome, language)
    told = text.format(vine=name_vine(record, language), outcome=outcome)
    return [f"{told[:1].upper()}{told[1:]}", *advise(record.outcome, language)]


def _show(
    record: DigRecord,
    blocks: Mapping[str, Block],
    photos: Mapping[str, Collection[int]],
    who: Visitor,
    language: str,
) -> dict[str, Any]:
    block = blocks.get(record.block_id)
    return {
        "id": record.record_id,
        "block": tidy(block.name) if block else record.block_id,
        "vine": name_vine(record, language),
        "day": show_day(record.dug_on, language, datetime.now(UTC).date()),
        "outcome": word(record.outcome, language),
        "seen": bind_numbers(tell_seen(record, language)),
        "person": tidy(record.person),
        "by_lot": record.by_lot,
        "mark": record.mark and tidy(record.mark),
        "note": record.note and tidy(record.note),
        "photos": photos.get(record.record_id, ()),
        "may_withdraw": who.account.role in ("grower", "administrator"),
    }
