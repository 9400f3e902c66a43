"""Thresholds of the farm file: kept, applied to what is there, and shown."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, select, update

from probes.checks import ProbeSeries
from probes.frames import GOOD, Readings
from service.farm.export import farm_text
from service.farm.problems import FarmFileError
from service.farm.read import farm_from_tables
from service.rounds import run_due
from service.settings import Settings
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.readings import insert_readings
from service.store.schema import upgrade
from service.unchecked import flag_unchecked
from tests import farms
from tests.commands import digseason, run
from tests.farms import CHECKS, news, set_up, stored_farm
from tests.flagged import NOW, Soil, bring, flags_due, stored_flags, two_weeks
from tests.planted import PROBE, plant_block
from tests.stores import migrate_to

PLAIN = farms.farm_text(depths_cm=[15, 30])
FOLLOWED = PLAIN.replace(
    'district = "merrin"', 'district = "merrin"\nchecks = "shallow"'
) + CHECKS.replace("5.0", "0.3")
STRICT = {"spike": {"suspect_c": 0.3}}
AT = 204


def with_a_bump() -> Soil:
    """Two weeks of two depths; an hour at 30 cm stands out by 1.9 °C."""
    soil = two_weeks()
    soil_temp_c = soil["T30"].soil_temp_c.copy()
    soil_temp_c[AT] += 1.9
    return {**soil, "T30": ProbeSeries(soil["T30"].observed_at, soil_temp_c, 30.0)}


def mean_of_bump_c(engine: Engine) -> float | None:
    """Return the daily mean of 30 cm that the bump belongs to, the ninth."""
    mean = tables.daily_mean
    query = select(mean.c.mean_c).join(tables.probe).where(tables.probe.c.channel == "T30")
    with reading(engine) as connection:
        return connection.scalars(query.order_by(mean.c.day)).all()[8]


def test_thresholds_are_kept_and_exported_as_they_were_written(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    exported = farm_text(stored_farm(engine))
    assert "[checks.shallow]\nspike = { suspect_c = 0.3 }\n" in exported
    assert 'checks = "shallow"\n' in exported
    assert news(set_up(engine, exported)) == []


def test_a_change_of_thresholds_flags_again_what_is_there_and_its_days(engine: Engine) -> None:
    set_up(engine, PLAIN)
    bring(engine, with_a_bump())
    before_c = mean_of_bump_c(engine)
    set_up(engine, FOLLOWED)
    # by hand: of 1.9 °C, 1.77 lie above the two hours before, and the soil may rise 1.30 in one
    assert stored_flags(engine) == flags_due(with_a_bump(), thresholds=STRICT)
    assert mean_of_bump_c(engine) != before_c
    set_up(engine, FOLLOWED.replace("suspect_c = 0.3", "suspect_c = 0.9"))
    assert stored_flags(engine) == flags_due(with_a_bump())
    assert mean_of_bump_c(engine) == before_c


def test_readings_that_come_are_flagged_by_the_thresholds_of_their_site(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    bring(engine, with_a_bump())
    assert stored_flags(engine) == flags_due(with_a_bump(), thresholds=STRICT)


def test_thresholds_that_a_site_uses_are_not_retired(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    with pytest.raises(FarmFileError, match=r'checks = "shallow": no such \[checks.NAME\]'):
        set_up(engine, FOLLOWED.partition("[checks")[0], retire=True)


def test_the_built_in_checks_cannot_be_written_over() -> None:
    text = farms.farm_text(more="[checks.standard]\n")
    with pytest.raises(FarmFileError) as caught:
        farm_from_tables(tomllib.loads(text))
    assert caught.value.lines == (
        "[checks.standard]: these checks are built in; give yours another name",
    )


def test_those_of_a_site_are_printed_with_what_the_farm_file_sets(tmp_path: Path) -> None:
    farm = tmp_path / "farm.toml"
    farm.write_text(FOLLOWED)
    assert "1 check: shallow" in digseason(tmp_path, "setup", farm)
    words = ("checks", "--thresholds", "--site", "upper")
    found = {one["threshold"]: one for one in json.loads(digseason(tmp_path, *words, "--json"))}
    one = found["spike.suspect_c"]
    assert (one["value"], one["source"], one["is_default"]) == (0.3, "set in the farm file", False)
    assert found["spike.fail_c"]["source"] == "ours"
    printed = digseason(tmp_path, *words)
    assert "spike.suspect_c                            0.3  set in the farm file\n" in printed
    assert max(map(len, printed.splitlines())) <= 80
    assert "set in the farm file" not in digseason(tmp_path, "checks", "--thresholds")


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (("checks", "--thresholds", "--site", "lower"), "no site 'lower'; known: upper"),
        (("checks", "--site", "upper"), "--site goes with --thresholds"),
    ],
)
def test_a_site_that_is_not_there_is_wrong_use(
    tmp_path: Path, words: tuple[str, ...], remedy: str
) -> None:
    farm = tmp_path / "farm.toml"
    farm.write_text(FOLLOWED)
    digseason(tmp_path, "setup", farm)
    code, output = run(tmp_path, *words)
    assert (code, remedy in output) == (2, True)


def test_a_reading_is_explained_by_the_thresholds_of_its_site(tmp_path: Path) -> None:
    farm, log = tmp_path / "farm.toml", tmp_path / "log.csv"
    farm.write_text(FOLLOWED.replace("suspect_c = 0.3", "suspect_c = 1.5"))
    rows = [f"2025-10-02 {hour:02}:00,15,{15 + 3 * (hour == 11)}" for hour in range(1, 24)]
    log.write_text("\n".join(["time,T15,T30", *rows, ""]))
    digseason(tmp_path, "setup", farm)
    digseason(tmp_path, "import", "--logger", "u1", log)
    words = ("--logger", "u1", "--depth", "30", "--at", "2025-10-02T11:00+10:00")
    # by hand: 3 °C less 1.30: 8 °C an hour at 30 cm, where 16.5 cm take them to 1/e
    explained = " ".join(digseason(tmp_path, "checks", *words).split())
    assert "spike: suspect: stands out by 1.7 °C more than the soil does at 30 cm; 1.5" in explained


@pytest.fixture
def old_store(empty_url: str) -> Iterator[Engine]:
    """A store of the first schema whose readings no check has seen, brought up to date."""
    engine = open_engine(empty_url)
    one = with_a_bump()["T30"]
    migrate_to(engine, "0001")
    with writing(engine) as connection:
        plant_block(connection)
        connection.execute(update(tables.layout).values(spec={"interval_min": 60}))
        good = np.full(one.observed_at.size, GOOD, np.int8)
        insert_readings(connection, PROBE, 1, Readings(one.observed_at, one.raw_c, good))
    upgrade(engine)
    yield engine
    engine.dispose()


def test_readings_from_before_all_checks_are_flagged_by_the_next_round(
    old_store: Engine, tmp_path: Path
) -> None:
    assert {row[2:] for row in stored_flags(old_store)["T30"]} == {(GOOD, 0)}
    run_due(old_store, Settings(data=tmp_path), NOW)
    due = flags_due({"T30": with_a_bump()["T30"]})
    assert stored_flags(old_store) == due
    assert due["T30"][AT][2:] > (GOOD, 0)
    assert mean_of_bump_c(old_store) is not None


def test_readings_from_before_all_checks_are_flagged_once(old_store: Engine) -> None:
    flag_unchecked(old_store)
    with writing(old_store) as connection:
        connection.execute(update(tables.reading).values(checks=0))
    flag_unchecked(old_store)
    assert {row[3] for row in stored_flags(old_store)["T30"]} == {0}


def test_a_store_whose_readings_are_checked_waits_for_nothing(engine: Engine) -> None:
    with reading(engine) as connection:
        assert connection.execute(select(tables.unchecked_logger)).all() == []
