"""Lists a part at a time: each answer names the address of the next in its Link header.

A part goes on behind the last thing of the one before, and not at a number of things: what is
added or taken away meanwhile moves nothing. The key of that thing is in the cursor.
"""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated, Any, Protocol, TypeVar
from urllib.parse import urlencode

from fastapi import Depends, Query, Request
from fastapi.responses import Response
from pydantic import Field, TypeAdapter

from service.web.access import REFUSALS
from service.web.api.forms import MEDIA, Form, Record, choose_form, write
from service.web.pages import answer_while_it_holds
from service.web.problems import Problem, describe_refusals

USUAL, MOST = 1_000, 10_000
VARY = "Accept, Accept-Language, Authorization, Cookie"

Key = str | int | date | datetime
K = TypeVar("K", bound=Key)
T = TypeVar("T")


class Named(Protocol):
    """What has an id."""

    @property
    def id(self) -> str:
        """Its id."""
        ...


N = TypeVar("N", bound=Named)

Number = Annotated[int, Field(ge=0, le=2**31 - 1)]
"""The number of something in the store."""

DONE = {**REFUSALS, **describe_refusals(BAD_REQUEST="the body is no JSON")}
"""The `responses` of a route that takes a body and changes something."""
HOLDS: dict[int | str, dict[str, Any]] = {
    HTTPStatus.NOT_MODIFIED.value: {"description": "what If-None-Match names still holds"}
}
ONE: dict[int | str, dict[str, Any]] = {
    HTTPStatus.OK.value: {"headers": {"ETag": {"schema": {"type": "string"}}}},
    **HOLDS,
    **REFUSALS,
}
"""The `responses` of a route that answers with one thing."""
LISTED: dict[int | str, dict[str, Any]] = {
    HTTPStatus.OK.value: {
        "content": {"text/csv": {"schema": {"type": "string"}}},
        "headers": {
            "ETag": {"schema": {"type": "string"}},
            "Link": {
                "description": 'the address of the next part, rel="next"; the last part has none',
                "schema": {"type": "string"},
            },
        },
    },
    **HOLDS,
    **describe_refusals(NOT_ACCEPTABLE="Accept names neither of the forms"),
    **REFUSALS,
}
"""The `responses` of a route that answers with a list."""


class _Part:
    """Which part of a list is asked for, and in which form."""

    def __init__(
        self,
        request: Request,
        limit: Annotated[int, Query(ge=1, le=MOST, description="how many at most")] = USUAL,
        cursor: Annotated[
            str | None,
            Query(max_length=400, description="where the part begins, as a Link said it"),
        ] = None,
        form: Annotated[
            Form | None, Query(alias="format", description="instead of what Accept says")
        ] = None,
    ) -> None:
        self.limit, self._cursor, self._request = limit, cursor, request
        chosen = form or choose_form(request.headers.get("accept", ""))
        if chosen is None:
            raise Problem(HTTPStatus.NOT_ACCEPTABLE, f"accept {' or '.join(MEDIA.values())}")
        self._form: Form = chosen

    def find_start(self, of: type[K]) -> K | None:
        """Return the key behind which the part begins; None: with the first of all."""
        return self._read(of)

    def find_number(self) -> int | None:
        """Return the same of a list of what has numbers."""
        return self._read(Number)

    def _read(self, of: Any) -> Any:
        if self._cursor is None:
            return None
        try:
            return TypeAdapter(of).validate_json(urlsafe_b64decode(f"{self._cursor}=="))
        except ValueError:
            raise Problem(
                HTTPStatus.UNPROCESSABLE_ENTITY,
                f"cursor: '{self._cursor}' is of no list like this; begin without one, then follow "
                "the Link of each answer",
            ) from None

    def cut_by_id(self, found: Iterable[N]) -> tuple[Sequence[N], str | None]:
        """Return so many of these, which are in order of their ids, and where to go on."""
        after = self.find_start(str)
        later = [one for one in found if after is None or one.id > after]
        return self.cut(later, lambda one: one.id)

    def cut(self, found: Sequence[T], key: Callable[[T], K]) -> tuple[Sequence[T], K | None]:
        """Return as many as are asked for, and where the next part begins, if there is more."""
        part = found[: self.limit]
        return part, key(part[-1]) if len(found) > self.limit else None

    def answer(
        self, records: Sequence[Record], of: type[Record], next_key: Key | None = None
    ) -> Response:
        """Answer with a part, unless the asker has it."""
        media = MEDIA[self._form]
        answer = Response(write(records, of, self._form), media_type=media)
        if next_key is not None:
            answer.headers["Link"] = f'<{self._address(next_key)}>; rel="next"'  # [RFC-8288] 3
        return answer_while_it_holds(self._request, answer, VARY)

    def _address(self, key: Key) -> str:
        text = json.dumps(key if isinstance(key, str | int) else key.isoformat())
        cursor = urlsafe_b64encode(text.encode()).decode().rstrip("=")
        query = {**self._request.query_params, "cursor": cursor}
        return f"{self._request.url.path}?{urlencode(query)}"


Part = Annotated[_Part, Depends(_Part)]
"""The type of the parameter of a route that answers with a list; it comes after `who`, which is to
refuse first."""


def answer_one(request: Request, record: Record) -> Response:
    """Answer with one thing, unless the asker has it."""
    answer = Response(record.model_dump_json(), media_type="application/json")
    return answer_while_it_holds(request, answer, VARY)


async def read_file(request: Request, media: Collection[str]) -> bytes:
    """Return the body of a request, a file of one of some types, or refuse it."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() not in media:
        raise Problem(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"send {' or '.join(media)}")
    return await request.body()
