"""Refusals as application/problem+json, one shape for all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus

from fastapi import Request
from fastapi.responses import JSONResponse


class Problem(Exception):  # noqa: N818 (the word of RFC 9457)
    """A request that is refused, and why."""

    def __init__(
        self,
        status: HTTPStatus,
        detail: str,
        errors: Sequence[str] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status, self.detail, self.errors, self.headers = status, detail, errors, headers


def answer_problem(_: Request, problem: Exception) -> JSONResponse:
    """Return the answer to a refused request."""
    assert isinstance(problem, Problem)  # noqa: S101 (registered for no other)
    content = {
        "type": "about:blank",
        "title": problem.status.phrase,
        "status": problem.status,
        "detail": problem.detail,
    }
    if problem.errors:
        content["errors"] = list(problem.errors)
    return JSONResponse(content, problem.status, problem.headers, "application/problem+json")
