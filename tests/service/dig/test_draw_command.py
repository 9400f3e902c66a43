"""digseason digs draw, and plan --block: vines by lot of a block, after what was dug before."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from sqlalchemy import Engine, update

from alerts.dig.freedom import follow_confidence
from alerts.dig.records import DigRecord, Insects, Roots
from alerts.dig.sampling import Design
from alerts.dig.vigour import Vigour
from service.store import tables
from service.store.dig_records import keep_dig_record
from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block
from tests.vigour_blocks import PLANTING, write_vigour

BLOCK = ("--block", "terrace-7")


@pytest.fixture
def engine(sqlite_template: Path, tmp_path: Path) -> Iterator[Engine]:
    """A block of 20 by 30 vines whose vigour is known."""
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, tmp_path / 'digseason.db')}")
    with writing(engine) as connection:
        plant_block(connection)
        spacing = {"row_spacing_m": 3.0, "vine_spacing_m": 1.8}
        connection.execute(update(tables.block).values(spacing))
    yield engine
    engine.dispose()


@pytest.fixture
def store(engine: Engine, tmp_path: Path) -> Path:
    assert engine.url.database == f"{tmp_path / 'digseason.db'}"
    path = tmp_path / "vigour.csv"
    value = 2 + 0.04 * np.random.default_rng(3).normal(size=(20, 30))
    path.write_text(write_vigour(Vigour(value, PLANTING, 1, 1)), "utf-8")
    assert run(tmp_path, "patches", *BLOCK, path)[0] == 0
    return tmp_path


def dig(vine: int, by_lot: bool, insects: Insects = Insects.NONE, year: int = 2025) -> DigRecord:
    day, number = date(year, 5, 6), f"{year}-{vine}-{by_lot}"
    return DigRecord(
        number, "terrace-7", (1, vine), day, "Ada", Roots.FINE, insects=insects, by_lot=by_lot
    )


def test_the_same_seed_draws_the_same_on_screen_as_a_table_and_on_paper(store: Path) -> None:
    words = ("digs", "draw", *BLOCK, "--count", "20", "--seed", "7")
    pdf = store / "lot.pdf"
    rows = json.loads(run(store, *words, "--json", "--pdf", pdf)[1])
    drawn = [(one["row"], one["vine"]) for one in rows if not one["spare"]]
    assert (len(drawn), len(rows)) == (20, 23)
    printed = run(store, *words)[1]
    assert "20 of 600, seed 7" in " ".join(printed.split())
    assert max(map(len, printed.splitlines())) <= 80
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in document)
    document.close()
    missing = [at for at, (row, vine) in enumerate(drawn, 1) if f"{at} {row} {vine} " not in text]
    assert missing == []
    assert "seed 7" in text


def test_without_a_seed_one_is_chosen_and_told(store: Path) -> None:
    words = ("digs", "draw", *BLOCK, "--count", "5", "--json")
    seeds = {json.loads(run(store, *words)[1])[0]["seed"] for _ in range(3)}
    assert len(seeds) > 1


def test_a_plan_of_a_block_counts_its_vines_and_its_digs_by_lot(
    engine: Engine, store: Path
) -> None:
    with writing(engine) as connection:
        now = datetime.now(UTC)
        for vine in range(1, 13):
            keep_dig_record(connection, dig(vine, by_lot=vine <= 10), "Ada", now)
    words = ("digs", "plan", *BLOCK, "--season", "2025", "--json")
    (one,) = json.loads(run(store, *words)[1])
    _, sure = follow_confidence(Design(600, 0.05, 0.8), {2025: 10}, 2025, 0.05)
    assert (one["vines"], one["dug_by_lot"]) == (600, 10)
    assert one["confidence_now"] == pytest.approx(sure)
    printed = run(store, "digs", "plan", *BLOCK)[1]
    assert "digseason digs draw --block terrace-7" in printed


def test_after_a_find_no_dig_makes_a_plan_surer(engine: Engine, store: Path) -> None:
    with writing(engine) as connection:
        now = datetime.now(UTC)
        keep_dig_record(connection, dig(1, by_lot=True), "Ada", now)
        keep_dig_record(connection, dig(2, by_lot=True, insects=Insects.FEW), "Ada", now)
    words = ("digs", "plan", *BLOCK, "--season", "2025")
    (one,) = json.loads(run(store, *words, "--json")[1])
    assert one["confidence_now"] is None
    assert "Suspected since" in run(store, *words)[1]


@pytest.mark.usefixtures("engine")
@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("draw", *BLOCK), "which vines Terrace 7 has is not known"),
        (("draw", *BLOCK, "--grid", "4by5"), "'4by5' is no rows and vines; write 24x40"),
        (("draw", *BLOCK, "--grid", "4x5", "--count", "21"), "21 vines, but 20 are known"),
        (("plan", *BLOCK), "how many vines terrace-7 has is not known; write --vines"),
        (("plan",), "how many vines there are is not known; write --vines"),
    ],
)
def test_what_is_not_known_is_said_with_what_to_write(
    tmp_path: Path, words: tuple[str, ...], problem: str
) -> None:
    code, printed = run(tmp_path, "digs", *words)
    assert code == 2
    assert problem in " ".join(printed.split()).replace("│ ", "")


@pytest.mark.usefixtures("engine")
def test_a_block_without_vigour_is_drawn_from_its_rows(tmp_path: Path) -> None:
    words = ("digs", "draw", *BLOCK, "--grid", "20x30", "--json")
    rows = json.loads(run(tmp_path, *words)[1])
    # source: [CAMERON-1998] by digs plan: 600 vines, 5 %, 80 %, 95 %
    (plan,) = json.loads(run(tmp_path, "digs", "plan", "--vines", "600", "--json")[1])
    assert sum(not one["spare"] for one in rows) == plan["dig_by_lot"]
