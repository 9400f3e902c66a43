"""A person's word over the checks: flags and daily means follow, whatever comes before or after."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import Engine

from probes.frames import FAIL, GOOD
from service.overruling import UnknownOverruleError, overrule, withdraw
from service.store import tables
from service.store.changes import fetch_changes
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from service.store.rounds import begin_round, finish_round, is_evaluation_due
from tests.farms import farm_text, set_up
from tests.flagged import LOGGER, NOW, bring, flags_due, stored_flags, two_weeks
from tests.imported import forget
from tests.laws import law

START = datetime(2023, 3, 1, tzinfo=UTC)


def hour(number: int) -> datetime:
    return START + timedelta(hours=number)


def say(engine: Engine, flag: int, first: int, last: int) -> int:
    with writing(engine) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        ends = hour(first), hour(last)
        return overrule(connection, logger, logger.probe("T30"), ends, flag, "seen", "Ada", NOW)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with one logger of two depths."""
    set_up(engine, farm_text(depths_cm=[15, 30]))
    return engine


def test_a_word_flags_its_span_and_leaves_what_the_checks_found(farm: Engine) -> None:
    soil = two_weeks()
    soil["T30"].soil_temp_c[100] = 30.0
    bring(farm, soil)
    checked = stored_flags(farm)["T30"]
    say(farm, GOOD, 100, 101)
    say(farm, FAIL, 101, 103)  # of two on one reading the later counts
    now = stored_flags(farm)["T30"]
    assert [row[2] for row in now[99:105]] == [GOOD, GOOD, FAIL, FAIL, FAIL, GOOD]
    assert [row[3] for row in now] == [row[3] for row in checked]


@law(6, HealthCheck.function_scoped_fixture)
@given(data=st.data())
def test_readings_before_and_after_a_word_are_flagged_alike(
    farm: Engine, data: st.DataObject
) -> None:
    forget(farm)
    with writing(farm) as connection:
        connection.execute(tables.overrule.delete())
    soil = two_weeks()
    soil["T30"].soil_temp_c[100] = 30.0
    cut = data.draw(st.integers(0, 335))
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, 335)] * 2)))
    early = {channel: one.where(slice(cut)) for channel, one in soil.items()}
    late = {channel: one.where(slice(cut, None)) for channel, one in soil.items()}
    steps = [
        lambda: bring(farm, early),
        lambda: bring(farm, late),
        lambda: say(farm, FAIL, first, last),
    ]
    for step in data.draw(st.permutations(steps)):
        step()
    due = flags_due(soil)
    due["T30"] = [
        (at, value_c, FAIL if hour(first) <= at <= hour(last) else flag, code)
        for at, value_c, flag, code in due["T30"]
    ]
    assert stored_flags(farm) == due


def test_a_word_that_is_withdrawn_leaves_the_flags_to_the_checks(farm: Engine) -> None:
    bring(farm, two_weeks())
    checked = stored_flags(farm)
    number = say(farm, FAIL, 50, 80)
    with writing(farm) as connection:
        withdraw(connection, number, "Ben", "another day", NOW)
    assert stored_flags(farm) == checked
    with writing(farm) as connection, pytest.raises(UnknownOverruleError, match="that do: none"):
        withdraw(connection, number, "Ben", "another day", NOW)


def test_a_word_makes_a_round_due(farm: Engine) -> None:
    bring(farm, two_weeks())
    with writing(farm) as connection:
        begun = NOW + timedelta(minutes=1)
        finish_round(
            connection, begin_round(connection, None, begun), begun, 0, 0, fetch_changes(connection)
        )
        assert not is_evaluation_due(connection, begun)
    with writing(farm) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        probe, ends = logger.probe("T30"), (hour(1), hour(2))
        later = begun + timedelta(minutes=1)
        overrule(connection, logger, probe, ends, FAIL, "seen", "Ada", later)
    with reading(farm) as connection:
        assert is_evaluation_due(connection, later)
