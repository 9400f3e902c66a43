"""What each role comes for, in a real browser, from signing in to done."""

from __future__ import annotations

import re
from itertools import count
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import SCREENS, Visitors
from tests.browser.cooperative import Cooperative
from tests.signed_in import PASSWORD

NUMBERS = count(1)


def leave(page: Page) -> None:
    """Sign out; the way back shows nothing any more."""
    page.get_by_role("button", name="Sign out", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    page.goto("/today")
    expect(page).to_have_url(re.compile("/sign-in"))


def go(page: Page, name: str) -> None:
    """Follow a link of what stands above all pages, out of its group where it has one."""
    head = page.get_by_role("navigation")
    link = head.get_by_text(name, exact=True)
    if not link.is_visible():
        head.get_by_role("group").filter(has_text=name).locator("summary").click()
    link.click()


def test_an_administrator_invites_a_grower_who_chooses_a_password(
    visitors: Visitors, administrator: str, screen: dict[str, Any]
) -> None:
    email = f"gil{next(NUMBERS)}@example.org"
    page = visitors.sign_in(administrator, **screen)
    go(page, "People")
    invite = page.locator("form").filter(has=page.get_by_role("button", name="Invite"))
    invite.get_by_label("Name", exact=True).fill("Gil Example")
    invite.get_by_label("Mail address").fill(email)
    invite.get_by_label("Role").select_option("grower")
    invite.get_by_label("Sites of a grower").fill("upper")
    invite.get_by_role("button").click()
    link = page.get_by_role("status").locator("code").inner_text()

    grower = visitors.open(link, **screen)
    expect(grower.get_by_label("Mail address")).to_have_value(email)
    grower.get_by_label("Password").fill(PASSWORD)
    grower.get_by_role("button", name="Keep it and sign in").click()
    expect(grower.get_by_role("heading", level=3)).to_have_text(["Terrace 7"])

    page.goto("/people")
    entry = page.get_by_role("listitem").filter(has_text=email)
    expect(entry).to_contain_text("Last signed in on")
    entry.get_by_role("button", name="Revoke").click()
    expect(page.get_by_role("listitem").filter(has_text=email)).to_contain_text("Revoked on")
    grower.goto("/today")
    expect(grower).to_have_url(re.compile("/sign-in"))
    go(page, "Log")
    expect(page.get_by_role("main")).to_contain_text("revoked the account")
    go(page, "Health")
    leave(page)


def test_a_grower_sees_why_a_block_stands_as_it_does_and_shares_it(
    visitors: Visitors, screen: dict[str, Any]
) -> None:
    page = visitors.sign_in("ada", **screen)
    expect(page.get_by_role("heading", level=3)).to_have_text(["Terrace 7"])
    expect(page.get_by_role("img").first).to_be_visible()
    page.get_by_role("link", name="Terrace 7").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Terrace 7, Upper Alder")
    expect(page.get_by_role("heading", name="Dates")).to_be_visible()
    reasons = page.get_by_role("main").get_by_role("listitem")
    expect(reasons.first).to_be_visible()
    few = reasons.count()
    page.get_by_role("link", name="How the other dates of this season were reached").click()
    assert reasons.count() >= few
    expect(page.get_by_role("main")).to_contain_text("Opened")

    go(page, "Sharing")
    page.get_by_role("button", name="Share without the exact place").click()
    expect(page.get_by_role("main")).to_contain_text("Shared without the exact place, since")
    page.get_by_role("button", name="Share no longer").click()
    expect(page.get_by_role("main")).to_contain_text("Not shared.")
    leave(page)


def test_a_grower_reads_in_another_language_and_unit(visitors: Visitors) -> None:
    page = visitors.sign_in("ben", **SCREENS["phone"])
    go(page, "Ben")
    page.get_by_label("Language").select_option("es")
    page.get_by_label("Unit").select_option("C")
    page.get_by_role("button", name="Keep", exact=True).click()
    go(page, "Hoy")
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(page.get_by_role("article")).to_contain_text("°C")
    go(page, "Ben")
    page.get_by_label("Idioma").select_option("")
    page.get_by_label("Unidad").select_option("F")
    page.get_by_role("button", name="Guardar", exact=True).click()
    expect(page.locator("html")).to_have_attribute("lang", "en")
    leave(page)


def test_a_coordinator_sees_how_the_districts_stand(
    visitors: Visitors, screen: dict[str, Any]
) -> None:
    page = visitors.sign_in("cora", **screen)
    expect(page.get_by_role("heading", level=3)).to_have_text(["Ledge", "Terrace 7"])
    go(page, "Region")
    expect(page.get_by_role("rowheader", name="Alder Bench")).to_be_visible()
    expect(page.locator("svg.map")).to_be_visible()
    share = page.get_by_role("img", name="Share of blocks open")
    expect(share).to_be_visible()
    for name in ("People", "Health"):
        expect(page.get_by_role("navigation").get_by_text(name, exact=True)).to_have_count(0)
    leave(page)


def test_a_researcher_sees_what_is_shared_and_not_exactly_where_it_lies(
    visitors: Visitors, screen: dict[str, Any]
) -> None:
    page = visitors.sign_in("rhea", **screen)
    expect(page.get_by_role("heading", level=3)).to_have_text(["Ledge"])
    page.get_by_role("link", name="Ledge").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ledge, Low Bench")
    pages = [page.content()]
    go(page, "Region")
    expect(page.get_by_role("main")).to_contain_text("stand about where they lie")
    pages.append(page.content())
    assert [exact for exact in ("45.234", "123.345") for one in pages if exact in one] == []
    page.goto("/blocks/terrace-7")
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing is here")
    leave(page)


@pytest.mark.parametrize(
    ("page_of", "does", "says", "undoes"),
    [
        ("told", "Yes, write to me", "go to ada@example.org.", "Stop these messages"),
        ("dug", "I have dug", "only when it closes", "Tell me all of it again"),
    ],
)
def test_a_reader_answers_by_the_link_of_a_mail(
    visitors: Visitors, cooperative: Cooperative, page_of: str, does: str, says: str, undoes: str
) -> None:
    page = visitors.open(getattr(cooperative, page_of), **SCREENS["phone without scripts"])
    page.get_by_role("button", name=does).click()
    expect(page.get_by_role("main")).to_contain_text(says)
    page.get_by_role("button", name=undoes).click()
    expect(page.get_by_role("main")).not_to_contain_text(says)


def test_a_thermometer_is_read_on_the_page_of_its_link(
    visitors: Visitors, cooperative: Cooperative
) -> None:
    page = visitors.open(cooperative.hand, **SCREENS["phone without scripts"])
    page.get_by_label("What it reads").fill("64.5")
    page.get_by_role("button", name="Note the reading").click()
    latest = page.get_by_role("listitem").filter(has_text="30 cm: 64.5 °F")
    expect(latest).to_have_count(1)
    latest.get_by_role("button", name="Take back").click()
    expect(latest).to_have_count(0)
