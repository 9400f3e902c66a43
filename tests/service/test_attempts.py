"""What is counted so that it can be bounded, by several at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine

from service.store.attempts import Bound, Count, count_attempt, forget_attempts, forget_ended
from service.store.engine import reading, writing
from service.store.tables import attempt

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
BOUND = Bound("sign-in", 3, timedelta(minutes=15))


def count(engine: Engine, now: datetime = NOW, of: str = "ada") -> Count:
    with writing(engine) as connection:
        return count_attempt(connection, BOUND, of, now)


def test_those_who_try_at_once_are_counted_each(engine: Engine) -> None:
    with ThreadPoolExecutor(8) as pool:
        counts = list(pool.map(lambda _: count(engine), range(16)))
    assert sorted(one.number for one in counts) == list(range(1, 17))
    assert [one.is_over for one in counts].count(False) == BOUND.most
    assert [one.is_first_over for one in counts].count(True) == 1


def test_a_span_begins_with_its_first_and_is_each_ones_own(engine: Engine) -> None:
    first = count(engine)
    later = count(engine, NOW + timedelta(minutes=14))
    assert (later.number, later.ends_at) == (2, first.ends_at)
    assert count(engine, of="bea").number == 1
    assert count(engine, first.ends_at).number == 1


def test_what_is_forgotten_counts_anew(engine: Engine) -> None:
    count(engine)
    count(engine, of="bea")
    with writing(engine) as connection:
        forget_attempts(connection, BOUND, "ada")
    assert (count(engine).number, count(engine, of="bea").number) == (1, 2)
    with writing(engine) as connection:
        forget_ended(connection, NOW + BOUND.span)
    with reading(engine) as connection:
        assert connection.execute(attempt.select()).all() == []
