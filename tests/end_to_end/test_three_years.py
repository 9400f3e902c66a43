"""Three years of the invented cooperative, from a weak patch to the table for replanting."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import Engine, select

from alerts.dig.vigour import Vigour
from service.settings import Settings
from service.store import tables
from service.store.engine import open_engine, writing
from service.store.finds_consents import agree_to_finds
from tests.commands import digseason
from tests.planted import plant_days
from tests.serving import serving_here
from tests.signed_in import plant_account, sign_in_as
from tests.vigour_blocks import PLANTING, write_vigour

ROOT = Path(__file__).parents[2]
HEADER = "block,row,vine,dug_on,person,roots,swellings,insects,specimen,by_lot"
BY = ("--by", "Tobin Stillmarrow")
LAST = ("--as-of", "2026-06-01")


def plant_patch(year: int, half_m: float) -> tuple[str, int]:
    """Return the vigour of River Row, 24 rows of 40 vines, with a patch; and its vines."""
    rng = np.random.default_rng(year)
    across_m, along_m = np.indices((24, 40)) * np.array([PLANTING.row_m, PLANTING.vine_m]).reshape(
        2, 1, 1
    )
    value = np.exp(0.06 * rng.normal(size=(24, 40)))
    patch = ((along_m - 30) / (half_m * 1.3)) ** 2 + ((across_m - 30) / (half_m / 1.3)) ** 2 <= 1
    value[patch] *= 0.7
    return write_vigour(Vigour(value, PLANTING, 1, 1)), int(patch.sum())


def write_digs(block_id: str, day: str, vines: Iterable[int], row: int = 1, **seen: str) -> str:
    """Return lines of a table of digs; unless said otherwise by lot, with fine roots, no insect."""
    told = {"roots": "fine", "swellings": "none", "insects": "none"}
    cells = ",".join((told | {"specimen": "", "by_lot": "yes"} | seen).values())
    return "".join(f"{block_id},{row},{vine},{day},Tobin,{cells}\n" for vine in vines)


@dataclass(frozen=True)
class Story:
    """The store after three years, and what was said on the way."""

    data: Path
    engine: Engine
    said: dict[str, Any]


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    data = tmp_path_factory.mktemp("years")
    said: dict[str, Any] = {}

    def measure(year: int, half_m: float) -> None:
        text, said[f"planted {year}"] = plant_patch(year, half_m)
        (data / "ndvi.csv").write_text(text)
        day = f"{year}-02-03"
        digseason(data, "patches", "--block", "river-row", data / "ndvi.csv", "--on", day)

    def bring(*lines: str) -> None:
        (data / "digs.csv").write_text("\n".join([HEADER, "".join(lines)]))
        digseason(data, "finds", "import", data / "digs.csv", *BY)

    def order(name: str, as_of: str) -> None:
        said[name] = json.loads(digseason(data, "order", "--as-of", as_of, "--json"))

    digseason(data, "setup", ROOT / "sample_logs" / "farm.toml")
    engine = open_engine(f"sqlite:///{data / 'digseason.db'}")
    with writing(engine) as connection:
        of_block = tables.probe.c.logger_id == "SM-1"
        for probe_id in connection.scalars(select(tables.probe.c.id).where(of_block)):
            for year in (2024, 2025):  # 64 °F and more from October to the end of November
                temps_f = [50.0] * 92 + [68.0] * 61
                plant_days(connection, date(year, 7, 1), temps_f, probe_id)
    # 2024: a weak patch; two of twelve vines chosen there show swellings; elsewhere none by lot
    measure(2024, 5.0)
    seen = {"swellings": "pale", "by_lot": "no", "specimen": "sent"}
    bring(
        write_digs("river-row", "2024-10-14", (16, 17), row=11, **seen),
        write_digs("river-row", "2024-10-14", range(18, 28), row=11, by_lot="no"),
        write_digs("terrace-7", "2024-10-15", range(1, 46)),
        write_digs("barn-flat", "2024-10-16", range(1, 31)),
    )
    order("2024", "2024-11-01")
    # 2025: a specialist confirms; Long Acre has no live roots; Terrace 9 is another insect
    measure(2025, 7.5)
    bring(
        write_digs("river-row", "2024-10-14", [16], row=11, **seen | {"specimen": "confirmed"}),
        write_digs("river-row", "2025-07-20", range(1, 11), by_lot="no"),
        write_digs("long-acre", "2025-10-15", range(1, 21), roots="none"),
        write_digs("terrace-9", "2025-10-15", [4], insects="few", by_lot="no"),
    )
    order("2025", "2025-11-01")
    bring(
        write_digs("terrace-9", "2025-10-15", [4], insects="few", specimen="another", by_lot="no"),
        write_digs("barn-flat", "2025-10-16", range(101, 131)),
        write_digs("river-row", "2025-10-17", [20], row=13, **seen | {"specimen": "confirmed"}),
    )
    # 2026: what is there to decide by
    measure(2026, 11.0)
    order("2026", "2026-06-01")
    plant_account(engine, "root@example.org", "administrator")
    plant_account(engine, "cora@example.org", "coordinator")
    with writing(engine) as connection:
        agree_to_finds(connection, "stillmarrow", "Tobin Stillmarrow", datetime.now(UTC))
    yield Story(data, engine, said)
    engine.dispose()


def ask(story: Story, *words: str) -> list[dict[str, Any]]:
    return json.loads(digseason(story.data, *words, "--json"))


def test_the_first_suspicion_goes_last_and_the_surest_block_first(story: Story) -> None:
    stands = [(one["block"], one["status"]) for one in story.said["2024"]]
    assert stands[:2] == [("terrace-7", "not found"), ("barn-flat", "not found")]
    assert {status for _, status in stands[2:-1]} == {"not looked at"}
    assert stands[-1] == ("river-row", "suspected")
    # by hand: 640 vines, 32 infested, 45 dug, each shown with 0.8: the hypergeometric sum of
    # [CAMERON-1998] by scipy 0.8510; [MARTIN-2007] 0.5 / (0.5 + 0.5 * 0.1490) = 0.8703
    assert story.said["2024"][0]["confidence"] == pytest.approx(0.8703, abs=2e-3)


def test_a_confirmed_find_stays_last_and_no_live_roots_are_no_answer(story: Story) -> None:
    stands = {one["block"]: one for one in story.said["2025"]}
    assert [one["block"] for one in story.said["2025"]][-2:] == ["terrace-9", "river-row"]
    assert stands["river-row"]["status"] == "found"
    assert stands["river-row"]["since"] == "2024-10-14"
    assert stands["long-acre"]["status"] == "not looked at"
    assert stands["long-acre"]["no_live_roots"] == 20


def test_another_insect_takes_the_suspicion_away_and_a_second_season_adds_up(
    story: Story,
) -> None:
    stands = {one["block"]: one for one in story.said["2026"]}
    assert (stands["terrace-9"]["status"], stands["terrace-9"]["confidence"]) == ("not found", None)
    # by hand [MARTIN-2007], Barn Flat, 30 of 1400 by lot twice: SSe s = 0.7083 each;
    # 0.5/(0.5 + 0.5 (1 - s)) = 0.7742; a year on 0.7742 * 0.95 = 0.7355;
    # 0.7355/(0.7355 + 0.2645 (1 - s)) = 0.9051
    assert stands["barn-flat"]["confidence"] == pytest.approx(0.9051, abs=3e-3)
    order = [one["block"] for one in story.said["2026"]]
    assert (order[0], order[-1]) == ("barn-flat", "river-row")


def test_the_patch_grew_within_what_is_published(story: Story) -> None:
    growth = ask(story, "spread", "--block", "river-row", *LAST)
    weak = [one for one in growth if one["what"] == "weak vines"]
    assert [one["since"] for one in weak] == ["2024-02-03", "2025-02-03"]
    planted = [story.said[f"planted {year}"] for year in (2024, 2025, 2026)]
    seen = [weak[0]["vines_before"], weak[1]["vines_before"], weak[1]["vines_after"]]
    assert seen == pytest.approx(planted, rel=0.2)
    assert [one["pace"] for one in weak] == ["within", "within"]
    # by hand: from 3 February to 3 February
    times = (seen[2] / seen[1]) ** (365.25 / 365)
    assert weak[1]["times_a_year"] == pytest.approx(times, abs=1e-3)
    (found,) = [one for one in growth if one["what"] == "vines with a find"]
    assert (found["vines_before"], found["vines_after"]) == (2, 3)  # the one still suspected too


def test_the_table_for_replanting_holds_what_there_is_to_decide_by(story: Story) -> None:
    rows = {one["block"]: one for one in ask(story, "replanting", "--share", "25%", *LAST)}
    row = rows["river-row"]
    assert list(rows) == [
        *("hedge-side", "terrace-7", "terrace-9", "crown", "saddle"),
        *("barn-flat", "long-acre", "river-row"),
    ]  # by site and name: nothing else decides
    assert (row["status"], row["planted"], row["age"]) == ("found", 1998, 28)
    assert (row["roots"], row["vines"], row["weak_on"]) == ("own roots", 960, "2026-02-03")
    # by hand: 68 of 960 are to become 240, 3.529 times as many: ln 3.529 = 1.2611; by 1.2, 2.135
    # and 3.8 a year 6.917, 1.662 and 0.945 years from 3 February 2026: January 2033, October and
    # January 2027
    assert row["share"] == pytest.approx(68 / 960, abs=5e-5)
    assert [row[f"year_{pace}"] for pace in ("slow", "middle", "fast")] == [2033, 2027, 2027]
    assert rows["saddle"]["share"] is None


def test_finds_per_dig_inside_and_outside_the_windows(story: Story) -> None:
    rates = {
        (one["by_lot"], one["by"], one["group"]): one
        for one in ask(story, "finds", "by-window", "--block", "river-row", *LAST)
    }
    inside, outside = (rates[0, "window", side] for side in ("inside", "outside"))
    # by hand: 12 of 14 October 2024 and one of 17 October 2025; ten in the cold of July
    assert (inside["digs"], inside["finds"], inside["suspected"]) == (13, 2, 1)
    assert (outside["digs"], outside["finds"]) == (10, 0)
    assert rates[0, "root zone", "64-70 °F"]["digs"] == 13
    assert rates[1, "window", "inside"]["digs"] == 0
    printed = digseason(story.data, "finds", "by-window", *LAST)
    assert "no number of the rule should be moved by this" in " ".join(printed.split())
    assert max(map(len, printed.splitlines())) <= 80


def test_no_page_of_it_shows_a_coordinator_what_is_not_shared(story: Story) -> None:
    with serving_here(story.engine, Settings(data=story.data)) as here:
        root, cora = (sign_in_as(here, f"{name}@example.org") for name in ("root", "cora"))
        for path in ("/replanting", "/order"):
            whole, part = (one.get(here + path, timeout=60).text for one in (root, cora))
            assert "Terrace 7" in whole
            assert "River Row" in part
            assert "5 blocks are left out" in part
            assert "Terrace 7" not in part
            assert "style=" not in whole
        spanish = root.get(f"{here}/replanting", headers={"Accept-Language": "es"}, timeout=60)
    text = spanish.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Se llega al 25 %" in text
    assert "dentro de lo publicado" in text


def test_the_readme_shows_the_table_as_it_is(story: Story) -> None:
    printed = digseason(story.data, "replanting", *LAST).split("\n\n")[0]
    readme = (ROOT / "README.md").read_text("utf-8")
    assert "\n".join(f"    {line}" for line in printed.splitlines()) in readme
