"""Accounts: the first one, signing in and out, links that hold once, tokens, and what is noted."""

from __future__ import annotations

import asyncio
import re
import subprocess
import sys
from collections.abc import Iterator, MutableMapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests
from argon2.low_level import verify_secret
from fastapi import Request
from sqlalchemy import Engine, event, select, update

from service.accounts import (
    REQUESTS_FROM_ONE_PLACE,
    TRIES,
    TRIES_AGAIN,
    TRIES_FROM_ONE_PLACE,
    Refused,
    count_request,
    make_first_link,
    sign_in,
    sign_in_as_known,
)
from service.links import Links
from service.passwords import hash_password, is_good_password, verify_password
from service.settings import Settings
from service.store import tables
from service.store.accounts import REST, add_account, fetch_account, find_session, set_account
from service.store.attempts import Bound, count_attempt
from service.store.audit import fetch_deeds
from service.store.engine import reading, writing
from service.store.tokens import add_account_token
from service.web.app import make_app
from service.web.sign_in import find_place
from tests.commands import run
from tests.planted import plant_block, plant_recipient
from tests.processes import wait_until
from tests.serving import serving_here
from tests.signed_in import PASSWORD, plant_account, send, sign_in_as
from tests.stores import rows_of

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
FIRST = {"name": "Cora Example", "email": "cora@example.org", "password": PASSWORD}

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path)


@pytest.fixture
def here(engine: Engine, settings: Settings) -> Iterator[str]:
    with serving_here(engine, settings) as address:
        yield address


def deeds(engine: Engine) -> list[str]:
    with reading(engine) as connection:
        return [f"{one.who} {one.what}" for one in fetch_deeds(connection)]


@one_database
def test_the_first_account_is_made_by_a_link_that_then_holds_no_more(
    engine: Engine, settings: Settings, here: str
) -> None:
    code, output = run(settings.data, "accounts", "first")
    link = here + urlsplit(output.strip()).path
    assert code == 0
    assert "No one has an account here yet" in requests.get(f"{here}/sign-in", timeout=5).text
    short = requests.post(link, FIRST | {"password": "short"}, timeout=5)
    assert (short.status_code, "less simple password" in short.text) == (422, True)
    browser = requests.Session()
    done = browser.post(link, FIRST, timeout=5)
    assert (done.status_code, urlsplit(done.url).path) == (200, "/today")
    assert browser.get(f"{here}/people", timeout=5).status_code == 200
    assert requests.get(link, timeout=5).status_code == 404
    assert run(settings.data, "accounts", "first")[0] == 2
    assert "cora@example.org chose a password" in deeds(engine)


@one_database
def test_the_first_link_holds_no_more_once_an_administrator_came_by_a_provider(
    engine: Engine, settings: Settings, here: str
) -> None:
    with writing(engine) as connection:
        cora = add_account(connection, "cora@example.org", "Cora", "administrator", NOW)
    link = here + make_first_link(Links(settings), datetime.now(UTC))
    assert requests.get(link, timeout=5).status_code == 200  # invited: no one has come yet
    sign_in_as_known(engine, "cora@example.org", "https://id.example", "192.0.2.9", NOW)
    assert requests.post(link, FIRST, timeout=5).status_code == 404
    with reading(engine) as connection:
        kept = fetch_account(connection, cora.id)
    assert kept is not None
    assert kept.password_hash is None
    assert run(settings.data, "accounts", "first")[0] == 2


@one_database
def test_who_chooses_a_new_password_by_a_link_may_end_the_tokens_of_programs(
    engine: Engine, settings: Settings, here: str
) -> None:
    ada = plant_account(engine, "ada@example.org", "grower")
    now = datetime.now(UTC)
    with writing(engine) as connection:
        until = now + timedelta(days=1)
        token = add_account_token(connection, ada.id, "read", now, "a phone", until)
    answers = []
    for more in ({}, {"ends_tokens": "1"}):
        path = urlsplit(run(settings.data, "accounts", "link", "ada@example.org")[1].strip()).path
        page = requests.get(here + path, timeout=5).text
        assert "whatever the password is: a phone." in page
        requests.post(here + path, {"password": PASSWORD, **more}, timeout=5)
        known = {"Authorization": f"Bearer {token}"}
        answers.append(requests.get(f"{here}/api/windows", headers=known, timeout=5).status_code)
    assert answers == [200, 401]
    assert "ada@example.org revoked the tokens of programs" in deeds(engine)


