"""Withdrawing an import equals never having made it, whatever came before and after."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import Engine, select

from service.intake.undoing import restore, withdraw
from service.store import tables
from service.store.engine import reading, writing
from service.store.packs import pack_logger
from tests.deliveries import DELIVERED, Delivered, all_kept, deliver
from tests.imported import LOGGER, NOW, forget, set_up
from tests.laws import law

pytestmark = pytest.mark.sqlite_by_day

SEQUENCES = st.lists(DELIVERED, min_size=1, max_size=5)
LAW = law(12, HealthCheck.function_scoped_fixture)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with the one logger, whose files may stand in any order."""
    set_up(engine, layout={"order": "any"})
    return engine


def deliver_all(engine: Engine, folder: Path, sequence: Sequence[tuple[int, Delivered]]) -> None:
    forget(engine)
    for number, delivered in sequence:
        deliver(engine, folder, number, delivered)


def import_ids(engine: Engine) -> list[int]:
    with reading(engine) as connection:
        query = select(tables.import_batch.c.id).order_by(tables.import_batch.c.id)
        return list(connection.scalars(query))


def take_back(engine: Engine, import_id: int, now: datetime = NOW) -> None:
    with writing(engine) as connection:
        withdraw(connection, import_id, "Ada Example", "of another block", now)


def pack_all(engine: Engine) -> None:
    """Pack each push with those beside it, also where it is the only one."""
    with writing(engine) as connection:
        pack_logger(connection, LOGGER, datetime.max.replace(tzinfo=UTC), fewest=1)
        left = select(tables.import_batch.c.source).join(tables.import_content)
        assert "push" not in set(connection.scalars(left))


def without_contents(kept: dict[str, list[Any]]) -> dict[str, list[Any]]:
    return {name: rows for name, rows in kept.items() if name != "import_content"}


@LAW
@given(sequence=SEQUENCES, data=st.data())
def test_withdrawing_any_import_equals_never_having_made_it(
    farm: Engine, tmp_path: Path, sequence: list[Delivered], data: st.DataObject
) -> None:
    numbered = list(enumerate(sequence))
    gone = data.draw(st.sampled_from(range(len(sequence))))
    deliver_all(farm, tmp_path, numbered[:gone] + numbered[gone + 1 :])
    never = all_kept(farm)
    deliver_all(farm, tmp_path, numbered)
    take_back(farm, import_ids(farm)[gone])
    assert all_kept(farm) == never


@pytest.mark.both_by_day
@LAW
@given(sequence=SEQUENCES, data=st.data())
def test_what_is_kept_rests_on_the_imports_that_stand_and_not_on_the_way_there(
    farm: Engine, tmp_path: Path, sequence: list[Delivered], data: st.DataObject
) -> None:
    deliver_all(farm, tmp_path, list(enumerate(sequence)))
    ids = import_ids(farm)
    standing = set(ids)
    for one in data.draw(st.lists(st.sampled_from(ids), max_size=5)):
        if one in standing:
            take_back(farm, one)
        else:
            with writing(farm) as connection:
                restore(connection, one)
        standing ^= {one}
    found = all_kept(farm)
    numbered = list(enumerate(sequence))
    deliver_all(
        farm, tmp_path, [numbered[place] for place in range(len(ids)) if ids[place] in standing]
    )
    assert all_kept(farm) == found


@LAW
@given(sequence=SEQUENCES, data=st.data())
def test_undo_is_the_same_after_pushes_were_packed(
    farm: Engine, tmp_path: Path, sequence: list[Delivered], data: st.DataObject
) -> None:
    numbered = list(enumerate(sequence))
    gone = data.draw(st.sampled_from(range(len(sequence))))
    found = []
    for packed in (False, True):
        deliver_all(farm, tmp_path, numbered)
        if packed:
            pack_all(farm)
        take_back(farm, import_ids(farm)[gone])
        found.append(without_contents(all_kept(farm)))
        with writing(farm) as connection:
            restore(connection, import_ids(farm)[gone])
        found.append(without_contents(all_kept(farm)))
    assert found[2:] == found[:2]
