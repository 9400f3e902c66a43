"""/crew-days: the form, and a plan as list, calendar and sheet; its days: test_digs_days.py."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import icalendar
import pypdfium2
import pytest
import requests

from service.settings import Settings
from service.store.engine import open_engine, writing
from tests.planted import plant_block, plant_days
from tests.serving import serving_here
from tests.signed_in import plant_account, sign_in_as

ASKED = {"per_hour": "5", "hours": "4", "crews": "2", "first": "", "off": ["5", "6"]}


@pytest.fixture(scope="module")
def page(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[requests.Session, str]]:
    """A signed-in coordinator, and the page over one block in which nothing ever opens."""
    folder = tmp_path_factory.mktemp("crews")
    engine = open_engine(f"sqlite:///{shutil.copy(sqlite_template, folder / 'digseason.db')}")
    with writing(engine) as connection:
        plant_block(connection)
        plant_days(connection, date(2025, 4, 1), [50.0] * 40)
    plant_account(engine, "cora@example.org", "coordinator")
    with serving_here(engine, Settings(data=folder)) as here:
        yield sign_in_as(here, "cora@example.org"), f"{here}/crew-days"
    engine.dispose()


def test_the_form_stands_alone_until_it_is_filled_in(page: tuple[requests.Session, str]) -> None:
    browser, address = page
    before = browser.get(address, timeout=30).text
    assert 'name="per_hour"' in before
    assert "No block has a window" not in before
    after = browser.get(address, params=ASKED, timeout=30).text
    assert "No block has a window" in after
    assert "Terrace 7, Upper Alder" in after
    assert after.count(" checked") == 2


def test_the_same_plan_is_a_calendar_and_a_sheet(page: tuple[requests.Session, str]) -> None:
    browser, address = page
    feed = browser.get(f"{address}.ics", params=ASKED, timeout=30).text
    assert icalendar.Calendar.from_ical(feed)["X-WR-CALNAME"] == "Crew days"
    sheet = browser.get(f"{address}.pdf", params=ASKED, timeout=30).content
    document = pypdfium2.PdfDocument(sheet)
    assert "Crew days" in document[0].get_textpage().get_text_range()
    document.close()


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ({"blocks": "elsewhere"}, 404),
        ({"per_hour": "0.1", "hours": "1"}, 422),
        ({"off": [*"0123456"]}, 422),
        ({"first": "soon"}, 422),
    ],
)
def test_what_cannot_be_planned_is_refused(
    page: tuple[requests.Session, str], more: dict[str, str | list[str]], status: int
) -> None:
    browser, address = page
    assert browser.get(address, params=ASKED | more, timeout=30).status_code == status
