"""What an account may see: its own, what is shared, its districts."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, insert, update

from service.reach import Reach, find_reach
from service.store import tables
from service.store.accounts import Role, set_places
from service.store.engine import reading, writing
from service.store.sharing import share
from tests.planted import plant_block, plant_place, plant_recipient
from tests.signed_in import plant_account

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """Three sites, of which one has two blocks; Ada is told of one block there."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", longitude=0.0512)
        plant_place(connection, "brook")
        block = {"id": "ledge-2", "site_id": "at-ledge", "name": "Ledge 2", "weights": "even"}
        zone = {"root_zone_top_cm": 15.0, "root_zone_bottom_cm": 45.0, "rule": "grape-phylloxera"}
        connection.execute(insert(tables.block).values(block | zone))
        connection.execute(insert(tables.district).values(id="tops", name="The Tops"))
        at_brook = tables.site.c.id == "at-brook"
        connection.execute(update(tables.site).where(at_brook).values(district_id="tops"))
        plant_recipient(connection, "Ada Example")
        connection.execute(update(tables.recipient).values(all_blocks=False))
        told = {"recipient_name": "Ada Example", "block_id": "ledge"}
        connection.execute(insert(tables.recipient_block).values(told))
    return engine


def reach_of(
    engine: Engine,
    role: Role,
    recipient_name: str | None = None,
    sites: tuple[str, ...] = (),
    districts: tuple[str, ...] = (),
) -> Reach:
    account = plant_account(engine, "ada@example.org", role, recipient_name)
    with writing(engine) as connection:
        set_places(connection, account.id, sites, districts)
    with reading(engine) as connection:
        return find_reach(connection, account)


def test_a_grower_sees_blocks_they_are_told_of_and_sites_that_are_theirs(farm: Engine) -> None:
    reach = reach_of(farm, "grower", "Ada Example", sites=("at-brook",))
    assert reach.block_ids == {"ledge", "brook"}
    assert reach.site_ids == {"at-ledge", "at-brook"}
    assert reach.own_site_ids == {"at-brook"}  # another block of at-ledge is not theirs


def test_who_is_no_one_yet_sees_nothing(farm: Engine) -> None:
    assert reach_of(farm, "grower") == Reach(*[frozenset()] * 4)


def test_a_researcher_sees_what_is_shared_and_about_where_it_lies(farm: Engine) -> None:
    with writing(farm) as connection:
        share(connection, "at-ledge", False, "bea@example.org", NOW)
        share(connection, "at-brook", True, "bea@example.org", NOW)
    reach = reach_of(farm, "researcher", "Ada Example")
    assert reach.block_ids == {"ledge", "ledge-2", "brook"}
    # by hand: to a tenth of a degree
    assert reach.place("at-ledge", 45.1234, -0.0512) == (45.1, -0.1)
    assert reach.place("at-brook", 45.1234, -0.0512) == (45.1234, -0.0512)


def test_a_coordinator_sees_their_districts_or_all(farm: Engine) -> None:
    reach = reach_of(farm, "coordinator", districts=("tops",))
    assert (reach.site_ids, reach.block_ids) == ({"at-brook"}, {"brook"})
    assert reach.exact_site_ids == frozenset()
    region = plant_account(farm, "cora@example.org", "coordinator")
    with reading(farm) as connection:
        blocks = find_reach(connection, region).block_ids
    assert blocks == {"terrace-7", "ledge", "ledge-2", "brook"}
