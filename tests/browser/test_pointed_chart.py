"""The chart of a block says what a day was where one points at it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from alerts.colours import DAY, NIGHT
from tests.browser.conftest import PATIENCE_MS, SCREENS, Visitors


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_who_asks_the_chart_reads_its_days(visitors: Visitors, scheme: str) -> None:
    page = visitors.sign_in("cora", **SCREENS["phone"], color_scheme=scheme)
    page.goto("/blocks/terrace-7")
    picture = page.get_by_role("img", name="Chart of the root zone")
    expect(page.locator("img.chart")).to_be_visible()
    page.get_by_role("button", name="Read values off the chart").click()
    expect(page.locator("img.chart")).to_have_count(0, timeout=PATIENCE_MS)
    expect(picture).to_be_visible()
    expect(page.get_by_text("Point at a day to read what it was.")).to_be_visible()
    picture.locator("path[aria-roledescription='rect mark']").last.hover()
    expect(page.get_by_role("status").last).to_contain_text("°")
    clay = {"light": DAY, "dark": NIGHT}[scheme].clay
    expect(picture.locator(f'[stroke="{clay}"]').first).to_be_attached()
