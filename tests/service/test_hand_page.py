"""The page for the phone and POST /api/hand-readings: by a real client, on both databases."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import requests
from sqlalchemy import Engine

from alerts.words import LANGUAGES
from service.settings import Settings
from service.store.engine import reading, writing
from service.store.thermometers import fetch_hand_readings
from service.store.tokens import add_token, fetch_tokens
from tests.farms import farm_text
from tests.serving import serving_here
from tests.thermometers import BY_HAND, note, read_on, set_up_thermometer

pytestmark = pytest.mark.sqlite_by_day

NOW = datetime(2026, 6, 1, tzinfo=UTC)
FILLED = {"depth": "30", "temperature": "61,5", "unit": "F", "day": "2025-10-02", "time": "08:30"}
FILLED |= {"person": "Ada <b>", "note": ""}
LOGGER = farm_text(north=True).split("[[logger]]")[1].split("[[recipient]]")[0]
LAYOUT = farm_text(north=True).split("[layout.plain]")[1]
WITH_LOGGER = f"{BY_HAND}\n[[logger]]{LOGGER}\n[layout.plain]{LAYOUT}"


@pytest.fixture
def address(engine: Engine, tmp_path: Path) -> Iterator[str]:
    set_up_thermometer(engine, WITH_LOGGER)
    with serving_here(engine, Settings(data=tmp_path)) as served:
        yield served


def token_of(engine: Engine, logger_id: str) -> str:
    with writing(engine) as connection:
        return add_token(connection, logger_id, NOW)


@pytest.fixture
def page(engine: Engine, address: str) -> str:
    return f"{address}/hand/{token_of(engine, 'h1')}"


def noted(engine: Engine) -> list[tuple[str, str]]:
    with reading(engine) as connection:
        return [(one.said, one.person) for one in fetch_hand_readings(connection, ["h1"])]


@pytest.mark.both_by_day
def test_a_reading_is_noted_without_scripts(engine: Engine, page: str) -> None:
    form = requests.get(page, timeout=30)
    assert form.status_code == 200
    assert set(re.findall(r'name="(\w+)"', form.text)) - {"viewport"} >= FILLED.keys()
    assert "<script" not in form.text
    answer = requests.post(page, FILLED, timeout=30)
    assert (answer.status_code, noted(engine)) == (200, [("61.5F", "Ada <b>")])
    assert "Noted: 61.5 °F at 30 cm, 2 Oct 2025, 08:30, Terrace thermometer." in answer.text
    assert 'value="Ada &lt;b&gt;"' in answer.text
    with reading(engine) as connection:
        (token,) = fetch_tokens(connection)
    assert token.last_used_at is not None


@pytest.mark.both_by_day
def test_the_same_form_sent_again_is_noted_once(engine: Engine, page: str) -> None:
    requests.post(page, FILLED, timeout=30)
    assert "Already noted" in requests.post(page, FILLED, timeout=30).text
    assert len(noted(engine)) == 1


def test_what_cannot_be_comes_back_with_what_was_filled_in(engine: Engine, page: str) -> None:
    answer = requests.post(page, {**FILLED, "unit": "C"}, timeout=30)
    assert (answer.status_code, noted(engine)) == (422, [])
    assert "Not noted. 61.5 °C cannot be the soil of a vineyard. Did you mean 61.5F?" in answer.text
    assert 'value="61,5"' in answer.text


def test_the_page_speaks_the_language_of_the_browser(page: str) -> None:
    spanish = requests.get(page, headers={"Accept-Language": "es-MX,es;q=0.9,en;q=0.5"}, timeout=30)
    assert '<html lang="es">' in spanish.text
    assert "Anotar la lectura" in spanish.text
    assert LANGUAGES == ("en", "es")


@pytest.mark.both_by_day
def test_what_was_noted_is_taken_back(engine: Engine, page: str) -> None:
    answer = requests.post(page, FILLED, timeout=30)
    (action,) = re.findall(r'action="([^"]+)"', answer.text)
    back = requests.post(page[: page.index("/hand/")] + action, timeout=30)
    assert (back.status_code, back.url, noted(engine)) == (200, page, [])


def test_readings_that_came_together_are_not_taken_back_by_one(engine: Engine, page: str) -> None:
    note(engine, *read_on([date(2025, 10, 2), date(2025, 10, 5)], 61))
    assert "take-back" not in requests.get(page, timeout=30).text
    requests.post(f"{page}/take-back/1", timeout=30)
    assert len(noted(engine)) == 2


def test_a_link_takes_back_nothing_of_another_thermometer(
    engine: Engine, address: str, page: str
) -> None:
    requests.post(page, FILLED, timeout=30)
    other = token_of(engine, "u1")
    requests.post(f"{address}/hand/{other}/take-back/1", timeout=30)
    assert len(noted(engine)) == 1


@pytest.mark.parametrize("secret", ["nothing", "x" * 43])
def test_a_link_that_does_not_hold_says_so(engine: Engine, address: str, secret: str) -> None:
    assert "This link does not work" in requests.get(f"{address}/hand/{secret}", timeout=30).text
    answer = requests.post(f"{address}/hand/{secret}", FILLED, timeout=30)
    assert (answer.status_code, noted(engine)) == (404, [])


def test_the_token_of_a_logger_opens_no_page(engine: Engine, address: str) -> None:
    answer = requests.post(f"{address}/hand/{token_of(engine, 'u1')}", FILLED, timeout=30)
    assert answer.status_code == 404


def test_the_page_keeps_its_address_to_itself(page: str) -> None:
    headers = requests.get(page, timeout=30).headers
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cache-Control"] == "no-store"
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy
    assert "Set-Cookie" not in headers


def post_json(engine: Engine, address: str, logger_id: str, *readings: dict[str, Any]):
    return requests.post(
        f"{address}/api/hand-readings",
        headers={"Authorization": f"Bearer {token_of(engine, logger_id)}"},
        json={"readings": list(readings)},
        timeout=30,
    )


@pytest.mark.both_by_day
def test_programs_send_json(engine: Engine, address: str) -> None:
    good = {"observed_at": "2025-10-02 08:30", "depth_cm": 30, "soil_temp_f": 61.5, "by": "Ada"}
    answer = post_json(
        *(engine, address, "h1", good, {**good, "soil_temp_f": 615.0}),
        *({**good, "soil_temp_f": "61.5"}, {**good, "soil_temp_c": 16}, {"depth_cm": 30}),
    )
    content = answer.json()
    assert answer.status_code == 207
    assert {one["index"]: one["reason"] for one in content["refused"]} == {
        1: "615.0 °F cannot be the soil of a vineyard. Look at the thermometer again.",
        2: 'soil_temp_f = "61.5" is no number',
        3: "give soil_temp_c or soil_temp_f, one of the two",
        4: "observed_at is missing",
    }
    (one,) = content["noted"]
    # by hand: 08:30 summer time at UTC-07:00
    assert (one["index"], one["observed_at"], one["again"]) == (0, "2025-10-02T15:30:00Z", False)
    assert one["error_c"] > 0.5
    assert noted(engine) == [("61.5F", "Ada")]


def test_json_that_is_no_list_of_readings_is_refused_as_a_whole(
    engine: Engine, address: str
) -> None:
    answer = post_json(engine, address, "h1")
    assert (answer.status_code, noted(engine)) == (422, [])
    assert answer.json()["errors"] == ["readings: send a list of one reading or more"]


def test_each_kind_of_token_has_its_own_address(engine: Engine, address: str) -> None:
    good = {"observed_at": "2025-10-02T08:30:00-07:00", "depth_cm": 30, "soil_temp_c": 16.4}
    assert post_json(engine, address, "u1", good).status_code == 403
    pushed = requests.post(
        f"{address}/api/readings",
        headers={"Authorization": f"Bearer {token_of(engine, 'h1')}"},
        json={"readings": [good]},
        timeout=30,
    )
    assert (pushed.status_code, noted(engine)) == (422, [])
    assert "/api/hand-readings" in pushed.json()["errors"][0]
