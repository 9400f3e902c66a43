"""What every request goes through: headers, what another site sends, what is too long."""

from __future__ import annotations

import re
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import requests
from fastapi.dependencies.utils import get_flat_params
from sqlalchemy import Engine, text

from service.settings import Settings
from service.store.engine import open_engine, writing
from service.store.schema import upgrade
from service.web.app import make_app
from service.web.guards import LARGEST_BYTES
from tests.planted import plant_block
from tests.serving import serving_here
from tests.signed_in import plant_account, sign_in_as

PAGE = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder: Path = tmp_path_factory.mktemp("guards")
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    plant_account(engine, "cora@example.org", "administrator")
    with writing(engine) as connection:
        plant_block(connection, name="{{ 7777 * 7777 }}<script>alert(1)</script>")
    with serving_here(engine, Settings(data=folder)) as address:
        yield address
    engine.dispose()


@pytest.mark.parametrize("path", ["/sign-in", "/docs", "/nowhere", "/api/windows", "/health"])
def test_every_answer_has_the_guards(here: str, path: str) -> None:
    headers = requests.get(here + path, headers=PAGE, timeout=30).headers
    policy = headers["Content-Security-Policy"]
    # common practice, no source: nothing from elsewhere, nothing within the page
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    # source: [CSP3] and [RFC-7034] 2.1: no page may frame them
    assert "frame-ancestors 'none'" in policy
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)  # a file that goes with the test
def test_what_fails_unforeseen_is_a_page_that_says_where_to_look(
    engine: Engine, tmp_path: Path
) -> None:
    plant_account(engine, "cora@example.org", "administrator")
    with serving_here(engine, Settings(data=tmp_path)) as address:
        browser = sign_in_as(address, "cora@example.org")
        with writing(engine) as connection:
            connection.execute(text("alter table sending_hold rename to elsewhere"))
        asked = {"X-Request-ID": "vine-0042"}
        page = browser.get(f"{address}/notices", headers=asked, timeout=30)
    assert page.status_code == 500
    assert "the log says why, under number vine-0042." in page.text
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]


def test_every_number_in_an_address_has_bounds(tmp_path: Path) -> None:
    app = make_app(open_engine("sqlite://"), Settings(data=tmp_path), with_rounds=False)
    routes = [one for router in app.state.routers for one in router.routes]
    asked = [
        (f"{one.path}: {field.name}", field.field_info)
        for one in routes
        for field in get_flat_params(one.dependant)
    ]
    numbers = {name: info for name, info in asked if info.annotation in (int, int | None)}
    assert len(numbers) > 30
    unbounded = [name for name, info in numbers.items() if "Le(" not in f"{info.metadata}"]
    assert unbounded == []  # no database takes every integer


def test_no_page_holds_a_script_or_a_style_or_fetches_from_elsewhere(here: str) -> None:
    browser = sign_in_as(here, "cora@example.org")
    paths = ("/sign-in", "/forgotten", "/docs", "/account", "/people", "/deeds", "/checkup")
    pages = {path: browser.get(here + path, timeout=30).text for path in paths}
    wrong = re.compile(r"<script|<style|\sstyle=|\son\w+=|(?:src|href)=\"(?!/|#)", re.I)
    assert [path for path, page in pages.items() if wrong.search(page)] == []
    assert [path for path, page in pages.items() if "<h1>" not in page] == []


def test_a_name_is_shown_as_it_is_and_does_nothing(here: str) -> None:
    page = sign_in_as(here, "cora@example.org").get(f"{here}/today", timeout=30).text
    assert "{{ 7777 * 7777 }}&lt;script&gt;" in page  # common practice, no source
    assert "60481729" not in page
    assert "<script" not in page


@pytest.mark.parametrize(
    "path",
    [
        "/blocks/terrace-7'%20or%20'1'='1",
        "/blocks/..%2F..%2Fdigseason.db",
        "/blocks/%7B%7B7777*7777%7D%7D",
        "/static/..%2Fapp.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/hand/..%2F..%2Flink.key",
        "/told/1.%27--",
    ],
)
def test_an_address_is_looked_up_and_not_run(here: str, path: str) -> None:
    connection = HTTPConnection(urlsplit(here).netloc, timeout=30)  # sends it as it is
    cookie = sign_in_as(here, "cora@example.org").cookies.get("digseason")
    connection.request("GET", path, headers=PAGE | {"Cookie": f"digseason={cookie}"})
    answer = connection.getresponse()
    page = answer.read().decode()
    connection.close()
    assert answer.status == 404  # common practice, no source
    assert [word for word in ("Traceback", "root:", "60481729", "FastAPI") if word in page] == []


