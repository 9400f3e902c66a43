"""POST and GET /api/finds: kept once, each on its own, listed to who may know."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
import requests
from PIL import Image
from sqlalchemy import Engine, delete

from service.store import tables
from service.store.engine import writing
from service.store.finds_consents import agree_to_finds
from tests.service.api.conftest import Ask, Send

FIND: dict[str, Any] = {
    "block": "terrace-7",
    "row": 3,
    "vine": 12,
    "dug_on": "2025-05-06",
    "person": "Ada",
    "roots": "fine",
    "swellings": "pale",
    "insects": "few",
    "depth_cm": 40.5,
    "by_lot": True,
}


@pytest.fixture(autouse=True)
def emptied(engine: Engine) -> Iterator[None]:
    yield
    with writing(engine) as connection:
        for table in (
            tables.dig_photo,
            tables.dig_record_earlier,
            tables.dig_news,
            tables.dig_record,
        ):
            connection.execute(delete(table))
        connection.execute(delete(tables.finds_consent))


def test_a_find_is_kept_once_and_listed(send: Send, ask: Ask) -> None:
    first, again = (send("/api/finds", "ada", {"finds": [FIND]}) for _ in range(2))
    assert (first.status_code, again.status_code) == (200, 200)
    (kept,), (known,) = first.json()["kept"], again.json()["kept"]
    assert (kept["kept"], known["kept"], kept["outcome"]) == ("new", "known", "suspected")
    assert kept["record_id"] == known["record_id"]
    (listed,) = ask("/api/finds", "ada", block="terrace-7", season=2025).json()
    assert FIND.items() <= listed.items()
    assert (listed["outcome"], listed["photos"]) == ("suspected", 0)
    assert ask("/api/finds", "ada", season=2024).json() == []


def test_what_is_wrong_is_told_by_its_number_and_the_rest_is_kept(send: Send, ask: Ask) -> None:
    bad = [{**FIND, "block": "ledge"}, {**FIND, "dug_on": "2999-01-01"}]
    answer = send("/api/finds", "ada", {"finds": [*bad, FIND]})
    assert answer.status_code == 207
    refused = {one["index"]: one["reason"] for one in answer.json()["refused"]}
    assert refused[0].startswith("block: there is no block 'ledge'")
    assert refused[1].startswith("dug_on: '2999-01-01' is still to come")
    assert [one["index"] for one in answer.json()["kept"]] == [2]
    assert len(ask("/api/finds", "ada").json()) == 1


def test_what_is_of_another_form_is_refused_whole(send: Send) -> None:
    for other in ({"roots": "dead"}, {"row": 0}, {"colour": "red"}, {"depth_cm": "deep"}):
        answer = send("/api/finds", "ada", {"finds": [FIND, {**FIND, **other}]})
        assert answer.status_code == 422
        assert next(iter(other)) in answer.text


def test_the_coordinator_lists_finds_only_where_the_grower_agreed(
    engine: Engine, send: Send, ask: Ask
) -> None:
    send("/api/finds", "ada", {"finds": [FIND]})
    assert ask("/api/finds", "cora").json() == []
    with writing(engine) as connection:
        agree_to_finds(connection, "upper", "ada@example.org", datetime.now(UTC))
    assert len(ask("/api/finds", "cora").json()) == 1
    assert ask("/api/finds", "rea").status_code == 403
    assert send("/api/finds", "cora", {"finds": [FIND]}).status_code == 403


def test_a_find_gets_a_photo_and_is_taken_back(
    engine: Engine, here: str, tokens: dict[str, str], send: Send, ask: Ask
) -> None:
    number = send("/api/finds", "ada", {"finds": [FIND]}).json()["kept"][0]["record_id"]
    picture = BytesIO()
    Image.new("RGB", (40, 30), "brown").save(picture, "PNG")
    headers = {"Authorization": f"Bearer {tokens['ada']}", "Content-Type": "image/png"}
    photos = f"{here}/api/finds/{number}/photos"

    def post(content: bytes) -> int:
        return requests.post(photos, content, headers=headers, timeout=30).status_code

    assert [post(picture.getvalue()) for _ in range(2)] == [204, 204]
    with writing(engine):  # what is no photo is known before its turn to write comes
        assert post(b"no picture") == 422
    (find,) = ask("/api/finds", "ada").json()
    assert find["photos"] == len(find["photo_numbers"]) == 1
    photo = ask(f"/api/finds/photos/{find['photo_numbers'][0]}", "ada")
    assert Image.open(BytesIO(photo.content)).size == (40, 30)
    withdraw = f"/api/finds/{number}/withdraw"
    assert [send(withdraw, who, None).status_code for who in ("cora", "ada")] == [403, 204]
    assert ask("/api/finds", "ada").json() == []
    assert post(picture.getvalue()) == 409
    assert send("/api/finds/nothing/withdraw", "ada", None).status_code == 404
