"""/notices and /advisories: what was told and is to be told, to whom it is shown, who decides."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import requests
from sqlalchemy import Engine, select, update

from service.advisories.drafting import draft_by_hand
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.accounts import set_places
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
    assert '<p class="sms" lang="">' in text
    assert "1 part" in text


def test_what_waits_is_seen_as_mail_and_as_text_before_it_goes(
    here: str, browsers: dict[str, requests.Session]
) -> None:
    assert "Ledge: dig season is open" in page(browsers["ben"], f"{here}/notices")
    text = page(browsers["ben"], f"{here}/notices/next")
    assert '<p class="sms" lang="">' in text
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


@pytest.fixture(scope="module")
def drafted(engine: Engine, settings: Settings) -> int:
    """The number of an advisory that a person drafted as of a day of last year."""
    return draft_by_hand(engine, settings, NOW, "Petra", date(2025, 5, 5))


def test_an_advisory_is_read_before_it_is_decided_on(
    drafted: int, here: str, browsers: dict[str, requests.Session]
) -> None:
    assert f'href="/advisories/{drafted}"' in page(browsers["petra"], f"{here}/advisories")
    text = page(browsers["petra"], f"{here}/advisories/{drafted}")
    assert "open in 2 of 2 blocks" in text
    assert "It goes to 2 members: 2 mails and 2 texts." in text  # by hand: Ada and Ben
    assert "The texts cost nothing" in text
    assert "Things have changed since it was drafted:" in text
    there = f"{here}/api/advisories/{drafted}/release"
    run = browsers["petra"].get(there, timeout=30).json()
    assert [run[one] for one in ("members", "mails", "texts", "parts")] == [2, 2, 2, 0]  # to files
    assert (run["cost"], run["left_out"], len(run["changes"])) == (None, [], 1)
    assert browsers["ada"].get(there, timeout=30).status_code == 403
    mail = page(browsers["petra"], f"{here}/advisories/{drafted}/mail?language=es")
    assert '<html lang="es">' in mail
    assert browsers["ada"].get(f"{here}/advisories/{drafted}", timeout=30).status_code == 403


def test_an_advisory_that_changed_since_it_was_read_is_not_released(
    engine: Engine, drafted: int, here: str, browsers: dict[str, requests.Session]
) -> None:
    there, petra = f"{here}/advisories/{drafted}", browsers["petra"]
    answers = [
        send(petra, there, {"say": "release", "notes": "0"}),  # the region stands otherwise now
        send(petra, there, {"say": "drop", "notes": "0", "why": ""}),
    ]
    send(petra, there, {"say": "note", "notes": "0", "text": "Boots clean, please."})
    answers.append(send(petra, there, {"say": "release", "notes": "0", "as_drafted": "1"}))
    assert [one.status_code for one in answers] == [422] * 3
    assert "Boots clean, please." in page(petra, there)
    with reading(engine) as connection:
        assert connection.scalar(select(tables.advisory_member.c.advisory_id)) is None


def test_an_advisory_is_released_by_name_once(
    engine: Engine, drafted: int, here: str, browsers: dict[str, requests.Session]
) -> None:
    there, said = f"{here}/advisories/{drafted}", {"say": "release", "as_drafted": "1"}
    notes = page(browsers["petra"], there).count("Boots clean")
    said["notes"] = "1" if notes else "0"
    answers = [send(browsers[one], there, said).status_code for one in ("petra", "nora")]
    assert answers == [303, 422]
    assert "Released by Petra on" in page(browsers["nora"], there)
    api = f"{here}/api/advisories/{drafted}"
    assert browsers["petra"].get(f"{api}/release", timeout=30).status_code == 409
    members = browsers["petra"].get(f"{api}/members?format=json", timeout=30).json()
    told = {(one["member"], one["channel"]) for one in members}
    assert told == {(name, channel) for name in READERS.values() for channel in ("mail", "sms")}
    query = select(tables.advisory_member.c.recipient_name)
    with reading(engine) as connection:
        assert set(connection.scalars(query)) == {"Ada Example", "Ben Example"}
        whats = connection.scalars(select(tables.audit.c.what).order_by(tables.audit.c.id)).all()
    assert whats[-1] == "released an advisory"


def test_a_draft_is_dropped_with_a_reason(here: str, browsers: dict[str, requests.Session]) -> None:
    made = send(browsers["petra"], f"{here}/advisories", {})
    there = here + made.headers["Location"]
    assert send(browsers["petra"], there, {"say": "drop", "notes": "0", "why": "too soon"}).ok
    assert "Dropped by Petra on" in page(browsers["petra"], there)


@pytest.fixture(scope="module")
def districts(engine: Engine, here: str) -> dict[str, requests.Session]:
    """Browsers of coordinators of The Flats, where Ben grows, and of The Hills, where Ada does."""
    browsers = {}
    for who, key, name, at in (
        ("dora", "flats", "The Flats", "at-ledge"),
        ("hugo", "hills", "The Hills", "upper"),
    ):
        made = plant_account(engine, f"{who}@example.org", "coordinator")
        with writing(engine) as connection:
            connection.execute(tables.district.insert().values(id=key, name=name))
            of_site = update(tables.site).where(tables.site.c.id == at)
            connection.execute(of_site.values(district_id=key))
            set_places(connection, made.id, [], [key])
        browsers[who] = sign_in_as(here, f"{who}@example.org")
    return browsers


def test_who_coordinates_some_districts_decides_on_none_of_the_whole_region(
    drafted: int, here: str, districts: dict[str, requests.Session]
) -> None:
    there = f"{here}/advisories/{drafted}"
    assert "Draft one now" not in page(districts["dora"], f"{here}/advisories")
    assert 'value="release"' not in page(districts["dora"], there)
    answers = [
        send(districts["dora"], there, {"say": say, "notes": "0", "text": "x", "why": "x"})
        for say in ("note", "release", "drop")
    ]
    assert [one.status_code for one in answers] == [403] * 3


def test_who_coordinates_a_district_tells_those_who_grow_there_and_no_one_else(
    engine: Engine,
    settings: Settings,
    here: str,
    browsers: dict[str, requests.Session],
    districts: dict[str, requests.Session],
) -> None:
    of_region = draft_by_hand(engine, settings, NOW, "Petra", None)
    made = send(districts["dora"], f"{here}/advisories", {})
    number = int(made.headers["Location"].rsplit("/", 1)[1])
    there = f"{here}/advisories/{number}"
    text = page(districts["dora"], there)
    assert "Of The Flats only, for those who grow there. Held. Drafted by Dora" in text
    assert "It goes to 1 member: 1 mail and 1 text." in text  # by hand: Ben
    mail = page(districts["dora"], f"{there}/mail")
    assert ("The Flats" in mail, "The Hills" in mail) == (True, False)
    assert f'href="/advisories/{number}"' not in page(districts["hugo"], f"{here}/advisories")
    said = {"say": "release", "notes": "0"}
    assert send(districts["hugo"], there, said).status_code == 404
    assert 'value="release"' in page(browsers["petra"], there)
    assert send(districts["dora"], there, said).status_code == 303
    told = select(tables.advisory_member.c.recipient_name)
    with reading(engine) as connection:
        names = connection.scalars(told.where(tables.advisory_member.c.advisory_id == number)).all()
        waits = tables.advisory_reader.c.advisory_id
        readers = set(connection.scalars(select(waits).where(waits >= of_region)))
    assert names == ["Ben Example"]
    assert readers == {of_region}  # rounds tell coordinators of those of the region
    assert "Held." in page(browsers["petra"], f"{here}/advisories/{of_region}")


def test_of_several_districts_who_sees_one_of_them_reads_and_does_not_decide(
    engine: Engine, settings: Settings, here: str, districts: dict[str, requests.Session]
) -> None:
    both = frozenset(("flats", "hills"))
    number = draft_by_hand(engine, settings, NOW, "Petra", None, both)
    there = f"{here}/advisories/{number}"
    assert "Of The Flats and The Hills only" in page(districts["hugo"], there)
    refused = send(districts["hugo"], there, {"say": "drop", "notes": "0", "why": "x"})
    assert refused.status_code == 403
