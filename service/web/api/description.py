"""The API described: for programs as OpenAPI, for people as a page without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.web.access import (
    CHANGES_NOTHING,
    CSRF_HEADER,
    ByRole,
    anyone,
    find_rules,
    is_secure,
    name_cookie,
)
from service.web.pages import answer_page

ABOUT = f"""Times are UTC, as RFC 3339; days are of the standard time of a site. Temperatures are in
°C where a name ends in _c, in °F where it ends in _f; depths in cm, intervals in minutes.

Lists are JSON or CSV, by Accept or `format`. They come in parts: the Link header of each names the
next. If-None-Match with the ETag of an answer spares what still holds.

Programs send the token of an account; what a browser sends with its session, other than GET, needs
the token of its forms as {CSRF_HEADER}. Refusals are application/problem+json, RFC 9457.
"""
LOGGER = "logger-token"
"""The security scheme of those routes that take one."""


def description_routes() -> APIRouter:
    """Return the routes of the description."""
    routes = APIRouter(include_in_schema=False, dependencies=[anyone])

    @routes.get("/openapi.json")
    def describe(request: Request) -> JSONResponse:
        """Return the description."""
        return JSONResponse(_describe(request))

    @routes.get("/docs")
    def show(request: Request) -> Response:
        """Show the description."""
        operations = list(_operations(_describe(request)))
        return answer_page(request, "description.html", operations=operations)

    return routes


def _describe(request: Request) -> dict[str, Any]:
    """Return the description, with who may use what: [OPENAPI] 4.8.27, 4.8.30."""
    api = request.app.openapi()
    bearer = {"type": "http", "scheme": "bearer"}
    cookie = name_cookie(is_secure(request))
    api["info"]["description"] = ABOUT
    api["components"]["securitySchemes"] = {
        "session": {"type": "apiKey", "in": "cookie", "name": cookie},
        "account-token": {**bearer, "description": "of scope read, or write"},
        LOGGER: {**bearer, "description": "of scope push: `digseason tokens add --logger`"},
    }
    for route in (route for router in request.app.state.routers for route in router.routes):
        (rule,) = find_rules(route)
        if route.include_in_schema and isinstance(rule, ByRole):
            (method,) = route.methods
            scope = "read" if method in CHANGES_NOTHING else "write"
            operation = api["paths"][route.path][method.lower()]
            operation["security"] = [{"session": []}, {"account-token": [scope]}]
            operation["x-roles"] = sorted(rule.roles)
    return api


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
