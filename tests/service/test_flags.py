"""Flags: whatever order readings come in, those that the checks give all of them at once."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from sqlalchemy import Engine, event, select

from probes.checks import ProbeSeries, unpack
from probes.frames import FAIL, GOOD, SUSPECT
from service.daily_means import refresh_daily_means
from service.flags import refresh_flags
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from service.store.readings import delete_readings
from tests.farms import farm_text, set_up
from tests.flagged import (
    FIRST,
    LOGGER,
    Soil,
    bring,
    flags_due,
    parts_of,
    stored_flags,
    two_weeks,
    with_offset,
)
from tests.imported import forget
from tests.laws import law
from tests.soil_series import twitchell

YEAR = np.timedelta64(365, "D")
FAULTS_C = (85.0, -127.0, 50.0, 31.0, 24.5)

LAW = law(8, HealthCheck.function_scoped_fixture, HealthCheck.too_slow)


@st.composite
def soils(draw: st.DrawFn) -> Soil:
    """Two depths over the same weeks of three years: a reading a day, at the end one an hour."""
    hours = np.concatenate([np.arange(0, 24 * 20, 24), np.arange(24 * 20, 24 * 26)])
    soil = {}
    for channel, depth_cm in (("T15", 15.0), ("T30", 30.0)):
        at = np.concatenate([FIRST + year * YEAR + hours.astype("m8[h]") for year in range(3)])
        hour = (at - FIRST) / np.timedelta64(1, "h")
        value_c = np.round((17 + 3 * np.cos(hour * np.pi / 12 - depth_cm / 8)) * 8) / 8
        faults = st.tuples(st.integers(0, at.size - 1), st.sampled_from(FAULTS_C))
        for place, fault_c in draw(st.lists(faults, max_size=8)):
            value_c[place] = fault_c
        stuck = draw(st.integers(0, at.size - 1))
        value_c[stuck : stuck + draw(st.sampled_from([0, 0, 100]))] = 17.0
        soil[channel] = ProbeSeries(at, value_c, depth_cm)
    return soil


def daily_means(engine: Engine) -> list[Any]:
    columns = list(tables.daily_mean.columns)
    with reading(engine) as connection:
        return [tuple(row) for row in connection.execute(select(*columns).order_by(*columns))]


def means_due(engine: Engine) -> list[Any]:
    """Return the daily means of all readings as they are flagged."""
    with writing(engine) as connection:
        connection.execute(tables.daily_mean.delete())
        refresh_daily_means(connection, fetch_logger(connection, LOGGER))
    return daily_means(engine)


@pytest.fixture
def farm(engine: Engine) -> Engine:
    """A store with one logger of two depths."""
    set_up(engine, farm_text(depths_cm=[15, 30]))
    return engine


@LAW
@given(soil=soils(), data=st.data())
def test_readings_in_parts_and_any_order_are_flagged_as_all_at_once(
    farm: Engine, soil: Soil, data: st.DataObject
) -> None:
    forget(farm)
    cuts = data.draw(st.lists(st.integers(0, 491), min_size=2, max_size=4))
    part = {
        channel: np.searchsorted(sorted(cuts), np.arange(one.observed_at.size))
        for channel, one in soil.items()
    }
    lone = data.draw(st.lists(st.integers(0, 491), max_size=5))
    part["T30"][lone] = len(cuts) + 1
    for number in data.draw(st.permutations(range(len(cuts) + 2))):
        bring(farm, parts_of(soil, part, number))
    assert stored_flags(farm) == flags_due(soil)
    followed = daily_means(farm)
    assert followed == means_due(farm)


@LAW
@given(soil=soils(), data=st.data())
def test_readings_that_are_gone_leave_flags_as_if_they_had_never_come(
    farm: Engine, soil: Soil, data: st.DataObject
) -> None:
    forget(farm)
    bring(farm, soil)
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, 491)] * 2)))
    at = soil["T15"].observed_at
    ends = [one.replace(tzinfo=UTC) for one in at[[first, last]].tolist()]
    with writing(farm) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        delete_readings(connection, logger.probe("T15").id, *ends)
        refresh_flags(connection, logger, *ends)
    gone = (at > at[first]) & (at <= at[last])
    assert stored_flags(farm) == flags_due({**soil, "T15": soil["T15"].where(~gone)})
    followed = daily_means(farm)
    assert followed == means_due(farm)


def test_a_delivery_of_one_depth_flags_the_other_anew(farm: Engine) -> None:
    soil = two_weeks()
    bring(farm, {"T30": soil["T30"]})
    alone = stored_flags(farm)
    bring(farm, {"T15": soil["T15"]})
    assert stored_flags(farm) == flags_due(soil)
    assert stored_flags(farm)["T30"] != alone["T30"]  # neighbours are evaluated now


def real_soil() -> Soil:
    """Return two depths of five years, hour by hour, [US-TW3]; the store takes them as its own."""
    return {
        f"T{one.depth_cm:g}": one.where(one.observed_at.astype("M8[h]") == one.observed_at)
        for one in twitchell()
        if one.depth_cm > 10
    }


@pytest.mark.sqlite_by_day
@pytest.mark.parametrize("order", [(0, 1, 2, 3), (2, 0, 3, 1)], ids=["in order", "late ones"])
def test_five_years_of_real_soil_in_parts_are_flagged_as_all_at_once(
    engine: Engine, order: tuple[int, ...]
) -> None:
    set_up(engine, farm_text(depths_cm=[16, 32]))
    soil = real_soil()
    cuts = np.array(["2013-06-20", "2015-03-01", "2016-11-11T08"], "datetime64[us]")
    part = {
        channel: np.searchsorted(cuts, one.observed_at, side="right")
        for channel, one in soil.items()
    }
    for number in order:
        bring(engine, parts_of(soil, part, number), datetime(2019, 1, 1, tzinfo=UTC))
    assert stored_flags(engine) == flags_due(soil)


@pytest.mark.sqlite_by_day
def test_a_site_of_range_only_has_no_other_flags(engine: Engine) -> None:
    text = farm_text(depths_cm=[15, 30])
    set_up(engine, text.replace("elevation_m = 720", 'checks = "range-only"\nelevation_m = 720'))
    soil = two_weeks()
    soil["T30"].soil_temp_c[100:103] = 30.0, 50.0, 99.0
    bring(engine, soil)
    assert stored_flags(engine) == flags_due(soil, checks="range-only")
    flags = [flag for _, _, flag, _ in stored_flags(engine)["T30"][100:103]]
    assert flags == [GOOD, SUSPECT, FAIL]


def test_a_change_of_a_sites_checks_flags_what_is_there_again(farm: Engine) -> None:
    soil = two_weeks()
    soil["T30"].soil_temp_c[100] = 30.0
    bring(farm, soil)
    standard = stored_flags(farm), daily_means(farm)
    text = farm_text(depths_cm=[15, 30])
    set_up(farm, text.replace("elevation_m = 720", 'checks = "range-only"\nelevation_m = 720'))
    only = stored_flags(farm), daily_means(farm)
    set_up(farm, text)
    assert only[0] == flags_due(soil, checks="range-only")
    assert (stored_flags(farm), daily_means(farm)) == standard
    assert only[1] != standard[1]  # the spike bends the mean of its day


@pytest.mark.sqlite_by_day
def test_a_probe_that_was_buried_anew_is_judged_by_each_depth(farm: Engine) -> None:
    soil = two_weeks()
    bring(farm, soil)
    moved = (
        '[[logger]]\nid = "u1"\nprobes = [{ column = "T30", depth_cm = 30 }, '
        '{ column = "T30", depth_cm = 5, valid_from = 2023-03-08, calibration_offset_c = 0.5 }]'
    )
    set_up(farm, farm_text(depths_cm=[15, 30]).replace('[[logger]]\nid = "u1"', moved))
    # by hand: 8 March begins with the reading that ends at 01:00 at UTC+10:00
    before = soil["T30"].observed_at <= np.datetime64("2023-03-07T14:00")
    pieces = {
        "T15": soil["T15"],
        "T30 deep": soil["T30"].where(before),
        "T30 shallow": with_offset(soil["T30"].where(~before), 5.0, 0.5),
    }
    assert stored_flags(farm) == flags_due(soil, pieces)
    late = [unpack(code)["neighbours"] for *_, code in stored_flags(farm)["T30"][-24:]]
    assert set(map(int, late)) == {SUSPECT}  # 5 cm swings less than 15 cm


@pytest.mark.sqlite_by_day
def test_no_calibration_hides_a_sensors_code(engine: Engine) -> None:
    entry = '{ column = "T30", depth_cm = 30, calibration_offset_c = -0.7 }'
    offset = f'[[logger]]\nid = "u1"\nprobes = [{entry}]'
    set_up(engine, farm_text(depths_cm=[15, 30]).replace('[[logger]]\nid = "u1"', offset))
    soil = two_weeks()
    soil["T30"].soil_temp_c[100] = 85.0
    bring(engine, soil)
    found = stored_flags(engine)["T30"][100]
    assert (found[1], int(unpack(found[3])["power_on"])) == (85.0, SUSPECT)


def test_flags_that_stay_are_not_written_again(farm: Engine) -> None:
    bring(farm, two_weeks())
    with writing(farm) as connection:
        connection.execute(tables.reading.update().values(import_id=7))
        written: list[str] = []
        event.listen(connection, "before_execute", lambda *args: written.append(str(args[1])))
        refresh_flags(connection, fetch_logger(connection, LOGGER))
    assert not [statement for statement in written if statement.startswith("UPDATE reading")]


def test_the_days_of_a_span_without_readings_are_taken_out(farm: Engine) -> None:
    bring(farm, two_weeks())
    with writing(farm) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        whole = datetime(2023, 1, 1, tzinfo=UTC), datetime(2024, 1, 1, tzinfo=UTC)
        for probe in logger.probes:
            delete_readings(connection, probe.id, *whole)
        refresh_flags(connection, logger, datetime(2023, 3, 5, tzinfo=UTC))
    assert {day for _, day, *_ in daily_means(farm)} == {date(2023, 3, day) for day in range(1, 5)}
