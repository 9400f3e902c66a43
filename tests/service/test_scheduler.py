"""Jobs go on after the clock was wrong for a moment, in which the scheduler reckoned its wait."""

from __future__ import annotations

from pathlib import Path
from threading import Event

import pytest
from apscheduler.schedulers.background import BackgroundScheduler
from sqlalchemy import Engine

from service import scheduler
from service.settings import Settings

FORTY_DAYS_S = 40 * 86_400.0


class Misled(BackgroundScheduler):
    """Waits as it does when the clock was forty days back while it asked what is due next."""

    def _process_jobs(self) -> float:
        super()._process_jobs()
        return FORTY_DAYS_S


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_a_wait_that_was_reckoned_by_a_wrong_clock_ends(
    engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs = 0
    ran_again = Event()

    def job(_engine: Engine, _settings: Settings, _stop: Event) -> None:
        nonlocal runs
        runs += 1
        if runs == 3:
            ran_again.set()

    monkeypatch.setattr(scheduler, "BackgroundScheduler", Misled)
    monkeypatch.setattr(scheduler, "LOOKING_AT_CLOCK_S", 0.05)
    monkeypatch.setattr(scheduler, "WATCHING", {"watch": (job, 0.01)})
    with scheduler.watching(engine, Settings(data=tmp_path)):
        assert ran_again.wait(10)
