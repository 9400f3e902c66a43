"""Digests list blocks in the order in which to go, for who may know what was found."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, update

from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.engine import writing
from service.store.finds_consents import agree_to_finds
from tests.digs import CONFIRMED, dig, keep
from tests.mails import text_of
from tests.planted import plant_block, plant_days, plant_place, plant_recipient

WARM_F = [50.0] * 30 + [70.0] * 5
NOW = datetime(2025, 5, 6, 15, 30, tzinfo=UTC)
WHY = "Blocks stand in the order in which to go to them"


@pytest.mark.parametrize(
    ("role", "agreed", "first"),
    [
        ("grower", False, "Terrace 7"),
        ("coordinator", False, "Ledge"),
        ("coordinator", True, "Terrace 7"),
    ],
)
def test_a_block_with_a_find_comes_last_to_who_may_know_and_by_name_to_others(
    engine: Engine, tmp_path: Path, role: str, agreed: bool, first: str
) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", probe_id=2)
        plant_recipient(connection, "Ada Example")
        connection.execute(update(tables.recipient).values(role=role))
        for probe_id in (1, 2):
            plant_days(connection, date(2025, 4, 1), WARM_F, probe_id)
        if agreed:
            agree_to_finds(connection, "at-ledge", "Ada Example", NOW)
    keep(engine, [dig(date(2024, 5, 2), 1, "ledge", **CONFIRMED)])
    delivered = run_round(engine, Settings(data=tmp_path), NOW).delivered
    mails = [text_of(path.read_bytes()) for path in delivered if path.suffix == ".eml"]
    (text,) = [" ".join(one.split()) for one in mails if "Terrace 7" in one]
    other = {"Terrace 7": "Ledge", "Ledge": "Terrace 7"}[first]
    assert text.index(first) < text.index(other)
    assert (WHY in text) is (first == "Terrace 7")
