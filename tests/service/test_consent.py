"""Who has not said yes is asked and told nothing; who says stop is told nothing more."""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import requests
from sqlalchemy import Engine, text, update

from service.delivery import deliver
from service.digests import compose_waiting
from service.due import When
from service.rounds import run_due, run_round
from service.settings import Settings
from service.store import tables
from service.store.consents import fetch_consents, stop
from service.store.dug import Window, fetch_dug
from service.store.engine import reading, writing
from service.store.outbox import fetch_messages
from tests.commands import digseason, run
from tests.mails import text_of
from tests.planted import plant_block, plant_days, plant_recipient
from tests.processes import wait_until
from tests.serving import serving_here
from tests.smtp_server import SmtpServer

NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)  # 08:30 on the wall
ADA = ("Ada Example", "mail", "ada@example.org")
ONE_CLICK = {"List-Unsubscribe": "One-Click"}

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def settings(mail_env: dict[str, object], tmp_path: Path) -> Settings:
    return Settings(data=tmp_path, base_url="https://dig.alder.example/", **mail_env)  # type: ignore[arg-type]


@pytest.fixture
def warmed(engine: Engine) -> Engine:
    """A store with one block that opened, and its grower."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", ("mail",))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
    return engine


@pytest.fixture
def here(warmed: Engine, settings: Settings) -> Iterator[str]:
    with serving_here(warmed, settings) as address:
        yield address


def state(engine: Engine) -> str:
    with reading(engine) as connection:
        return fetch_consents(connection)[ADA].state


def link_of(server: SmtpServer, here: str, page: str = "told") -> str:
    """The link of the last mail, on this machine."""
    body = server.taken[-1].mail.get_body(("plain",))
    assert body is not None
    (link,) = re.findall(rf"https://dig\.alder\.example(/{page}/\S+)", body.get_content())
    return here + link


def test_an_address_is_asked_once_and_told_what_waits_once_it_is_confirmed(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str
) -> None:
    run_round(warmed, settings, NOW)
    run_round(warmed, settings, NOW + timedelta(hours=1))
    (request,) = server.taken
    assert "Say yes" in request.mail["Subject"]
    assert "List-Unsubscribe" not in request.mail
    link = link_of(server, here)
    assert "go to ada@" not in requests.get(link, timeout=5).text
    assert state(warmed) == "asked"  # a scanner of mails follows links
    assert requests.post(link, {"say": "yes"}, timeout=5).status_code == 200
    assert state(warmed) == "confirmed"
    run_round(warmed, settings, NOW + timedelta(hours=2))
    assert len(server.taken) == 2
    assert "dig season is open" in text_of(server.taken[1].content)


@one_database
@pytest.mark.parametrize(
    ("days_f", "told_on", "told"),
    [
        # by hand: R is 55 °F on 8 May; the fifth day of that pause is the 12th. Who has not heard
        # that it was open hears of no close
        pytest.param([45.0] * 7, 12, 0, id="that lasts"),
        # by hand: R is 55 °F on 8 May, 63 on the 10th and 72 on the 11th
        pytest.param([45.0] * 3 + [90.0] * 3, 11, 1, id="that was short"),
    ],
)
def test_no_one_is_told_of_an_opening_during_a_pause_that_is_not_told_yet(
    warmed: Engine,
    settings: Settings,
    server: SmtpServer,
    days_f: list[float],
    told_on: int,
    told: int,
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        connection.execute(
            update(tables.address_consent).values(confirmed_at=NOW, confirmed_by="Ada")
        )
        plant_days(connection, date(2025, 5, 6), days_f)
    for day in (9, told_on - 1):
        assert run_round(warmed, settings, NOW, as_of=date(2025, 5, day)).digests == 0
    assert run_round(warmed, settings, NOW, as_of=date(2025, 5, told_on)).digests == told
    is_told = "dig season is open" in server.taken[-1].mail["Subject"]
    assert is_told == bool(told)


@one_database
def test_who_says_yes_late_is_not_told_of_what_came_and_went(
    warmed: Engine, settings: Settings, server: SmtpServer
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        plant_days(connection, date(2025, 5, 6), [100.0] * 8)
    closed = run_round(warmed, settings, NOW + timedelta(days=8))
    assert [one.what for one in closed.notices] == ["closed"]
    with writing(warmed) as connection:
        connection.execute(update(tables.address_consent).values(confirmed_at=NOW))
    late = run_round(warmed, settings, NOW + timedelta(days=8, hours=1))
    assert (late.digests, len(server.taken)) == (0, 1)  # the request alone
    with writing(warmed) as connection:  # cool enough to open again, and for long
        plant_days(connection, date(2025, 5, 14), [70.0] * 8)
    run_round(warmed, settings, NOW + timedelta(days=16))
    assert "dig season is open again" in server.taken[-1].mail["Subject"]


@one_database
def test_a_text_that_is_only_a_file_does_not_stand_in_for_a_mail_that_waits_for_a_yes(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str
) -> None:
    with writing(warmed) as connection:
        is_ada = tables.recipient.c.name == "Ada Example"
        both = update(tables.recipient).where(is_ada).values(channels=["mail", "sms"])
        connection.execute(both)
    run_round(warmed, settings, NOW)
    requests.post(link_of(server, here), data={"say": "yes"}, timeout=5)
    run_round(warmed, settings, NOW + timedelta(hours=1))
    assert "open" in server.taken[-1].mail["Subject"]


@one_database
def test_a_request_takes_no_digest_its_day(
    warmed: Engine, settings: Settings, server: SmtpServer
) -> None:
    run_due(warmed, settings, NOW - timedelta(hours=4))  # before their hour
    with reading(warmed) as connection:
        assert fetch_consents(connection) == {}
    report = run_round(warmed, settings, NOW)
    assert (report.digests, len(server.taken)) == (0, 1)
    with writing(warmed) as connection:
        connection.execute(
            update(tables.address_consent).values(confirmed_at=NOW, confirmed_by="Ada")
        )
    assert run_due(warmed, settings, NOW + timedelta(minutes=10)).digests == 1


@one_database
@pytest.mark.parametrize("how", ["urlencoded", "multipart"])
def test_one_click_of_a_mail_program_stops_without_login(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str, how: str
) -> None:
    run_round(warmed, settings, NOW)
    requests.post(link_of(server, here), {"say": "yes"}, timeout=5)
    run_round(warmed, settings, NOW)
    mail = server.taken[1].mail
    # source: [RFC-8058] 3.1 and 3.2, [RFC-2369] 3
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    url = mail["List-Unsubscribe"].strip("<>").replace("https://dig.alder.example", here)
    html = mail.get_body(("html",))
    assert html is not None
    assert url.replace(here, "https://dig.alder.example") in html.get_content()
    requests.get(url, timeout=5)
    assert state(warmed) == "confirmed"
    if how == "urlencoded":
        answer = requests.post(url, data=ONE_CLICK, timeout=5)
    else:
        answer = requests.post(url, files={k: (None, v) for k, v in ONE_CLICK.items()}, timeout=5)
    assert (answer.status_code, state(warmed)) == (200, "stopped")
    assert answer.history == []  # source: [RFC-8058] 3.1, no redirect
    with writing(warmed) as connection:
        plant_days(connection, date(2025, 5, 6), [100.0] * 9)
    report = run_round(warmed, settings, NOW + timedelta(days=9))
    assert [one.what for one in report.notices] == ["closed"]
    assert len(server.taken) == 2
    assert requests.post(url, {"say": "yes"}, timeout=5).status_code == 200
    assert state(warmed) == "confirmed"


@one_database
def test_a_link_that_was_changed_holds_nothing_and_tells_no_address(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str
) -> None:
    run_round(warmed, settings, NOW)
    link = link_of(server, here)
    for wrong in (
        link[:-1] + ("A" if link[-1] != "A" else "B"),
        f"{here}/told/1.",
        f"{here}/told/x",
    ):
        answer = requests.post(wrong, {"say": "yes"}, timeout=5)
        assert answer.status_code == 404
        assert "ada@" not in answer.text
    many = "&".join(f"f{number}=1" for number in range(21)) + "&say=yes"
    for wrong, status in ((link, 400), (f"{here}/told/1.x", 404), (f"{here}/dug/1.1.x", 404)):
        assert requests.post(wrong, many, timeout=5).status_code == status
    assert state(warmed) == "asked"
    assert stat.S_IMODE((settings.data / "link.key").stat().st_mode) == 0o600


@one_database
def test_what_waits_is_dropped_when_its_reader_stops(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str
) -> None:
    run_round(warmed, settings, NOW)
    link = link_of(server, here)
    requests.post(link, {"say": "yes"}, timeout=5)
    server.say(RCPT="450 4.2.0 later")
    run_round(warmed, settings, NOW)
    requests.post(link, {"say": "stop"}, timeout=5)
    server.reset()
    run_round(warmed, settings, NOW + timedelta(days=1))
    assert server.taken == []


@one_database
def test_a_corrected_address_is_asked_anew(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str
) -> None:
    run_round(warmed, settings, NOW)
    requests.post(link_of(server, here), {"say": "yes"}, timeout=5)
    with writing(warmed) as connection:
        connection.execute(update(tables.recipient).values(email="ada@alder.example"))
    run_round(warmed, settings, NOW)
    assert [taken.to for taken in server.taken] == ["ada@example.org", "ada@alder.example"]
    assert "Say yes" in server.taken[1].mail["Subject"]


@one_database
def test_an_address_is_confirmed_by_its_code_or_on_paper(
    warmed: Engine, settings: Settings, server: SmtpServer
) -> None:
    run_round(warmed, settings.model_copy(update={"base_url": ""}), NOW)
    (code,) = re.findall(r"code: (\d{6})\.", text_of(server.taken[0].content))
    data = settings.data
    wrong = f"{(int(code) + 1) % 10**6:06d}"
    said = run(data, "recipients", "confirm", ADA[0], "--code", wrong)
    assert (said[0], state(warmed)) == (2, "asked")
    digseason(data, "recipients", "confirm", ADA[0], "--code", code)
    assert state(warmed) == "confirmed"
    assert "ada@example.org: confirmed on" in digseason(data, "recipients")
    with writing(warmed) as connection:
        connection.execute(update(tables.address_consent).values(confirmed_at=None))
    words = ("--by", "Cora", "--why", "signed form")
    digseason(data, "recipients", "confirm", ADA[0], *words)
    assert '"confirmed_why": "signed form"' in digseason(data, "recipients", "--json")


@pytest.mark.sqlite_by_day
@pytest.mark.parametrize("takes_back", [False, True])
def test_who_has_dug_hears_only_of_the_close_until_it_is_taken_back(
    warmed: Engine, settings: Settings, server: SmtpServer, here: str, takes_back: bool
) -> None:
    run_round(warmed, settings, NOW)
    requests.post(link_of(server, here), {"say": "yes"}, timeout=5)
    run_round(warmed, settings, NOW)
    link = link_of(server, here, "dug")
    assert requests.post(f"{link[:-1]}_", {"say": "dug"}, timeout=5).status_code == 404
    requests.get(link, timeout=5)
    assert said_dug(warmed) == []
    requests.post(link, {"say": "dug"}, timeout=5)
    assert said_dug(warmed) == [("terrace-7", 2025, "spring")]
    if takes_back:
        requests.post(link, {"say": "back"}, timeout=5)
    with writing(warmed) as connection:  # the opening moves: a correction
        plant_days(connection, date(2025, 4, 25), [70.0] * 11)
    moved = run_round(warmed, settings, NOW + timedelta(hours=1))
    assert [one.what for one in moved.notices] == ["corrected"]
    assert len(server.taken) == (3 if takes_back else 2)
    with writing(warmed) as connection:
        plant_days(connection, date(2025, 5, 6), [100.0] * 9)
    run_round(warmed, settings, NOW + timedelta(days=9))
    assert len(server.taken) == (4 if takes_back else 3)
    assert "closed" in text_of(server.taken[-1].content)


def said_dug(engine: Engine) -> list[Window]:
    with reading(engine) as connection:
        return list(fetch_dug(connection, "Ada Example"))


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)  # which lets both write
def test_who_says_stop_while_their_digest_is_composed_is_not_sent_it(
    warmed: Engine, settings: Settings
) -> None:
    run_round(warmed, settings, NOW)
    with writing(warmed) as connection:
        connection.execute(update(tables.address_consent).values(confirmed_at=NOW))

    def say_stop() -> None:
        with writing(warmed) as connection:
            stop(connection, fetch_consents(connection)[ADA], "by the link", NOW)

    waits = text("select count(*) from pg_locks where not granted")
    with ThreadPoolExecutor(1) as beside:
        with writing(warmed) as composing:
            assert compose_waiting(composing, settings, When(NOW, None, False)) == 1
            said = beside.submit(say_stop)
            wait_until(lambda: said.done() or bool(composing.scalar(waits)))
        said.result()
    assert deliver(warmed, settings, NOW).sent == []
    with reading(warmed) as connection:
        assert [row.ended for row in fetch_messages(connection)] == [None, "dropped"]
