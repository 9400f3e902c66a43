"""Outlooks from the store: own curve or a neighbour's, kept by day of issue, used and told."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Connection, Engine, select

from probes.units import f_to_c, from_c
from service.curves import NO_BASIS, NO_CURVE, NO_READINGS
from service.evaluation import evaluate_blocks
from service.outlooks import (
    BlockOutlook,
    fetch_expected,
    find_block_outlooks,
    keep_outlooks,
)
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import reading, writing
from tests.commands import run
from tests.generated_root_zone import generated_days
from tests.mails import text_of
from tests.planted import plant_block, plant_days, plant_place, plant_recipient

pytestmark = pytest.mark.sqlite_by_day

ACCURACY_C = 0.2
AS_OF = date(1994, 5, 5)


def days_f(first: date, last: date) -> list[float]:
    """Return the days of a generated climate [degF]."""
    days, root_zone_c = generated_days(seed=1, years=4)
    within = (days >= np.datetime64(first)) & (days <= np.datetime64(last))
    return [from_c(one_c, "F") for one_c in root_zone_c[within].tolist()]


def plant_neighbour(connection: Connection, longitude: float = 0.0) -> None:
    """Put in "ledge", at another site."""
    plant_place(connection, "ledge", longitude=longitude, probe_id=2)


@pytest.fixture
def planted(engine: Engine) -> Engine:
    """A block with the days of three years and a spring, up to 5 May 1994."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(1991, 1, 1), days_f(date(1991, 1, 1), AS_OF))
    return engine


def find(engine: Engine, as_of: date = AS_OF) -> dict[str, BlockOutlook]:
    with reading(engine) as connection:
        blocks = fetch_blocks(connection)
        found = find_block_outlooks(connection, blocks, [as_of] * len(blocks), ACCURACY_C)
    return {one.block.id: one for one in found}


@pytest.mark.both_by_day
def test_a_block_with_years_of_readings_has_an_outlook_of_its_own(planted: Engine) -> None:
    one = find(planted)["terrace-7"]
    assert one.outlook
    assert one.outlook.opens
    assert one.outlook.opens.p50
    # what then came in that climate
    days, root_zone_c = generated_days(seed=1, years=4)
    warm = days[(root_zone_c >= f_to_c(64)) & (days > np.datetime64(AS_OF))][0].item()
    assert abs(one.outlook.opens.p50 - warm) <= timedelta(days=10)
    assert (one.neighbour, one.why_not) == (None, None)


def test_the_same_again_gives_the_same(planted: Engine) -> None:
    assert find(planted) == find(planted)


def test_a_block_with_two_months_borrows_the_curve_of_a_neighbour(planted: Engine) -> None:
    warmer_f = [one_f + 3.6 for one_f in days_f(date(1994, 3, 1), AS_OF)]
    with writing(planted) as connection:
        plant_neighbour(connection, longitude=0.1)
        plant_days(connection, date(1994, 3, 1), warmer_f, probe_id=2)
    found = find(planted)
    ledge, terrace = found["ledge"], found["terrace-7"]
    assert ledge.neighbour
    assert ledge.neighbour.place.id == "terrace-7"
    assert ledge.outlook
    assert ledge.outlook.opens
    assert ledge.outlook.opens.p50
    assert terrace.outlook
    assert terrace.outlook.opens
    assert terrace.outlook.opens.p50
    assert ledge.outlook.opens.p50 < terrace.outlook.opens.p50  # 2 degC warmer


@pytest.mark.both_by_day
def test_a_block_with_two_months_borrows_the_curve_of_a_station(
    planted: Engine, store_url: str, tmp_path: Path
) -> None:
    two_months_f = days_f(date(1994, 3, 1), AS_OF)
    with writing(planted) as connection:
        plant_neighbour(connection, longitude=2.0)  # beyond reach of "terrace-7"
        plant_days(connection, date(1994, 3, 1), two_months_f, probe_id=2)
        plant_place(connection, "pass", longitude=2.1, probe_id=3, kind="station")
        plant_days(connection, date(1991, 1, 1), days_f(date(1991, 1, 1), AS_OF), probe_id=3)
    ledge = find(planted)["ledge"]
    assert ledge.neighbour
    assert (ledge.neighbour.is_station, ledge.curve_of) == (True, "of-pass")
    with writing(planted) as connection:
        keep_outlooks(connection, [ledge])
        kept = fetch_expected(connection, ["ledge"], AS_OF)["ledge"]
    assert (kept.neighbour, kept.neighbour_is_station) == ("At Pass", True)
    words = ("outlook", "--block", "ledge", "--as-of", AS_OF.isoformat())
    _, printed = run(tmp_path, *words, database_url=store_url)
    assert "yearly course of the station At Pass, shifted by what differs" in " ".join(
        printed.split()
    )


def test_a_block_whose_readings_are_late_is_nowcast_by_its_neighbours(planted: Engine) -> None:
    late_on = AS_OF + timedelta(days=25)
    alone = find(planted, late_on)["terrace-7"]
    warm_f = [one_f + 6 for one_f in days_f(AS_OF + timedelta(days=1), late_on)]
    with writing(planted) as connection:
        plant_neighbour(connection)
        plant_days(connection, date(1991, 1, 1), days_f(date(1991, 1, 1), AS_OF), probe_id=2)
        plant_days(connection, AS_OF + timedelta(days=1), warm_f, probe_id=2)
    nowcast = find(planted, late_on)["terrace-7"]
    assert [one.name for one in nowcast.borrowed] == ["Ledge"]
    assert alone.borrowed == ()
    assert nowcast.outlook
    assert nowcast.outlook.opens
    assert nowcast.outlook.opens.p50
    assert alone.outlook
    assert alone.outlook.opens
    assert alone.outlook.opens.p50
    assert nowcast.outlook.last_day == alone.outlook.last_day == AS_OF
    # the days of May were far warmer there than a course of its own would make likely
    assert nowcast.outlook.opens.by_now > 0.9 > alone.outlook.opens.by_now
    assert nowcast.outlook.opens.p50 < alone.outlook.opens.p50


