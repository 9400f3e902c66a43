"""digseason whatif: how dates move under other numbers, by hand and against the rule as it is."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from unittest.mock import Mock

import pytest
from sqlalchemy import Engine

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.variants import ContradictionError, Numbers, vary
from alerts.windows import evaluate
from service import whatif
from service.evaluation import evaluate_blocks
from service.store.blocks import fetch_blocks
from service.store.engine import reading, writing
from service.whatif import try_rules
from tests.commands import run
from tests.planted import plant_block, plant_days

pytestmark = pytest.mark.sqlite_by_day

# by hand: half a °F a day from 50 on 1 April on; R is the value of two days before, so 60 is
# reached on 23 April, 62 on the 27th, 64 on 1 May, 66 on the 5th
RISING = [50.0 + 0.5 * i for i in range(50)]


@pytest.fixture
def planted(engine: Engine) -> Engine:
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), RISING)
    return engine


@pytest.fixture
def digseason(planted: Engine, tmp_path: Path):
    def call(*words: str) -> tuple[int, str]:
        url = planted.url.render_as_string(hide_password=False)
        return run(tmp_path, *words, "--as-of", "2025-05-20", database_url=url)

    return call


@pytest.mark.both_by_day
def test_a_limit_moves_the_opening(digseason) -> None:
    _, printed = digseason("whatif", "--block", "terrace-7", "--open-f", "60,62,64,66", "--json")
    assert [
        (one["spring_opens_f"], one["spring_opened_on"], one["spring_moved_d"])
        for one in json.loads(printed)
    ] == [
        (60.0, "2025-04-23", -8),
        (62.0, "2025-04-27", -4),
        (64.0, "2025-05-01", 0),
        (66.0, "2025-05-05", 4),
    ]


def test_limits_in_both_units_and_means_of_other_days_are_all_tried(digseason) -> None:
    words = ("whatif", "--open-f", "64", "--open-c", "18", "--mean-days", "1,7", "--csv")
    _, printed = digseason(*words)
    # by hand: 18 °C are 64.4 °F; the day itself has 64 on 29 April and 64.5 on the 30th, a mean
    # of seven days those of three days before
    assert [
        (row["spring_opens_c"][:4], row["mean_days"], row["spring_opened_on"])
        for row in csv.DictReader(io.StringIO(printed))
    ] == [
        ("17.7", "1", "2025-04-29"),
        ("17.7", "7", "2025-05-02"),
        ("18.0", "1", "2025-04-30"),
        ("18.0", "7", "2025-05-03"),
    ]


def test_the_table_fits_80_columns_and_says_how_far_dates_move(digseason) -> None:
    _, printed = digseason("whatif", "--open-f", "60,66", "--margin-f", "1.25")
    lines = printed.splitlines()
    assert lines[0] == "Terrace 7, Upper Alder (terrace-7), at 30 cm"
    assert lines[2].split("  ")[0] == "2025"
    assert "60 °F     1.25 °F   5 d  23 Apr on (-8)" in lines[2]
    assert "5 May on (+4)" in lines[3]
    assert max(map(len, lines)) <= 80


def test_a_limit_that_is_never_reached_does_not_open(digseason) -> None:
    _, printed = digseason("whatif", "--open-f", "72", "--mean-days", "31")
    assert "does not open" in printed


def test_a_season_without_windows_is_not_shown(digseason) -> None:
    _, printed = digseason("whatif", "--open-f", "62", "--season", "2024", "--json")
    assert json.loads(printed) == []


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        ((), "say which numbers to try, such as --open-f 60,62,64,66"),
        (("--open-f", "sixty"), "'sixty' is no list of numbers"),
        (("--open-f", "nan"), "nan is not within 14 to 140"),
        (("--mean-days", "2.5"), "'2.5' is no list of numbers"),
        (("--open-f", "58"), "cold_below lies above spring_opens"),
        (("--open-f", "62", "--block", "nowhere"), "there is no block 'nowhere'"),
    ],
)
def test_what_cannot_be_tried_is_wrong_use_and_says_why(digseason, words, problem) -> None:
    code, printed = digseason("whatif", *words)
    assert code == 2
    assert problem in " ".join(printed.split())


def test_blocks_of_one_rule_set_walk_through_the_engine_once_a_rule(
    planted: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Mock(wraps=evaluate)  # the engine itself, counted
    monkeypatch.setattr(whatif, "evaluate", counted)
    with reading(planted) as connection:
        (block,) = fetch_blocks(connection)
        blocks = [replace(block, id=name) for name in ("a", "b", "c")]
        evaluations = evaluate_blocks(connection, blocks, [date(2025, 5, 20)] * 3, None, 0.2)
    trials = list(try_rules(evaluations, Numbers(spring_opens_c=[16.0, 17.0])))
    assert counted.call_count == 2
    assert [trial.block.id for trial in trials] == ["a", "a", "b", "b", "c", "c"]


def test_the_own_numbers_give_the_own_dates(planted: Engine) -> None:
    with reading(planted) as connection:
        blocks = fetch_blocks(connection)
        evaluations = evaluate_blocks(connection, blocks, [date(2025, 5, 20)], None, 0.2)
    own = Numbers(spring_opens_c=[GRAPE_PHYLLOXERA.spring_opens_c])
    (trial,) = try_rules(evaluations, own)
    assert trial.spans == evaluations[0].evaluation.spans


def test_a_mean_of_other_days_needs_the_same_share_of_them() -> None:
    # by hand: four of five are 0.8: of 1 day 1, of 3 2.4, of 7 5.6, of 10 8
    rules = vary(GRAPE_PHYLLOXERA, Numbers(mean_days=[1, 3, 5, 7, 10]))
    assert [rule.mean_needs for rule in rules] == [1, 3, 4, 6, 8]


def test_a_combination_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(ContradictionError, match="unseen_max lies below spring_opens"):
        vary(GRAPE_PHYLLOXERA, Numbers(spring_opens_c=[17.0, 23.0]))
