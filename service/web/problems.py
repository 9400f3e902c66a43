"""Refusals as application/problem+json, one shape for all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi.responses import JSONResponse
from pydantic import BaseModel


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


class ProblemBody(BaseModel):
    """The answer to a refused request."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[str] = []


def describe_refusals(**meanings: str) -> dict[int | str, dict[str, Any]]:
    """Return how refusals stand in the description of the API, by name of their status."""
    content = {"application/problem+json": {"schema": ProblemBody.model_json_schema()}}
    return {
        HTTPStatus[name].value: {"description": meaning, "content": content}
        for name, meaning in meanings.items()
    }


def answer_problem(problem: Problem) -> JSONResponse:
    """Return the answer to a refused request."""
    content = ProblemBody(
        type="about:blank",
        title=problem.status.phrase,
        status=problem.status,
        detail=problem.detail,
        errors=list(problem.errors),
    ).model_dump(exclude_defaults=True)
    return JSONResponse(content, problem.status, problem.headers, "application/problem+json")
