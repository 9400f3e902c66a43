"""Two years of both hemispheres through a clock that is set: every day on which clocks change is
seen, each message comes once, and what readers were told last are the windows."""

from __future__ import annotations

import json
from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from tests.end_to_end.faults.judge import see
from tests.end_to_end.faults.story import PEOPLE, farm_text, find_clock_changes, make_sources
from tests.end_to_end.faults.test_faults import Stage, stage  # noqa: F401 (a fixture)
from tests.end_to_end.faults.world import JOBS, World

FIRST, LAST = datetime(2024, 1, 10, 22, tzinfo=UTC), datetime(2026, 1, 10, 22, tzinfo=UTC)
PATIENCE_S = 3600  # many files, where others use the processors
ZONES = ("America/Los_Angeles", "Australia/Sydney")


@pytest.mark.long
@pytest.mark.parametrize(("blocks", "every_d"), [(200, 28)])
def test_two_years_are_told_as_they_were(
    stage: Stage,  # noqa: F811 (the fixture)
    tmp_path: Path,
    blocks: int,
    every_d: int,
) -> None:
    changes = [day for zone in ZONES for day in find_clock_changes(zone, FIRST, LAST)]
    assert len(changes) == 8  # by hand: two a year, in two zones, for two years
    regular = [FIRST + timedelta(days=n) for n in range(0, (LAST - FIRST).days, every_d)]
    with stage.world("sqlite", tmp_path / "run", is_set_up=False) as world:
        world.sources = make_sources(blocks)
        world.tick_s, world.patience_s = 0.5, PATIENCE_S
        _set_up(world)
        world.start(JOBS)
        for since, until in pairwise(sorted({*regular, *changes, LAST})):
            world.clock.set(max(until, world.clock.now()))
            world.deliver(since, until)
            world.settle()
        world.end_all()
        outcome = see(world, LAST)
        assert outcome.untold == []
        assert set(outcome.taken.values()) == {1}
        last = {
            (one["block"], one["season"], one["kind"]): (one["opened_on"], one["closed_on"])
            for one in json.loads(outcome.windows)
        }
        believed = {
            window: tuple(day and f"{day}" for day in dates)
            for window, dates in outcome.believed.items()
        }
        assert believed == last
        # by hand: spring and fall of 2024 and 2025 in the north; the south's year of vines runs
        # from July on, and its first begins before the readings do
        assert min(Counter(block for block, *_ in last).values()) >= 3


def _set_up(world: World) -> None:
    farm = world.folder / "farm.toml"
    farm.write_text(farm_text(world.sources))
    world.clock.set(FIRST)
    for words in (("setup", str(farm)), *_consents()):
        process = world.run(*words)
        assert process.wait() == 0, process.read()


def _consents() -> list[tuple[str, ...]]:
    by = ("--by", "Ada Example", "--why", "on paper")
    return [("recipients", "confirm", name, *by) for name in PEOPLE]
