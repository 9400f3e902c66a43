"""What is wrong with the service itself: its operator is told by mail, a heartbeat stops."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
from sqlalchemy import Engine

from service.backups import restore_backup, write_backup
from service.scheduler import run_job, ticking
from service.settings import Settings
from service.store.alarms import claim_alarms, fetch_alarms, keep_alarms, mark_alarms_told
from service.store.backup_notes import note_backup
from service.store.engine import open_engine, reading, writing
from service.store.outbox import add_digest, add_message, claim_message, put_off_for_quiet
from service.store.rounds import begin_round, finish_round
from service.store.schema import upgrade
from service.store.tables import round_lease
from service.watching.alarms import look_after
from service.watching.checkup import Finding, check_service, find_alarms
from service.watching.heartbeat import Heartbeat
from service.watching.job_runs import Job
from tests.commands import run
from tests.farms import farm_text, set_up
from tests.http_server import HttpServer, Reply, http_server
from tests.processes import wait_until
from tests.smtp_server import SmtpServer

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
LATE = {"round": ("the last one 27.0 hours ago", "Keep it running.")}


@pytest.fixture
def store(tmp_path: Path, sqlite_template: Path) -> Iterator[Engine]:
    """A store in a file, whose only round is of a day and three hours ago."""
    path = tmp_path / "digseason.db"
    path.write_bytes(sqlite_template.read_bytes())
    engine = open_engine(f"sqlite:///{path}")
    run_round(engine, NOW - 27 * HOUR)
    yield engine
    engine.dispose()


def run_round(engine: Engine, at: datetime) -> None:
    with writing(engine) as connection:
        finish_round(connection, begin_round(connection, None, at), at, 0, 0, 0)


@pytest.fixture
def settings(tmp_path: Path, server: SmtpServer) -> Settings:
    return Settings(
        data=tmp_path,
        operator="Ona Keeper <ona@example.org>",
        mail_from="Alder Bench <soil@example.org>",
        smtp_host="127.0.0.1",
        smtp_port=server.port,
        smtp_security="none",
    )


def subjects(server: SmtpServer) -> list[str]:
    return [f"{one.mail['Subject']}" for one in server.taken]


def test_two_processes_that_find_the_same_at_once_keep_it_once(engine: Engine) -> None:
    def keep() -> None:
        with writing(engine) as connection:
            keep_alarms(connection, LATE, NOW + MINUTE)

    with ThreadPoolExecutor(1) as beside:
        with writing(engine) as connection:
            keep_alarms(connection, LATE, NOW)
            other = beside.submit(keep)
            with pytest.raises(TimeoutError):  # it waits for who came first
                other.result(0.3)
        other.result(20)
    with reading(engine) as connection:
        assert [(one.what, one.since) for one in fetch_alarms(connection)] == [("round", NOW)]


def test_a_late_round_is_told_once_and_once_more_when_it_is_over(
    store: Engine, settings: Settings, server: SmtpServer
) -> None:
    for minutes in (0, 5, 10, 600):
        look_after(store, settings, NOW + minutes * MINUTE)
    assert subjects(server) == ["Digseason: round"]
    (first,) = server.taken
    assert first.mail["To"] == "Ona Keeper <ona@example.org>"
    body = first.mail.get_body(("plain",))
    assert body is not None
    words = " ".join(body.get_content().split())
    assert "the last one 27.1 hours ago. Keep `digseason serve` running" in words
    run_round(store, NOW + 601 * MINUTE)
    for minutes in (605, 610, 666, 670, 700):
        look_after(store, settings, NOW + minutes * MINUTE)
    assert subjects(server) == ["Digseason: round", "Digseason: round is well again"]
    with reading(store) as connection:
        assert fetch_alarms(connection) == []


def test_what_passes_within_minutes_is_not_told(
    store: Engine, settings: Settings, server: SmtpServer
) -> None:
    look_after(store, settings, NOW)
    run_round(store, NOW + MINUTE)
    for minutes in (5, 10):
        look_after(store, settings, NOW + minutes * MINUTE)
    assert server.taken == []


def test_what_comes_and_goes_is_told_once(store: Engine) -> None:
    told = 0
    for minutes in range(0, 180, 5):
        with writing(store) as connection:
            keep_alarms(connection, LATE if minutes % 30 else {}, NOW + minutes * MINUTE)
            news = claim_alarms(connection, NOW + minutes * MINUTE)
            mark_alarms_told(connection, news, NOW + minutes * MINUTE)
        told += len(news)
    assert told == 1


def test_a_mail_that_is_not_taken_is_tried_again_and_check_says_so(
    store: Engine, settings: Settings, server: SmtpServer
) -> None:
    server.say(RCPT="451 4.3.0 try again later")
    for minutes in (0, 5):
        look_after(store, settings, NOW + minutes * MINUTE)
    told = next(one for one in check_service(store, settings, NOW) if one.what == "operator")
    assert "could not be told what is wrong: " in told.said
    assert "451 4.3.0 try again later" in told.said
    assert told.remedy
    server.say()
    look_after(store, settings, NOW + 10 * MINUTE)
    assert subjects(server)[-1] == "Digseason: round"
    told = next(one for one in check_service(store, settings, NOW) if one.what == "operator")
    assert (told.said, told.remedy) == (f"{settings.operator} is told of a late round", None)


def test_of_several_processes_one_tells_it(engine: Engine) -> None:
    with writing(engine) as connection:
        keep_alarms(connection, LATE, NOW)
    later = NOW + 5 * MINUTE
    claimed = []
    for _ in range(2):
        with writing(engine) as connection:
            keep_alarms(connection, LATE, later)
            claimed.append([one.what for one in claim_alarms(connection, later)])
    assert claimed == [["round"], []]


def found(engine: Engine, data: Path) -> dict[str, Finding]:
    with reading(engine) as connection:
        return {one.what: one for one in find_alarms(connection, Settings(data=data), NOW)}


def test_messages_that_wait_for_no_reader_and_an_old_backup_are_told(
    engine: Engine, tmp_path: Path
) -> None:
    set_up(engine, farm_text(north=True))
    run_round(engine, NOW - HOUR)
    note_backup(engine, tmp_path / "b.db", NOW - timedelta(days=7))
    with writing(engine) as connection:
        digest = add_digest(connection, "Ada Example", NOW)
        made = ("<1@example.org>", "text", NOW - 10 * HOUR)
        add_message(connection, digest, "mail", "ada@example.org", *made)
        message = claim_message(connection, "mail", NOW)
        assert message is not None
        put_off_for_quiet(connection, message, NOW + HOUR)
    assert found(engine, tmp_path) == {}
    note_backup(engine, tmp_path / "b.db", NOW - timedelta(days=9))
    with writing(engine) as connection:
        digest = add_digest(connection, "Ada Example", NOW)
        made = ("<2@example.org>", "text", NOW - 61 * MINUTE)
        add_message(connection, digest, "mail", "ada@example.org", *made)
    wrong = found(engine, tmp_path)
    assert {what: one.said for what, one in wrong.items()} == {
        "outbox": "2 messages wait, 1 of them for more than an hour",
        "backup": "the last one 9 days ago",
    }


def test_a_backup_is_noted_and_a_restored_store_has_no_alarm(store: Engine, tmp_path: Path) -> None:
    code, _ = run(tmp_path, "backup", tmp_path / "b.db")
    with writing(store) as connection:
        keep_alarms(connection, LATE, NOW)
    write_backup(store, tmp_path / "with.db")
    other = open_engine(f"sqlite:///{tmp_path / 'other.db'}")
    upgrade(other)
    restore_backup(tmp_path / "with.db", other, tmp_path, NOW)
    _, said = run(tmp_path, "check")
    assert code == 0
    assert "fine  backup      the last one 0.0 hours ago" in said
    with reading(other) as connection:
        assert fetch_alarms(connection) == []
    other.dispose()


@pytest.fixture
def watcher() -> Iterator[HttpServer]:
    with http_server(lambda _: Reply(status=204)) as running:
        yield running


def listen(watcher: HttpServer, data: Path, path: str = "/key-7f3a") -> Settings:
    return Settings(
        data=data,
        heartbeat_url=f"{watcher.address}{path}",
        heartbeat_failed_url=f"{watcher.address}/failed",
    )


def test_the_heartbeat_follows_each_round_and_turns_when_rounds_fail(
    store: Engine, tmp_path: Path, watcher: HttpServer
) -> None:
    heartbeat, settings, stop = Heartbeat(), listen(watcher, tmp_path), Event()

    def fail(*_: object) -> None:
        raise ConnectionError

    def live(job: Job) -> None:
        run_job("round", lambda *args: heartbeat.run(job, *args), store, settings, stop)
        heartbeat.beat(store, settings, stop)
        heartbeat.beat(store, settings, stop)

    live(lambda *_: run_round(store, NOW))
    live(lambda *_: None)
    live(lambda *_: run_round(store, NOW + HOUR))
    live(fail)
    live(lambda *_: None)
    well, failed = "/key-7f3a", "/failed"
    assert [one.path for one in watcher.asked] == [well, well, failed, well]


def test_the_heartbeat_of_the_jobs_is_that_of_their_rounds(
    store: Engine, tmp_path: Path, watcher: HttpServer
) -> None:
    with writing(store) as connection:
        round_lease.drop(connection)  # no round can begin
    settings = listen(watcher, tmp_path).model_copy(update={"tick_s": 0.1})
    with ticking(store, settings):
        wait_until(lambda: bool(watcher.asked), 20)
    assert {one.path for one in watcher.asked} == {"/failed"}


def test_a_heartbeat_that_is_not_answered_is_told_without_its_key_until_it_is(
    store: Engine, tmp_path: Path, watcher: HttpServer
) -> None:
    settings, stop = listen(watcher, tmp_path), Event()
    stop.set()  # so that no attempt is waited for

    def beat_and_check() -> Finding:
        Heartbeat().beat(store, settings, stop)
        return next(one for one in check_service(store, settings, NOW) if one.what == "heartbeat")

    watcher.say(Reply(status=404))
    lost = beat_and_check()
    assert lost.said.endswith(": 127.0.0.1 answers 404")
    watcher.say(Reply(status=503))
    down = beat_and_check()
    assert "127.0.0.1: answers 503" in down.said
    assert "key-7f3a" not in lost.said + down.said
    assert lost.remedy
    watcher.say(Reply(status=200))
    well = beat_and_check()
    assert (well.said, well.remedy) == ("127.0.0.1 is asked while all is well", None)
