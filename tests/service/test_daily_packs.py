"""Days that are read from packs are those of the rows, whatever is written to these."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from numpy.typing import NDArray
from sqlalchemy import Engine, delete, func, select

from probes.frames import DailyMeans
from service.daily_means import PACKED_AFTER, PACKED_EVERY_D, pack_daily_means
from service.store import tables
from service.store.daily import fetch_daily_means, store_daily_means
from service.store.daily_packs import DAYS, fetch_complete_days, find_unpacked
from service.store.engine import reading, writing
from tests.imported import LOGGER, set_up

FIRST, LAST = date(2024, 1, 10), date(2026, 4, 20)
NOW = datetime(2026, 4, 21, 12, tzinfo=UTC)
LATER = NOW + 2 * timedelta(days=DAYS)
PROBES = [1, 2]


def write(engine: Engine, probe_id: int, first: date, last: date, seed: int = 0) -> None:
    """Keep made-up daily means of a probe, one in ten of them not complete."""
    days = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    rng = np.random.default_rng([probe_id, seed])
    complete = rng.random(days.size) > 0.1
    slots = np.where(complete, 24, 3).astype(np.int16)
    means = DailyMeans(
        days,
        rng.uniform(-5, 30, days.size),
        slots,
        np.full(days.size, 24, np.int16),
        (24 - slots).astype(np.int16),
        complete,
    )
    with writing(engine) as connection:
        store_daily_means(connection, probe_id, days, means)


def take_out(engine: Engine, probe_id: int, day: date) -> None:
    """Let a probe have nothing of a day."""
    nothing = np.array([], np.int16)
    none = DailyMeans(
        np.array([], "M8[D]"), np.array([]), nothing, nothing, nothing, np.array([], bool)
    )
    with writing(engine) as connection:
        store_daily_means(connection, probe_id, np.array([day], "M8[D]"), none)


def by_rows(engine: Engine, start: date, end: date) -> dict[tuple[int, date], float]:
    """Return the complete days as the rows have them."""
    with reading(engine) as connection:
        found = fetch_daily_means(connection, PROBES, start, end)
    columns = (found.probe_id[found.complete], found.day[found.complete])
    values = found.mean_c[found.complete].tolist()
    return dict(zip(zip(*(c.tolist() for c in columns), strict=True), values, strict=True))


def by_packs(engine: Engine, start: date, end: date) -> dict[tuple[int, date], float]:
    """Return the complete days as they are read for blocks."""
    with reading(engine) as connection:
        found = fetch_complete_days(connection, PROBES, start, end)
    row, column = np.nonzero(~np.isnan(found.mean_c))
    values = found.mean_c[row, column].tolist()
    if values:
        assert column.min() == 0  # begins with the first day that there is
    days: NDArray[np.datetime64] = found.day[column]
    ids = np.array(PROBES)[row].tolist()
    return dict(zip(zip(ids, days.tolist(), strict=True), values, strict=True))


def count_packed(engine: Engine) -> int:
    """Return how many days of probes stand in packs."""
    with reading(engine) as connection:
        return connection.scalar(select(func.sum(tables.daily_pack.c.held))) or 0


@pytest.fixture
def planted(engine: Engine) -> Engine:
    """A store of two probes, one with a summer of its own missing; all days packed once."""
    set_up(engine)
    write(engine, 1, FIRST, LAST)
    write(engine, 2, date(2024, 9, 3), date(2025, 1, 5))
    write(engine, 2, date(2025, 11, 1), LAST)
    pack_daily_means(engine, NOW)
    return engine


SPANS = {
    "all of it": (date.min, LAST + timedelta(days=40)),
    "a season": (date(2025, 1, 1), date(2025, 12, 31)),
    "a day": (date(2025, 12, 1), date(2025, 12, 1)),
    "the last days": (date(2026, 4, 15), LAST),
    "before there is any": (date(2020, 1, 1), date(2020, 3, 1)),
}


@pytest.mark.parametrize("span", SPANS.values(), ids=list(SPANS))
def test_packs_say_what_the_rows_say(planted: Engine, span: tuple[date, date]) -> None:
    assert by_packs(planted, *span) == by_rows(planted, *span)


@pytest.mark.parametrize("span", SPANS.values(), ids=list(SPANS))
def test_and_still_do_once_old_days_have_changed(planted: Engine, span: tuple[date, date]) -> None:
    packed = count_packed(planted)
    write(planted, 1, date(2025, 3, 1), date(2025, 3, 2), seed=1)
    write(planted, 2, date(2023, 8, 1), date(2024, 1, 20), seed=1)
    write(planted, 2, date(2025, 5, 30), date(2025, 5, 30), seed=1)
    take_out(planted, 1, date(2025, 12, 1))
    assert count_packed(planted) < packed
    assert by_packs(planted, *span) == by_rows(planted, *span)
    pack_daily_means(planted, LATER)
    assert count_packed(planted) > packed
    assert by_packs(planted, *span) == by_rows(planted, *span)


def test_all_days_stand_in_packs_that_are_over_for_long(planted: Engine) -> None:
    write(planted, 1, date(2025, 3, 1), date(2025, 3, 2), seed=1)
    pack_daily_means(planted, NOW)
    latest = (NOW - PACKED_AFTER).date()
    with writing(planted) as connection:  # so that what is left is what the packs hold
        connection.execute(delete(tables.daily_mean))
    held = by_packs(planted, *SPANS["all of it"])
    newest = max(day for _, day in held)
    assert latest - timedelta(days=PACKED_EVERY_D + 5) <= newest < latest


def test_a_pack_that_holds_all_is_not_made_again(planted: Engine) -> None:
    with reading(planted) as connection:
        assert find_unpacked(connection, date(2026, 3, 1)) == {}
    take_out(planted, 2, date(2024, 12, 24))
    with reading(planted) as connection:
        found = find_unpacked(connection, date(2026, 3, 1))
    assert found == {LOGGER: {2: [156]}}  # by hand: 20,081 days after 1970; 156 * 128 = 19,968
