"""Blocks that rest on a thermometer: their days, windows, states, and what is told of them."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine

from probes.hand_days import find_error_c
from probes.units import f_to_c
from service.evaluation import BlockEvaluation, evaluate_blocks
from service.rounds import run_round
from service.settings import Settings
from service.store.blocks import fetch_blocks
from service.store.engine import reading
from service.store.thermometers import fetch_thermometers
from tests.commands import run
from tests.thermometers import (
    BESIDE_LOGGER,
    BY_HAND,
    every,
    note,
    read_on,
    set_up_thermometer,
)

pytestmark = pytest.mark.sqlite_by_day

COLD, WARM = date(2026, 4, 1), date(2026, 4, 16)
ERROR_C = find_error_c(30, 7.5, corrected=False)


def warm_up(engine: Engine, text: str = BY_HAND) -> None:
    """Note 60 °F every three days to 13 April, then 68 °F to 28 April."""
    set_up_thermometer(engine, text)
    note(engine, *read_on(every(3, COLD, WARM - timedelta(days=1)), 60))
    note(engine, *read_on(every(3, WARM, date(2026, 4, 28)), 68))


def evaluate(engine: Engine, as_of: date, seasons: int | None = None) -> BlockEvaluation:
    with reading(engine) as connection:
        (block,) = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, [block], [as_of], seasons, 0.2)
    return one


@pytest.mark.both_by_day
def test_days_between_two_readings_are_estimated_and_every_day_is_by_hand(engine: Engine) -> None:
    warm_up(engine)
    zone = evaluate(engine, date(2026, 4, 20)).root_zone
    assert zone.day.astype(str).tolist()[-7:-4] == ["2026-04-14", "2026-04-15", "2026-04-16"]
    # by hand: a third and two thirds of the way from 60 to 68 °F
    expected_c = [f_to_c(60 + 8 / 3), f_to_c(60 + 16 / 3), f_to_c(68.0)]
    assert zone.root_zone_c[-7:-4].tolist() == pytest.approx(expected_c)
    assert zone.estimated[-7:-4].tolist() == [True, True, False]
    # by hand: 0.34 x sqrt(1 x 2) beside the error of a reading
    between_c = (ERROR_C**2 + 2 * 0.34**2) ** 0.5
    assert zone.error_c[-7:-4].tolist() == pytest.approx([between_c, between_c, ERROR_C])
    assert zone.by_hand[-7:-1].all()
    assert not zone.by_hand[-1]  # 20 April lies after the last reading: no value


def test_a_window_opens_by_hand_readings_a_few_times_a_week(engine: Engine) -> None:
    warm_up(engine)
    one = evaluate(engine, date(2026, 4, 28))
    # by hand, °F: 13 to 17 April 60, 62.67, 65.33, 68, 68: 64.8; the day before 63.2
    (span,) = one.evaluation.spans
    assert (span.opened_on, one.state) == (date(2026, 4, 17), "open")


@pytest.mark.both_by_day
@pytest.mark.parametrize("as_of", [date(2026, 4, 17), date(2026, 4, 18)])
def test_what_lies_after_the_last_reading_of_a_day_is_not_known_then(
    engine: Engine, as_of: date
) -> None:
    warm_up(engine)
    assert evaluate(engine, as_of).evaluation.spans == []


@pytest.mark.parametrize(("days_after", "state"), [(3, "open"), (4, "no recent readings")])
def test_a_thermometer_is_recent_as_long_as_its_next_reading_may_take(
    engine: Engine, days_after: int, state: str
) -> None:
    warm_up(engine)
    assert evaluate(engine, date(2026, 4, 28) + timedelta(days=days_after)).state == state


@pytest.mark.both_by_day
def test_a_look_back_of_some_seasons_gives_what_all_of_them_give(engine: Engine) -> None:
    set_up_thermometer(engine)
    note(engine, *read_on(every(3, date(2025, 12, 25), date(2026, 4, 20)), 66))
    all_seasons, one_season = (evaluate(engine, date(2026, 4, 20), n) for n in (None, 1))
    assert one_season.evaluation == all_seasons.evaluation


def test_a_block_that_names_no_probes_rests_on_the_loggers_of_its_site(engine: Engine) -> None:
    warm_up(engine, BESIDE_LOGGER)
    one = evaluate(engine, date(2026, 4, 28))
    assert (one.block.thermometers, one.root_zone.basis_cm) == ((), (15.0, 30.0))
    assert not one.root_zone.by_hand.any()


@pytest.mark.both_by_day
def test_a_block_may_name_a_thermometer_beside_a_logger(engine: Engine) -> None:
    named = BESIDE_LOGGER.replace('name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["h1:30"]')
    warm_up(engine, named)
    one = evaluate(engine, date(2026, 4, 28))
    assert (one.block.thermometers, one.state) == (("Terrace thermometer",), "open")


def test_what_is_told_says_that_it_rests_on_hand_readings(engine: Engine, tmp_path: Path) -> None:
    warm_up(engine)
    settings = Settings(data=tmp_path)
    report = run_round(engine, settings, datetime(2026, 4, 20, 15, tzinfo=UTC))
    (notice,) = report.notices
    assert notice.by_hand is not None
    assert notice.by_hand.names == ("Terrace thermometer",)
    mail, text = (path.read_text("utf-8") for path in report.delivered)
    assert "from hand readings at 30 cm" in " ".join(mail.split())
    assert "It rests on hand readings with Terrace thermometer" in " ".join(mail.split())
    # by hand: three days of the five between readings, 0.81 °C, two read, 0.66 °C: 1.4 °F
    assert "From hand readings, +-1.4F." in text
    assert "may well be off by 1.4 °F" in " ".join(mail.replace("=C2=B0", "°").split())


def test_every_output_says_so_and_carries_the_error(
    engine: Engine, store_url: str, tmp_path: Path
) -> None:
    warm_up(engine)

    def digseason(*words: str) -> str:
        code, printed = run(tmp_path, *words, "--as-of", "2026-04-28", database_url=store_url)
        assert code == 0
        return printed

    (window,) = json.loads(digseason("windows", "--json"))
    assert (window["by_hand"], window["source"]) == (1, "hand readings with Terrace thermometer")
    # by hand: 14, 15 and 17 April between readings, 0.813 °C; 13 and 16 read, 0.656 °C
    assert window["error_c"] == pytest.approx(0.750, abs=0.001)
    rows = list(csv.DictReader(io.StringIO(digseason("rootzone", "--block", "terrace-7", "--csv"))))
    assert [row["by_hand"] for row in rows] == ["1"] * 28
    assert float(rows[-1]["error_c"]) == pytest.approx(ERROR_C)
    table = digseason("windows") + digseason("rootzone", "--block", "terrace-7")
    assert "from hand readings with Terrace thermometer, give or take 1.4 °F" in table
    assert "between two readings by hand, ±1.5 °F" in table
    assert max(map(len, table.splitlines())) <= 80


def test_a_depth_that_is_read_no_more_counts_until_then(engine: Engine) -> None:
    both = BY_HAND.replace("depths_cm = [30]", "depths_cm = [15, 30]")
    set_up_thermometer(engine, both)
    days = every(2, date(2026, 2, 1), date(2026, 2, 9))
    note(engine, *read_on(days, 60), *(replace(one, depth_cm=15) for one in read_on(days, 64)))
    before = evaluate(engine, date(2026, 2, 9)).root_zone.root_zone_c.tolist()
    set_up_thermometer(engine)
    after = evaluate(engine, date(2026, 3, 3)).root_zone
    assert after.root_zone_c[: len(before)].tolist() == before
    # by hand: the farm is set up again on 1 March
    assert [(after.day[place].item(), depths) for place, depths in after.bases[-2:]] == [
        (date(2026, 2, 1), (15.0, 30.0)),
        (date(2026, 3, 2), (30.0,)),
    ]
    with reading(engine) as connection:
        (thermometer,) = fetch_thermometers(connection)
    assert thermometer.depths_cm == (30.0,)
