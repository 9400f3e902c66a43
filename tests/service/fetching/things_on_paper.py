"""A SensorThings server played by a few lines, so that it can get things wrong as real ones do."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from urllib.parse import parse_qs, quote, unquote, urlsplit

from tests.http_server import Asked, Reply

CELSIUS = {"name": "degree Celsius", "symbol": "degC", "definition": ""}
STREAM = "/v1.1/Datastreams(7)"


def observation(id_: int, time: str, result: Any = 10.0) -> dict[str, Any]:
    return {"@iot.id": id_, "phenomenonTime": time, "result": result}


def begins_at(row: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(row["phenomenonTime"].partition("/")[0])


@dataclass
class Things:
    """One datastream, number 7, and how its server behaves.

    rows : its observations, as the server keeps them
    orders : what it can order by; anything else is an error 500
    filters : whether it honours $filter
    link : makes the link to the next page from the right one, None for none
    """

    rows: list[dict[str, Any]]
    top: int = 3
    unit: dict[str, str] = field(default_factory=lambda: CELSIUS)
    orders: tuple[str, ...] = ("phenomenonTime", "resultTime")
    obeys_order: bool = True
    filters: bool = True
    link: Callable[[str | None], str | None] = lambda link: link
    before_each: Callable[[list[dict[str, Any]]], None] = lambda _: None

    def __call__(self, asked: Asked) -> Reply:
        parts = urlsplit(asked.path)
        if unquote(parts.path) == STREAM:
            return reply({"@iot.id": 7, "unitOfMeasurement": self.unit})
        if unquote(parts.path) != f"{STREAM}/Observations":
            return reply({"message": "nothing here"}, 404)
        self.before_each(self.rows)
        options = {key: value for key, (value,) in parse_qs(parts.query).items()}
        order = options.get("$orderby", "").removesuffix(" asc")
        if order and order not in self.orders:
            return reply({"message": "internal error"}, 500)
        rows = self.rows
        if self.filters and "$filter" in options:
            since, until = map(
                datetime.fromisoformat, re.findall(r"[gl]e (\S+)", options["$filter"])
            )
            rows = [row for row in rows if since <= begins_at(row) <= until]
        if order == "phenomenonTime" and self.obeys_order:
            rows = sorted(rows, key=begins_at)
        skip = int(options.get("$skip", 0))
        more = skip + self.top < len(rows)
        options["$skip"] = str(skip + self.top)
        query = "&".join(f"{key}={quote(value)}" for key, value in options.items())
        link = self.link(f"{parts.path}?{query}" if more else None)
        page = {"value": rows[skip : skip + self.top]}
        return reply(page if link is None else {**page, "@iot.nextLink": link})


def reply(answer: Any, status: int = 200) -> Reply:
    return Reply(json.dumps(answer).encode(), status)