@one_database
def test_an_invitation_holds_once_and_a_newer_one_ends_it(
    engine: Engine, settings: Settings, here: str
) -> None:
    words = ("accounts", "invite", "ada@example.org", "--role", "grower")
    older = run(settings.data, *words)[1].strip()
    newer = run(settings.data, "accounts", "link", "ADA@example.org")[1].strip()
    older, newer = (here + urlsplit(one).path for one in (older, newer))
    assert requests.get(older, timeout=5).status_code == 404
    forged = newer[:-1] + ("A" if newer[-1] != "A" else "B")
    assert requests.get(forged, timeout=5).status_code == 404
    assert requests.post(newer, {"password": PASSWORD}, timeout=5).status_code == 200
    assert requests.post(newer, {"password": PASSWORD}, timeout=5).status_code == 404
    assert sign_in_as(here, "ada@example.org").get(f"{here}/account", timeout=5).ok
    assert run(settings.data, *words)[0] == 2
    with reading(engine) as connection:
        kept = connection.execute(select(tables.account)).one()
    assert PASSWORD not in str(kept)
    assert kept.password_hash.startswith("$argon2id$")  # source: [RFC-9106] by argon2-cffi


def test_wrong_passwords_lock_an_address_out_for_a_while_for_all_processes(
    engine: Engine,
) -> None:
    plant_account(engine, "ada@example.org", "grower")
    tried = [sign_in(engine, "Ada@Example.org", "wrong", "192.0.2.1", NOW) for _ in range(6)]
    assert tried == [Refused()] * 5 + [Refused(NOW + TRIES.span)]
    assert sign_in(engine, "ada@example.org", PASSWORD, "192.0.2.9", NOW) == tried[-1]
    assert sign_in(engine, "bea@example.org", "wrong", "192.0.2.1", NOW) == Refused()
    secret = sign_in(engine, "ada@example.org", PASSWORD, "192.0.2.9", NOW + TRIES.span)
    assert isinstance(secret, str)
    assert "ada@example.org locked out for a while" in deeds(engine)


def test_one_place_that_tries_many_addresses_locks_out_no_more_than_its_bound_allows(
    engine: Engine,
) -> None:
    plant_account(engine, "ada@example.org", "grower")
    bad = "192.0.2.1"
    others = [f"x{number // 5}@example.org" for number in range(TRIES_FROM_ONE_PLACE.most)]
    tried = [sign_in(engine, one, "wrong", bad, NOW) for one in others]
    assert set(tried) == {Refused()}
    more = [sign_in(engine, "ada@example.org", "wrong", bad, NOW) for _ in range(6)]
    assert set(more) == {Refused(NOW + TRIES_FROM_ONE_PLACE.span)}
    assert isinstance(sign_in(engine, "ada@example.org", PASSWORD, "192.0.2.9", NOW), str)
    until = NOW + REQUESTS_FROM_ONE_PLACE.span
    asked = [f"x{number}@example.org" for number in range(REQUESTS_FROM_ONE_PLACE.most)]
    ends = [count_request(engine, one, bad, NOW) for one in asked]
    ends += [count_request(engine, "ada@example.org", bad, NOW) for _ in range(4)]
    assert ends == [None] * REQUESTS_FROM_ONE_PLACE.most + [until] * 4
    assert count_request(engine, "ada@example.org", "192.0.2.9", NOW) is None


