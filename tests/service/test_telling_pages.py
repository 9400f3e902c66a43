"""/notices: what was told, to whom it may be shown, and as whom it reads it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import requests
from sqlalchemy import Engine, select, update

from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.holds import fetch_hold, hold_sending
from service.store.notices import store_notices
from service.store.schema import upgrade
from tests.notices import OPENED
from tests.planted import plant_block, plant_days, plant_place, plant_recipient
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as

NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)
WARM = [50.0] * 30 + [70.0] * 5
"""From 1 April on: spring opens on 4 May."""
READERS = {"ada": "Ada Example", "ben": "Ben Example"}


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return Settings(data=tmp_path_factory.mktemp("telling"), mail_charts=False)


@pytest.fixture(scope="module")
def engine(settings: Settings) -> Iterator[Engine]:
    """A round has told Ada of her block and Ben of his; a notice that Ben's opened again waits."""
    engine = open_engine(settings.store_url)
    upgrade(engine)
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", probe_id=2)
        for probe_id in (1, 2):
            plant_days(connection, date(2025, 4, 1), WARM, probe_id)
        for name in READERS.values():
            plant_recipient(connection, name, ("mail", "sms"))
        plant_recipient(connection, "Petra Example")
        own = {"Ada Example": "terrace-7", "Ben Example": "ledge"}
        connection.execute(update(tables.recipient).values(all_blocks=False))
        is_petra = tables.recipient.c.name == "Petra Example"
        office = {"role": "coordinator", "all_blocks": True}
        connection.execute(update(tables.recipient).where(is_petra).values(office))
        for name, block_id in own.items():
            row = {"recipient_name": name, "block_id": block_id}
            connection.execute(tables.recipient_block.insert().values(row))
    run_round(engine, settings, NOW)
    opened_on = datetime.now(UTC).date() - timedelta(days=3)
    days = {"opened_on": opened_on, "not_before": opened_on, "mean_on": opened_on}
    days |= {"season": opened_on.year, "ends_by": opened_on + timedelta(days=42)}
    with writing(engine) as connection:
        store_notices(connection, 1, [replace(OPENED, block_id="ledge", **days)])
    for name, recipient_name in READERS.items():
        plant_account(engine, f"{name}@example.org", "grower", recipient_name)
    plant_account(engine, "petra@example.org", "coordinator", "Petra Example")
    plant_account(engine, "nora@example.org", "administrator")
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def here(engine: Engine, settings: Settings) -> Iterator[str]:
    with serving_here(engine, settings) as here:
        yield here


@pytest.fixture(scope="module")
def browsers(here: str) -> dict[str, requests.Session]:
    return {one: sign_in_as(here, f"{one}@example.org") for one in (*READERS, "petra", "nora")}


def page(browser: requests.Session, url: str) -> str:
    answer = browser.get(url, timeout=30)
    assert answer.status_code == 200, answer.text
    return answer.text.replace("\N{NO-BREAK SPACE}", " ")


def messages_of(engine: Engine, name: str) -> dict[str, int]:
    """The number of a reader's message by each channel."""
    outbox, digest = tables.outbox, tables.digest
    query = select(outbox.c.channel, outbox.c.id).join(digest).order_by(outbox.c.id.desc())
    with reading(engine) as connection:
        rows = connection.execute(query.where(digest.c.recipient_name == name)).all()
    return {channel: number for channel, number in rows}  # noqa: C416 (rows are no pairs to pyright)


def test_a_grower_reads_what_was_told_of_her_blocks_and_sent_to_her(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    text = page(browsers["ada"], f"{here}/notices")
    assert "Spring dig season opened on 4 May" in text
    assert "Nothing waits to be told to Ada Example." in text
    assert re.findall(r"/notices/messages/(\d+)", text) == [
        str(number) for number in sorted(messages_of(engine, "Ada Example").values(), reverse=True)
    ]
    assert "Ledge" not in text
    assert "Ben" not in text


def test_a_mail_is_shown_in_a_frame_in_which_nothing_runs(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    there = f"{here}/notices/messages/{messages_of(engine, 'Ada Example')['mail']}"
    text = page(browsers["ada"], there)
    assert f'<iframe class="letter" src="{there.removeprefix(here)}/mail" sandbox' in text
    assert "Terrace 7: dig season is open" in text
    mail = browsers["ada"].get(f"{there}/mail", timeout=30)
    policy = mail.headers["Content-Security-Policy"]
    # source: [CSP3] sandbox without allow-scripts; frame-ancestors names who may frame it
    assert "; sandbox" in policy
    assert "frame-ancestors 'self'" in policy
    assert "script" not in policy
    assert "Terrace 7" in mail.text


def test_a_text_is_shown_with_its_parts(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    number = messages_of(engine, "Ada Example")["sms"]
    text = page(browsers["ada"], f"{here}/notices/messages/{number}")
    assert '<p class="sms">' in text
    assert "1 part" in text


def test_what_waits_is_seen_as_mail_and_as_text_before_it_goes(
    here: str, browsers: dict[str, requests.Session]
) -> None:
    assert "Ledge: dig season is open" in page(browsers["ben"], f"{here}/notices")
    text = page(browsers["ben"], f"{here}/notices/next")
    assert '<p class="sms">' in text
    assert "Ledge" in page(browsers["ben"], f"{here}/notices/next/mail")
    as_another = browsers["ada"].get(f"{here}/notices/next?of=Ben+Example", timeout=30)
    assert as_another.status_code == 404
    assert "Ledge" in page(browsers["nora"], f"{here}/notices/next?of=Ben+Example")


def test_a_message_to_another_is_as_if_it_were_not_there(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    number = messages_of(engine, "Ben Example")["mail"]
    paths = (f"/notices/messages/{number}", f"/notices/messages/{number}/mail")
    asked = {
        name: [browsers[name].get(here + path, timeout=30).status_code for path in paths]
        for name in ("ada", "petra", "nora")
    }
    assert asked == {"ada": [404, 404], "petra": [404, 404], "nora": [200, 200]}


def test_an_administrator_drops_what_waits_with_a_reason_and_lets_it_be_sent_again(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    number = messages_of(engine, "Ben Example")["sms"]
    there, of_one = f"{here}/notices/messages/{number}", tables.outbox.c.id == number
    with writing(engine) as connection:
        waits = {"delivered_at": None, "receipt": None}
        connection.execute(update(tables.outbox).where(of_one).values(waits))
    send(browsers["nora"], there, {"say": "drop", "why": ""})
    assert "Waits to be sent." in page(browsers["nora"], there)
    assert send(browsers["ben"], there, {"say": "drop", "why": "mine"}).status_code == 403
    send(browsers["nora"], there, {"say": "drop", "why": "told by phone"})
    dropped = page(browsers["nora"], there)
    assert ("Dropped." in dropped, "told by phone" in dropped) == (True, True)
    send(browsers["nora"], there, {"say": "again"})
    assert "Waits to be sent." in page(browsers["nora"], there)


def test_what_is_held_back_goes_by_the_word_of_an_administrator(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    with writing(engine) as connection:
        hold_sending(connection, "restored from a backup", NOW)
    assert "restored from a backup" in page(browsers["nora"], f"{here}/notices")
    assert "restored from a backup" not in page(browsers["petra"], f"{here}/notices")
    assert send(browsers["petra"], f"{here}/notices/hold", {"say": "go"}).status_code == 403
    send(browsers["nora"], f"{here}/notices/hold", {"say": "go"})
    with reading(engine) as connection:
        assert fetch_hold(connection) is None
