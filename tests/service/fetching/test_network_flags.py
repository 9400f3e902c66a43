"""What a network flags suspect is kept as suspect, with the network's own flag as the reason."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Engine, select

from probes.checks import PROVIDER, unpack
from probes.frames import GOOD, SUSPECT
from service.flags import explain_flag, refresh_flags
from service.intake.undoing import restore, withdraw
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from tests.http_server import Asked, HttpServer, Reply
from tests.service.fetching.test_feeds_into_the_store import (
    HOUR,
    HOURLY,
    NOW,
    fetch,
    network,
    set_up_station,
)

AT = HOURLY[50][0]


def flagging(asked: Asked) -> Reply:
    """Play the network, which finds one hour at both depths suspect."""
    reply = network()(asked)
    if "/data?" not in asked.path:
        return reply
    answer = json.loads(reply.body)
    for one in answer[0]["data"]:
        for number, row in enumerate(one["values"]):
            row["value"] += number % 5 / 4  # what never moves would fail
            row["qcFlag"] = "S" if row["date"] == f"{AT - 8 * HOUR:%Y-%m-%d %H:%M}" else "V"
    return Reply(json.dumps(answer).encode())


def fetch_flagged(engine: Engine, server: HttpServer) -> Any:
    keys = f'station = "2057:XX:SCAN"\nurl = "{server.address}"'
    set_up_station(engine, "awdb", keys)
    server.answers = flagging
    return fetch(engine)


def kept(engine: Engine) -> list[Any]:
    columns = [tables.reading.c[name] for name in ("probe_id", "observed_at", "flag", "checks")]
    with reading(engine) as connection:
        return list(connection.execute(select(*columns).order_by(*columns[:2])))


def flagged_by_network(engine: Engine) -> list[Any]:
    """Return which readings the network finds suspect, and their flag in the end."""
    return [
        (row.observed_at, row.flag)
        for row in kept(engine)
        if unpack(row.checks)[PROVIDER] == SUSPECT
    ]


def test_what_the_network_finds_suspect_is_kept_as_suspect(
    engine: Engine, server: HttpServer
) -> None:
    report = fetch_flagged(engine, server)
    assert (report.failure, report.readings.rejected) == (None, 0)
    assert flagged_by_network(engine) == [(AT, SUSPECT)] * 2


def test_the_reason_is_the_networks_own_flag(engine: Engine, server: HttpServer) -> None:
    fetch_flagged(engine, server)
    with reading(engine) as connection:
        logger = fetch_logger(connection, "meadow")
        why = {test: rest for test, *rest in explain_flag(connection, logger, logger.probes[0], AT)}
        before = [
            test for test, *_ in explain_flag(connection, logger, logger.probes[0], AT - HOUR)
        ]
    assert why[PROVIDER] == [SUSPECT, "the network's own flag"]
    assert why["gross_range"] == [GOOD, ""]
    assert PROVIDER not in before


def test_the_networks_flag_stays_when_all_is_flagged_again(
    engine: Engine, server: HttpServer
) -> None:
    fetch_flagged(engine, server)
    before = kept(engine)
    with writing(engine) as connection:
        refresh_flags(connection, fetch_logger(connection, "meadow", lock=True))
    assert kept(engine) == before


def test_a_fetch_that_is_withdrawn_and_restored_has_its_flags_again(
    engine: Engine, server: HttpServer
) -> None:
    fetch_flagged(engine, server)
    before = kept(engine)
    with writing(engine) as connection:
        withdraw(connection, 1, "Ada Example", "to see", NOW)
    gone = kept(engine)
    with writing(engine) as connection:
        restore(connection, 1)
    assert (gone, kept(engine)) == ([], before)