def test_what_is_asked_for_is_a_value_and_no_sql(here: str) -> None:
    browser = sign_in_as(here, "cora@example.org")
    asked = {"block": "terrace-7' or '1'='1"}
    answer = browser.get(f"{here}/api/windows", params=asked, headers={"Accept": "*/*"}, timeout=30)
    assert answer.status_code == 404  # common practice, no source


def test_a_static_file_of_one_version_is_kept_for_good(here: str) -> None:
    page = requests.get(f"{here}/sign-in", timeout=30).text
    sheets = re.findall(r'href="(/static/[^"]+)"', page)
    assert len(sheets) >= 4
    kept = {requests.get(here + one, timeout=30).headers["Cache-Control"] for one in sheets}
    assert kept == {"public, max-age=31536000, immutable"}
    plain = requests.get(f"{here}/static/almanac.css", timeout=30)
    assert (plain.status_code, plain.headers["Cache-Control"]) == (200, "no-store")
    assert requests.get(f"{here}/static/../app.py", timeout=30).status_code == 404


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "https://evil.example"}, 403),
        ({"Sec-Fetch-Site": "same-origin"}, 200),
        ({"Origin": "null"}, 200),  # of a browser that tells no referrer
        ({}, 200),
    ],
)
def test_what_another_site_makes_a_browser_send_is_refused(
    here: str, sent: dict[str, str], status: int
) -> None:
    # common practice, no source
    fields = {"email": f"{len(sent)}{status}@example.org"}
    answer = requests.post(f"{here}/forgotten", fields, headers=PAGE | sent, timeout=30)
    assert answer.status_code == status


def test_what_is_too_long_is_refused_before_it_is_read(here: str) -> None:
    connection = HTTPConnection(urlsplit(here).netloc, timeout=30)
    connection.putrequest("POST", "/sign-in")
    connection.putheader("Content-Length", f"{LARGEST_BYTES + 1}")
    connection.endheaders()
    assert connection.getresponse().status == 413  # source: [RFC-9110] 15.5.14
    connection.close()


def test_a_form_of_too_many_fields_is_refused(here: str) -> None:
    body = "&".join(f"f{number}=1" for number in range(1000))
    headers = PAGE | {"Content-Type": "application/x-www-form-urlencoded"}
    answer = requests.post(f"{here}/sign-in", body, headers=headers, timeout=30)
    assert (answer.status_code, "That did not work" in answer.text) == (400, True)


def test_a_refusal_is_a_page_for_people_and_json_for_programs(here: str) -> None:
    page = requests.get(f"{here}/nowhere", headers=PAGE, timeout=30)
    problem = requests.get(f"{here}/api/nowhere", headers=PAGE, timeout=30)
    assert "<h1>Nothing is here</h1>" in page.text
    assert problem.headers["Content-Type"] == "application/problem+json"
    spanish = PAGE | {"Accept-Language": "es-MX"}
    assert "Aquí no hay nada" in requests.get(f"{here}/nowhere", headers=spanish, timeout=30).text


def test_the_first_page_leads_to_signing_in(here: str) -> None:
    answer = requests.get(here, headers=PAGE, allow_redirects=False, timeout=30)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in?next=/")


def test_where_readers_come_by_tls_cookies_go_no_other_way(tmp_path: Path) -> None:
    engine = open_engine(f"sqlite:///{tmp_path / 'digseason.db'}")
    upgrade(engine)
    plant_account(engine, "cora@example.org", "administrator")
    settings = Settings(data=tmp_path, base_url="https://dig.alder.example")
    with serving_here(engine, settings) as address:
        known = {"email": "cora@example.org", "password": "four vines in a row"}
        answer = requests.post(f"{address}/sign-in", known, allow_redirects=False, timeout=30)
    engine.dispose()
    # from memory: the rules of cookies for the prefix __Host-
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-digseason=")
    assert [part for part in ("Secure", "HttpOnly", "Path=/") if part not in cookie] == []
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=")
