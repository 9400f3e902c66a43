"""A sender that is killed at any step loses no message, and doubles at most the one in flight,
which its Message-ID gives away."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from email.utils import make_msgid
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Event
from typing import Any

import pytest
import trustme
from sqlalchemy import Connection, Engine, text

from service.delivery import deliver
from service.settings import Settings
from service.store.engine import reading, writing
from service.store.outbox import add_digest, add_message, fetch_messages
from tests.http_server import Reply, http_server
from tests.outbox_messages import let_leases_lapse, make_mail
from tests.planted import plant_recipient
from tests.processes import send_waiting
from tests.smtp_server import HANG, STAGES, SmtpServer, login_env, smtp_server, trust

READERS = ("Ada", "Ben", "Cai")
PROCESSES = get_context("forkserver")  # each a process of its own, without the time of imports
PROCESSES.set_forkserver_preload(["service.delivery", "service.channels.smtp", "tests.processes"])


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmtpServer]:
    authority = trustme.CA()
    with pytest.MonkeyPatch.context() as patch, smtp_server(authority) as running:
        for name, value in trust(authority, tmp_path_factory.mktemp("authority")).items():
            patch.setenv(name, value)  # for the processes too
        yield running


@pytest.fixture
def waiting(engine: Engine) -> Engine:
    """A store with a mail and a text to each reader."""
    now = datetime.now(UTC)
    with writing(engine) as connection:
        for name in READERS:
            plant_recipient(connection, name, ("mail", "sms"))
            digest, mail = add_digest(connection, name, now), make_mail(f"{name}@example.org")
            for channel, address in (("mail", mail.address), ("sms", "+61491570156")):
                made = (make_msgid(domain="alder.example"), mail.message, now)
                add_message(connection, digest, channel, address, *made)
    return engine


@pytest.fixture
def store(engine: Engine) -> Iterator[Connection]:
    """A connection that holds up who writes, until it is rolled back."""
    with engine.connect() as connection:
        yield connection


def lock(store: Connection) -> None:
    """Let no one else write into the outbox."""
    if store.dialect.name == "sqlite":
        store.rollback()
        store.execution_options(digseason_write=True).begin()
    else:
        store.execute(text("lock table outbox in exclusive mode"))


def start(folder: Path, env: dict[str, Any]) -> BaseProcess:
    process = PROCESSES.Process(target=send_waiting, args=(folder, env))
    process.start()
    return process


def kill(process: BaseProcess) -> None:
    process.kill()
    process.join()
    assert process.exitcode == -9  # SIGKILL, and not by itself
    process.close()


def at_the_second(stage: str, act: Callable[[], str | None]) -> Callable[[str, str], str | None]:
    """Do something at a stage of the second mail; of the first, where a connection begins."""
    wanted = 2 if stage in ("MAIL", "RCPT", "DATA", "TAKEN") else 1
    met = Counter[str]()

    def script(at: str, _: str) -> str | None:
        met[at] += 1
        return act() if at == stage and met[at] == wanted else None

    return script


def deliver_the_rest(engine: Engine, settings: Settings) -> None:
    """Deliver at once, and what was in flight once its lease has lapsed."""
    deliver(engine, settings, datetime.now(UTC))
    let_leases_lapse(engine)
    deliver(engine, settings, datetime.now(UTC) + timedelta(hours=1))


def message_ids(server: SmtpServer) -> dict[str, list[str]]:
    """Return the Message-IDs of the mails that were taken, by reader."""
    taken: dict[str, list[str]] = {name: [] for name in READERS}
    for one in server.taken:
        taken[one.to.partition("@")[0]].append(str(one.mail["Message-ID"]))
    return taken


def undelivered(engine: Engine) -> list[int]:
    with reading(engine) as connection:
        return [row.id for row in fetch_messages(connection) if row.delivered_at is None]


@pytest.mark.parametrize("step", [*STAGES, "marking"])
def test_a_sender_killed_at_a_step_loses_nothing(
    waiting: Engine,
    store: Connection,
    store_url: str,
    server: SmtpServer,
    tmp_path: Path,
    step: str,
) -> None:
    server.reset()
    env = login_env(server, smtp_timeout_s=20, database_url=store_url)

    def hold_marking() -> None:  # the mail is taken, the sender is told so, and cannot keep it
        lock(store)
        server.hanging.set()

    hold = hold_marking if step == "marking" else lambda: HANG
    server.script = at_the_second("TAKEN" if step == "marking" else step, hold)
    process = start(tmp_path, env)
    assert server.hanging.wait(60)
    if step == "marking":
        time.sleep(0.2)
    kill(process)
    store.rollback()
    server.script = lambda *_: None
    deliver_the_rest(waiting, Settings(data=tmp_path, **env))  # type: ignore[arg-type]

    taken = message_ids(server)
    assert undelivered(waiting) == []
    assert {name: len(set(ids)) for name, ids in taken.items()} == dict.fromkeys(READERS, 1)
    # by hand: only a mail that the server has taken before the sender knew can come again
    doubled = {"Ben"} if step in ("TAKEN", "marking") else set()
    assert {name for name, ids in taken.items() if len(ids) == 2} == doubled
    assert max(map(len, taken.values())) <= 2


def test_a_sender_killed_before_it_has_claimed_anything_loses_nothing(
    waiting: Engine, store: Connection, store_url: str, server: SmtpServer, tmp_path: Path
) -> None:
    server.reset()
    env = login_env(server, database_url=store_url)
    lock(store)
    process = start(tmp_path, env)
    time.sleep(0.3)
    kill(process)
    store.rollback()
    deliver(waiting, Settings(data=tmp_path, **env), datetime.now(UTC))  # type: ignore[arg-type]
    assert undelivered(waiting) == []
    assert {len(ids) for ids in message_ids(server).values()} == {1}


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_a_text_in_flight_comes_again_with_the_same_reference(
    waiting: Engine, tmp_path: Path
) -> None:
    reached = Event()

    def hang_once(_: object) -> Reply:
        is_first = not reached.is_set()
        reached.set()
        return Reply(b"{}", hang_s=1.0 if is_first else 0)

    with http_server(hang_once) as gateway:
        env: dict[str, Any] = {"sms_url": gateway.address, "sms_body": "{reference} {to} {text}"}
        process = start(tmp_path, env)
        assert reached.wait(60)
        kill(process)
        deliver_the_rest(waiting, Settings(data=tmp_path, **env))
        references = Counter(asked.body.split(b"+")[0] for asked in gateway.asked)
    assert undelivered(waiting) == []
    assert sorted(references.values()) == [1, 1, 2]
