"""What people are told where the readings behind it are withdrawn: no more than is known."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.intake.undoing import restore, withdraw
from service.rounds import run_round
from service.settings import Settings
from service.store.engine import writing
from tests.brought import deliver
from tests.farms import farm_text, set_up
from tests.mails import read_mail, text_of

NOW = datetime(2025, 5, 17, 16, tzinfo=UTC)
MIDNIGHT = datetime(2025, 5, 1, 8, tzinfo=UTC)  # by UTC-08:00
# by hand, R in °C by day of May: 8, 10.4, 12.8, 15.2, 17.6, 20: with 0.2 as the middle of what
# hours vary by 17.8 on the 4th, 64 °F; (3 * 20 + 2 * 8) / 5 = 15.2 on the 12th, below 60 °F
BATCHES = [(-30, 0, 8.0), (0, 5, 20.0), (5, 10, 20.0), (10, 16, 8.0)]


@pytest.fixture
def told(engine: Engine, tmp_path: Path) -> Engine:
    """A store whose grower was told that spring opened, and that cold closed it."""
    set_up(engine, farm_text(north=True, depths_cm=[30]))
    with writing(engine) as connection:
        for first, last, temp_c in BATCHES:
            begin, end = (MIDNIGHT + timedelta(days=day) for day in (first, last))
            hour = timedelta(hours=1)
            deliver(connection, begin + hour, end, end, temp_c=temp_c, channels=["T30"])
    for day in (10, 16):
        tell(engine, tmp_path, day)
    return engine


def tell(engine: Engine, folder: Path, day: int = 16) -> list[tuple[str, str]]:
    """Run a round as of a day of May; return subject and text of what it told."""
    report = run_round(engine, Settings(data=folder), NOW, date(2025, 5, day))
    delivered = [one.read_bytes() for one in report.delivered]
    return [(read_mail(one)["Subject"], text_of(one)) for one in delivered]


def take_back(engine: Engine, *numbers: int) -> None:
    with writing(engine) as connection:
        for number in numbers:
            withdraw(connection, number, "Ada Example", "of another block", NOW)


def test_a_close_whose_readings_were_withdrawn_leaves_open_whether_it_is_open(
    told: Engine, tmp_path: Path
) -> None:
    take_back(told, 4)
    ((subject, text),) = tell(told, tmp_path)
    assert subject == "Terrace 7: not known whether spring dig season is still open"
    assert "opened on 4 May. Whether it is still open is not known: the readings behind" in text
    assert tell(told, tmp_path) == []
    with writing(told) as connection:
        restore(connection, 4)
    ((subject, _),) = tell(told, tmp_path)
    assert subject == "Terrace 7: dig season is closed for now, the soil is too cold"


@pytest.mark.sqlite_by_day
def test_an_opening_whose_readings_were_withdrawn_is_not_denied(
    told: Engine, tmp_path: Path
) -> None:
    take_back(told, 2, 3)
    ((subject, text),) = tell(told, tmp_path)
    assert subject == "Terrace 7: not known whether spring dig season has opened"
    # the mean of today is there and cold, and says nothing of the days before
    assert "were taken back or no longer count. The root zone (15-45 cm) was at 46.8 °F" in text


@pytest.mark.sqlite_by_day
def test_an_opening_that_is_left_in_a_gap_lies_between(told: Engine, tmp_path: Path) -> None:
    take_back(told, 2)
    ((subject, text),) = tell(told, tmp_path)
    assert subject == "Terrace 7: the dates of spring dig season are corrected"
    # by hand: four of five days are there on 9 May; before that the last mean is of 30 April
    assert "opened between 1 and 9 May; the day you were told was 4 May." in text
