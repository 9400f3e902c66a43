"""How fast the outbox hands mails to a mail server on this machine, and what it costs beside it.

Run: python -m tests.benchmarks.bench_sending
"""

from __future__ import annotations

import os
import smtplib
import ssl
import tempfile
import time
from datetime import UTC, datetime
from email.utils import make_msgid
from multiprocessing import get_context
from pathlib import Path

import trustme
from sqlalchemy import insert

from service.store import tables
from service.store.engine import open_engine, writing
from service.store.schema import upgrade
from tests.benchmarks.bars import Bar, judge
from tests.outbox_messages import make_mail
from tests.planted import plant_recipient
from tests.processes import send_waiting
from tests.smtp_server import PASSWORD, USER, SmtpServer, login_env, smtp_server, trust

MAILS = 5000
PARAGRAPHS = ("The root zone has reached 64 °F, so dig season is open. Look there.",) * 20


def main() -> None:
    """Print the table and the bars."""
    authority = trustme.CA()
    with tempfile.TemporaryDirectory() as folder, smtp_server(authority) as server:
        os.environ |= trust(authority, Path(folder))
        mails = [make_mail(f"reader{n}@example.org", PARAGRAPHS).message for n in range(MAILS)]
        fill_outbox(Path(folder), mails)
        bare_s = time_in_process(send_bare, (server.port, mails))
        check(server)
        outbox_s = time_in_process(
            send_waiting, (Path(folder), login_env(server, smtp_timeout_s=30))
        )
        check(server)
    print("| what | s | mails a second |\n|---|---|---|")
    for what, seconds in (("smtplib alone", bare_s), ("outbox", outbox_s)):
        print(f"| {what} | {seconds:.1f} | {MAILS / seconds:.0f} |")
    judge(
        [
            Bar("outbox / smtplib alone", outbox_s / bare_s, "<= 3"),
            Bar("mails a second", MAILS / outbox_s, ">= 50"),
        ]
    )


def fill_outbox(folder: Path, mails: list[str]) -> None:
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    now = datetime.now(UTC)
    with writing(engine) as connection:
        plant_recipient(connection, "Ada")
        digests = [{"id": n + 1, "recipient_name": "Ada", "composed_at": now} for n in range(MAILS)]
        connection.execute(insert(tables.digest), digests)
        rows = [
            {
                "digest_id": n + 1,
                "channel": "mail",
                "address": f"reader{n}@example.org",
                "message_id": make_msgid(domain="alder.example"),
                "message": mail,
                "created_at": now,
                "attempts": 0,
            }
            for n, mail in enumerate(mails)
        ]
        connection.execute(insert(tables.outbox), rows)
    engine.dispose()


def send_bare(port: int, mails: list[str]) -> None:
    """Hand them over, and keep nothing."""
    with smtplib.SMTP("127.0.0.1", port) as smtp:
        smtp.starttls(context=ssl.create_default_context())
        smtp.login(USER, PASSWORD)
        for n, mail in enumerate(mails):
            smtp.sendmail("dig@alder.example", f"reader{n}@example.org", mail.encode())


def time_in_process(target, args) -> float:
    """Return the seconds of a process of its own, without those of its start."""
    processes = get_context("forkserver")
    processes.set_forkserver_preload(["tests.processes", "service.channels.smtp"])
    warm = processes.Process(target=time.monotonic)
    warm.start()
    warm.join()
    begun_s = time.perf_counter()
    process = processes.Process(target=target, args=args)
    process.start()
    process.join()
    assert process.exitcode == 0
    return time.perf_counter() - begun_s


def check(server: SmtpServer) -> None:
    """See that all have come, once each."""
    assert len({one.to for one in server.taken}) == len(server.taken) == MAILS
    server.reset()


if __name__ == "__main__":
    main()
