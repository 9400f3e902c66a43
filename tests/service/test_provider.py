"""Signing in by an OpenID Connect provider: who was invited comes in, and nobody else.

Against a real provider (the open library django-oauth-toolkit, in a process of its own), and one
that lies in every way that [OIDC-CORE] 3.1.3.7 names.
"""

from __future__ import annotations

import gzip
import json
import re
import time
import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
from joserfc import jwt
from joserfc.jwk import RSAKey
from pydantic import ValidationError
from sqlalchemy import Engine, func, select, update

from service.openid import Begun, Provider, ProviderError
from service.settings import Settings
from service.store import tables
from service.store.audit import fetch_deeds
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.http_server import Asked, HttpServer, Reply, http_server
from tests.processes import find_free_port
from tests.running_peers import running_peer
from tests.serving import serving_here
from tests.signed_in import plant_account

BEGUN = Begun("state", "nonce", "verifier" * 6)
NOT_LET_IN = "has not let you in"


@dataclass(frozen=True)
class Place:
    """A running application with its provider."""

    engine: Engine
    here: str


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder: Path = tmp_path_factory.mktemp("provider")
    port = find_free_port()
    here = f"http://127.0.0.1:{port}"
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    for name in ("ada", "unconfirmed"):
        plant_account(engine, f"{name}@example.org", "grower")
    with running_peer("openid_site.py", folder, f"{here}/sign-in/provider/back") as issuer:
        settings = Settings(
            data=folder,
            base_url=here,
            oidc_issuer=issuer,
            oidc_client_id="digseason",
            oidc_client_secret="known to both",  # noqa: S106 # type: ignore[arg-type]
            oidc_name="Alder Bench",
        )
        with serving_here(engine, settings, port):
            yield Place(engine, here)
    engine.dispose()


def come_by(place: Place, name: str) -> tuple[requests.Session, requests.Response]:
    """Sign in at the provider; return the browser, and what it is shown at the end."""
    browser = requests.Session()
    browser.headers["Accept"] = "text/html"
    page = browser.get(f"{place.here}/sign-in", params={"next": "/account"}, timeout=30)
    (path,) = re.findall(
        r'<a href="(/sign-in/provider[^"]+)">Sign in by Alder Bench</a>', page.text
    )
    form = browser.get(place.here + path, timeout=30)
    (token,) = re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', form.text)
    said = {"username": f"{name}@example.org", "password": "of the provider"}
    said |= {"csrfmiddlewaretoken": token}
    return browser, browser.post(form.url, said, timeout=30)


def deeds(place: Place) -> list[str]:
    with reading(place.engine) as connection:
        return [one.what for one in fetch_deeds(connection)]


def test_who_was_invited_comes_in_to_the_page_that_was_asked_for(place: Place) -> None:
    browser, page = come_by(place, "ada")
    assert (page.status_code, page.url) == (200, f"{place.here}/account")
    assert "ada@example.org, grower" in page.text
    assert [cookie.name for cookie in browser.cookies if "provider" in cookie.name] == []
    assert [one for one in deeds(place) if one.startswith("signed in by http://127.0.0.1:")] != []


def test_what_a_browser_carries_to_the_provider_is_new_each_time(place: Place) -> None:
    there = f"{place.here}/sign-in/provider"
    answers = [requests.get(there, allow_redirects=False, timeout=30) for _ in range(2)]
    sent = [parse_qs(urlsplit(one.headers["Location"]).query) for one in answers]
    # source: [OIDC-CORE] 3.1.2.1, [RFC-7636] 4.3
    assert [one["code_challenge_method"] for one in sent] == [["S256"]] * 2
    names = ("state", "nonce", "code_challenge")
    assert [name for name in names if sent[0][name] == sent[1][name]] == []
    assert min(len(sent[0][name][0]) for name in names) >= 20
    cookie = answers[0].headers["Set-Cookie"]
    assert [
        part for part in ("HttpOnly", "SameSite=lax", "Max-Age=600") if part not in cookie
    ] == []


