"""What was kept by a clock that was ahead for a while holds nothing up once it is right."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, insert, update

from service.delivery import deliver
from service.fetches import FIRST_FETCH, fetch_due, fetch_new
from service.fetching.http import Fetcher
from service.forecasts import fetch_due_forecasts
from service.settings import Settings
from service.store import tables
from service.store.channel_troubles import ChannelTrouble, keep_trouble
from service.store.engine import reading, writing
from service.store.looks import Look, is_look_due, keep_look
from service.store.outbox import add_digest, add_message
from service.store.round_lease import RoundHeldError, take_lease
from service.store.rounds import finish_round, is_evaluation_due
from service.store.stations import fetch_stations
from tests.farms import SET_UP_AT as NOW
from tests.farms import STATION_ELSEWHERE, farm_text, set_up
from tests.planted import plant_recipient

AHEAD = timedelta(days=40)


def test_a_lease_of_the_round_that_was_taken_then_has_lapsed(engine: Engine) -> None:
    with writing(engine) as connection:
        first = take_lease(connection)
        until = first.lapses_at + AHEAD
        connection.execute(update(tables.round_lease).values(lapses_at=until))
        second = take_lease(connection)
        assert second.holder != first.holder
        with pytest.raises(RoundHeldError):
            take_lease(connection)


@pytest.mark.parametrize("column", ["leased_until", "next_try_at"])
def test_a_message_that_was_claimed_or_put_off_then_is_sent(
    engine: Engine, tmp_path: Path, column: str
) -> None:
    now = datetime.now(UTC)  # leases are by the clock of the store
    with writing(engine) as connection:
        plant_recipient(connection, "Ada")
        made = add_digest(connection, "Ada", now), "mail", "ada@example.org", "<a@alder.example>"
        add_message(connection, *made, "Subject: Dig\n\nNow.\n", now)
        connection.execute(update(tables.outbox).values({column: now + AHEAD}))
        keep_trouble(connection, ChannelTrouble("mail", now, 1, now + AHEAD, "down"))
    report = deliver(engine, Settings(data=tmp_path), now, at_once=False)
    assert [one.message.address for one in report.sent] == ["ada@example.org"]


def test_outlooks_and_rounds_of_then_are_as_if_they_had_not_been(engine: Engine) -> None:
    with writing(engine) as connection:
        keep_look(connection, Look(NOW + AHEAD, 0, 0.1))
        row = {"as_of": None, "started_at": NOW + AHEAD}
        round_id = connection.execute(
            insert(tables.round_).values(row).returning(tables.round_.c.id)
        ).scalar_one()
        finish_round(connection, round_id, NOW + AHEAD, 0, 0, changes=1)
    with reading(engine) as connection:
        assert is_look_due(connection, NOW)
        assert is_evaluation_due(connection, NOW)
        assert not is_look_due(connection, NOW + AHEAD)
        assert not is_evaluation_due(connection, NOW + AHEAD)


@pytest.fixture
def asks_nowhere(engine: Engine) -> Engine:
    """A store with a station and a forecast that no one answers for."""
    nowhere = 'url = "http://127.0.0.1:1"', 'allow_hosts = ["127.0.0.1"]'
    text = farm_text(north=True) + STATION_ELSEWHERE + "\n".join(nowhere)
    forecast = f'forecast = {{ feed = "gridpoint", {", ".join(nowhere)} }}'
    set_up(engine, text.replace("longitude = -123.2\n", f"longitude = -123.2\n{forecast}\n", 1))
    return engine


def make(*_: object) -> Fetcher:
    return Fetcher("grower@example.org", ["127.0.0.1"], sleep=lambda _: None)


def test_stations_and_forecasts_that_were_fetched_then_are_fetched_again(
    asks_nowhere: Engine,
) -> None:
    times = NOW + AHEAD, NOW + AHEAD, NOW, NOW + timedelta(minutes=1)
    assert [len(fetch_due(asks_nowhere, make, now)) for now in times] == [1, 0, 1, 0]
    assert [len(fetch_due_forecasts(asks_nowhere, make, now)) for now in times] == [1, 0, 1, 0]


def test_a_station_that_was_fetched_first_then_is_asked_for_what_lies_further_back(
    asks_nowhere: Engine,
) -> None:
    with writing(asks_nowhere) as connection:
        connection.execute(update(tables.feed_state).values(fetched_at=NOW + AHEAD))
        (station,) = fetch_stations(connection)
    assert fetch_new(asks_nowhere, make, station, NOW).span.since == NOW - FIRST_FETCH
