"""Rule sets of the farm file: kept, followed by blocks, told with their own numbers, and shown."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, insert, update

from alerts.rules import GRAPE_PHYLLOXERA
from probes.frames import Readings
from probes.units import f_to_c
from service.daily_means import refresh_daily_means
from service.evaluation import evaluate_blocks, fetch_warmth
from service.farm.export import farm_text
from service.farm.problems import FarmFileError
from service.farm.read import farm_from_tables
from service.rounds import run_round
from service.rule_sets import fetch_rules
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from service.store.readings import delete_readings, insert_readings
from tests import farms
from tests.commands import run
from tests.farms import RULE, news, set_up, stored_farm
from tests.mails import text_of
from tests.planted import PROBE, plant_block, plant_days, plant_recipient

pytestmark = pytest.mark.sqlite_by_day

FOLLOWED = farms.farm_text(more=RULE).replace(
    'name = "Terrace 7"', 'name = "Terrace 7"\nrule = "early"'
)
WEEK = {"spring_opens_f": 62, "mean_days": 7, "mean_needs": 5, "windows": ["spring"]}


@pytest.fixture
def planted(engine: Engine) -> Engine:
    """A block that warms to 63 °F on 1 May 2025 and follows a rule set of its own."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example")
        connection.execute(insert(tables.rule), {"name": "early", "spec": WEEK})
        connection.execute(update(tables.block).values(rule="early"))
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [63.0] * 60)
    return engine


@pytest.fixture
def digseason(planted: Engine, tmp_path: Path):
    def call(*words: str) -> tuple[int, str]:
        url = planted.url.render_as_string(hide_password=False)
        return run(tmp_path, *words, database_url=url)

    return call


@pytest.mark.both_by_day
def test_a_rule_set_is_kept_and_exported_as_it_was_written(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    exported = farm_text(stored_farm(engine))
    assert "[rule.early]\nspring_opens_f = 62\n" in exported
    assert 'rule = "early"\n' in exported
    assert news(set_up(engine, exported)) == []


def test_a_rule_set_has_its_own_numbers_and_those_of_its_base(engine: Engine) -> None:
    later = '[rule.later]\nbased_on = "early"\nfall_from = "09-01"\nfall_drop_c = 3\n'
    set_up(engine, FOLLOWED + later)
    with reading(engine) as connection:
        rules = fetch_rules(connection)
    one = rules["later"]
    assert (one.spring_opens_c, one.fall_from, one.fall_drop_c) == (f_to_c(62.0), (9, 1), 3.0)
    assert one.margin_c == GRAPE_PHYLLOXERA.margin_c
    assert rules["grape-phylloxera"] == GRAPE_PHYLLOXERA


def test_an_edit_of_a_rule_set_is_named(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    (changed,) = [
        one
        for one in set_up(engine, FOLLOWED.replace("spring_opens_f = 62", "spring_opens_c = 17"))
        if one.what == "changed"
    ]
    assert [(one.key, one.old, one.new) for one in changed.fields] == [
        ("spring_opens_f", "62", "none"),
        ("spring_opens_c", "none", "17"),
    ]


def test_a_rule_set_that_a_block_follows_is_not_retired(engine: Engine) -> None:
    set_up(engine, FOLLOWED)
    with pytest.raises(FarmFileError, match=r'rule = "early": no such \[rule.NAME\]'):
        set_up(engine, FOLLOWED.replace(RULE, ""), retire=True)


def test_the_built_in_rule_set_cannot_be_written_over() -> None:
    text = farms.farm_text(more="[rule.grape-phylloxera]\nmean_days = 3\n")
    with pytest.raises(FarmFileError) as caught:
        farm_from_tables(tomllib.loads(text))
    assert caught.value.lines == (
        "[rule.grape-phylloxera]: this rule set is built in; give yours another name",
    )


def test_what_follows_a_rule_set_with_errors_is_not_blamed_for_them() -> None:
    other = '[rule.other]\nbased_on = "early"\n'
    with pytest.raises(FarmFileError) as caught:
        farm_from_tables(tomllib.loads(FOLLOWED.replace("= 62", '= "62"') + other))
    assert caught.value.lines == (
        '[rule.early]: spring_opens_f = "62": must be a number; write spring_opens_f = 62',
    )


@pytest.mark.both_by_day
def test_a_block_opens_by_its_own_rule_set(planted: Engine) -> None:
    with reading(planted) as connection:
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [date(2025, 5, 20)], None, 0.2)
    # by hand: of seven days six at 63 make 61.1, seven 63; so 7 May
    assert [span.opened_on for span in one.evaluation.spans] == [date(2025, 5, 7)]
    assert one.rule.name == "early"


@pytest.fixture
def by_the_hour(engine: Engine) -> Engine:
    """A block of half days at 10 and at 20 °C, whose rule sums what lies above 15 °C."""
    spec = {"degree_days": "condition", "degree_days_sum_c": 25.0}
    limits = {"degree_days_lower_c": 15.0, "degree_days_upper_c": 30.0, "spring_opens_f": 59.0}
    with writing(engine) as connection:
        plant_block(connection)
        connection.execute(
            insert(tables.rule),
            {"name": "sum", "spec": {**spec, **limits, "cold_below_f": 50.0}},
        )
        connection.execute(update(tables.block).values(rule="sum"))
        connection.execute(update(tables.layout).values(spec={"interval_min": 60}))
        hours = np.datetime64("2025-04-01T09:00", "us") + np.arange(24 * 20) * np.timedelta64(
            1, "h"
        )
        values_c = np.tile(np.repeat([10.0, 20.0], 12), 20)
        flags = np.full(hours.size, 1, np.int8)
        insert_readings(connection, PROBE, 1, Readings(hours, values_c, flags))
        refresh_daily_means(connection, fetch_logger(connection, "u1"))
    return engine


@pytest.mark.both_by_day
def test_degree_days_of_a_block_are_those_of_its_hours(by_the_hour: Engine) -> None:
    with reading(by_the_hour) as connection:
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [date(2025, 4, 20)], None, 0.0)
    # by hand: the first hour ends at 09:00 UTC, 01:00 at UTC-08:00. The mean of a day is 15 °C, so
    # by its mean it has nothing; 12 hours at 5 °C above 15 are 2.5, and 25 are there on the tenth
    assert one.root_zone.root_zone_c == pytest.approx([15.0] * 20)
    assert one.warmth_c == pytest.approx([2.5] * 20)
    assert one.evaluation.standing.degree_days_c == pytest.approx(50.0)
    assert [span.opened_on for span in one.evaluation.spans] == [date(2025, 4, 10)]


