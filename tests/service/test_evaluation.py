"""From the store to what the rule says of a block: its probes, their history, its days."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
from sqlalchemy import Engine, insert, update

from alerts.expectations import Expectation
from alerts.outlook.dates import Chances, Outlook
from probes.frames import DailyMeans
from probes.units import f_to_c
from service.bulletins import show_block
from service.evaluation import BlockEvaluation, as_of_day, evaluate_blocks
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.daily import store_daily_means
from service.store.engine import reading, writing
from service.store.outlooks import KeptOutlook, store_outlooks
from tests.planted import PROBE, plant_block, plant_days

pytestmark = pytest.mark.sqlite_by_day

MAY_1 = date(2025, 5, 1)


@pytest.fixture
def planted(engine: Engine) -> Engine:
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 10)
    return engine


ACCURACY_C = 0.2


def evaluate_all(engine: Engine, as_of: date, seasons: int | None = None) -> list[BlockEvaluation]:
    with reading(engine) as connection:
        blocks = fetch_blocks(connection)
        return evaluate_blocks(connection, blocks, [as_of] * len(blocks), seasons, ACCURACY_C)


def root_zones_c(one: BlockEvaluation) -> dict[date, float]:
    return dict(zip(one.root_zone.day.tolist(), one.root_zone.root_zone_c.tolist(), strict=True))


def add_probe(connection, probe_id: int, depth_cm: float, valid_from: date = date.min) -> None:
    channel = {"id": probe_id, "logger_id": "u1", "channel": f"column {probe_id}"}
    connection.execute(insert(tables.probe), channel)
    add_stretch(connection, probe_id, depth_cm, valid_from)


def add_stretch(connection, probe_id: int, depth_cm: float, valid_from: date) -> None:
    stretch = {"probe_id": probe_id, "valid_from": valid_from, "depth_cm": depth_cm}
    connection.execute(insert(tables.probe_stretch), {**stretch, "calibration_offset_c": 0.0})


def declare(connection, valid_from: date, depth_cm: float) -> None:
    use = {"valid_from": valid_from, "logger_id": "u1", "depth_cm": depth_cm}
    connection.execute(insert(tables.block_probe), {"block_id": "terrace-7", **use})


def add_days(connection, probe_id: int, first: date, temps_f: list[float]) -> None:
    days = np.datetime64(first) + np.arange(len(temps_f))
    slots = np.full(days.size, 24, np.int16)
    complete = np.ones(days.size, bool)
    means = DailyMeans(days, f_to_c(np.array(temps_f)), slots, slots, slots * 0, complete)
    store_daily_means(connection, probe_id, days, means)


@pytest.mark.both_by_day
def test_a_block_of_one_probe_has_that_probe_s_days(planted: Engine) -> None:
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert root_zones_c(one)[MAY_1] == pytest.approx(f_to_c(70.0), abs=1e-12)
    assert (one.root_zone.basis_cm, one.state) == ((30.0,), "open")


def test_a_measured_day_has_the_error_of_its_sensor_and_a_day_without_value_none(planted) -> None:
    (one,) = evaluate_all(planted, date(2025, 5, 12))
    assert one.root_zone.error_c[:-2].tolist() == [ACCURACY_C] * 40
    assert np.isnan(one.root_zone.error_c[-2:]).all()
    assert not one.root_zone.estimated.any()


def test_every_depth_must_have_a_complete_day(planted: Engine) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        add_days(connection, 2, date(2025, 4, 1), [50.0] * 30)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    days_c = root_zones_c(one)
    assert one.root_zone.basis_cm == (30.0, 45.0)
    assert days_c[date(2025, 4, 30)] == pytest.approx(f_to_c(50.0), abs=1e-12)
    assert np.isnan(days_c[MAY_1])


@pytest.mark.both_by_day
def test_a_probe_that_fails_is_bridged_for_21_days_and_the_days_are_estimated(planted) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        add_days(connection, PROBE, date(2025, 2, 1), [50.0 + 0.1 * day for day in range(100)])
        add_days(connection, 2, date(2025, 2, 1), [49.0 + 0.1 * day for day in range(70)])
    (one,) = evaluate_all(planted, date(2025, 5, 9))
    # by hand: 70 days from 1 February end with 11 April; 21 days more with 2 May
    estimated = one.root_zone.day[one.root_zone.estimated]
    assert (estimated[0].item(), estimated[-1].item()) == (date(2025, 4, 12), date(2025, 5, 2))
    # 15-30 cm as at 30 cm, then a line: three quarters and one; 1 °F cooler at 45 cm, 89 days on
    assert root_zones_c(one)[MAY_1] == pytest.approx(f_to_c(50.0 + 8.9 - 0.25), abs=0.01)
    assert np.isnan(root_zones_c(one)[date(2025, 5, 3)])


def test_a_probe_of_another_block_at_the_site_helps_to_bridge(planted: Engine) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        add_days(connection, PROBE, date(2025, 2, 1), [50.0 + 0.1 * day for day in range(90)])
        plant_days(connection, date(2025, 5, 2), [None] * 9)
        add_days(connection, 2, date(2025, 2, 1), [49.0 + 0.1 * day for day in range(90)])
        declare(connection, date.min, 30.0)
    (one,) = evaluate_all(planted, date(2025, 5, 1))
    assert one.root_zone.estimated.sum() == 0
    with writing(planted) as connection:
        add_days(connection, 2, date(2025, 5, 2), [58.0])
    (one,) = evaluate_all(planted, date(2025, 5, 2))
    assert one.root_zone.estimated[-1]
    assert one.root_zone.basis_cm == (30.0,)


def test_a_declared_basis_leaves_the_other_probes_out(planted: Engine) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        declare(connection, date.min, 30.0)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert (one.root_zone.basis_cm, one.state) == ((30.0,), "open")


@pytest.mark.both_by_day
def test_a_probe_that_is_buried_anew_changes_the_basis_from_that_day(planted: Engine) -> None:
    with writing(planted) as connection:
        add_stretch(connection, PROBE, 20.0, MAY_1)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    day_of_change = (MAY_1 - date(2025, 4, 1)).days
    assert one.root_zone.bases == ((0, (30.0,)), (day_of_change, (20.0,)))
    assert root_zones_c(one)[MAY_1] == pytest.approx(f_to_c(70.0), abs=1e-12)


def test_a_probe_that_is_buried_too_deep_leaves_no_basis_from_that_day(planted: Engine) -> None:
    with writing(planted) as connection:
        add_stretch(connection, PROBE, 90.0, MAY_1)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert (one.root_zone.basis_cm, one.state) == ((), "no basis")
    assert np.isnan(root_zones_c(one)[MAY_1])
    assert root_zones_c(one)[date(2025, 4, 30)] == pytest.approx(f_to_c(50.0), abs=1e-12)


def test_before_a_probe_was_put_in_there_is_no_basis(planted: Engine) -> None:
    with writing(planted) as connection:
        connection.execute(update(tables.probe_stretch).values(valid_from=MAY_1))
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert one.root_zone.bases[0] == (0, ())
    assert np.isnan(root_zones_c(one)[date(2025, 4, 30)])


@pytest.mark.both_by_day
def test_a_basis_that_is_declared_from_a_day_on_replaces_the_one_before(planted: Engine) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        add_days(connection, 2, date(2025, 4, 1), [52.0] * 40)
        declare(connection, date.min, 45.0)
        declare(connection, MAY_1, 30.0)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    days_c = root_zones_c(one)
    assert one.root_zone.bases == ((0, (45.0,)), (30, (30.0,)))
    assert days_c[date(2025, 4, 30)] == pytest.approx(f_to_c(52.0), abs=1e-12)
    assert days_c[MAY_1] == pytest.approx(f_to_c(70.0), abs=1e-12)


def test_before_the_first_day_of_a_declared_basis_there_is_none(planted: Engine) -> None:
    with writing(planted) as connection:
        declare(connection, MAY_1, 30.0)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert one.root_zone.bases == ((0, ()), (30, (30.0,)))


def test_a_basis_goes_on_by_depth_when_a_probe_of_it_is_buried_anew(planted: Engine) -> None:
    with writing(planted) as connection:
        add_stretch(connection, PROBE, 20.0, date(2025, 5, 3))
        declare(connection, MAY_1, 30.0)
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    assert one.root_zone.bases == ((0, ()), (30, (30.0,)), (32, ()))


@pytest.mark.both_by_day
def test_a_retired_logger_counts_up_to_the_day_on_which_it_was_retired(planted: Engine) -> None:
    before = evaluate_all(planted, date(2025, 5, 10))
    with writing(planted) as connection:
        # 23:30 on 8 May at UTC-08:00
        retired_at = datetime(2025, 5, 9, 7, 30, tzinfo=UTC)
        connection.execute(update(tables.logger).values(retired_at=retired_at))
    (as_of_then,) = evaluate_all(planted, date(2025, 5, 8))
    (one,) = evaluate_all(planted, date(2025, 5, 10))
    days_c = root_zones_c(one)
    assert as_of_then.state == "open"
    assert one.evaluation.spans[0].opened_on == before[0].evaluation.spans[0].opened_on
    assert days_c[date(2025, 5, 8)] == pytest.approx(f_to_c(70.0), abs=1e-12)
    assert np.isnan(days_c[date(2025, 5, 9)])
    assert one.state == "no basis"


def test_a_retired_block_is_not_evaluated(planted: Engine) -> None:
    with writing(planted) as connection:
        connection.execute(update(tables.block).values(retired_at=datetime.now(UTC)))
    assert evaluate_all(planted, date(2025, 5, 10)) == []


@pytest.mark.both_by_day
def test_looking_back_on_one_season_gives_the_same_spans_as_on_all(engine: Engine) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        year = [50.0] * 120 + [66.0] * 20 + [75.0] * 100 + [65.0] * 60 + [50.0] * 65
        plant_days(connection, date(2023, 1, 1), year * 3)
    as_of = date(2025, 10, 1)
    (over_all,) = evaluate_all(engine, as_of)
    (over_one,) = evaluate_all(engine, as_of, seasons=1)
    of_2025 = [span for span in over_all.evaluation.spans if span.season == 2025]
    assert len(over_all.evaluation.spans) > len(of_2025) > 1
    assert over_one.evaluation == type(over_one.evaluation)(of_2025, over_all.evaluation.standing)


def test_looking_back_on_one_season_bridges_as_on_all(planted: Engine) -> None:
    with writing(planted) as connection:
        add_probe(connection, 2, 45.0)
        add_days(connection, PROBE, date(2024, 6, 1), [60 - 0.05 * day for day in range(240)])
        add_days(connection, 2, date(2024, 6, 1), [60 - 0.04 * day for day in range(205)])
    over_all, over_one = (evaluate_all(planted, date(2025, 1, 20), n)[0] for n in (None, 1))
    assert over_one.root_zone.estimated.any()
    some = slice(-over_one.root_zone.day.size, None)
    assert over_one.root_zone.root_zone_c == pytest.approx(
        over_all.root_zone.root_zone_c[some], abs=1e-12, nan_ok=True
    )


def test_days_without_readings_up_to_as_of_leave_the_state_unheard(planted: Engine) -> None:
    (one,) = evaluate_all(planted, date(2025, 5, 20))
    assert one.state == "no recent readings"


@pytest.mark.parametrize(
    ("south", "now", "expected"),
    [
        # by hand: midnight of UTC-08:00 is 08:00 UTC, of UTC+10:00 14:00 UTC the day before
        pytest.param(False, datetime(2025, 5, 2, 7, 59, tzinfo=UTC), date(2025, 4, 30), id="west"),
        pytest.param(False, datetime(2025, 5, 2, 8, 0, tzinfo=UTC), MAY_1, id="west at midnight"),
        pytest.param(True, datetime(2025, 5, 1, 14, 0, tzinfo=UTC), MAY_1, id="east at midnight"),
    ],
)
def test_a_day_counts_once_it_has_ended_at_the_site(engine, south, now, expected) -> None:
    with writing(engine) as connection:
        plant_block(connection, south=south)
        (block,) = fetch_blocks(connection)
    assert as_of_day(block, now) == expected


@pytest.mark.parametrize(
    ("last_day", "is_told"),
    [
        pytest.param(date(2025, 5, 10), True, id="its last day is there"),
        pytest.param(date(2025, 5, 11), False, id="its last day went with a delivery"),
    ],
)
def test_an_outlook_is_told_while_the_readings_that_it_rests_on_are_there(
    planted: Engine, last_day: date, is_told: bool
) -> None:
    chances = Chances(0.9, 0.0, 0.1, 0.25, date(2025, 6, 1), date(2025, 6, 12), None)
    outlook = Outlook(2025, date(2025, 5, 11), last_day, "spring", None, chances, None)
    with writing(planted) as connection:
        kept = {"terrace-7": KeptOutlook(outlook, "terrace-7", False, ())}
        store_outlooks(connection, outlook.issued_on, kept)
    (one,) = evaluate_all(planted, outlook.issued_on)
    assert bool(one.outlook) == is_told
    assert bool(show_block(one, Expectation(outlook, one.rule)).expected) == is_told
