"""Readings by hand into the store: taken, refused with what to write, compared, taken back."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import Engine, select

from alerts.hand_words import HandReadingError, refuse
from probes.frames import Readings
from probes.hand_days import find_error_c
from probes.units import f_to_c
from service.intake.beside import NEAR_TIME
from service.intake.hand import HandReport, Written, find_thermometer
from service.intake.undoing import withdraw
from service.store import tables
from service.store.daily import fetch_daily_errors
from service.store.engine import reading, writing
from service.store.imports import fetch_batches
from service.store.readings import insert_readings
from service.store.thermometers import fetch_hand_readings
from tests.farms import THERMOMETER
from tests.imported import kept
from tests.thermometers import BESIDE_LOGGER, BY_HAND, NOW, note, set_up_thermometer

pytestmark = pytest.mark.sqlite_by_day

MORNING = Written("2026-04-12 08:30", 30, "61.5F", "Ada", "after rain")
OVERNIGHT_C = f_to_c(61.5)


def refusals(report: HandReport) -> list[str]:
    return [refuse(refusal, "en") for _, refusal in report.refused]


@pytest.mark.both_by_day
def test_a_reading_is_an_instant_whose_day_has_a_value_with_its_error(engine: Engine) -> None:
    set_up_thermometer(engine)
    ((_, noted),) = note(engine, MORNING).noted
    # by hand: 08:30 summer time is 07:30 standard time, 15:30 UTC
    assert noted.observed_at.astimezone(UTC) == datetime(2026, 4, 12, 15, 30, tzinfo=UTC)
    assert noted.temp_c == noted.day_c == pytest.approx(OVERNIGHT_C)
    assert noted.error_c == pytest.approx(find_error_c(30, 7.5, corrected=False))
    with reading(engine) as connection:
        errors = fetch_daily_errors(connection, [1], date.min, date.max)
        (one,) = fetch_hand_readings(connection, ["h1"])
        source = connection.scalar(select(tables.import_batch.c.source))
    assert errors == [(1, date(2026, 4, 12), pytest.approx(noted.error_c))]
    assert (one.said, one.person, one.note, source) == ("61.5F", "Ada", "after rain", "hand")


def test_a_declared_correction_makes_the_day(engine: Engine) -> None:
    declared = "hour_corrections_c = { 30 = { 8 = 0.4 } }\nerror_c = 0.6\n"
    set_up_thermometer(engine, BY_HAND + declared)
    ((_, noted),) = note(engine, MORNING).noted
    assert noted.day_c == pytest.approx(OVERNIGHT_C + 0.4)
    assert noted.error_c == 0.6


@pytest.mark.both_by_day
def test_a_correction_declared_later_makes_the_days_again(engine: Engine) -> None:
    set_up_thermometer(engine)
    note(engine, MORNING)
    set_up_thermometer(engine, BY_HAND + "hour_corrections_c = { 30 = { 8 = 0.4 } }\n")
    ((_, _, mean_c, *_),) = kept(engine)["daily_mean"]
    assert mean_c == pytest.approx(OVERNIGHT_C + 0.4)


@pytest.mark.parametrize(
    ("written", "what"),
    [
        (Written("2026-04-12 08:30", 30, "61.5C"), "61.5 °C cannot be .* Did you mean 61.5F?"),
        (Written("2026-04-12 08:30", 30, "615F"), "615.0 °F cannot be .* Look at the thermometer"),
        (Written("2026-04-12 08:30", 30, "warm"), "warm is no temperature. Write it with its unit"),
        (Written("2026-04-12 08:30", 15, "61.5F"), "not read at 15 cm. Write one of these: 30 cm"),
        (Written("2026-04-12", 30, "61.5F"), "2026-04-12 is no time. Write it like"),
        (Written("12.4.2026 8:30", 30, "61.5F"), "is no time. Write it like 2026-04-12 08:30"),
        (Written("2026-06-01 08:30", 30, "61.5F"), "2026-06-01 08:30 is still to come"),
        (Written("2026-03-08 02:30", 30, "50F"), "does not exist, the clocks go forward then"),
        (
            Written("2025-11-02 01:30", 30, "50F"),
            "twice .* like 2025-11-02T01:30-07:00 or 2025-11-02T01:30-08:00",
        ),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_a_reading_that_cannot_be_is_refused_with_what_to_write(
    engine: Engine, written: Written, what: str
) -> None:
    set_up_thermometer(engine)
    report = note(engine, written)
    assert report.import_id is None
    assert kept(engine)["reading"] == []
    assert re.search(what, refusals(report)[0])


def test_a_unit_is_never_guessed(engine: Engine) -> None:
    set_up_thermometer(engine, BY_HAND.replace('unit = "F"\n', ""))
    report = note(engine, Written("2026-04-12 08:30", 30, "61.5"))
    assert refusals(report) == ["61.5 has no unit. Write 61.5F or 61.5C."]


def test_the_thermometers_own_unit_and_only_depth_go_without_saying(engine: Engine) -> None:
    set_up_thermometer(engine)
    ((_, noted),) = note(engine, Written("2026-04-12 08:30", None, "61.5")).noted
    assert (noted.depth_cm, noted.temp_c) == (30.0, pytest.approx(OVERNIGHT_C))


def test_a_depth_of_several_must_be_said(engine: Engine) -> None:
    set_up_thermometer(engine, BY_HAND.replace("depths_cm = [30]", "depths_cm = [15, 30]"))
    report = note(engine, Written("2026-04-12 08:30", None, "61.5"))
    assert refusals(report) == ["At which depth? Write one of these: 15 cm or 30 cm."]


def test_of_several_readings_the_good_ones_are_noted(engine: Engine) -> None:
    set_up_thermometer(engine)
    report = note(engine, MORNING, Written("2026-04-13 08:30", 30, "640F"))
    assert ([n for n, _ in report.noted], [n for n, _ in report.refused]) == ([1], [2])
    with reading(engine) as connection:
        (batch,) = fetch_batches(connection)
        (reject,) = connection.execute(select(tables.import_reject)).all()
    assert (batch.inserted, batch.rejected) == (1, 1)
    assert (reject.line, reject.text) == (2, "640F")


def test_the_same_reading_again_is_noted_once(engine: Engine) -> None:
    set_up_thermometer(engine)
    note(engine, MORNING)
    ((_, noted),) = note(engine, MORNING).noted
    assert noted.again
    assert len(kept(engine)["reading"]) == 1


@pytest.mark.both_by_day
def test_another_value_for_the_time_is_listed_and_the_first_kept(engine: Engine) -> None:
    set_up_thermometer(engine)
    note(engine, MORNING)
    report = note(engine, Written("2026-04-12 08:30", 30, "65F"))
    assert refusals(report)[0].startswith("Another value is noted for that time, 61.5 °F.")
    assert [row[2] for row in kept(engine)["conflict"]] == [pytest.approx(f_to_c(65))]


@pytest.mark.both_by_day
def test_a_reading_that_is_taken_back_leaves_no_trace_and_the_next_stands(engine: Engine) -> None:
    set_up_thermometer(engine)
    wrong = note(engine, Written("2026-04-12 08:30", 30, "65F"))
    note(engine, MORNING)
    with writing(engine) as connection:
        withdraw(connection, wrong.import_id or 0, "Ada", "misread", NOW)
        (one,) = fetch_hand_readings(connection, ["h1"])
        ((_, _, error_c),) = fetch_daily_errors(connection, [1], date.min, date.max)
    assert one.said == "61.5F"
    assert error_c == pytest.approx(find_error_c(30, 7.5, corrected=False))
    assert kept(engine)["conflict"] == []


@pytest.mark.both_by_day
def test_taking_back_the_only_reading_of_a_day_takes_back_its_error(engine: Engine) -> None:
    set_up_thermometer(engine)
    report = note(engine, MORNING)
    with writing(engine) as connection:
        withdraw(connection, report.import_id or 0, "Ada", "misread", NOW)
        assert fetch_daily_errors(connection, [1], date.min, date.max) == []
    assert kept(engine) == {"reading": [], "conflict": [], "daily_mean": []}


def one_reading(instant: datetime, value_c: float) -> Readings:
    at = np.array([instant.replace(tzinfo=None)], "M8[us]")
    return Readings(at, np.array([value_c]), np.array([1], np.int8))


@pytest.mark.both_by_day
def test_a_loggers_reading_stands_beside(engine: Engine) -> None:
    set_up_thermometer(engine, BESIDE_LOGGER)
    at = datetime(2026, 4, 12, 15, 30, tzinfo=UTC)
    with writing(engine) as connection:
        for probe_id, instant, value_c in [
            (2, at - timedelta(minutes=20), 14.2),
            (2, at - timedelta(hours=2), 20.0),
            (1, at, 9.0),
        ]:
            insert_readings(connection, probe_id, 1, one_reading(instant, value_c))
    ((_, noted),) = note(engine, MORNING).noted
    (beside,) = noted.beside
    # by hand: 16.39 °C less 14.2 °C, of the probe at 30 cm, 20 minutes before
    assert (beside.logger, beside.depth_cm) == ("u1", 30.0)
    assert beside.difference_c == pytest.approx(OVERNIGHT_C - 14.2)


def test_a_silent_logger_stands_not_beside(engine: Engine) -> None:
    set_up_thermometer(engine, BESIDE_LOGGER)
    at = datetime(2026, 4, 12, 15, 30, tzinfo=UTC) - NEAR_TIME - timedelta(minutes=1)
    with writing(engine) as connection:
        insert_readings(connection, 2, 1, one_reading(at, 14.2))
    ((_, noted),) = note(engine, MORNING).noted
    assert noted.beside == ()


def test_a_thermometer_of_no_such_name_is_told_with_those_there_are(engine: Engine) -> None:
    set_up_thermometer(engine, BY_HAND + THERMOMETER.replace("h1", "h2"))
    with reading(engine) as connection, pytest.raises(HandReadingError) as caught:
        find_thermometer(connection, "h9")
    assert refuse(caught.value, "en") == "There is no thermometer h9. Write one of these: h1 or h2."
