"""Blocks that rest on a station: its probes serve them, and they say where it lies."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine

from probes.frames import DailyMeans
from probes.units import f_to_c
from service.rounds import run_round
from service.settings import Settings
from service.showing import window_records
from service.store.blocks import Block, fetch_blocks
from service.store.daily import store_daily_means
from service.store.engine import writing
from service.store.stations import add_probes
from tests import farms
from tests.farms import STATION_ELSEWHERE, set_up

ON_STATION = 'name = "Terrace 7"\nprobes = ["b1:20", "b1:50"]'
FARM = farms.farm_text(north=True) + STATION_ELSEWHERE
AT_20_CM, AT_5_CM = 4, 5  # after the three of logger u1


def set_up_block(engine: Engine, basis: str) -> Block:
    set_up(engine, FARM.replace('name = "Terrace 7"', basis))
    with writing(engine) as connection:
        add_probes(connection, "b1", {"SOIL_TEMP_20": 20.0, "SOIL_TEMP_5": 5.0})
        (block,) = fetch_blocks(connection)
    return block


def test_a_station_s_declared_probes_serve_a_block_of_another_site(engine: Engine) -> None:
    block = set_up_block(engine, ON_STATION)
    depths_cm = {stretch.probe_id: stretch.depth_cm for stretch in block.stretches}
    assert depths_cm == pytest.approx({AT_20_CM: 20.0, AT_5_CM: np.nan}, nan_ok=True)


def test_a_block_says_how_far_and_how_high_its_station_lies(engine: Engine) -> None:
    (source,) = set_up_block(engine, ON_STATION).sources
    # by hand: 0.1 degrees of latitude; 260 m less 120 m
    assert source.name == "Low Bench"
    assert source.distance_km == pytest.approx(11.1195, abs=1e-3)
    assert source.higher_m == 140


def test_the_distance_counts_from_the_block_where_it_says_where_it_lies(engine: Engine) -> None:
    place = f"{ON_STATION}\nlatitude = 45.2\nlongitude = -123.2"
    (source,) = set_up_block(engine, place).sources
    assert source.distance_km == pytest.approx(0, abs=1e-6)


def test_a_block_of_its_own_loggers_rests_on_no_station(engine: Engine) -> None:
    block = set_up_block(engine, 'name = "Terrace 7"')
    assert block.sources == ()
    assert {stretch.depth_cm for stretch in block.stretches} == {15.0, 30.0, 45.0}


def test_a_depth_that_a_station_corrects_moves_its_probe(engine: Engine) -> None:
    set_up_block(engine, ON_STATION)
    with writing(engine) as connection:
        add_probes(connection, "b1", {"SOIL_TEMP_20": 50.0})
        (block,) = fetch_blocks(connection)
    assert block.stretches[0].depth_cm == 50.0


def test_what_is_told_of_a_block_on_a_station_names_it(engine: Engine, tmp_path: Path) -> None:
    set_up_block(engine, ON_STATION)
    temps_f = np.array([50.0] * 30 + [70.0] * 5)
    slots = np.full(temps_f.size, 24, np.int16)
    days = np.datetime64("2025-04-01") + np.arange(temps_f.size)
    means = DailyMeans(days, f_to_c(temps_f), slots, slots, slots * 0, slots > 0)
    with writing(engine) as connection:
        store_daily_means(connection, AT_20_CM, days, means)
    settings = Settings(data=tmp_path)
    report = run_round(engine, settings, datetime(2025, 5, 6, 15, 30, tzinfo=UTC))
    (notice,) = report.notices
    (record,) = window_records(report.evaluations)
    assert [source.name for source in notice.sources] == ["Low Bench"]
    assert record["source"] == "the station Low Bench, 11 km away, 140 m higher"
    mail = report.delivered[0].read_text(encoding="utf-8")
    assert "the station Low Bench" in " ".join(mail.replace("=\n", "").split())