@one_database
def test_no_stranger_locks_out_a_browser_by_which_someone_has_signed_in(
    engine: Engine, here: str
) -> None:
    for name in ("ada", "bea"):
        plant_account(engine, f"{name}@example.org", "grower")
    ada, bea = (sign_in_as(here, f"{name}@example.org") for name in ("ada", "bea"))
    for one in (ada, bea):
        send(one, f"{here}/sign-out", {})

    def lock(bound: Bound) -> None:
        with writing(engine) as connection:
            for _ in range(bound.most):
                count_attempt(connection, bound, "ada@example.org", datetime.now(UTC))

    def enter(browser: requests.Session) -> int:
        filled = {"email": "Ada@example.org", "password": PASSWORD}
        there = f"{here}/sign-in"
        return browser.post(there, filled, allow_redirects=False, timeout=30).status_code

    lock(TRIES)
    assert [enter(one) for one in (requests.Session(), bea, ada)] == [429, 429, 303]
    assert enter(requests.Session()) == 429  # who came in so lets no stranger try again
    lock(TRIES_AGAIN)
    assert enter(ada) == 429


@pytest.mark.parametrize(
    ("host", "place"),
    [
        ("192.0.2.9", "192.0.2.9"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),  # source: [RFC-6177] 2
        ("a name", "a name"),
    ],
)
def test_who_has_many_addresses_of_one_line_is_one_place(host: str, place: str) -> None:
    assert find_place(Request({"type": "http", "client": (host, 1)})) == place


def test_passwords_tried_at_once_take_turns_so_that_memory_holds() -> None:
    script = (
        "import re, threading; from service.passwords import verify_password\n"
        "many = [threading.Thread(target=verify_password, args=(None, 'a')) for _ in range(8)]\n"
        "[one.start() for one in many]; [one.join() for one in many]\n"
        "print(*re.findall(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read()))"
    )
    command = [sys.executable, "-c", script]
    ran = subprocess.run(command, capture_output=True, check=True)  # noqa: S603 (our own)
    assert int(ran.stdout) < 250_000  # [kB]; 64 MB each [RFC-9106] would come to 512 MB


def test_a_session_ends_by_rest_and_with_its_account(engine: Engine) -> None:
    plant_account(engine, "ada@example.org", "grower")
    secret = sign_in(engine, "ada@example.org", PASSWORD, "192.0.2.9", NOW)
    assert isinstance(secret, str)
    with reading(engine) as connection:
        assert find_session(connection, secret, NOW + REST - timedelta(seconds=1)) is not None
        assert find_session(connection, secret, NOW + REST) is None
        assert secret not in str(connection.execute(select(tables.session)).all())
    with writing(engine) as connection:
        connection.execute(update(tables.account).values(revoked_at=NOW))
        assert find_session(connection, secret, NOW) is None
    assert sign_in(engine, "ada@example.org", PASSWORD, "192.0.2.9", NOW) == Refused()


@one_database
def test_signing_out_everywhere_ends_every_browser(engine: Engine, here: str) -> None:
    plant_account(engine, "ada@example.org", "grower")
    one, other = sign_in_as(here, "ada@example.org"), sign_in_as(here, "ada@example.org")
    cookie = next(iter(one.cookies))
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "lax"
    left = send(one, f"{here}/sign-out", {"everywhere": "1"})
    assert left.status_code == 303
    assert left.headers["Clear-Site-Data"] == '"cache", "storage"'
    answer = other.get(f"{here}/account", allow_redirects=False, timeout=5)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in?next=/account")


