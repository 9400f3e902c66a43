"""The pages of blocks: the answer first, what is another's without a name, kept while it holds."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from pkgutil import resolve_name
from threading import Event, Semaphore
from xml.etree import ElementTree

import pytest
import requests
from sqlalchemy import Engine, insert

from service.charts.kept import Drawer
from service.settings import Settings
from service.store import tables
from service.store.accounts import set_account, set_places
from service.store.changes import count_change
from service.store.engine import BRIEF_PATIENCE_S, open_engine, writing
from service.store.schema import upgrade
from service.store.tokens import add_token
from service.web.writing import AT_ONCE, LOOKS_AT_ONCE
from tests.planted import plant_block, plant_days, plant_place
from tests.serving import serving_here
from tests.signed_in import plant_account, sign_in_as

WARM_F = [50.0] * 30 + [70.0] * 40
"""Cold first, then warm enough for a spring to open on the fifth warm day, or a fall to be open."""


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    folder = tmp_path_factory.mktemp("pages")
    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(engine)
    first = (datetime.now(UTC) - timedelta(days=len(WARM_F) + 1)).date()
    with writing(engine) as connection:
        plant_block(connection)
        plant_place(connection, "ledge", probe_id=2)
        plant_days(connection, first, WARM_F)
    for name, site_ids in (("gil", ["upper"]), ("nora", [])):
        account = plant_account(engine, f"{name}@example.org", "grower")
        with writing(engine) as connection:
            set_places(connection, account.id, site_ids, [])
    plant_account(engine, "cora@example.org", "coordinator")
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def here(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving_here(engine, Settings(data=tmp_path_factory.mktemp("served"))) as here:
        yield here


@pytest.fixture(scope="module")
def gil(here: str) -> requests.Session:
    return sign_in_as(here, "gil@example.org")


def test_today_says_how_each_block_of_a_grower_stands(here: str, gil: requests.Session) -> None:
    page = gil.get(f"{here}/today", timeout=30)
    text = page.text.replace("\N{NO-BREAK SPACE}", " ")
    assert page.headers["Cache-Control"] == "private, no-cache"
    assert "of 1 block</h1>" in text
    assert '<h3><a href="/blocks/terrace-7">Terrace 7</a></h3>' in text
    assert "Root zone, 15\N{NON-BREAKING HYPHEN}45 cm: 70.0 °F, five-day mean." in text
    assert "Last readings " in text
    assert "Ledge" not in text
    assert "style=" not in text  # what the Content-Security-Policy would leave out
    ribbon = text[text.index("<svg") : text.index("</svg>") + len("</svg>")]
    picture = ElementTree.fromstring(ribbon)  # noqa: S314 (made here)
    assert picture.get("class") == "ribbon"


def test_a_page_that_still_holds_is_not_sent_again(here: str, gil: requests.Session) -> None:
    etag = gil.get(f"{here}/today", timeout=30).headers["ETag"]
    again = gil.get(f"{here}/today", headers={"If-None-Match": etag}, timeout=30)
    assert (again.status_code, again.content) == (304, b"")  # source: [RFC-9110] 13.1.2


def test_today_speaks_the_language_and_the_unit_of_the_account(engine: Engine, here: str) -> None:
    made = plant_account(engine, "ines@example.org", "coordinator")
    with writing(engine) as connection:
        set_account(connection, made.id, language="es", unit="C")
    page = sign_in_as(here, "ines@example.org").get(f"{here}/today", timeout=30)
    assert '<html lang="es">' in page.text
    assert "21.1" in page.text.replace(",", ".")  # by hand: (70 - 32) / 1.8


def test_who_sees_no_block_is_told_so_and_shown_none(here: str) -> None:
    page = sign_in_as(here, "nora@example.org").get(f"{here}/today", timeout=30).text
    assert "You see no block yet" in page
    assert "<svg" not in page


def test_a_block_says_how_it_stands_why_and_on_what_it_rests(
    here: str, gil: requests.Session
) -> None:
    text = gil.get(f"{here}/blocks/terrace-7", timeout=30).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "<h1>Terrace 7, Upper Alder</h1>" in text
    assert "<td>30 cm</td><td>u1</td>" in text
    assert "The mean over its root zone, 15\N{NON-BREAKING HYPHEN}45 cm, was 70.0 °F" in text
    assert "What was told" in text
    everything = gil.get(f"{here}/blocks/terrace-7", params={"why": "all"}, timeout=30).text
    assert text.count("<ol>") == 1
    assert ['href="?why=all"' in page for page in (text, everything)] == [True, False]
    assert "Ledge" not in text
    assert "style=" not in text


def test_the_first_view_of_a_block_weighs_little(here: str, gil: requests.Session) -> None:
    page = gil.get(f"{here}/blocks/terrace-7", timeout=30)
    within = set(re.findall(r'(?:<link|<img|<script)[^>]* (?:href|src)="(/[^"]+)"', page.text))
    answers = [
        gil.get(here + path, stream=True, timeout=30) for path in ("/blocks/terrace-7", *within)
    ]
    assert [one.headers["Content-Encoding"] for one in answers if len(one.raw.data) > 1000] != []
    assert len(within) >= 4
    sizes = [int(one.headers["Content-Length"]) for one in answers]
    assert sum(sizes) < 120_000  # bytes over the wire, headers left out


def test_a_block_of_another_is_as_if_it_were_not_there(here: str, gil: requests.Session) -> None:
    hers, nobodys = (gil.get(f"{here}/blocks/{one}", timeout=30) for one in ("ledge", "nowhere"))
    assert (hers.status_code, nobodys.status_code) == (404, 404)
    tokens = re.compile(r'name="csrf" value="\w+"')  # each address has another
    assert len(tokens.findall(hers.text)) == 1
    pages = [tokens.sub("", one.text) for one in (hers, nobodys)]
    assert pages[0].replace("ledge", "") == pages[1].replace("nowhere", "")


def test_a_curve_that_is_borrowed_from_another_grower_is_not_named(
    engine: Engine, here: str, gil: requests.Session
) -> None:
    lent = [{"name": "Ledge", "distance_km": 3.9, "higher_m": None, "is_station": False}]
    day = (datetime.now(UTC) - timedelta(hours=8)).date() - timedelta(days=1)  # at its site
    row = {
        "block_id": "terrace-7", "issued_on": day, "season": day.year, "kind": "spring",
        "last_day": day - timedelta(days=1), "curve_of": "ledge", "chance": 0.9,
        "by_now": 0.0, "within_7_d": 0.0, "within_14_d": 0.0, "p10": day, "p50": day, "p90": day,
        "open_chances": [0.0], "borrowed": lent,
    }  # fmt: skip
    with writing(engine) as connection:
        connection.execute(insert(tables.outlook), row | {"event": "closes"})
    pages = [gil.get(f"{here}/{one}", timeout=30).text for one in ("today", "blocks/terrace-7")]
    theirs = sign_in_as(here, "cora@example.org").get(f"{here}/blocks/terrace-7", timeout=30).text
    assert ["a block of another grower" in page for page in pages] == [True, True]
    assert ["Ledge" in page for page in pages] == [False, False]
    assert "the yearly course of Ledge" in theirs


def test_the_region_of_a_grower_is_their_own_blocks(here: str, gil: requests.Session) -> None:
    text = gil.get(f"{here}/region", timeout=30).text
    counts = re.findall(r'<th scope="row">Region</th><td>(\d)</td>', text)
    assert counts == ["1"]
    assert 'class="map"' in text
    assert "Ledge" not in text
    assert "style=" not in text
    share = gil.get(f"{here}/region/share.svg", timeout=30)
    assert share.headers["Content-Type"] == "image/svg+xml"
    picture = ElementTree.fromstring(share.content)  # noqa: S314 (made here)
    assert picture.tag == "{http://www.w3.org/2000/svg}svg"


def test_a_coordinator_sees_all_and_about_where_they_lie(here: str) -> None:
    text = sign_in_as(here, "cora@example.org").get(f"{here}/region", timeout=30).text
    assert "of 2 blocks</h1>" in text
    assert "stand about where they lie" in text


def test_ribbons_are_of_ones_own_blocks_or_of_all_years_of_one(
    here: str, gil: requests.Session
) -> None:
    year = datetime.now(UTC).year
    every = gil.get(f"{here}/ribbons", timeout=30).text
    earlier = gil.get(f"{here}/ribbons", params={"season": year - 3}, timeout=30).text
    years = gil.get(f"{here}/ribbons", params={"block": "terrace-7"}, timeout=30).text
    assert ["Terrace 7" in one for one in (every, earlier, years)] == [True, True, True]
    assert ["Ledge" in one for one in (every, earlier, years)] == [False, False, False]
    assert "No readings from" in earlier  # its <desc>
    hers = gil.get(f"{here}/ribbons", params={"block": "ledge"}, timeout=30)
    assert hers.status_code == 404


def test_the_chart_of_a_block_is_drawn_ahead_for_those_who_read_alike(
    engine: Engine, here: str, gil: requests.Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings, now = Settings(data=Path()), datetime.now(UTC)
    drawer, stop = Drawer(), Event()
    assert drawer.draw(engine, settings, now, stop) >= 2  # of two blocks, in each form of reading
    assert drawer.draw(engine, settings, now, stop) == 0
    assert Drawer().draw(engine, settings, now, stop) == 0  # by another process
    monkeypatch.setattr("service.charts.kept.draw_svg", lambda *_: pytest.fail("it is drawn ahead"))
    there = f"{here}/blocks/terrace-7/chart.svg"
    kept = gil.get(there, timeout=30)
    assert kept.headers["Content-Type"] == "image/svg+xml"
    picture = ElementTree.fromstring(kept.content)  # noqa: S314 (made here)
    assert picture.tag == "{http://www.w3.org/2000/svg}svg"
    assert "prefers-color-scheme: dark" in kept.text
    again = gil.get(there, headers={"If-None-Match": kept.headers["ETag"]}, timeout=30)
    assert again.status_code == 304  # source: [RFC-9110] 13.1.2
    assert gil.get(f"{here}/blocks/ledge/chart.svg", timeout=30).status_code == 404
    page = gil.get(f"{here}/blocks/terrace-7", timeout=30).text
    assert 'alt="Chart of the root zone (15\N{NON-BREAKING HYPHEN}45' in page.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_a_chart_that_is_missing_is_drawn_when_it_is_asked_for_and_anew_after_a_change(
    engine: Engine, here: str, gil: requests.Session
) -> None:
    def ask() -> str:
        params = {"season": datetime.now(UTC).year}
        return gil.get(f"{here}/blocks/terrace-7/chart.svg", params=params, timeout=60).text

    first = ask()
    with writing(engine) as connection:
        plant_days(connection, (datetime.now(UTC) - timedelta(days=3)).date(), [40.0])
        count_change(connection, "u1")
    assert first.startswith("<svg")
    assert ask() != first


@pytest.mark.parametrize(
    ("step", "at_once"),
    [
        pytest.param("service.web.chart_page.find_kept", AT_ONCE, id="looked for"),
        pytest.param("service.charts.kept.draw_svg", LOOKS_AT_ONCE, id="drawn"),
    ],
)
def test_charts_that_take_long_keep_no_push_waiting(
    engine: Engine,
    here: str,
    gil: requests.Session,
    monkeypatch: pytest.MonkeyPatch,
    step: str,
    at_once: int,
) -> None:
    with writing(engine) as connection:
        count_change(connection, "u1")
        token = add_token(connection, "u1", datetime.now(UTC))
    begun, go_on, do = Semaphore(0), Event(), resolve_name(step)

    def hold(*args: object) -> object:
        begun.release()
        go_on.wait(60)
        return do(*args)

    monkeypatch.setattr(step, hold)
    there, pushed = f"{here}/blocks/terrace-7/chart.svg", f"{here}/api/readings"
    headers = {"Authorization": f"Bearer {token}"}
    with ThreadPoolExecutor(AT_ONCE) as beside:
        charts = [beside.submit(gil.get, there, timeout=90) for _ in range(AT_ONCE)]
        try:
            for _ in range(at_once):
                assert begun.acquire(timeout=30)
            answer = requests.post(pushed, json={}, headers=headers, timeout=10)
        finally:
            go_on.set()
    assert answer.status_code == 422  # read, and found to hold nothing, in a writer's turn
    assert [chart.result().status_code for chart in charts] == [200] * AT_ONCE


def test_a_chart_is_drawn_without_waiting_for_who_writes_for_long(
    engine: Engine, here: str, gil: requests.Session
) -> None:
    with writing(engine) as connection:
        count_change(connection, "u1")
    with writing(engine):
        begun_s = time.monotonic()
        answer = gil.get(f"{here}/blocks/terrace-7/chart.svg", timeout=60)
        took_s = time.monotonic() - begun_s
    assert answer.text.startswith("<svg")
    assert took_s < BRIEF_PATIENCE_S / 2


def test_health_is_shown_to_administrators_alone(here: str, gil: requests.Session) -> None:
    cora = sign_in_as(here, "cora@example.org")
    asked = [one.get(f"{here}/checkup", timeout=30).status_code for one in (gil, cora)]
    assert asked == [403, 403]


def test_today_and_the_page_of_a_block_say_the_same_of_readings_of_an_earlier_season(
    engine: Engine, here: str
) -> None:
    with writing(engine) as connection:
        long_ago = (datetime.now(UTC) - timedelta(days=500)).date()
        plant_days(connection, long_ago, [60.0] * 10, probe_id=2)
    cora = sign_in_as(here, "cora@example.org")
    block = cora.get(f"{here}/blocks/ledge", timeout=30).text
    today = cora.get(f"{here}/today", timeout=30).text
    assert ["No readings this season." in page for page in (block, today)] == [True, True]