@pytest.mark.parametrize(
    ("name", "said"),
    [("eve", "No one is invited here"), ("unconfirmed", NOT_LET_IN)],
)
def test_who_was_not_invited_or_has_no_confirmed_address_does_not(
    place: Place, name: str, said: str
) -> None:
    browser, page = come_by(place, name)
    assert (page.status_code, said in page.text) == (403, True)
    assert browser.get(f"{place.here}/account", timeout=30).url.startswith(f"{place.here}/sign-in")
    with reading(place.engine) as connection:
        assert connection.scalar(select(func.count()).select_from(tables.account)) == 2


def test_a_revoked_account_stays_out(place: Place) -> None:
    of_hers = tables.account.c.email == "ada@example.org"
    with writing(place.engine) as connection:
        revoked = update(tables.account).where(of_hers).values(revoked_at=datetime.now(UTC))
        connection.execute(revoked)
    _, page = come_by(place, "ada")
    with writing(place.engine) as connection:
        connection.execute(update(tables.account).where(of_hers).values(revoked_at=None))
    assert (page.status_code, "No one is invited here" in page.text) == (403, True)


@pytest.mark.parametrize("change", ["state", "no cookie", "no code"])
def test_an_answer_that_this_browser_did_not_ask_for_lets_no_one_in(
    place: Place, change: str
) -> None:
    browser = requests.Session()
    there = browser.get(f"{place.here}/sign-in/provider", allow_redirects=False, timeout=30)
    (state,) = parse_qs(urlsplit(there.headers["Location"]).query)["state"]
    if change == "no cookie":
        browser.cookies.clear()
    sent = {"state": "other" if change == "state" else state, "code": "x"}
    if change == "no code":
        sent = {"state": state, "error": "access_denied"}
    page = browser.get(f"{place.here}/sign-in/provider/back", params=sent, timeout=30)
    assert (page.status_code, NOT_LET_IN in page.text) == (403, True)


def test_a_code_is_taken_once(place: Place) -> None:
    _, page = come_by(place, "ada")
    back = next(one for one in page.history if "/sign-in/provider/back?" in one.url)
    kept = back.request.headers["Cookie"]
    again = requests.get(back.url, headers={"Cookie": kept}, allow_redirects=False, timeout=30)
    assert (again.status_code, NOT_LET_IN in again.text) == (403, True)


@dataclass(frozen=True)
class Lie:
    """What is wrong with what a provider vouches for."""

    claims: dict[str, Any]
    key: str = "its own"
    leave_out: tuple[str, ...] = ()
    issuer: str = ""


@cache
def make_key(_: str) -> RSAKey:
    return RSAKey.generate_key(2048, {"kid": "1"})


LIES = {
    "another issuer": Lie({"iss": "https://other.example"}),
    "another program": Lie({"aud": "other"}),
    "another request": Lie({"nonce": "other"}),
    "no request": Lie({}, leave_out=("nonce",)),
    "no program": Lie({}, leave_out=("aud",)),
    "long ago": Lie({"exp": time.time() - 3600, "iat": time.time() - 7200}),
    "another key": Lie({}, key="another"),
    "not confirmed": Lie({"email_verified": False}),
    "confirmed by a word": Lie({"email_verified": "true"}),
    "no address": Lie({}, leave_out=("email",)),
    "another name": Lie({}, issuer="https://other.example"),
}


@pytest.fixture(scope="module")
def liar() -> Iterator[HttpServer]:
    with http_server() as server:
        yield server


