"""Whatever refuses a request, the answer has one shape: a page for people, JSON for programs."""

from __future__ import annotations

import logging
from http import HTTPStatus
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response

from service.store.busy import StoreBusyError, explain_not_now
from service.web.pages import answer_page, choose_language, redirect
from service.web.problems import Problem, answer_problem
from service.web.translating import INVALID, REFUSALS, translate

log = logging.getLogger(__name__)


def add_refusals(app: FastAPI) -> None:
    """Let an application answer refusals so."""
    app.add_exception_handler(Problem, answer_refusal)
    app.add_exception_handler(HTTPException, _answer_http)
    for kind in (StoreBusyError, DBAPIError):
        app.add_exception_handler(kind, _answer_later)
    app.add_exception_handler(RequestValidationError, _answer_invalid)
    app.add_exception_handler(ClientDisconnect, _answer_no_one)


def answer_refusal(request: Request, refusal: Exception) -> Response:
    """Answer a request that is refused."""
    assert isinstance(refusal, Problem)  # noqa: S101 (registered for no other)
    is_of_program = request.url.path.startswith("/api/")
    if is_of_program or "text/html" not in request.headers.get("accept", ""):
        return answer_problem(refusal)
    if refusal.status == HTTPStatus.UNAUTHORIZED:
        return redirect(f"/sign-in?next={quote(request.url.path)}")
    language = choose_language(request)
    said = translate(refusal.detail, REFUSALS, language)
    page = answer_page(
        request,
        "refused.html",
        refusal.status,
        refusal=refusal,
        said=f"{said[:1].upper()}{said[1:]}.",
        faults=[translate(one, INVALID, language) for one in refusal.errors],
    )
    page.headers.update(refusal.headers or {})
    return page


def _answer_http(request: Request, refusal: Exception) -> Response:
    assert isinstance(refusal, HTTPException)  # noqa: S101 (registered for no other)
    status = HTTPStatus(refusal.status_code)
    said = "there is nothing at this address" if status == HTTPStatus.NOT_FOUND else refusal.detail
    return answer_refusal(request, Problem(status, said, headers=refusal.headers))


def _answer_later(request: Request, error: Exception) -> Response:
    why = explain_not_now(error)
    if why is None:
        raise error
    if isinstance(error, DBAPIError):
        log.error("the store takes no more: %s", f"{error.orig}".partition("\n")[0])
    again = {"Retry-After": "60"}
    return answer_refusal(request, Problem(HTTPStatus.SERVICE_UNAVAILABLE, why, headers=again))


def _answer_no_one(request: Request, _: Exception) -> Response:
    said = "the connection broke off before all of it came"
    return answer_refusal(request, Problem(HTTPStatus.BAD_REQUEST, said))


def _answer_invalid(request: Request, refusal: Exception) -> Response:
    assert isinstance(refusal, RequestValidationError)  # noqa: S101 (registered for no other)
    faults = [
        f"{'.'.join(map(str, one['loc'][1:]))}: {one['input']!r:.100}: {one['msg']}"
        for one in refusal.errors()
    ]
    said = "what the address or the body says is not of this form"
    return answer_refusal(request, Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said, faults))
