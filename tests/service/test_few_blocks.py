"""A few blocks, read without all others, are what they are among all of them."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import Engine, delete, insert, update

from service.store import tables
from service.store.blocks import FEW, Block, fetch_block_names, fetch_blocks
from service.store.engine import reading, writing
from tests.benchmarks.region import DEPTHS_CM, NOW, plant_places

PLACES = 200  # in a square of 180 km: about fifty lie near enough to lend


@pytest.fixture
def region(engine: Engine) -> Engine:
    """A region where one block in four has probes, one those of another, and one a station."""
    with writing(engine) as connection:
        plant_places(connection, PLACES)
        bare = [number for number in range(1, len(DEPTHS_CM) * PLACES + 1) if (number - 1) // 4 % 4]
        stretches = tables.probe_stretch
        connection.execute(delete(stretches).where(stretches.c.probe_id.in_(bare)))
        shared = {"block_id": "b00001", "logger_id": "l00000", "depth_cm": 15.0}
        connection.execute(insert(tables.block_probe).values(valid_from=date.min, **shared))
        station = {"id": "st", "site_id": "s00002", "kind": "station"}
        connection.execute(insert(tables.logger).values(station))
        of_station = {"id": bare[-1] + 1, "logger_id": "st", "channel": "T20"}
        connection.execute(insert(tables.probe).values(of_station))
        lies = {"depth_cm": 20.0, "valid_from": date.min, "calibration_offset_c": 0.0}
        connection.execute(insert(stretches).values(probe_id=of_station["id"], **lies))
        gone = tables.block.c.id == "b00004"
        connection.execute(update(tables.block).where(gone).values(retired_at=NOW))
    return engine


def fetch(engine: Engine, *ids: str) -> dict[str, Block]:
    with reading(engine) as connection:
        return {one.id: one for one in fetch_blocks(connection, ids)}


def test_a_few_blocks_have_the_probes_and_neighbours_that_they_have_among_all(
    region: Engine,
) -> None:
    every = fetch(region)
    ids = ["b00000", "b00001", "b00002", "b00003", "b00150"]
    few = fetch(region, *ids, "b00004")
    assert list(few) == ids
    assert few == {one: every[one] for one in ids}
    assert [few[one].neighbours for one in ids] == [every[one].neighbours for one in ids]
    assert [len(few[one].neighbours) for one in ids] == [12] * 5


def test_more_are_read_with_all_others_and_are_the_same(region: Engine) -> None:
    ids = [f"b{number:05d}" for number in range(100, 101 + FEW)]
    assert [one.neighbours for one in fetch(region, *ids).values()] == [
        fetch(region, one)[one].neighbours for one in ids
    ]


def test_names_are_those_of_active_blocks(region: Engine) -> None:
    with reading(region) as connection:
        names = fetch_block_names(connection, ["b00003", "b00004"])
    assert names == {"Block 00003"}
