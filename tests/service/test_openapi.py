"""The description of the API is true: what it gives as examples is taken, what is answered fits.

Against [JSON-SCHEMA], by the open library jsonschema.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import requests
from sqlalchemy import Engine

from service.settings import Settings
from service.store.engine import writing
from service.store.tokens import add_token
from tests.serving import serving_here
from tests.thermometers import BESIDE_LOGGER, set_up_thermometer

PATHS = {"/api/readings": "u1", "/api/hand-readings": "h1"}
pytestmark = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def address(engine: Engine, tmp_path: Path) -> Iterator[str]:
    set_up_thermometer(engine, BESIDE_LOGGER)
    with serving_here(engine, Settings(data=tmp_path)) as served:
        yield served


def described(address: str) -> dict[str, Any]:
    return requests.get(f"{address}/openapi.json", timeout=30).json()


def post(engine: Engine, address: str, path: str, body: Any) -> requests.Response:
    with writing(engine) as connection:
        token = add_token(connection, PATHS[path], datetime.now(UTC))
    headers = {"Authorization": f"Bearer {token}"}
    return requests.post(f"{address}{path}", json=body, headers=headers, timeout=30)


@pytest.mark.parametrize("path", PATHS)
def test_each_answer_is_as_described(engine: Engine, address: str, path: str) -> None:
    api = described(address)
    operation = api["paths"][path]["post"]
    body = operation["requestBody"]["content"]["application/json"]
    jsonschema.validate(body["example"], body["schema"])
    answers = [
        post(engine, address, path, sent)
        for sent in (body["example"], {"readings": [*body["example"]["readings"], 9]}, [])
    ]
    assert [answer.status_code for answer in answers] == [
        HTTPStatus.OK,
        HTTPStatus.MULTI_STATUS,
        HTTPStatus.UNPROCESSABLE_ENTITY,
    ]
    for answer in answers:
        (content,) = operation["responses"][f"{answer.status_code}"]["content"].items()
        assert answer.headers["Content-Type"] == content[0]
        jsonschema.validate(answer.json(), {**api, **content[1]["schema"]})


@pytest.mark.parametrize("path", PATHS)
def test_what_the_description_forbids_is_refused_alone(
    engine: Engine, address: str, path: str
) -> None:
    body = described(address)["paths"][path]["post"]["requestBody"]["content"]["application/json"]
    wrong = {"readings": [{"observed_at": 9, "soil_temp_c": 16.4, "depth_cm": 30}]}
    with pytest.raises(jsonschema.ValidationError, match="9 is not of type 'string'"):
        jsonschema.validate(wrong, body["schema"])
    assert post(engine, address, path, wrong).status_code == HTTPStatus.MULTI_STATUS
