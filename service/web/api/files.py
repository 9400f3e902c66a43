"""Files that pages give, under /api: sheets, calendars, pictures, tables and mails.

Each is the very function of its page, which answers the same to a program.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from fastapi import APIRouter
from fastapi.responses import Response
from fastapi.routing import APIRoute

from service.web.access import REFUSALS
from service.web.api.parts import HOLDS
from service.web.problems import describe_refusals

PDF, SVG, HTML = "application/pdf", "image/svg+xml", "text/html; charset=utf-8"


class File(NamedTuple):
    """What a file is, and where its route stands in the description."""

    media: str
    tag: str


FILES: Mapping[str, File] = {
    "/blocks/{block_id}/chart.svg": File(SVG, "temperatures"),
    "/blocks/{block_id}/chart.json": File("application/json", "temperatures"),
    "/blocks/{block_id}/dig-sheet.pdf": File(PDF, "digging"),
    "/blocks/{block_id}/lot.csv": File("text/csv; charset=utf-8", "digging"),
    "/blocks/{block_id}/lot.pdf": File(PDF, "digging"),
    "/crew-days.ics": File("text/calendar; charset=utf-8", "digging"),
    "/crew-days.pdf": File(PDF, "digging"),
    "/region/share.svg": File(SVG, "windows"),
    "/bulletin": File(HTML, "windows"),
    "/finds/photos/{number}": File("image/jpeg", "finds"),
    "/advisories/{number}/mail": File(HTML, "advisories"),
    "/account/held.json": File("application/json", "people"),
    "/people/held.json": File("application/json", "people"),
    "/notices/next/mail": File(HTML, "notices"),
    "/notices/messages/{number}/mail": File(HTML, "notices"),
}
"""Addresses of pages; under /api they are the same."""


def files_routes(pages: Iterable[APIRouter]) -> APIRouter:
    """Return the routes of the files of some pages."""
    routes = APIRouter(prefix="/api")
    refusals = describe_refusals(CONFLICT="there is nothing to make it of")
    for route in (route for page in pages for route in page.routes):
        file = FILES.get(route.path) if isinstance(route, APIRoute) else None
        if isinstance(route, APIRoute) and file:
            routes.add_api_route(
                route.path,
                route.endpoint,
                tags=[file.tag],
                dependencies=route.dependencies,
                response_class=Response,
                responses={
                    200: {"content": {file.media.partition(";")[0]: {}}},
                    **HOLDS,
                    **refusals,
                    **REFUSALS,
                },
            )
    return routes
