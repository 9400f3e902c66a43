"""What lies in /static beside the files: colours of pages, what draws charts in a browser."""

from __future__ import annotations

from functools import cache

from fastapi import APIRouter, Response

from service.web.access import anyone
from service.web.colours import write_sheet


def style_routes() -> APIRouter:
    """Return their routes."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/static/colours.css", dependencies=[anyone])
    def show() -> Response:
        """Return the sheet."""
        return Response(write_sheet(), media_type="text/css")

    @routes.get("/static/chart-engine.js", dependencies=[anyone])
    def show_engine() -> Response:
        """Return Vega in one script, of the version that draws the pictures."""
        return Response(_write_engine(), media_type="text/javascript")

    return routes


@cache
def _write_engine() -> str:
    import vl_convert

    return vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")
