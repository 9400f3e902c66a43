"""Who is told about what: blocks by name, those of sites, and those of districts."""

from __future__ import annotations

import tomllib

import pytest
from sqlalchemy import Engine

from service.farm.export import farm_text
from service.farm.problems import FarmFileError
from service.farm.read import farm_from_tables
from service.store.engine import reading
from service.store.recipients import find_readers
from tests import farms
from tests.farms import news, set_up, stored_farm

ADA = 'name = "Ada Example"\nrole = "grower"'
VALLEY = """
[[district]]
id = "bench"
name = "The Bench"

[[site]]
id = "low"
name = "Low Bench"
timezone = "Australia/Sydney"
latitude = -33.5
longitude = 149.6
district = "bench"
"""
FLAT = """
[[block]]
id = "flat"
site = "low"
name = "Flat"
"""
HOLLOW = FLAT.replace("flat", "hollow").replace("Flat", "Hollow")
REGION = farms.farm_text(more=VALLEY + FLAT)


def told_of(engine: Engine) -> set[str]:
    """Return the blocks that Ada is told about."""
    with reading(engine) as connection:
        blocks = ("terrace-7", "flat", "hollow")
        return {one for one in blocks if find_readers(connection, [one])}


def with_scope(scope: str, text: str = REGION) -> str:
    return text.replace(ADA, f"{ADA}\n{scope}")


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        ('blocks = ["flat"]', {"flat"}),
        ('sites = ["low"]', {"flat", "hollow"}),
        ('districts = ["merrin"]', {"terrace-7"}),
        ('districts = ["bench"]\nblocks = ["terrace-7"]', {"terrace-7", "flat", "hollow"}),
    ],
)
def test_a_block_that_comes_later_is_told_to_who_named_its_site_or_district(
    engine: Engine, scope: str, expected: set[str]
) -> None:
    set_up(engine, with_scope(scope))
    assert told_of(engine) == expected - {"hollow"}
    changes = set_up(engine, with_scope(scope) + HOLLOW)
    assert news(changes) == [("added", "block", "hollow")]
    assert told_of(engine) == expected
    exported = farm_text(stored_farm(engine))
    assert news(set_up(engine, exported)) == []
    assert all(line in exported for line in scope.splitlines())


def test_a_site_that_moves_to_another_district_takes_its_blocks_along(engine: Engine) -> None:
    set_up(engine, with_scope('districts = ["merrin"]'))
    moved = with_scope('districts = ["merrin"]').replace('"bench"\n\n[[b', '"merrin"\n\n[[b')
    set_up(engine, moved)
    assert told_of(engine) == {"terrace-7", "flat"}


def test_naming_what_has_no_block_is_refused() -> None:
    text = with_scope('sites = ["low"]', farms.farm_text(more=VALLEY))
    with pytest.raises(FarmFileError) as caught:
        farm_from_tables(tomllib.loads(text))
    assert list(caught.value.lines) == [
        '[[recipient]] "Ada Example": no block lies in its sites, so nothing would be told; name '
        "others, or leave them out for all blocks"
    ]
