"""digseason compare --to: a folder that others' tools read, the same from the same store."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from frictionless import Package
from sqlalchemy import Engine

from service.store.engine import writing
from service.study.methods import REFERENCES
from tests.commands import run
from tests.planted import plant_block, plant_days
from tests.running_peers import ROOT
from tests.service.study.test_compare import RISING


@pytest.fixture
def written(engine: Engine, tmp_path: Path) -> Path:
    with writing(engine) as connection:
        plant_block(connection)
        for year in range(2021, 2026):
            plant_days(connection, date(year, 4, 1), [None, *RISING[1:]])
    url = engine.url.render_as_string(hide_password=False)
    earlier = tmp_path / "again" / "figures"
    earlier.mkdir(parents=True)
    for name in ("mine", "elevation"):
        (earlier / f"{name}.svg").touch()
    note = tmp_path / "note.txt"
    note.write_text("From the <bench>.\nFree to use.\n", "utf-8")
    for name in ("first", "again"):
        words = "--by", "depth", "--open-f", "64,62", "--as-of", "2025-12-31", "--note", str(note)
        code, printed = run(
            tmp_path, "compare", *words, "--to", str(tmp_path / name), database_url=url
        )
        assert code == 0, printed
    return tmp_path


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_a_folder_is_read_by_others_and_comes_again_as_it_was(written: Path) -> None:
    folder = written / "first"
    package = Package(folder / "datapackage.json")
    report = package.validate()  # checksums, types and names of columns too
    assert report.valid, report.flatten(["message"])
    assert {one.name for one in package.resources} == {"openings", "days"}
    openings = pd.read_csv(folder / "openings.csv", parse_dates=["opened_on"])
    spring = openings[(openings["kind"] == "spring") & (openings["spring_opens_f"] == 64)]
    assert [str(one.date()) for one in spring["opened_on"]] == [
        f"{year}-05-01" for year in range(2021, 2026)
    ]
    fields = {one.name: one for one in package.get_resource("openings").schema.fields}
    assert (fields["opened_on"].type, fields["depth_cm"].custom["unit"]) == ("date", "cm")
    page = (folder / "report.html").read_text("utf-8")
    assert "When dig season opens: 1 place, 2021 to 2025" in page
    assert "+0.0 days a decade" in page
    assert "Of 10 windows: 5 opened, 5 of them on a day that is known; 5 no readings." in page
    assert page.count("<svg") == 2  # ribbons, thresholds
    # by hand: 42 days from 1 May on; days end on 20 May
    assert "30 cm, 2021: No readings from 1 January 2021 to 4 April 2021. Open from 1 May" in page
    assert "<td>1 May</td><td></td><td>21 May-12 Jun</td><td></td><td>42</td>" in page
    assert "<p>From the &lt;bench&gt;. Free to use.</p>" in page
    assert "Spring was let open at 62 °F (16.67 °C), 64 °F (17.78 °C);" in page
    assert "The longest trend is of 5 seasons" in page
    assert "within errors: each" not in page.lower()  # they were not asked for
    assert not re.search(r"\b(clean|safe|low.risk)\b", page)
    written_twice = [path for path in folder.rglob("*") if path.is_file()]
    assert len(written_twice) == 4 + 2 * 3  # tables and report, figures in three forms
    for path in written_twice:
        again = written / "again" / path.relative_to(folder)
        assert path.read_bytes() == again.read_bytes(), path.name
    assert (written / "again" / "figures" / "mine.svg").exists()
    assert not (written / "again" / "figures" / "elevation.svg").exists()


@pytest.mark.parametrize(("key", "text"), REFERENCES.items())
def test_what_a_report_cites_is_what_the_sources_say(key: str, text: str) -> None:
    assert f"| {key} | {text}" in (ROOT / "tests" / "SOURCES.md").read_text("utf-8")
