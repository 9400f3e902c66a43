"""GET /api/cautions: what who digs is to mind, and what digging can show and what not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field

from alerts.card import cautions, scouting_card
from alerts.dig.claims import claim_by_lot, claim_targeted, say_of_no_patch
from alerts.dig.hygiene import explain_cleaning, explain_order, warn_of_cleaning
from alerts.dig.spread_words import explain_replanting, explain_spread
from alerts.digest import say_of_vines
from service.web.access import known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.pages import choose_language

About = Literal["harm", "digging", "order", "cleaning", "windows", "lot", "patches", "replanting"]


class CautionRecord(Record):
    """A paragraph that belongs beside what is told, in your language."""

    place: Annotated[int, Field(description="in the list, from 1")]
    about: Annotated[
        About, Field(description="harm: show it to whoever is sent to dig or to clean")
    ]
    text: str


def cautions_routes() -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["digging"], dependencies=[known])

    @routes.get("/cautions", response_model=list[CautionRecord], responses=LISTED)
    def list_cautions(request: Request, part: Part) -> Response:
        """Return what the pages say beside dates, vines and the order of blocks."""
        after = part.find_number() or 0
        every = [
            CautionRecord(place=place, about=about, text=text)
            for place, (about, text) in enumerate(_tell(choose_language(request)), 1)
        ]
        records, next_key = part.cut(every[after:], lambda one: one.place)
        return part.answer(records, CautionRecord, next_key)

    return routes


def _tell(language: str) -> Iterator[tuple[About, str]]:
    paragraphs: dict[About, list[str]] = {
        "harm": [*cautions(language), *warn_of_cleaning(language)],
        "digging": scouting_card(language),
        "order": [explain_order(language)],
        "cleaning": explain_cleaning(language),
        "windows": [say_of_vines(language)],
        "lot": [claim_by_lot(language)],
        "patches": [claim_targeted(language), say_of_no_patch(language)],
        "replanting": [*explain_replanting(language), *explain_spread(language)],
    }
    for about, texts in paragraphs.items():
        for text in texts:
            yield about, text
