"""Every page that links lead to, on a phone by day and on a desk by night."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.routing import APIRoute
from playwright.sync_api import Page, ViewportSize

from service.settings import Settings
from service.web.access import ByRole, find_rules
from service.web.app import make_app
from tests.browser.conftest import DESK, PHONE, SCREENS, Visitors
from tests.browser.cooperative import Cooperative

ROLES = {"administrator": "abel", "coordinator": "cora", "grower": "ada", "researcher": "rhea"}
"""Who walks; each page is looked at as the first of these that may open it."""
WORST = ("serious", "critical")
LINKS = "[...document.querySelectorAll('main a[href], nav a[href]')].map(one => one.href)"
IS_WIDER = "document.scrollingElement.scrollWidth > document.scrollingElement.clientWidth"
LOOKS: tuple[tuple[ViewportSize, Literal["light", "dark"]], ...] = (
    (PHONE, "light"),
    (DESK, "dark"),
)
AXE = Axe()
TEXT = """html => {
  const read = new DOMParser().parseFromString(html, "text/html");
  read.querySelectorAll("main [lang]:not([lang=es]), script, style").forEach(one => one.remove());
  const named = [...read.querySelectorAll("[aria-label]")].map(one => one.ariaLabel);
  return [read.title, read.body.textContent, ...named].join("\\n");
}"""
ENGLISH = re.compile(
    r".*(?<![-\w])(?:the|of|is|are|with|which|that|and|it|has|from|where|there|on)(?![-\w]).*"
)
"""Words that no Spanish has; what is in English on purpose says so."""


@pytest.fixture(scope="module")
def routes(cooperative: Cooperative) -> list[APIRoute]:
    app = make_app(cooperative.engine, Settings(data=cooperative.data), with_rounds=False)
    return [route for routes in app.state.routers for route in routes.routes]


def find_faults(page: Page) -> Iterator[str]:
    """Yield what [AXE-CORE] finds, and where a page is wider than its screen."""
    for size, scheme in LOOKS:
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        where = f"{page.url}, {scheme}, {size['width']} px"
        for one in AXE.run(page).response["violations"]:
            if one["impact"] in WORST:
                yield f"{where}: {one['help']}: {[node['html'] for node in one['nodes']]}"
        if page.evaluate(IS_WIDER):
            yield f"{where}: wider than its screen"


def find_english(page: Page, url: str) -> Iterator[str]:
    """Yield what is still English where a page is asked for in Spanish; a message is in its own."""
    if "/messages/" not in url:
        answer = page.request.get(url, headers={"Accept-Language": "es"})
        for line in ENGLISH.findall(page.evaluate(TEXT, answer.text())):
            yield f"{url}: {line.strip()}"


def find_pages(routes: list[APIRoute]) -> dict[str, ByRole]:
    """Return who may open the pages that ask who comes, by their paths."""
    both = [(one, find_rules(one)[0]) for one in routes if not one.include_in_schema]
    shown = [(one, rule) for one, rule in both if "GET" in (one.methods or ())]
    return {one.path: rule for one, rule in shown if isinstance(rule, ByRole)}


def find_route(routes: list[APIRoute], path: str) -> str | None:
    """Return the path of the route that shows a page."""
    of_path = [one for one in routes if one.path_regex.match(path)]
    return next((one.path for one in of_path if "GET" in (one.methods or ())), None)


@pytest.mark.usefixtures("administrator")
@pytest.mark.parametrize("role", ROLES)
def test_each_page_of_a_role_can_be_reached_and_read(
    visitors: Visitors,
    cooperative: Cooperative,
    routes: list[APIRoute],
    role: str,
) -> None:
    page = visitors.sign_in(ROLES[role], **SCREENS["phone"])
    roles_of = {one: rule.roles for one, rule in find_pages(routes).items()}
    waiting, seen, faults = [page.url], set[str](), []
    for url in waiting:
        route = find_route(routes, urlsplit(url).path)
        if not url.startswith(cooperative.here) or route in seen:
            continue
        answer = page.request.get(url)
        if route is None or not answer.ok:
            faults.append(f"{url}: a link leads to nothing")
            continue
        seen.add(route)
        if "html" not in answer.headers["content-type"]:
            continue
        page.goto(url)
        if role == next((one for one in ROLES if one in roles_of.get(route, ROLES)), None):
            faults.extend(find_faults(page))
            faults.extend(find_english(page, url))
        waiting.extend(page.evaluate(LINKS))
    mine = {path for path, roles in roles_of.items() if role in roles and "{" not in path}
    for path in mine - seen:
        answer = page.request.get(path)
        if "html" in answer.headers["content-type"] and urlsplit(answer.url).path == path:
            faults.append(f"{path}: no link leads to it")
    assert faults == []
    assert len(seen) >= 5


@pytest.mark.parametrize("page_of", ["told", "dug", "hand"])
def test_each_page_of_a_link_can_be_read(
    visitors: Visitors, cooperative: Cooperative, page_of: str
) -> None:
    assert [*find_faults(visitors.open(getattr(cooperative, page_of)))] == []


@pytest.mark.parametrize("path", ["/sign-in", "/forgotten", "/welcome/1.2.3", "/nowhere"])
def test_each_page_before_signing_in_can_be_read(visitors: Visitors, path: str) -> None:
    assert [*find_faults(visitors.open(path))] == []
