"""What lies in /static beside the files: colours of pages, what draws charts in a browser."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.settings import Settings
from service.web.access import anyone
from service.web.chart_engine import find_engine
from service.web.colours import write_sheet


def style_routes(settings: Settings) -> APIRouter:
    """Return their routes."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/static/colours.css", dependencies=[anyone])
    def show() -> Response:
        """Return the sheet."""
        return Response(write_sheet(), media_type="text/css")

    @routes.get("/static/chart-engine.js", dependencies=[anyone])
    def show_engine() -> Response:
        """Return what draws charts in a browser."""
        return Response(find_engine(settings.data), media_type="text/javascript")

    return routes