@one_database
def test_a_form_without_the_token_of_its_session_is_refused(engine: Engine, here: str) -> None:
    plant_account(engine, "cora@example.org", "administrator")
    browser, other = (sign_in_as(here, "cora@example.org") for _ in range(2))
    invited = {"email": "eve@example.org", "role": "administrator"}
    assert browser.post(f"{here}/people", invited, timeout=5).status_code == 403
    page = other.get(f"{here}/people", timeout=5).text
    (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', page)
    assert browser.post(f"{here}/people", invited | {"csrf": csrf}, timeout=5).status_code == 403
    cross = {"Sec-Fetch-Site": "cross-site"}
    assert send(browser, f"{here}/people", invited, headers=cross).status_code == 403
    assert send(browser, f"{here}/people", invited).status_code == 200
    assert "cora@example.org invited as administrator" in deeds(engine)


@one_database
def test_after_signing_in_one_goes_on_within_the_place_alone(engine: Engine, here: str) -> None:
    plant_account(engine, "ada@example.org", "grower")
    known = {"email": "ada@example.org", "password": PASSWORD}
    for wanted, led in (("/sharing", "/sharing"), ("//evil.example", "/today")):
        filled = known | {"next": wanted}
        answer = requests.post(f"{here}/sign-in", filled, allow_redirects=False, timeout=5)
        assert (answer.status_code, answer.headers["Location"]) == (303, led)


@one_database
def test_a_token_reads_what_its_account_sees_and_does_nothing_until_it_may(
    engine: Engine, settings: Settings, here: str
) -> None:
    with writing(engine) as connection:
        plant_block(connection)
    plant_account(engine, "cora@example.org", "administrator")
    words = ("tokens", "add", "--account", "cora@example.org")
    secret = run(settings.data, *words)[1].strip()
    writes = run(settings.data, *words, "--write", "--days", "1")[1].strip()
    pushes = run(settings.data, "tokens", "add", "--logger", "u1")[1].strip()
    there = f"{here}/api/windows"

    def ask(token: str, method: str = "GET", url: str = there) -> int:
        headers = {"Authorization": f"Bearer {token}"}
        return requests.request(method, url, headers=headers, timeout=5).status_code

    assert [ask(one) for one in (secret, writes, pushes, "x")] == [200, 200, 403, 401]
    assert ask(secret, "POST", f"{here}/people/1/restore") == 403
    assert ask(writes, "POST", f"{here}/account/tokens") == 403
    assert ask(writes, "POST", f"{here}/people/1/restore") == 200
    with writing(engine) as connection:
        connection.execute(update(tables.token).values(expires_at=datetime.now(UTC)))
    assert [ask(one) for one in (secret, writes)] == [401, 401]
    listed = run(settings.data, "tokens", "list")[1]
    assert max(map(len, listed.splitlines())) <= 80


def set_up_reader(engine: Engine, data: Path) -> Settings:
    """Put in an account that mails reach."""
    with writing(engine) as connection:
        plant_recipient(connection, "Ada Example")
    plant_account(engine, "ada@example.org", "grower", recipient_name="Ada Example")
    return Settings(data=data, base_url="https://dig.alder.example")


@one_database
def test_who_has_forgotten_a_password_gets_a_link_by_mail_and_no_one_learns_who_there_is(
    engine: Engine, tmp_path: Path
) -> None:
    settings = set_up_reader(engine, tmp_path)
    with serving_here(engine, settings) as here:
        ask = f"{here}/forgotten"
        there = requests.post(ask, {"email": "ada@example.org"}, timeout=5)
        nowhere = requests.post(ask, {"email": "eve@example.org"}, timeout=5)
        assert there.text == nowhere.text
        wait_until(lambda: len(rows_of(engine)["outbox"]) == 1)
        with reading(engine) as connection:
            (mail,) = connection.scalars(select(tables.outbox.c.message)).all()
        flat = mail.replace("=\r\n", "").replace("=\n", "")
        (path,) = set(re.findall(r"https://dig\.alder\.example(/welcome/[\w.-]+)", flat))
        assert requests.get(here + path, timeout=5).status_code == 200
        for _ in range(2):
            requests.post(ask, {"email": "ada@example.org"}, timeout=5)
        often = requests.post(ask, {"email": "ada@example.org"}, timeout=5)
        assert (often.status_code, "Too many tries" in often.text) == (429, True)


@one_database
def test_no_answer_to_who_has_forgotten_a_password_waits_for_what_is_done_about_it(
    engine: Engine, tmp_path: Path
) -> None:
    settings = set_up_reader(engine, tmp_path)
    app = make_app(engine, settings, with_rounds=False)
    done: list[str] = []
    event.listen(engine, "before_cursor_execute", lambda *said: done.append(said[2]))

    def find_done(email: str) -> tuple[list[str], int]:
        """Return what was asked of the store until the answer was sent, and how often after it."""
        body, until_sent = f"email={email}".encode(), []
        kind = (b"content-type", b"application/x-www-form-urlencoded")
        scope = {"type": "http", "method": "POST", "path": "/forgotten", "query_string": b""}
        scope |= {"headers": [kind], "client": ("192.0.2.1", 1), "server": ("localhost", 80)}

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": body}

        async def send(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.body" and not message.get("more_body"):
                until_sent.extend(done)

        done.clear()
        asyncio.run(app({**scope, "scheme": "http"}, receive, send))
        return until_sent, len(done) - len(until_sent)

    nowhere, there = find_done("eve@example.org"), find_done("ada@example.org")
    assert nowhere[0] == there[0] != []
    assert there[1] > nowhere[1] > 0


@pytest.mark.parametrize(
    ("password", "is_good"),
    [
        # common practice, no source: a length and no rules of signs
        (PASSWORD, True),
        ("elevenchars", False),
        ("aaaaaaaaaaaaaaaa", False),
        ("ada@example.org", False),
        ("vides altas y viñas", True),
    ],
)
def test_a_good_password_is_long(password: str, is_good: bool) -> None:
    assert is_good_password(password, "Ada@example.org") == is_good


@one_database
def test_as_much_is_hashed_for_an_address_of_no_one(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with writing(engine) as connection:
        ada = add_account(connection, "ada@example.org", "Ada", "grower", NOW)
        add_account(connection, "ida@example.org", "Ida", "grower", NOW)
        set_account(connection, ada.id, password_hash=hash_password(PASSWORD))
    verify_password(None, "so that the hash of no one is made")
    took: list[str] = []

    def note(kept: bytes, *said: Any) -> bool:
        took.append(kept.decode().rsplit("$", 2)[0])  # variant, version, memory, passes, lanes
        return verify_secret(kept, *said)

    monkeypatch.setattr("argon2._password_hasher.verify_secret", note)
    who = [f"{name}@example.org" for name in ("ada", "ida", "eve")]
    tried = [sign_in(engine, one, "wrong", "192.0.2.9", NOW) for one in who]
    assert tried == [Refused()] * 3
    assert len(took) == 3
    assert len(set(took)) == 1


def test_a_password_of_no_one_is_never_right() -> None:
    assert not verify_password(None, "of no one")
    assert not verify_password("no hash", PASSWORD)
    assert verify_password(hash_password(PASSWORD), PASSWORD)


@one_database
def test_the_command_revokes_restores_and_tells(engine: Engine, tmp_path: Path) -> None:
    plant_account(engine, "ada@example.org", "grower")
    assert run(tmp_path, "accounts", "role", "ada@example.org", "researcher")[0] == 0
    assert run(tmp_path, "accounts", "revoke", "ada@example.org")[0] == 0
    assert "researcher; revoked on" in run(tmp_path, "accounts")[1]
    assert run(tmp_path, "accounts", "restore", "ada@example.org")[0] == 0
    assert '"revoked_at": null' in run(tmp_path, "accounts", "--json")[1]
    assert (
        "console made grower a researcher: ada@example.org" in run(tmp_path, "accounts", "log")[1]
    )
    assert run(tmp_path, "accounts", "revoke", "eve@example.org")[0] == 2
    assert run(tmp_path, "accounts", "places", "ada@example.org", "--site", "nowhere")[0] == 2


@one_database
def test_an_administrator_says_what_someone_sees(engine: Engine, here: str) -> None:
    with writing(engine) as connection:
        plant_block(connection)
    plant_account(engine, "cora@example.org", "administrator")
    ada = plant_account(engine, "ada@example.org", "grower")
    browser, hers = (sign_in_as(here, f"{name}@example.org") for name in ("cora", "ada"))
    there = f"{here}/people/{ada.id}/places"
    assert send(browser, there, {"sites": "upper, nowhere"}).status_code == 422
    assert "Upper Alder" not in hers.get(f"{here}/account", timeout=30).text
    assert send(browser, there, {"sites": "upper"}).status_code == 303
    assert "You see Upper Alder." in hers.get(f"{here}/account", timeout=30).text
    assert "cora@example.org let the account see upper" in deeds(engine)
    assert 'value="upper"' in browser.get(f"{here}/people", timeout=30).text
