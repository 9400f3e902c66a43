"""Conflicts that a person settles, and takes back."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.intake.retelling import Retold
from service.intake.settling import Keep, NoWordError, settle, unsettle
from service.intake.undoing import restore, withdraw
from service.store.engine import reading, writing
from service.store.imports import fetch_batches
from service.store.settlements import Selection, fetch_conflicts
from tests.deliveries import at
from tests.imported import (
    LOGGER,
    NOW,
    Values,
    import_log,
    kept,
    set_up,
    write_log,
)

EVERY = Selection()


def values(engine: Engine) -> list[float]:
    """Return what is kept of T15, in order of time."""
    readings = kept(engine)["reading"]
    first_probe = min(probe_id for probe_id, *_ in readings)
    return [value_c for probe_id, _, value_c, _ in readings if probe_id == first_probe]


def say(engine: Engine, of: Selection = EVERY, keep: Keep = "other") -> tuple[int, Retold]:
    with writing(engine) as connection:
        return settle(connection, LOGGER, of, keep, "Ada Example", NOW)


@pytest.fixture
def farm(engine: Engine, tmp_path: Path) -> Engine:
    """A store whose imports 1, 2 and 3 say 1, 2 and 3 °C of hour 1; 2 agrees with 3 at hour 2."""
    set_up(engine)
    logs: list[Values] = [
        {1: (1.0, None), 2: (1.0, None), 3: (1.0, None)},
        {1: (2.0, None), 2: (2.0, None)},
        {1: (3.0, None), 2: (2.0, None)},
    ]
    for number, log in enumerate(logs, start=1):
        import_log(engine, write_log(tmp_path / f"{number}.csv", log))
    return engine


def test_the_value_of_an_import_is_kept_where_someone_says_so(farm: Engine) -> None:
    assert say(farm, Selection(met_by=2)) == (2, Retold(changed=2))
    assert values(farm) == [2.0, 2.0, 1.0]
    with reading(farm) as connection:
        conflicts = fetch_conflicts(connection)
    assert [(one.kept_c, one.kept_import, one.other_c, one.settled_by) for one in conflicts] == [
        (2.0, 2, 1.0, "Ada Example"),
        (2.0, 2, 3.0, "Ada Example"),
        (2.0, 2, 1.0, "Ada Example"),
    ]


def test_the_counts_of_imports_say_what_they_come_to_then(farm: Engine) -> None:
    say(farm, Selection(met_by=2))
    with reading(farm) as connection:
        batches = fetch_batches(connection)
    # by hand: 1 keeps hour 3 alone, 2 both of its hours, 3 repeats hour 2 and differs at hour 1
    assert [(one.inserted, one.identical, one.conflicting) for one in batches] == [
        (1, 0, 2),
        (2, 0, 0),
        (0, 1, 1),
    ]


def test_of_two_other_values_one_must_be_named(farm: Engine) -> None:
    with pytest.raises(NoWordError, match=r"T15 has more than one other value .*2 and 3 °C"):
        say(farm)
    assert values(farm) == [1.0, 1.0, 1.0]


def test_a_span_is_settled_with_both_its_ends(farm: Engine) -> None:
    assert say(farm, Selection(first_at=at(2), last_at=at(2)))[0] == 1
    assert values(farm) == [1.0, 2.0, 1.0]


def test_that_the_first_value_stays_can_be_said_too(farm: Engine) -> None:
    assert say(farm, keep="kept") == (2, Retold())
    with reading(farm) as connection:
        assert {one.settled_by for one in fetch_conflicts(connection)} == {"Ada Example"}


def test_a_word_is_taken_back(farm: Engine) -> None:
    before = kept(farm)
    say(farm, Selection(met_by=2))
    with writing(farm) as connection:
        assert unsettle(connection, LOGGER, EVERY) == (2, Retold(changed=2))
    assert kept(farm) == before


def test_where_nothing_conflicts_nothing_is_settled(farm: Engine) -> None:
    with pytest.raises(NoWordError, match="no such conflict"):
        say(farm, Selection(channel="T30"))
    with writing(farm) as connection, pytest.raises(NoWordError):
        unsettle(connection, LOGGER, EVERY)


def test_a_word_outlives_the_import_whose_value_it_keeps(farm: Engine) -> None:
    say(farm, Selection(met_by=3))
    settled = kept(farm)
    with writing(farm) as connection:
        withdraw(connection, 3, "Ada Example", "sent twice", NOW)
    assert values(farm) == [1.0, 1.0, 1.0]
    with writing(farm) as connection:
        restore(connection, 3)
    assert kept(farm) == settled


def test_a_later_import_that_brings_the_settled_value_is_believed(
    farm: Engine, tmp_path: Path
) -> None:
    say(farm, Selection(met_by=3))
    with writing(farm) as connection:
        withdraw(connection, 3, "Ada Example", "sent twice", NOW)
    report = import_log(farm, write_log(tmp_path / "4.csv", {1: (3.0, None), 4: (4.0, None)}))
    assert values(farm) == [3.0, 1.0, 1.0, 4.0]
    assert (report.inserted, report.conflicting) == (2, 0)
