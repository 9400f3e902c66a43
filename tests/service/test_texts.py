"""Texts that come from phones: signed, taken once, answered."""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import requests
from sqlalchemy import Engine, select, update

from service.intake.texts import NOT_UNDERSTOOD, TEXTS
from service.links import Links
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.attempts import count_attempt
from service.store.consents import fetch_consents
from service.store.dug import fetch_dug
from service.store.engine import reading, writing
from tests.planted import plant_block, plant_days, plant_recipient
from tests.serving import serving_here

SECRET = "a secret that both share"  # noqa: S105
PHONE = "+15550100"

pytestmark = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, texts_secret=SECRET)  # type: ignore[arg-type]


@pytest.fixture
def here(engine: Engine, settings: Settings) -> Iterator[str]:
    with writing(engine) as connection:
        plant_recipient(connection, "Ada Example", ("sms",))
    with serving_here(engine, settings) as address:
        yield address


def bring(
    here: str, text: str, number: str, phone: str = PHONE, secret: str = SECRET
) -> requests.Response:
    """Post a text as a gateway does."""
    body = json.dumps({"id": number, "from": phone, "text": text}).encode()
    # source: [RFC-2104] by the hmac module of Python
    mac = hmac.new(secret.encode(), body, hashlib.sha256).hexdigest()
    headers = {"X-Digseason-Signature": f"sha256={mac}", "Content-Type": "application/json"}
    return requests.post(f"{here}/api/texts", body, headers=headers, timeout=5)


def state(engine: Engine) -> str:
    with reading(engine) as connection:
        found = fetch_consents(connection).get(("Ada Example", "sms", PHONE))
    return found.state if found else "not asked"


def answers(engine: Engine) -> list[str]:
    with reading(engine) as connection:
        return list(connection.scalars(select(tables.outbox.c.message)))


# common practice, no source
@pytest.mark.parametrize("word", ["STOP", " stop. ", "Alto", "¡PARAR!", "baja", "unsubscribe"])
def test_a_word_stops_and_another_starts_again(engine: Engine, here: str, word: str) -> None:
    assert "no more texts" in bring(here, word, "1").json()["answer"]
    assert state(engine) == "stopped"
    assert bring(here, "Sí", "2").status_code == 200
    assert state(engine) == "confirmed"
    assert len(answers(engine)) == 2


def test_the_same_text_is_taken_once(engine: Engine, here: str) -> None:
    first = bring(here, "STOP", "1").json()
    bring(here, "START", "2")
    assert bring(here, "STOP", "1").json() == first
    assert state(engine) == "confirmed"
    assert len(answers(engine)) == 2


def test_a_code_confirms_and_another_does_not(
    engine: Engine, settings: Settings, here: str
) -> None:
    bring(here, "000000", "1")
    with reading(engine) as connection:
        (consent,) = fetch_consents(connection).values()
    code = Links(settings).write_code(consent)
    assert state(engine) == "not asked"
    bring(here, code, "2")
    assert state(engine) == "confirmed"


def test_a_text_without_its_signature_or_from_a_stranger_does_nothing(
    engine: Engine, here: str
) -> None:
    assert bring(here, "STOP", "1", secret="another").status_code == 401  # noqa: S106
    assert bring(here, "STOP", "2", phone="+15550199").json() == {"answer": None}
    assert (state(engine), answers(engine)) == ("not asked", [])


def test_after_five_wrong_codes_none_is_taken_for_a_day_by_any_process(
    engine: Engine, settings: Settings, here: str
) -> None:
    with serving_here(engine, settings) as there:
        said = [
            bring(here if n % 2 else there, f"00000{n}", str(n)).json()["answer"] for n in range(6)
        ]
    assert said[:5] == ["That is not the code that was sent here."] * 5
    assert said[5].startswith("Too many wrong codes came from this number: none is taken")
    with reading(engine) as connection:
        (consent,) = fetch_consents(connection).values()
    right = Links(settings).write_code(consent)
    assert bring(here, right, "7").json()["answer"] == said[5]
    assert state(engine) == "not asked"
    with writing(engine) as connection:
        connection.execute(update(tables.attempt).values(ends_at=datetime.now(UTC)))
    bring(here, right, "8")
    assert state(engine) == "confirmed"


def test_a_right_code_lets_wrong_ones_be_forgotten(
    engine: Engine, settings: Settings, here: str
) -> None:
    bring(here, "000000", "0")
    with reading(engine) as connection:
        (consent,) = fetch_consents(connection).values()
    bring(here, Links(settings).write_code(consent), "1")
    with reading(engine) as connection:
        kinds = set(connection.scalars(select(tables.attempt.c.kind)))
    assert kinds == {TEXTS.kind, NOT_UNDERSTOOD.kind}


def test_a_phone_that_answers_by_itself_is_not_answered_for_ever(engine: Engine, here: str) -> None:
    said = [
        bring(here, "I am away until Monday", str(n)).json()["answer"]
        for n in range(NOT_UNDERSTOOD.most + 3)
    ]
    assert None not in said[: NOT_UNDERSTOOD.most + 1]
    assert said[NOT_UNDERSTOOD.most].startswith("Too many texts come from this number")
    assert said[-2:] == [None, None]
    assert len(answers(engine)) == NOT_UNDERSTOOD.most + 1
    assert "no more texts" in bring(here, "STOP", "stop").json()["answer"]
    assert state(engine) == "stopped"


def test_stop_holds_where_nothing_else_is_done_any_more(engine: Engine, here: str) -> None:
    with writing(engine) as connection:
        for _ in range(TEXTS.most):
            count_attempt(connection, TEXTS, PHONE, datetime.now(UTC))
    assert bring(here, "START", "1").json()["answer"].startswith("Too many texts")
    assert state(engine) == "not asked"
    assert bring(here, "STOP", "2").json() == {"answer": None}
    assert state(engine) == "stopped"


def test_another_text_is_read_as_a_reading_by_hand(engine: Engine, here: str) -> None:
    assert bring(here, "soil 30cm", "1").json()["answer"].startswith("There is no temperature")
    assert len(answers(engine)) == 1


def test_an_answer_in_spanish_takes_one_part(engine: Engine, here: str) -> None:
    with writing(engine) as connection:
        connection.execute(update(tables.recipient).values(language="es"))
    bring(here, "suelo 30cm", "1")
    (answer,) = answers(engine)
    # source: [3GPP-23.038] í is not of its alphabet, in which 160 septets are one part
    assert answer == "Falta la temperatura. Escribirla con su unidad, asi: 61.5F o 16.4C."


@pytest.mark.parametrize("text", ["DUG", "Dug terrace 7", "Cavado: Terrace-7"])
def test_a_text_says_that_a_block_is_dug(
    engine: Engine, settings: Settings, here: str, text: str
) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
    run_round(engine, settings, datetime(2025, 5, 6, 15, 30, tzinfo=UTC))
    assert "you have dug" in bring(here, text, "1").json()["answer"]
    with reading(engine) as connection:
        assert list(fetch_dug(connection, "Ada Example")) == [("terrace-7", 2025, "spring")]
    assert "Which block" in bring(here, "dug ledge", "2").json()["answer"]
