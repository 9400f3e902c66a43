"""Accounts, tokens, calendars, consents and care over the API, as on the pages."""

from __future__ import annotations

import re
from typing import Any

import pytest
import requests
from sqlalchemy import Engine

from service.store.engine import writing
from tests.planted import plant_recipient
from tests.service.api.conftest import Ask, Send
from tests.signed_in import sign_in_as


@pytest.fixture(scope="module")
def root(here: str, tokens: dict[str, str]) -> requests.Session:
    """A browser of the administrator, which sends what its forms hold."""
    assert tokens["root"]
    browser = sign_in_as(here, "root@example.org")
    (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', browser.get(f"{here}/account").text)
    browser.headers["X-CSRF-Token"] = csrf
    return browser


def test_one_reads_and_changes_ones_own_account(send: Send, ask: Ask) -> None:
    before = ask("/api/account", "ada").json()
    assert (before["email"], before["role"], before["sites"]) == (
        *("ada@example.org", "grower"),
        ["upper"],
    )
    assert send("/api/account", "ada", {"language": "es", "unit": "C"}).status_code == 204
    after = ask("/api/account", "ada").json()
    assert after == {**before, "language": "es", "unit": "C"}
    assert send("/api/account", "ada", {"language": "xx", "unit": "C"}).status_code == 422
    assert send("/api/account", "ada", {"unit": before["unit"]}).status_code == 204


def test_no_token_makes_tokens_accounts_or_roles(send: Send) -> None:
    body = {"email": "x@example.org", "role": "administrator"}
    for path, sent in (
        ("/api/tokens", {"scope": "write"}),
        ("/api/accounts", body),
        ("/api/accounts/1/link", None),
        ("/api/accounts/1/role", {"role": "administrator"}),
    ):
        answer = send(path, "root", sent)
        assert (answer.status_code, answer.json()["detail"]) == (
            *(403, "only a person who is signed in does that"),
        )


@pytest.mark.parametrize(
    "path", ["/api/account", "/api/tokens/1/revoke", "/api/calendars", "/api/accounts/1/places"]
)
def test_a_token_that_reads_changes_nothing(send: Send, path: str) -> None:
    answer = send(path, "reader", {})
    assert (answer.status_code, "may only read" in answer.text) == (403, True)


def test_who_is_signed_in_makes_a_token_that_is_revoked(
    root: requests.Session, here: str, ask: Ask
) -> None:
    wanted = {"scope": "read", "days": 2, "name": "of a test"}
    secret = root.post(f"{here}/api/tokens", json=wanted, timeout=30).json()["secret"]
    headers = {"Authorization": f"Bearer {secret}"}
    assert requests.get(f"{here}/api/sites", headers=headers, timeout=30).ok
    (made,) = [one for one in ask("/api/tokens").json() if one["name"] == "of a test"]
    revoke = f"{here}/api/tokens/{made['id']}/revoke"
    assert [root.post(revoke, timeout=30).status_code for _ in range(2)] == [204, 404]
    assert requests.get(f"{here}/api/sites", headers=headers, timeout=30).status_code == 401


def test_an_administrator_invites_and_changes_who_signs_in(
    root: requests.Session, here: str, send: Send, ask: Ask
) -> None:
    def post(path: str, body: Any) -> requests.Response:
        return root.post(f"{here}/api/accounts{path}", json=body, timeout=30)

    invited = {"email": "new@example.org", "role": "grower", "sites": ["at-ledge"]}
    answer = post("", invited).json()
    assert answer["link"].startswith(f"{here}/welcome/")
    assert requests.get(answer["link"], timeout=30).ok
    number = answer["id"]

    def person() -> Any:
        (found,) = [one for one in ask("/api/accounts").json() if one["id"] == number]
        return found

    assert (person()["sites"], person()["revoked_at"]) == (["at-ledge"], None)
    assert post("", invited).json()["detail"].startswith("email: this address has an account")
    assert post(f"/{number}/role", {"role": "researcher"}).status_code == 204
    seen = {"sites": [], "districts": []}
    assert send(f"/api/accounts/{number}/places", "root", seen).status_code == 204
    assert (person()["role"], person()["sites"]) == ("researcher", [])
    wrong = send(f"/api/accounts/{number}/places", "root", {"sites": ["nowhere"]})
    assert wrong.json()["detail"] == "sites: there is no site of one of these ids"
    assert send(f"/api/accounts/{number}/revoke", "root", None).status_code == 204
    assert person()["revoked_at"] is not None
    assert send(f"/api/accounts/{number}/restore", "root", None).status_code == 204
    assert person()["revoked_at"] is None
    me = next(one["id"] for one in ask("/api/accounts").json() if one["email"].startswith("root"))
    assert send(f"/api/accounts/{me}/revoke", "root", None).status_code == 409
    assert send("/api/accounts/9999/revoke", "root", None).status_code == 404


def test_the_link_of_a_calendar_holds_until_it_is_renewed(send: Send, ask: Ask) -> None:
    link = send("/api/calendars", "ada", {"of": "block/terrace-7"}).json()["link"]
    assert requests.get(link, timeout=30).text.startswith("BEGIN:VCALENDAR")
    (made,) = ask("/api/calendars", "ada").json()
    assert made["of"] == "block/terrace-7"
    renewed = send(f"/api/calendars/{made['number']}/renew", "ada", None).json()["link"]
    assert requests.get(link, timeout=30).status_code == 404
    (again,) = ask("/api/calendars", "ada").json()
    assert send(f"/api/calendars/{again['number']}/revoke", "rea", None).status_code == 403
    assert send(f"/api/calendars/{again['number']}/revoke", "root", None).status_code == 404
    assert send(f"/api/calendars/{again['number']}/revoke", "ada", None).status_code == 204
    assert requests.get(renewed, timeout=30).status_code == 404
    assert send("/api/calendars", "ada", {"of": "block/ledge"}).status_code == 404


def test_a_grower_says_who_sees_their_site(send: Send, ask: Ask) -> None:
    assert send("/api/sharing/upper", "ada", {"shared": "about"}).status_code == 204
    assert send("/api/sharing/upper/finds", "ada", {"finds": True}).status_code == 204
    (sharing,) = ask("/api/sharing", "ada").json()
    assert (sharing["site"], sharing["shared"], sharing["finds"]) == ("upper", "about", True)
    (seen,) = ask("/api/sites", "rea").json()
    assert (seen["id"], seen["is_exact"]) == ("upper", False)
    assert send("/api/sharing/upper", "ada", {"shared": "no"}).status_code == 204
    assert send("/api/sharing/upper/finds", "ada", {"finds": False}).status_code == 204
    assert ask("/api/sites", "rea").json() == []
    assert send("/api/sharing/at-ledge", "ada", {"shared": "exact"}).status_code == 404
    assert ask("/api/sharing", "root").status_code == 403


def test_an_administrator_reads_what_wants_a_look_and_who_did_what(send: Send, ask: Ask) -> None:
    assert send("/api/sharing/upper", "ada", {"shared": "exact"}).status_code == 204
    assert send("/api/sharing/upper", "ada", {"shared": "no"}).status_code == 204
    found = ask("/api/checkup").json()
    assert [one["place"] for one in found] == [*range(1, len(found) + 1)]
    assert {bool(one["remedy"]) for one in found} == {True, False}
    deeds = ask("/api/deeds").json()
    assert [one["id"] for one in deeds] == sorted((one["id"] for one in deeds), reverse=True)
    shared = [one["about"] for one in deeds if one["what"].startswith("shared a site")]
    assert {*shared} == {"upper"}
    assert ask("/api/deeds", "cora").status_code == ask("/api/checkup", "ada").status_code == 403


def test_addresses_say_whether_they_want_to_be_told(engine: Engine, ask: Ask) -> None:
    with writing(engine) as connection:
        plant_recipient(connection, "Zinnia Example")
    (address,) = ask("/api/addresses").json()
    assert (address["address"], address["state"]) == ("zinnia@example.org", "not asked")