def test_a_neighbour_beyond_the_valley_is_none(planted: Engine) -> None:
    with writing(planted) as connection:
        plant_neighbour(connection, longitude=2.0)  # by hand: 157 km
        plant_days(connection, date(1994, 3, 1), days_f(date(1994, 3, 1), AS_OF), probe_id=2)
    assert find(planted)["ledge"].why_not == NO_CURVE


def test_where_there_is_nothing_to_go_by_it_says_so(planted: Engine) -> None:
    with writing(planted) as connection:
        plant_neighbour(connection)
    assert find(planted)["ledge"].why_not == NO_READINGS
    with writing(planted) as connection:
        connection.execute(tables.probe_stretch.update().values(depth_cm=5.0))
    assert find(planted)["terrace-7"].why_not == NO_BASIS


@pytest.mark.both_by_day
def test_outlooks_are_kept_by_day_and_replaced_by_those_of_the_same_day(planted: Engine) -> None:
    found = list(find(planted).values())
    with writing(planted) as connection:
        keep_outlooks(connection, found)
        keep_outlooks(connection, found)
        keep_outlooks(connection, list(find(planted, AS_OF - timedelta(days=1)).values()))
        rows = connection.execute(
            select(tables.outlook.c.issued_on, tables.outlook.c.event).order_by(
                tables.outlook.c.issued_on, tables.outlook.c.event
            )
        ).all()
        kept = fetch_expected(connection, ["terrace-7"], AS_OF)
    yesterday = AS_OF - timedelta(days=1)
    assert [tuple(row) for row in rows] == [
        (yesterday, "closes"),
        (yesterday, "opens"),
        (AS_OF, "closes"),
        (AS_OF, "opens"),
    ]
    assert kept["terrace-7"].outlook == found[0].outlook


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        # at 60 °F and over, a block was warming before there was an outlook
        pytest.param(date(1994, 5, 5), "too cold", id="an opening that is not near"),
        pytest.param(date(1994, 5, 14), "warming", id="an opening that is near"),
    ],
)
def test_a_block_is_warming_when_the_outlook_says_so(
    planted: Engine, as_of: date, state: str
) -> None:
    later = days_f(AS_OF + timedelta(days=1), date(1994, 5, 14))
    with writing(planted) as connection:
        plant_days(connection, AS_OF + timedelta(days=1), later)
        keep_outlooks(connection, list(_found(connection, as_of)))
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [as_of], None, ACCURACY_C)
    soon = find(planted, as_of)["terrace-7"].outlook
    assert soon
    assert (one.state, soon.opens_soon >= 0.5) == (state, state == "warming")


def _found(connection: Connection, as_of: date) -> list[BlockOutlook]:
    return find_block_outlooks(connection, fetch_blocks(connection), [as_of], ACCURACY_C)


@pytest.mark.both_by_day
def test_a_round_keeps_outlooks_and_tells_them_with_what_is_new(
    planted: Engine, tmp_path: Path
) -> None:
    closed_on = date(1993, 7, 10)
    with writing(planted) as connection:
        plant_recipient(connection, "Ada Example")
    settings = Settings(data=tmp_path)
    run_round(planted, settings, datetime(1993, 6, 10, 15, tzinfo=UTC), date(1993, 6, 10))
    report = run_round(planted, settings, datetime(1993, 7, 11, 15, tzinfo=UTC), closed_on)
    text = text_of(report.delivered[-1].read_bytes())
    assert "Spring dig season closed" in text
    assert "Fall dig season is likely to open between" in text


@pytest.fixture
def digseason(planted: Engine, store_url: str, tmp_path: Path) -> Callable[..., tuple[int, str]]:
    assert planted

    def call(*words: str) -> tuple[int, str]:
        return run(tmp_path, *words, database_url=store_url)

    return call


def test_the_command_says_what_is_likely_in_80_columns(digseason) -> None:
    code, text = digseason("outlook", "--as-of", AS_OF.isoformat())
    assert code == 0
    assert "  Spring dig season is likely to open between" in text
    assert "chance that it opens within 7 days" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_command_nowcasts_a_block_whose_readings_are_late(digseason) -> None:
    _, text = digseason("outlook", "--as-of", "1994-06-14")
    joined = " ".join(text.split())
    assert "Nowcast: spring dig season has probably been open since about" in joined
    assert "last readings 5 May." in joined
    assert "chance that it is open now" in joined


def test_the_command_gives_the_same_to_a_program(digseason) -> None:
    _, text = digseason("outlook", "--block", "terrace-7", "--as-of", AS_OF.isoformat(), "--json")
    opens, closes = json.loads(text)
    assert (opens["event"], closes["event"]) == ("opens", "closes")
    assert opens["p10"] <= opens["p50"] <= opens["p90"] < closes["p50"]
    assert opens["curve_of"] == "terrace-7"
    assert 0 <= opens["chance_7_d"] <= opens["chance_14_d"] <= opens["chance"] == 1


@pytest.mark.both_by_day
def test_scores_are_shown_by_lead(digseason) -> None:
    code, text = digseason("score", "--as-of", AS_OF.isoformat(), "--every", "20", "--json")
    bands = [one for one in json.loads(text) if one["kind"] == "spring"]
    assert code == 0
    assert [one["lead_from_d"] for one in bands] == [15, 31]  # by hand: leads 20, 40 and 60
    assert [(one["seasons"], one["outlooks"]) for one in bands] == [(3, 3), (3, 6)]
