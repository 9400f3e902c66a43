"""Two years of both hemispheres through a clock that is set: every day on which clocks change is
seen, each message comes once, and what readers were told last are the windows."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from alerts.rules import GRAPE_PHYLLOXERA
from tests.end_to_end.faults.judge import see
from tests.end_to_end.faults.story import (
    PEOPLE,
    Source,
    day_before,
    farm_text,
    find_clock_changes,
    make_sources,
)
from tests.end_to_end.faults.test_faults import Stage, stage  # noqa: F401 (a fixture)
from tests.end_to_end.faults.world import JOBS, World
from tests.plain_rule import ONE_DAY, days_between, plain_spans

FIRST, LAST = datetime(2024, 1, 10, 22, tzinfo=UTC), datetime(2026, 1, 10, 22, tzinfo=UTC)
PATIENCE_S = 3600  # many files, where others use the processors
ZONES = ("America/Los_Angeles", "Australia/Sydney")
STANDARD_TIME = {"alder": timedelta(hours=-8), "merrin": timedelta(hours=10)}


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
    nights = [day - timedelta(days=1) for day in changes]
    sources = make_sources(blocks)
    with stage.world("sqlite", tmp_path / "run", is_set_up=False) as world:
        world.sources = sources
        world.tick_s, world.patience_s = 0.5, PATIENCE_S
        _set_up(world)
        world.start(JOBS)
        for since, until in pairwise(sorted({*regular, *nights, *changes, LAST})):
            world.clock.set(max(until, world.clock.now()))
            world.deliver(since, until)
            world.settle()
        world.end_all()
        outcome = see(world, LAST)
        assert outcome.untold == []
        assert set(outcome.taken.values()) == {1}
        columns = "block", "season", "kind", "opened_on", "closed_on"
        windows = {tuple(one[name] for name in columns) for one in json.loads(outcome.windows)}
        believed = {window: tuple(map(_show, dates)) for window, dates in outcome.believed.items()}
        assert believed == {window[:3]: window[3:] for window in windows}
        plain = [_plain_windows(source, date.fromisoformat(day_before(LAST))) for source in sources]
        assert windows == set().union(*plain)
        # by hand: spring and fall of 2024 and 2025 in the north; the south's year of vines runs
        # from July on, and its first begins before the readings do
        assert min(map(len, plain)) >= 3
        assert len(outcome.readings) == sum(len(one.temps_c(FIRST, LAST)) for one in sources)


def _plain_windows(source: Source, as_of: date) -> set[tuple[Any, ...]]:
    """Return the windows of a block by plain loops over what its logger has measured."""
    of_day: dict[date, list[float]] = {}
    for at, temp_c in source.temps_c(FIRST, LAST):
        within = at + STANDARD_TIME[source.site] - timedelta(seconds=1)
        of_day.setdefault(within.date(), []).append(temp_c)
    first = min(of_day)
    days = [of_day[day] for day in days_between(first, max(of_day) + ONE_DAY)]
    series = [sum(temps_c) / 24 if len(temps_c) == 24 else None for temps_c in days]
    spans = plain_spans(series, first, source.site == "merrin", GRAPE_PHYLLOXERA, as_of)
    return {
        (source.block, one.season, one.kind, f"{one.opened_on}", _show(one.closed_on))
        for one in spans
    }


def _show(day: date | None) -> str | None:
    return day and f"{day}"


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
