"""Pages keep working while the database is busy, also for those whose session is to be marked."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import update

from service.settings import Settings
from service.store.engine import writing
from service.store.tables import session, site
from tests.browser.conftest import SCREENS, Visitors
from tests.browser.cooperative import Cooperative, plant_cooperative
from tests.pg import Cluster
from tests.serving import serving_here

SOON_S = 10.0
"""Half of what those wait who have to write."""


@pytest.fixture
def busy(request: pytest.FixtureRequest) -> Iterator[Cooperative]:
    """The cooperative on either database."""
    if request.param == "sqlite":
        yield request.getfixturevalue("cooperative")
        return
    postgres: Cluster = request.getfixturevalue("postgres")
    data = request.getfixturevalue("tmp_path")
    with postgres.database() as name:
        planted = plant_cooperative(data, postgres.url(name))
        settings = Settings(data=data, database_url=postgres.url(name))
        with serving_here(planted.engine, settings) as here:
            yield planted.at(here)
        planted.engine.dispose()


@pytest.mark.parametrize("busy", ["sqlite", "postgresql"], indirect=True)
def test_pages_are_shown_while_a_writer_holds_the_store(
    chromium: Browser, busy: Cooperative
) -> None:
    visitors = Visitors(chromium, busy.here)
    page = visitors.sign_in("cora", **SCREENS["phone"])
    with writing(busy.engine) as connection:
        long_ago = datetime.now(UTC) - timedelta(days=1)
        connection.execute(update(session).values(seen_at=long_ago))
    took_s = {}
    with writing(busy.engine) as connection:
        connection.execute(update(site).values(elevation_m=999))
        connection.execute(update(session).values(seen_at=datetime.now(UTC)))
        for path in ("/today", "/blocks/terrace-7", "/region", "/account"):
            begun = time.monotonic()
            page.goto(path)
            took_s[path] = time.monotonic() - begun
            expect(page.get_by_role("navigation")).to_be_visible()
        connection.rollback()
    visitors.end()
    assert {path: spent for path, spent in took_s.items() if spent > SOON_S} == {}
