"""/calendar: a secret link reads one calendar and nothing else, until it is revoked; /bulletin."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import requests
from icalendar import Calendar
from sqlalchemy import Engine, select

from service.settings import Settings
from service.store import tables
from service.store.accounts import set_places
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.planted import plant_block, plant_days, plant_place
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    """Two blocks, each at a site of its own, whose spring and fall of the last season were open."""
    engine = open_engine(f"sqlite:///{tmp_path_factory.mktemp('calendar') / 'digseason.db'}")
    upgrade(engine)
    first = datetime(datetime.now(UTC).year - 1, 3, 1, tzinfo=UTC).date()
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", probe_id=2)
        for probe_id in (1, 2):
            plant_days(connection, first, [50.0] * 30 + [70.0] * 150 + [64.0] * 60, probe_id)
    for name, site_ids in (("gil", ["upper"]), ("zinnia", ["at-ledge"])):
        account = plant_account(engine, f"{name}@example.org", "grower")
        with writing(engine) as connection:
            set_places(connection, account.id, site_ids, [])
    plant_account(engine, "cora@example.org", "coordinator")
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def here(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving_here(engine, Settings(data=tmp_path_factory.mktemp("served"))) as here:
        yield here


@pytest.fixture(scope="module")
def gil(here: str) -> requests.Session:
    return sign_in_as(here, "gil@example.org")


def make(browser: requests.Session, here: str, of: str) -> str:
    """Make a link; return it."""
    answer = send(browser, f"{here}/calendars", {"of": of})
    (link,) = re.findall(r"<code>([^<]+)</code>", answer.text)
    return link


def titles(link: str) -> list[str]:
    answer = requests.get(link, timeout=30)
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    calendar = Calendar.from_ical(answer.text)  # source: [RFC-5545], as the icalendar library reads
    return [str(event["SUMMARY"]) for event in calendar.walk("VEVENT")]


def test_a_link_reads_the_windows_of_what_it_is_for(here: str, gil: requests.Session) -> None:
    links = [make(gil, here, of) for of in ("", "block/terrace-7")]
    assert [set(titles(one)) for one in links] == [{"Dig season in Terrace 7"}] * 2
    everywhere = make(sign_in_as(here, "cora@example.org"), here, "")
    assert set(titles(everywhere)) == {"Dig season in Ledge", "Dig season in Terrace 7"}


def test_a_calendar_that_still_holds_is_not_sent_again(here: str, gil: requests.Session) -> None:
    link = make(gil, here, "")
    etag = requests.get(link, timeout=30).headers["ETag"]
    again = requests.get(link, headers={"If-None-Match": etag}, timeout=30)
    assert (again.status_code, again.content) == (304, b"")  # source: [RFC-9110] 13.1.2


def test_a_link_that_is_renewed_or_revoked_holds_no_longer(
    engine: Engine, here: str, gil: requests.Session
) -> None:
    first = make(gil, here, "block/terrace-7")
    (number, *_) = reversed(
        [int(n) for n in re.findall(r"/calendars/(\d+)", gil.get(f"{here}/calendars").text)]
    )
    renewed = send(gil, f"{here}/calendars/{number}", {"say": "renew"}).text
    (second,) = re.findall(r"<code>([^<]+)</code>", renewed)
    assert [requests.get(one, timeout=30).status_code for one in (first, second)] == [404, 200]
    send(gil, f"{here}/calendars/{number + 1}", {"say": "revoke"})
    assert requests.get(second, timeout=30).status_code == 404
    with reading(engine) as connection:
        kept = connection.scalars(select(tables.token.c.sha256)).all()
    assert not any(first.rsplit("/", 1)[1].removesuffix(".ics") in one for one in kept)


def test_a_link_is_of_no_other_use_and_nothing_else_is_a_link(
    here: str, gil: requests.Session
) -> None:
    secret = make(gil, here, "").rsplit("/", 1)[1].removesuffix(".ics")
    program = {"Authorization": f"Bearer {secret}"}
    assert requests.get(f"{here}/api/windows", headers=program, timeout=30).status_code == 403
    made = send(gil, f"{here}/account/tokens", {"name": "p", "scope": "read", "days": "30"}).text
    (token,) = re.findall(r"<code>([^<]+)</code>", made)
    assert requests.get(f"{here}/calendar/{token}.ics", timeout=30).status_code == 404


def test_a_calendar_is_made_only_of_what_one_sees_and_ends_with_that(
    engine: Engine, here: str, gil: requests.Session
) -> None:
    assert send(gil, f"{here}/calendars", {"of": "block/ledge"}).status_code == 404
    zinnia = sign_in_as(here, "zinnia@example.org")
    link = make(zinnia, here, "block/ledge")
    number = re.findall(r"/calendars/(\d+)", zinnia.get(f"{here}/calendars", timeout=30).text)[0]
    assert send(gil, f"{here}/calendars/{number}", {"say": "revoke"}).status_code == 404
    assert titles(link)
    with reading(engine) as connection:
        is_hers = tables.account.c.email == "zinnia@example.org"
        account_id = connection.scalar(select(tables.account.c.id).where(is_hers)) or 0
    with writing(engine) as connection:
        set_places(connection, account_id, [], [])
    assert requests.get(link, timeout=30).status_code == 404


def test_the_sheet_for_the_notice_board_is_of_ones_own_blocks(
    here: str, gil: requests.Session
) -> None:
    sheet = gil.get(f"{here}/bulletin", timeout=30)
    assert ("Terrace 7" in sheet.text, "Ledge" in sheet.text) == (True, False)
    policy = sheet.headers["Content-Security-Policy"]
    assert ("script" in policy, "frame-ancestors 'none'" in policy) == (False, True)
    assert gil.get(f"{here}/bulletin?district=elsewhere", timeout=30).status_code == 404
