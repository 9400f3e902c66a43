"""How long it takes to tell a region: 300 changed blocks and 5,000 readers, a mail for each.

Run: python -m tests.benchmarks.bench_telling
"""

from __future__ import annotations

import os
import smtplib
import socket
import ssl
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from email import message_from_string
from email.message import EmailMessage
from email.policy import SMTP
from itertools import cycle, product
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import numpy as np
import trustme
from sqlalchemy import Connection, Engine, Table, insert, select

from service.charts.blocks import Seen, see_blocks
from service.digests import compose_waiting
from service.due import When, find_shown
from service.rounds import run_due
from service.settings import Settings
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.benchmarks.bars import Bar, judge
from tests.generated_root_zone import generated_days
from tests.pg import cluster
from tests.processes import send_waiting
from tests.smtp_server import PASSWORD, USER, SmtpServer, login_env, smtp_server, trust

N_BLOCKS, N_READERS, N_COORDINATORS, N_RESEARCHERS = 300, 5000, 10, 90
N_DRAWN = 40  # charts; the others are as long in the drawing and about as large
MOST_S = 120
AS_OF, HOUR = date(1994, 6, 10), 7
NIGHT = datetime(1994, 6, 11, 12, tzinfo=UTC)  # 04:00 where they are
MORNING = NIGHT + timedelta(hours=4)
Rows = list[dict[str, Any]]
Mail = tuple[str, str, str, str, list[bytes]]
"""To, subject, plain text, HTML and pictures."""


def main() -> None:
    """Print the table and the bars."""
    authority = trustme.CA()
    print("| what | s | CPU s |\n|---|---|---|")
    with (
        TemporaryDirectory() as folder,
        smtp_server(authority) as server,
        cluster() as postgresql,
        postgresql.database() as name,
        ProcessPoolExecutor(1, get_context("forkserver")) as sender,
    ):
        os.environ |= trust(authority, Path(folder))
        sender.submit(timed, time.monotonic).result()
        seen: Seen | None = None
        totals: dict[str, float] = {}
        for store, url in (
            ("SQLite", f"sqlite:///{folder}/digseason.db"),
            ("PostgreSQL", postgresql.url(name)),
        ):
            env = login_env(server, smtp_timeout_s=30, database_url=url)
            settings = Settings(data=Path(folder), base_url="https://dig.alder.example", **env)  # type: ignore[arg-type]
            engine = open_engine(url)
            upgrade(engine)
            with writing(engine) as connection:
                plant(connection)
            found = show(f"{store}: the round", timed(run_due, engine, settings, NIGHT)).gave
            assert (len(found.notices), found.digests) == (N_BLOCKS, 0)
            seen = seen or draw(engine, settings)
            composed = show(f"{store}: composing", timed(compose, engine, settings, seen))
            assert composed.gave == N_READERS
            sent = sender.submit(timed, send_waiting, Path(folder), env).result()
            show(f"{store}: handing over", sent)
            check(server)
            totals[store] = composed.s + sent.s
            mails = list(read_mails(engine))
            engine.dispose()
        plain = sender.submit(timed, send_plainly, server.port, mails).result()
        show("plainly", plain)
        check(server)
    sizes = sorted(sum(map(len, (*mail[:4], *mail[4]))) for mail in mails)
    print(f"\nA mail holds {sizes[len(sizes) // 2] / 1000:.0f} kB, at most {sizes[-1] / 1000:.0f}.")
    bars: list[Bar] = []
    for store, total_s in totals.items():
        bars.append(Bar(f"{store}: composed and handed over, s", total_s, f"< {MOST_S}"))
        bars.append(Bar(f"{store}: beside the plain way", total_s / plain.s, "<= 3"))
    judge(bars)


class Timed(NamedTuple):
    """What something gave, and its seconds: by the clock, and of the processor."""

    gave: Any
    s: float
    cpu_s: float


def timed(do: Callable[..., Any], *args: Any) -> Timed:
    """Do it, and time it."""
    begun_s, begun_cpu_s = time.perf_counter(), time.process_time()
    gave = do(*args)
    return Timed(gave, time.perf_counter() - begun_s, time.process_time() - begun_cpu_s)


def show(what: str, one: Timed) -> Timed:
    """Print a row."""
    print(f"| {what} | {one.s:.1f} | {one.cpu_s:.1f} |", flush=True)
    return one


