"""The API described: for programs as OpenAPI, for people as a page without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.web.access import anyone
from service.web.pages import answer_page


def description_routes() -> APIRouter:
    """Return the routes of the description."""
    routes = APIRouter(include_in_schema=False, dependencies=[anyone])

    @routes.get("/openapi.json")
    def describe(request: Request) -> JSONResponse:
        """Return the description."""
        return JSONResponse(request.app.openapi())

    @routes.get("/docs")
    def show(request: Request) -> Response:
        """Show the description."""
        operations = list(_operations(request.app.openapi()))
        return answer_page(request, "description.html", operations=operations)

    return routes


def _operations(api: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for path, methods in api["paths"].items():
        for method, operation in methods.items():
            bodies = operation.get("requestBody", {}).get("content", {})
            yield {
                "call": f"{method.upper()} {path}",
                "summary": operation.get("description") or operation.get("summary", ""),
                "parameters": operation.get("parameters", []),
                "bodies": {form: one.get("example") for form, one in bodies.items()},
                "responses": operation.get("responses", {}),
            }
