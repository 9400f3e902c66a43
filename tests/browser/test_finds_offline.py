"""The page beside the vine: without a connection, with one that breaks off, and on again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, FilePayload, Page, expect
from sqlalchemy import delete, select

from alerts.dig.records import DigRecord
from service.store import tables
from service.store.dig_records import fetch_dig_records
from service.store.engine import reading, writing
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.cooperative import Cooperative
from tests.cutting_proxy import CuttingProxy, cutting_proxy
from tests.signed_in import PASSWORD

SEEN = ("live fine roots", "no swellings", "no insects")


@dataclass(frozen=True)
class Field:
    """A phone in a vineyard: its page, and the connection that it has."""

    cooperative: Cooperative
    proxy: CuttingProxy
    context: BrowserContext
    page: Page

    def note(self, vine: int, seen: tuple[str, ...] = SEEN) -> None:
        """Fill the form in for a vine of row 3, and note it."""
        self.page.get_by_label("Row", exact=True).fill("3")
        self.page.get_by_label("Vine in the row").fill(f"{vine}")
        for label in seen:
            self.page.get_by_label(label, exact=True).check()
        self.page.get_by_role("button", name="Note this vine").click()
        expect(self.page.get_by_label("Vine in the row")).to_have_value("")

    def wait_until(self, waiting: int) -> None:
        """Wait until so many records wait on the phone."""
        of_page = self.page.locator(f"body[data-waiting='{waiting}']")
        expect(of_page).to_have_count(1, timeout=60_000)

    def fetch(self) -> list[DigRecord]:
        """Return what the server has kept."""
        with reading(self.cooperative.engine) as connection:
            return fetch_dig_records(connection)

    def count(self, table: str) -> int:
        """Return how many rows a table has."""
        with reading(self.cooperative.engine) as connection:
            return len(connection.execute(select(tables.metadata.tables[table])).all())


@pytest.fixture
def field(chromium: Browser, cooperative: Cooperative) -> Iterator[Field]:
    """Ada's phone with the page open and kept, behind a proxy that does not cut yet."""
    with writing(cooperative.engine) as connection:
        for name in ("dig_photo", "dig_news_reader", "dig_news", "dig_record_earlier"):
            connection.execute(delete(tables.metadata.tables[name]))
        connection.execute(delete(tables.dig_record))
    with cutting_proxy(cooperative.here, b"POST /finds/new", seed=9) as proxy:
        context = chromium.new_context(base_url=proxy.here, viewport=PHONE)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        sign_in(page)
        page.goto("/finds/new")
        expect(page.locator("body[data-kept=yes]")).to_have_count(1)
        yield Field(cooperative, proxy, context, page)
        context.close()


def sign_in(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Mail address").fill("ada@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_url(re.compile("/today$"))


def photo(name: str, color: str) -> FilePayload:
    written = BytesIO()
    Image.new("RGB", (60, 40), color).save(written, "JPEG")
    return {"name": name, "mimeType": "image/jpeg", "buffer": written.getvalue()}


def test_what_is_noted_without_a_connection_outlives_the_page_and_is_sent_with_one(
    field: Field,
) -> None:
    page = field.page
    field.context.set_offline(True)
    field.note(1)
    page.get_by_label("Photos").set_input_files([photo("a.jpg", "red"), photo("b.jpg", "blue")])
    field.note(2, ("live fine roots", "pale swellings", "up to 10 insects"))
    expect(page.locator("#suspicion")).to_be_visible()
    expect(page.locator("#suspicion")).to_contain_text("Local rules may require a report")
    expect(page.locator("#status")).to_contain_text("2 vines wait to be sent")
    page.reload()
    field.wait_until(2)
    field.note(3, ("no live roots", "no swellings", "no insects"))
    expect(page.locator("#no-roots")).to_contain_text("nothing follows from what was not seen")
    page.close()
    assert field.fetch() == []
    field.context.set_offline(False)
    again = field.context.new_page()
    again.goto("/finds/new")  # unless its worker was quicker
    expect(again.locator("body[data-waiting='0']")).to_have_count(1, timeout=60_000)
    assert [(one.vine, f"{one.outcome}") for one in field.fetch()] == [
        ((3, 1), "not found"),
        ((3, 2), "suspected"),
        ((3, 3), "no live roots"),
    ]
    assert field.count("dig_photo") == 2


def test_the_page_says_that_all_is_sent_whoever_sent_it(field: Field) -> None:
    field.context.set_offline(True)
    field.note(1)
    field.page.reload()  # its worker tries too, by itself
    field.note(2)
    field.wait_until(2)
    field.context.set_offline(False)
    expect(field.page.locator("#status")).to_contain_text(
        "All that was noted on this phone is sent"
    )
    assert len(field.fetch()) == 2


def test_what_is_refused_waits_to_be_corrected_and_what_a_session_lacks_for_a_sign_in(
    field: Field,
) -> None:
    page = field.page
    page.get_by_label("Latitude").fill("45.1")
    field.note(1)
    expect(page.locator("#refused")).to_contain_text("Longitude is missing")
    expect(page.locator("#status")).not_to_contain_text("is sent")
    assert field.fetch() == []
    page.get_by_role("button", name="Correct it").click()
    page.get_by_label("Longitude").fill("-123.2")
    session = field.context.cookies()
    field.context.clear_cookies()
    page.get_by_role("button", name="Note this vine").click()
    expect(page.locator("#status")).to_contain_text("Sign in, and they are sent.")
    field.context.add_cookies(session)  # type: ignore[arg-type] (what it gave itself)
    page.reload()
    field.wait_until(0)
    (record,) = field.fetch()
    assert (record.latitude, record.longitude) == (45.1, -123.2)
    expect(page.locator("#refused")).to_be_hidden()


@pytest.mark.parametrize("cuts", [20, pytest.param(200, marks=pytest.mark.long)])
def test_nothing_is_lost_or_doubled_where_the_connection_breaks_off(
    field: Field, cuts: int
) -> None:
    field.proxy.is_cutting = True
    noted = 0
    while field.proxy.cuts.total() < cuts:
        noted += 1
        field.note(noted)
    field.proxy.is_cutting = False
    field.page.reload()
    field.wait_until(0)
    assert [one.vine for one in field.fetch()] == [(3, vine) for vine in range(1, noted + 1)]
    assert field.count("dig_record_earlier") == 0
    assert min(field.proxy.cuts[point] for point in field.proxy.cuts) > 0
    assert len(field.proxy.cuts) == 4