def test_a_day_that_lacks_an_hour_has_the_degree_days_of_its_mean(by_the_hour: Engine) -> None:
    noon = datetime(2025, 4, 5, 20, tzinfo=UTC)
    with writing(by_the_hour) as connection:
        delete_readings(connection, PROBE, noon - timedelta(hours=1), noon)
        refresh_daily_means(connection, fetch_logger(connection, "u1"))
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [date(2025, 4, 20)], None, 0.0)
    assert one.warmth_c is not None
    assert np.flatnonzero(np.isnan(one.warmth_c)).tolist() == [4]
    # by hand: eleven hours at 10 and twelve at 20 °C have a mean of 15.217, 19 days of 2.5
    assert one.evaluation.standing.degree_days_c == pytest.approx(47.5 + 5.0 / 23)


def test_an_estimated_day_has_the_degree_days_of_its_mean(by_the_hour: Engine) -> None:
    with reading(by_the_hour) as connection:
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [date(2025, 4, 20)], None, 0.0)
        estimated = np.arange(20) < 3
        zones = [replace(one.root_zone, estimated=estimated)]
        (warmth_c,) = fetch_warmth(connection, blocks, zones, one.rule)
    assert np.isnan(warmth_c).tolist() == estimated.tolist()


def test_the_table_tells_the_sum_and_what_spring_waits_for(
    by_the_hour: Engine, tmp_path: Path
) -> None:
    url = by_the_hour.url.render_as_string(hide_password=False)
    _, printed = run(tmp_path, "windows", "--as-of", "2025-04-08", database_url=url)
    # by hand: 8 days of 2.5 °C d are 36 °F d, 25 are 45
    assert "degree-days of the soil since 1 Jan 2025: 36 °F d, spring waits for 45" in printed
    _, printed = run(tmp_path, "windows", "--as-of", "2025-04-20", "--json", database_url=url)
    assert json.loads(printed)[0]["degree_days_c"] == pytest.approx(50.0)


def test_whatif_keeps_the_degree_days_of_hours(by_the_hour: Engine, tmp_path: Path) -> None:
    url = by_the_hour.url.render_as_string(hide_password=False)
    words = ("whatif", "--open-f", "59", "--as-of", "2025-04-20", "--json")
    _, printed = run(tmp_path, *words, database_url=url)
    assert json.loads(printed)[0]["spring_opened_on"] == "2025-04-10"


def test_a_notice_tells_the_mean_of_its_rule_set_and_no_fall_that_is_not_wanted(
    planted: Engine, tmp_path: Path
) -> None:
    settings = Settings(data=tmp_path)
    run_round(planted, settings, datetime(2025, 5, 9, 15, tzinfo=UTC))
    run_round(planted, settings, datetime(2025, 6, 20, 15, tzinfo=UTC))
    opened, closed = (text_of(path.read_bytes()) for path in sorted(settings.outbox.glob("*.eml")))
    assert "the 7-day mean of" in opened
    assert "spring dig season opens at 62 °F" in opened
    assert "has run its full length" in closed
    assert "in fall" not in closed


def test_rule_sets_are_listed_with_the_blocks_that_follow_them(digseason) -> None:
    _, printed = digseason("rule", "list")
    assert printed.splitlines() == [
        "early                 spring from 62 °F (16.7 °C)             1 block",
        "grape-phylloxera      spring and fall from 64 °F (17.8 °C)    0 blocks",
    ]


def test_each_number_is_shown_with_where_it_comes_from(digseason) -> None:
    _, printed = digseason("rule", "show", "early")
    lines = printed.splitlines()
    assert "spring_opens      62 °F (16.7 °C)    set in the farm file, [rule.early]" in lines
    assert "hot_above         86 °F (30 °C)      [FISHER-2003]" in lines
    assert "spring_days       42                 common practice, no source" in lines
    assert "64.4 °F, 18 °C: young settle at feeding sites" in printed
    assert max(map(len, lines)) <= 80


def test_the_numbers_as_json_and_csv(digseason) -> None:
    words = ("rule", "show", "grape-phylloxera")
    _, text = digseason(*words, "--json")
    _, table = digseason(*words, "--csv")
    by_name = {one["number"]: one for one in json.loads(text)}
    assert by_name["cold_below"] == {
        "number": "cold_below",
        "value": None,
        "value_f": 60.0,
        "value_c": f_to_c(60.0),
        "origin": "[UC-PHYLLOXERA]",
    }
    assert by_name["fall_from"]["value"] == "08-15"
    assert [one["number"] for one in csv.DictReader(io.StringIO(table))] == list(by_name)


def test_an_unknown_rule_set_is_wrong_use_and_says_which_there_are(digseason) -> None:
    code, printed = digseason("rule", "show", "late")
    assert code == 2
    assert "known: early, grape-phylloxera" in printed
