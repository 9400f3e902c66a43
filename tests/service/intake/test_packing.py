"""What pushes held is packed once their day is long over, and read again as if it were not."""

from __future__ import annotations

import zlib
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, func, select

from service.intake.given import Given
from service.intake.packing import pack_pushes
from service.intake.pushes import keep_push
from service.intake.rereading import reread
from service.store import tables
from service.store.engine import reading, writing
from service.store.imports import (
    delete_contents,
    fetch_batches,
    fetch_content,
    measure_contents,
)
from tests.imported import LOGGER, set_up

pytestmark = pytest.mark.sqlite_by_day

PUSHES = 96  # a day, every 15 minutes
FIRST = datetime(2025, 4, 20, tzinfo=UTC)
LATER = FIRST + timedelta(days=4)


@pytest.fixture
def pushed(engine: Engine) -> Engine:
    """A store of a logger that pushed for a day, and a few times two days later."""
    set_up(engine)
    arrivals = [FIRST + timedelta(minutes=15 * n) for n in range(PUSHES)]
    arrivals += [LATER - timedelta(hours=n) for n in range(6, 2, -1)]
    with writing(engine) as connection:
        for number, now in enumerate(arrivals):
            stamp = f"{now:%Y-%m-%dT%H:%M:%SZ}"
            given = [Given(1, stamp, None, "T15", 10 + number / 8, "")]
            given.append(Given(2, stamp, None, "T30", 11.0, ""))
            keep_push(connection, LOGGER, str(number).encode(), (given, []), now)
    return engine


def bodies(engine: Engine) -> list[tuple[int, bytes]]:
    """Return each import and what is kept of it."""
    with reading(engine) as connection:
        ids = [batch.id for batch in fetch_batches(connection)]
        return [(one, zlib.decompress(fetch_content(connection, one).body)) for one in ids]


def count(engine: Engine) -> tuple[int, int]:
    """Return how many contents stand by themselves, and how many packs there are."""
    with reading(engine) as connection:
        apart, packs = (
            connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in (tables.import_content, tables.import_pack)
        )
    return apart, packs


def test_a_day_that_is_long_over_is_one_pack_and_says_what_it_said(pushed: Engine) -> None:
    before = bodies(pushed)
    pack_pushes(pushed, LATER)
    assert count(pushed) == (4, 1)
    assert bodies(pushed) == before
    pack_pushes(pushed, LATER)
    assert count(pushed) == (4, 1)


def test_packed_pushes_take_a_quarter_of_what_they_took(pushed: Engine) -> None:
    with reading(pushed) as connection:
        of, apart_bytes = measure_contents(connection, LOGGER, FIRST + timedelta(days=1))
    pack_pushes(pushed, LATER)
    with reading(pushed) as connection:
        packed, packed_bytes = measure_contents(connection, LOGGER, FIRST + timedelta(days=1))
    assert (of, packed) == (PUSHES, PUSHES)
    assert packed_bytes * 4 < apart_bytes


@pytest.mark.both_by_day
def test_a_push_that_is_read_again_stands_apart_until_it_is_packed_again(pushed: Engine) -> None:
    pack_pushes(pushed, LATER)
    before = bodies(pushed)
    with writing(pushed) as connection:
        reread(connection, LOGGER, (), keep_layout=True)
    assert count(pushed) == (PUSHES + 4, 1)
    pack_pushes(pushed, LATER)
    assert count(pushed) == (4, 1)
    assert bodies(pushed) == before


def test_contents_that_are_given_up_leave_their_pack(pushed: Engine) -> None:
    pack_pushes(pushed, LATER)
    noon = FIRST + timedelta(hours=12)
    with writing(pushed) as connection:
        assert delete_contents(connection, LOGGER, noon) == 49
        left, _ = measure_contents(connection, LOGGER, LATER)
    assert (left, count(pushed)) == (PUSHES + 4 - 49, (4, 1))