def draw(engine: Engine, settings: Settings) -> Seen:
    """Draw some charts, say how long all take, and give each form one of them."""
    with reading(engine) as connection:
        shown, pictured = find_shown(connection, settings, When(MORNING, None, at_their_hour=True))
    some = sorted(pictured, key=str)[:: len(pictured) // N_DRAWN][:N_DRAWN]
    accuracy_c = settings.sensor_accuracy_c
    ribbons = show("ribbons", timed(see_blocks, engine, shown, [], accuracy_c))
    both = show(f"and {N_DRAWN} charts", timed(see_blocks, engine, shown, some, accuracy_c))
    share = len(pictured) / N_DRAWN
    all_s = ((both.s - ribbons.s) * share, (both.cpu_s - ribbons.cpu_s) * share)
    show(f"all {len(pictured)} charts, by these", Timed(None, *all_s))
    seen = both.gave
    pictures = cycle(seen.pictures.values())
    return Seen(seen.ribbons, {form: next(pictures) for form in pictured})


def compose(engine: Engine, settings: Settings, seen: Seen) -> int:
    """Find and compose what is due, as a round does."""
    when = When(MORNING, None, at_their_hour=True)
    with reading(engine) as connection:
        find_shown(connection, settings, when)
    with writing(engine) as connection:
        return compose_waiting(connection, settings, when, seen)


def read_mails(engine: Engine) -> Iterator[Mail]:
    """Yield what the mails say, taken apart."""
    with reading(engine) as connection:
        for text in connection.scalars(select(tables.outbox.c.message)):
            mail = message_from_string(text, policy=SMTP)
            assert isinstance(mail, EmailMessage)
            plain, html = mail.get_body(("plain",)), mail.get_body(("html",))
            assert plain is not None
            assert html is not None
            pictures = [one for one in mail.walk() if one.get_content_maintype() == "image"]
            yield (
                mail["To"],
                mail["Subject"],
                plain.get_content(),
                html.get_content(),
                [one.get_content() for one in pictures],  # type: ignore[attr-defined]
            )


def send_plainly(port: int, mails: Iterable[Mail]) -> None:
    """Compose by the standard library what is known by now, hand it over, and keep nothing."""
    with smtplib.SMTP("127.0.0.1", port) as smtp:
        smtp.starttls(context=ssl.create_default_context())
        smtp.login(USER, PASSWORD)
        assert smtp.sock is not None
        smtp.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # as ours
        for to, subject, plain, html, pictures in mails:
            mail = EmailMessage(policy=SMTP)
            mail["From"], mail["To"], mail["Subject"] = "dig@alder.example", to, subject
            mail.set_content(plain)
            mail.add_alternative(html, "html")
            for picture in pictures:
                mail.get_payload()[1].add_related(picture, "image", "png")  # type: ignore[index, union-attr]
            smtp.sendmail("dig@alder.example", to, mail.as_bytes())


def check(server: SmtpServer) -> None:
    """See that all have come, once each."""
    assert len({one.to for one in server.taken}) == len(server.taken) == N_READERS
    server.reset()


def plant(connection: Connection) -> None:
    """Put in the blocks of a valley, each with years of days, and who is told of them."""
    rng = np.random.default_rng(1)
    ids = [f"b{number:03d}" for number in range(N_BLOCKS)]
    days, root_zone_c = generated_days(seed=1, years=4)
    until = days <= np.datetime64(AS_OF)
    site = {"timezone": "America/Los_Angeles", "utc_offset_min": -480, "checks": "standard"}
    site |= {"elevation_m": 150.0, "use_suspect": False}
    zone = {"root_zone_top_cm": 15.0, "root_zone_bottom_cm": 45.0, "weights": "even"}
    slots = {"slots_present": 24, "slots_in_day": 24, "longest_gap_h": 0, "complete": True}
    stretch = {"valid_from": date.min, "depth_cm": 30.0, "calibration_offset_c": 0}
    rows: dict[Table, Rows] = {
        tables.organisation: [{"id": 1, "name": "Alder Bench Growers"}],
        tables.layout: [{"name": "plain", "spec": {}}],
        tables.site: [
            {"id": one, "name": f"Ranch {n // 10}", "latitude": 45 + n / 2000, **site}
            | {"longitude": float(rng.uniform(0, 0.3))}
            for n, one in enumerate(ids)
        ],
        tables.block: [
            {"id": one, "site_id": one, "name": f"Terrace {n}", "rule": "grape-phylloxera", **zone}
            for n, one in enumerate(ids)
        ],
        tables.logger: [{"id": one, "site_id": one, "layout_name": "plain"} for one in ids],
        tables.probe: [
            {"id": n, "logger_id": one, "channel": "T30"} for n, one in enumerate(ids, 1)
        ],
        tables.probe_stretch: [{"probe_id": n, **stretch} for n in range(1, N_BLOCKS + 1)],
    }
    for table, of_table in (rows | plant_readers(rng, ids)).items():
        connection.execute(insert(table), of_table)
    for probe_id in range(1, N_BLOCKS + 1):
        means_c = root_zone_c[until] + rng.normal(0, 0.5) + rng.normal(0, 0.2, until.sum())
        of_probe = zip(days[until].tolist(), means_c.tolist(), strict=True)
        connection.execute(
            insert(tables.daily_mean),
            [{"probe_id": probe_id, "day": day, "mean_c": c, **slots} for day, c in of_probe],
        )


def plant_readers(rng: np.random.Generator, block_ids: list[str]) -> dict[Table, Rows]:
    """Return the rows of those who are told: most of one block or two, few of twenty or all."""
    forms = cycle(product(("en", "es"), ("F", "C")))
    found: dict[Table, Rows] = {
        tables.recipient: [],
        tables.address_consent: [],
        tables.recipient_block: [],
    }
    confirmed = {"confirmed_at": NIGHT, "confirmed_by": "Ada", "confirmed_why": "signed form"}
    roles = ["coordinator"] * N_COORDINATORS + ["researcher"] * N_RESEARCHERS
    roles += ["grower"] * (N_READERS - len(roles))
    for number, (role, (language, unit)) in enumerate(zip(roles, forms, strict=False)):
        name, address = f"reader{number}", f"reader{number}@example.org"
        row = {"name": name, "role": role, "email": address, "channels": ["mail"], "hour": HOUR}
        row |= {"language": language, "unit": unit, "all_blocks": role == "coordinator"}
        found[tables.recipient].append(row)
        to = {"recipient_name": name, "channel": "mail", "address": address}
        found[tables.address_consent].append(to | confirmed)
        count = {"coordinator": 0, "researcher": 20, "grower": min(int(rng.geometric(0.6)), 12)}
        found[tables.recipient_block] += [
            {"recipient_name": name, "block_id": str(block_id)}
            for block_id in rng.choice(block_ids, count[role], replace=False)
        ]
    return found


if __name__ == "__main__":
    main()
