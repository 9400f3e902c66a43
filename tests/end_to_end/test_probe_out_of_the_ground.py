"""A probe pulled out of the ground in a real spring: [UTAH-PROFILE] with its air planted in it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, select

from probes.checks import unpack
from probes.frames import GOOD, SUSPECT
from service.overruling import overrule, withdraw
from service.rounds import RoundReport, run_round
from service.settings import Settings
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from tests.farms import farm_text, set_up
from tests.flagged import LOGGER, Soil, bring, flags_due, stored_flags
from tests.soil_series import profile, profile_air

DEPTHS_CM = (10, 20, 30)
AS_OF = date(2025, 5, 13)
NOW = datetime(2025, 5, 14, 16, tzinfo=UTC)
OUT = (datetime(2025, 5, 5, 8, tzinfo=UTC), datetime(2025, 5, 14, 8, tzinfo=UTC))
# by hand, from the table: five days of air pass 64 °F on 12 May; the soil itself at 20 cm does on
# 28 May, by midnights of UTC-08:00
AIR_OPENS, SOIL_OPENS = date(2025, 5, 12), date(2025, 5, 29)


def soil_with_air() -> Soil:
    """Return three depths; the probe at 20 cm lies in the air for nine days of May."""
    soil = {f"T{one.depth_cm:g}": one for one in profile() if one.depth_cm in DEPTHS_CM}
    air = profile_air()
    first, last = (np.datetime64(end.replace(tzinfo=None), "us") for end in OUT)
    is_out = (air.observed_at >= first) & (air.observed_at <= last)
    probe = soil["T20"]
    place = np.searchsorted(probe.observed_at, air.observed_at[is_out])
    value_c = probe.soil_temp_c.copy()
    value_c[place] = air.soil_temp_c[is_out]
    return soil | {"T20": replace(probe, soil_temp_c=value_c)}


@pytest.fixture
def pulled_out(engine: Engine) -> Engine:
    """A store with that season; the block rests on the probe at 20 cm alone."""
    text = farm_text(north=True, depths_cm=DEPTHS_CM)
    set_up(engine, text.replace('name = "Terrace 7"', 'name = "Terrace 7"\nprobes = ["u1:20"]'))
    bring(engine, soil_with_air())
    return engine


def run(engine: Engine, folder: Path, as_of: date = AS_OF) -> list[tuple[str, date | None]]:
    report: RoundReport = run_round(engine, Settings(data=folder), NOW, as_of)
    return [(notice.what, notice.opened_on) for notice in report.notices]


def complete_days(engine: Engine) -> int:
    """Return how many days of the probe at 20 cm count while it is out."""
    query = (
        select(tables.daily_mean.c.day)
        .join(tables.probe)
        .where(
            tables.probe.c.channel == "T20",
            tables.daily_mean.c.complete,
            tables.daily_mean.c.day.between(date(2025, 5, 9), AS_OF),
        )
    )
    with reading(engine) as connection:
        return len(connection.scalars(query).all())


def test_air_opens_no_window(pulled_out: Engine, tmp_path: Path) -> None:
    found = stored_flags(pulled_out)
    assert found == flags_due(soil_with_air())
    late = [row for row in found["T20"] if datetime(2025, 5, 9, tzinfo=UTC) < row[0] <= OUT[1]]
    assert {row[2] for row in late} == {SUSPECT}
    assert {int(unpack(row[3])["neighbours"]) for row in late} == {SUSPECT}
    assert complete_days(pulled_out) == 0
    assert run(pulled_out, tmp_path) == []


def test_a_persons_word_opens_it_and_its_withdrawal_is_corrected(
    pulled_out: Engine, tmp_path: Path
) -> None:
    checked = stored_flags(pulled_out)
    with writing(pulled_out) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        number = overrule(
            connection, logger, logger.probe("T20"), OUT, GOOD, "warm rain", "Ada Example", NOW
        )
    word = stored_flags(pulled_out)
    assert complete_days(pulled_out) == 5
    assert run(pulled_out, tmp_path) == [("opened", AIR_OPENS)]
    with writing(pulled_out) as connection:
        withdraw(connection, number, "Ben Example", "it lay in the air", NOW)
    assert run(pulled_out, tmp_path) == [("corrected", None)]
    assert stored_flags(pulled_out) == checked
    # what the checks found was there to be seen all the while
    assert [row[3] for row in word["T20"]] == [row[3] for row in checked["T20"]]


def test_the_soil_opens_it_later(pulled_out: Engine, tmp_path: Path) -> None:
    assert run(pulled_out, tmp_path, date(2025, 6, 5)) == [("opened", SOIL_OPENS)]
