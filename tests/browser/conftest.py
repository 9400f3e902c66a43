"""A real browser, and a cooperative that a real `digseason serve` serves to it."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Request, ViewportSize, expect, sync_playwright

from tests.browser.cooperative import Cooperative, plant_cooperative
from tests.processes import find_console, serving
from tests.signed_in import PASSWORD

PATIENCE_MS = 20_000
PHONE, DESK = ViewportSize(width=390, height=844), ViewportSize(width=1280, height=900)
SCREENS: dict[str, dict[str, Any]] = {
    "phone": {"viewport": PHONE},
    "desk": {"viewport": DESK},
    "phone without scripts": {"viewport": PHONE, "java_script_enabled": False},
}


def find_chromium() -> str:
    """Return the browser's program."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not found:
        raise RuntimeError("no Chromium found: run `apt-get install chromium`, or set CHROMIUM")
    return found


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium."""
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=find_chromium(), chromium_sandbox=False
        )
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def cooperative(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cooperative]:
    """A store on SQLite behind `digseason serve`, in a process of its own, without rounds."""
    data: Path = tmp_path_factory.mktemp("cooperative")
    planted = plant_cooperative(data)
    with serving(data, "", None, "--pages-only") as here:
        yield planted.at(here)
    planted.engine.dispose()


class Visitors:
    """Opens browsers, each without cookies, and keeps what goes wrong in them."""

    def __init__(self, chromium: Browser, here: str) -> None:
        self._chromium, self._here = chromium, here
        self.faults: list[str] = []

    def open(self, path: str, **options: Any) -> Page:
        """Return the page at a path."""
        page = self._chromium.new_context(base_url=self._here, **options).new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: self.faults.append(f"{page.url}: {error}"))
        page.on("console", lambda said: self._hear(page.url, said.type, said.text))
        page.on("requestfailed", lambda asked: self._miss(page.url, asked))
        page.goto(path)
        return page

    def sign_in(self, who: str, **options: Any) -> Page:
        """Return the first page of someone who signs in."""
        page = self.open("/", **options)
        page.get_by_label("Mail address").fill(f"{who}@example.org")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        expect(page).to_have_url(re.compile("/today$"))
        return page

    def end(self) -> None:
        """Close them all; nothing may have gone wrong."""
        for context in self._chromium.contexts:
            context.close()
        assert self.faults == []

    def _miss(self, url: str, asked: Request) -> None:
        if "ERR_ABORTED" not in (asked.failure or ""):  # a picture of a page that was left
            self.faults.append(f"{url}: {asked.url}: {asked.failure}")

    def _hear(self, url: str, kind: str, text: str) -> None:
        if kind == "error" and "status of 4" not in text:  # a refusal is a page as well
            self.faults.append(f"{url}: {text}")


@pytest.fixture
def visitors(chromium: Browser, cooperative: Cooperative) -> Iterator[Visitors]:
    """Browsers of the cooperative."""
    opened = Visitors(chromium, cooperative.here)
    yield opened
    opened.end()


@pytest.fixture(params=["desk", "phone without scripts"])
def screen(request: pytest.FixtureRequest) -> dict[str, Any]:
    """What pages are seen on."""
    return SCREENS[request.param]


@pytest.fixture(scope="session")
def administrator(chromium: Browser, cooperative: Cooperative) -> str:
    """The first one, who came by the link that the console printed."""
    (link,) = re.findall(r"first account: (\S+)", find_console(cooperative.data).read_text())
    visitors = Visitors(chromium, cooperative.here)
    page = visitors.open(link, **SCREENS["phone"])
    page.get_by_label("Your name").fill("Abel Example")
    page.get_by_label("Mail address").fill("abel@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Keep it and sign in").click()
    expect(page).to_have_url(re.compile("/today$"))
    page.goto(link)
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile("link"))
    visitors.end()
    return "abel"
