"""/static/colours.css: the colours of pages, beside the files that lie there."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.web.access import anyone
from service.web.colours import write_sheet


def style_routes() -> APIRouter:
    """Return the route of the sheet."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/static/colours.css", dependencies=[anyone])
    def show() -> Response:
        """Return the sheet."""
        return Response(write_sheet(), media_type="text/css")

    return routes
