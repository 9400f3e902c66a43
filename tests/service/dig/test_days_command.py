"""digseason digs days: from windows in the store to crew days, a calendar and a sheet."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import icalendar
import pypdfium2
import pytest

from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block, plant_days

DAYS = ("digs", "days", "--per-hour", "5", "--hours", "4")


@pytest.fixture(scope="module")
def store(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A block whose spring opened on 5 May 2025: by hand, 64 °F from 3 May on is R on the 5th."""
    data = tmp_path_factory.mktemp("digs")
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, data / 'digseason.db')}")
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [68.0] * 20)
    engine.dispose()
    return data


def test_an_open_window_is_dug_from_the_next_day_on(store: Path) -> None:
    words = (*DAYS, "--block", "terrace-7:45", "--as-of", "2025-05-16", "--off", "sun", "--json")
    code, printed = run(store, *words)
    # by hand: 20 vines a day; 17 May 2025 is a Saturday, the 18th is off
    found = [(one["day"], one["vines"], one["expected"]) for one in json.loads(printed)]
    assert code == 0
    assert found == [("2025-05-17", 15, 0), ("2025-05-19", 15, 0), ("2025-05-20", 15, 0)]


def test_no_day_lies_after_the_window_and_what_is_left_is_told(store: Path) -> None:
    words = (*DAYS, "--block", "terrace-7:400", "--as-of", "2025-05-16", "--json")
    records = json.loads(run(store, *words)[1])
    last = records[0]["window_last"]
    # by hand: nothing tells its end but two weeks, 17 to 30 May; 14 days of 20 vines
    assert last == "2025-05-30"
    assert max(one["day"] for one in records if one["day"]) == last
    assert [one["vines"] for one in records if one["why_not"]] == [120]


def test_a_closed_block_says_why_it_is_not_planned(store: Path) -> None:
    _, printed = run(store, *DAYS, "--as-of", "2025-04-20")
    assert "No block has a window in these days" in printed
    assert "Terrace 7: no window to plan for" in printed
    assert max(map(len, printed.splitlines())) <= 80


def test_the_calendar_and_the_sheet_hold_the_same_days(store: Path, tmp_path: Path) -> None:
    ics, pdf = tmp_path / "digs.ics", tmp_path / "digs.pdf"
    words = (*DAYS, "--as-of", "2025-05-16", "--language", "es", "--ics", ics, "--pdf", pdf)
    assert run(store, *words)[0] == 0
    (event,) = icalendar.Calendar.from_ical(ics.read_text("utf-8")).walk("VEVENT")
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(document[0].get_textpage().get_text_range().split())
    document.close()
    assert event.decoded("DTSTART") == date(2025, 5, 17)
    assert event["SUMMARY"] == "Cavar en 12 vides de Terrace 7, cuadrilla 1"
    assert "17 may 2025" in text
    assert "Terrace 7, Upper Alder" in text
    assert "Líneas enterradas" in text


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("--block", "terrace-7:many"), "'terrace-7:many' is no block and count of vines"),
        (("--block", "nowhere:5"), "there is no block 'nowhere'"),
        (("--ics", "no/such/folder.ics"), "no/such/folder.ics cannot be written: No such file"),
        (("--days", "1", "--from", "2025-05-18", "--off", "sun"), "--off leaves no day to dig on"),
        (("--hours", "0.1"), "a crew digs less than one vine a day"),
    ],
)
def test_what_cannot_be_planned_is_wrong_use(
    store: Path, words: tuple[str, ...], problem: str
) -> None:
    code, printed = run(store, *DAYS, *words)
    assert code == 2
    assert problem in " ".join(printed.split())