def tell(server: HttpServer, lie: Lie) -> Provider:
    """Let a provider tell a lie; return it as it is set up."""
    address = server.address.rstrip("/")
    truth = {"iss": address, "sub": "1", "aud": "digseason", "nonce": BEGUN.nonce}
    truth |= {"iat": time.time(), "exp": time.time() + 60}
    truth |= {"email": "Ada@example.org", "email_verified": True}
    claims = {name: one for name, one in (truth | lie.claims).items() if name not in lie.leave_out}
    signed = jwt.encode({"alg": "RS256", "kid": "1"}, claims, make_key(lie.key))
    answers: dict[str, Any] = {
        "/.well-known/openid-configuration": {
            "issuer": lie.issuer or address,
            "authorization_endpoint": f"{address}/authorize",
            "token_endpoint": f"{address}/token",
            "jwks_uri": f"{address}/keys",
            "id_token_signing_alg_values_supported": ["RS256"],
        },
        "/token": {"access_token": "x", "token_type": "Bearer", "id_token": signed},
        "/keys": {"keys": [make_key("its own").as_dict(private=False)]},
    }

    def answer(asked: Asked) -> Reply:
        body = json.dumps(answers[asked.path]).encode()
        return Reply(body, headers={"Content-Type": "application/json"})

    server.answers = answer
    settings = Settings(
        data=Path(),
        base_url="https://dig.example.org",
        oidc_issuer=address,
        oidc_client_id="digseason",
    )
    return Provider(settings)


def test_the_truth_is_believed(liar: HttpServer) -> None:
    assert tell(liar, Lie({})).find_email("code", BEGUN) == "ada@example.org"
    (asked,) = [one for one in liar.asked if one.path == "/token"]
    assert parse_qs(asked.body.decode())["code_verifier"] == [BEGUN.verifier]


@pytest.mark.parametrize("lie", LIES.values(), ids=LIES)
def test_a_lie_is_not(liar: HttpServer, lie: Lie) -> None:
    provider = tell(liar, lie)
    with pytest.raises(ProviderError):
        provider.find_email("code", BEGUN)


@pytest.mark.parametrize(
    "reply", [Reply(status=500), Reply(b"<html>"), Reply(b"[]"), Reply(b"{}")], ids=str
)
def test_a_provider_that_is_none_lets_no_one_in(liar: HttpServer, reply: Reply) -> None:
    provider = tell(liar, Lie({}))
    liar.say(reply)
    with pytest.raises(ProviderError):
        provider.begin()


def test_a_provider_whose_answers_drip_is_not_waited_for(
    liar: HttpServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.openid.WHOLE_ANSWER_S", 0.3)
    provider = tell(liar, Lie({}))
    liar.say(Reply(b"{}", head_pause_s=0.05))
    begun_s = time.monotonic()
    with pytest.raises(ProviderError, match=r"not answered within 0\.3 s"):
        provider.begin()
    assert time.monotonic() - begun_s < 3  # whole it would take 5 s and more


@pytest.mark.parametrize("path", ["/.well-known/openid-configuration", "/token", "/keys"])
def test_a_huge_answer_of_a_provider_is_not_read_to_its_end(
    liar: HttpServer, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.setattr("service.openid.LARGEST_BYTES", 10_000)
    provider = tell(liar, Lie({}))
    answer = liar.answers
    huge = gzip.compress(b" " * 20_000_000 + answer(Asked(path, {})).body)
    packed = Reply(huge, headers={"Content-Type": "application/json", "Content-Encoding": "gzip"})
    liar.answers = lambda asked: packed if asked.path == path else answer(asked)
    tracemalloc.start()
    try:
        with pytest.raises(ProviderError, match=f"{path}: the answer is larger than 10,000 bytes"):
            provider.find_email("code", BEGUN)
        _, most_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most_bytes < 5_000_000  # whole it would take 20 MB and more


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"oidc_client_id": "x"}, "DIGSEASON_OIDC_ISSUER is missing"),
        ({"oidc_issuer": "https://id.example.org"}, "DIGSEASON_OIDC_CLIENT_ID is missing"),
        ({"oidc_issuer": "https://id.example.org"}, "DIGSEASON_BASE_URL is missing"),
        ({"oidc_issuer": "http://id.example.org"}, "begins with https://"),
    ],
)
def test_a_provider_is_set_up_whole_or_not_at_all(said: dict[str, Any], fault: str) -> None:
    with pytest.raises(ValidationError, match=fault):
        Settings(data=Path(), **said)
