"""A logger that is emptied by hand: the nowcast, then what its readings say, as people get it."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, select

from probes.units import c_to_f
from service.rounds import RoundReport, run_round
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from tests.generated_root_zone import generated_days
from tests.mails import text_of
from tests.planted import plant_block, plant_days, plant_recipient

FIRST, LAST, LATE, EMPTIED = (
    date(1991, 1, 1),
    date(1994, 5, 5),
    date(1994, 6, 14),
    date(1994, 6, 28),
)


def days_f(first: date, last: date, warmer_c: float = 0.0) -> list[float]:
    """Return the days of a generated climate [degF]."""
    days, root_zone_c = generated_days(seed=1, years=4)
    within = (days >= np.datetime64(first)) & (days <= np.datetime64(last))
    return [c_to_f(one_c + warmer_c) for one_c in root_zone_c[within].tolist()]


def round_of(engine: Engine, data: Path, as_of: date) -> RoundReport:
    now = datetime.combine(as_of + timedelta(days=1), time(20), UTC)
    return run_round(engine, Settings(data=data), now, as_of)


def plant_emptied_by_hand(engine: Engine, data: Path) -> None:
    """Put in a block with readings up to 5 May, and rounds of that day and of 14 June."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, FIRST, days_f(FIRST, LAST))
        plant_recipient(connection, "Ada Example", channels=("mail", "sms"))
    assert round_of(engine, data, LAST).notices == []
    told = round_of(engine, data, LATE)
    assert [one.what for one in told.notices] == ["probably open"]
    mail, text = (path.read_bytes() for path in told.delivered)
    letter = text_of(mail)
    assert "Nowcast: spring dig season has probably been open since about" in letter
    assert letter.count("Nowcast") == 1
    assert "The chance that it is open now is 9" in letter
    # the season so far and what is to come: no readings since 5 May, today, likely open
    assert re.search("Jan 1994 │···│[^J]*◂▓+[^J]* Dec 1994", letter)
    assert "░▒▓ ahead: open with a chance" in letter
    assert b"dig season is probably open (nowcast). Last readings 5 May." in text
    assert round_of(engine, data, LATE + timedelta(days=1)).notices == []


def test_the_opening_replaces_the_nowcast_when_the_logger_is_emptied(
    engine: Engine, tmp_path: Path
) -> None:
    plant_emptied_by_hand(engine, tmp_path)
    with writing(engine) as connection:
        since = LAST + timedelta(days=1)
        plant_days(connection, since, days_f(since, EMPTIED))
    report = round_of(engine, tmp_path, EMPTIED)
    (notice,) = report.notices
    assert notice.what == "opened"
    assert notice.opened_on
    letter = text_of(report.delivered[0].read_bytes())
    days_ago = (EMPTIED - notice.opened_on).days
    assert f"{days_ago} days ago; the nowcast had said about" in letter
    assert round_of(engine, tmp_path, EMPTIED + timedelta(days=1)).notices == []
    with reading(engine) as connection:
        (kept,) = connection.execute(select(tables.notice_nowcast)).all()
    assert (kept.issued_on, kept.last_day) == (LATE, LAST)


@pytest.mark.sqlite_by_day
def test_readings_that_contradict_the_nowcast_are_told(engine: Engine, tmp_path: Path) -> None:
    plant_emptied_by_hand(engine, tmp_path)
    with writing(engine) as connection:
        since = LAST + timedelta(days=1)
        plant_days(connection, since, days_f(since, EMPTIED, warmer_c=-9))
    report = round_of(engine, tmp_path, EMPTIED)
    assert [one.what for one in report.notices] == ["nowcast withdrawn"]
    assert "has not opened: the nowcast had said about" in text_of(report.delivered[0].read_bytes())
    assert round_of(engine, tmp_path, EMPTIED + timedelta(days=1)).notices == []
