"""/finds: noted by a plain form, once; seen by who may; photos with it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO

import pytest
import requests
from PIL import Image
from sqlalchemy import Engine, delete, insert, select

from alerts.dig.records import DigRecord
from service.settings import Settings
from service.store import tables
from service.store.accounts import Role, set_places
from service.store.dig_records import fetch_dig_records
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.planted import plant_block, plant_place
from tests.serving import serving_here
from tests.signed_in import plant_account, sign_in_as

FILLED = {
    "block": "terrace-7",
    "row": "3",
    "vine": "12",
    "dug_on": "2025-05-06",
    "person": "Ada <b>",
    "roots": "fine",
    "swellings": "pale",
    "insects": "few",
    "specimen": "not taken",
    "depth_cm": "16in",
}
ACCOUNTS: tuple[tuple[str, Role, list[str]], ...] = (
    ("ada", "grower", ["upper"]),
    ("ben", "grower", ["at-ledge"]),
    ("cora", "coordinator", []),
    ("rhea", "researcher", []),
)
TOLD_JSON = {"Accept": "application/json"}


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:  # one store for all
    folder = tmp_path_factory.mktemp("finds")
    opened = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    upgrade(opened)
    with writing(opened) as connection:
        plant_block(connection)
        plant_place(connection, "ledge")
    for who, role, sites in ACCOUNTS:
        account = plant_account(opened, f"{who}@example.org", role)
        with writing(opened) as connection:
            set_places(connection, account.id, sites, [])
    yield opened
    opened.dispose()


@pytest.fixture(scope="module")
def here(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving_here(engine, Settings(data=tmp_path_factory.mktemp("data"))) as served:
        yield served


@pytest.fixture(scope="module")
def browsers(here: str) -> dict[str, requests.Session]:
    return {who: sign_in_as(here, f"{who}@example.org") for who in ("ada", "ben", "cora", "rhea")}


@pytest.fixture(autouse=True)
def emptied(engine: Engine) -> None:
    with writing(engine) as connection:
        for table in ("dig_photo", "dig_record_earlier", "dig_news", "dig_record", "finds_consent"):
            connection.execute(delete(tables.metadata.tables[table]))


def kept(engine: Engine) -> list[DigRecord]:
    with reading(engine) as connection:
        return fetch_dig_records(connection)


def fill(browser: requests.Session, here: str) -> dict[str, str]:
    """Return the hidden fields of a fresh form, and what is filled in."""
    page = browser.get(f"{here}/finds/new", timeout=30).text
    hidden = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]+)"', page)
    return {**dict(hidden), **FILLED}


def photo(size: tuple[int, int] = (40, 30)) -> bytes:
    written = BytesIO()
    Image.new("RGB", size, "brown").save(written, "JPEG")
    return written.getvalue()


def test_a_vine_is_noted_without_scripts_and_the_same_form_once(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    fields = fill(browsers["ada"], here)
    answer = browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    assert answer.status_code == 200
    assert "Noted: row 3, vine 12, phylloxera suspected." in answer.text
    assert "only a specialist who has seen a specimen can confirm it" in answer.text
    assert 'value="Ada &lt;b&gt;"' in answer.text
    again = browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    assert "Noted before: row 3, vine 12" in again.text
    (record,) = kept(engine)
    assert (record.vine, record.depth_cm) == ((3, 12), 40.64)  # by hand: 16 x 2.54 cm


def test_what_is_wrong_comes_back_filled_in_and_in_the_language_of_the_browser(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    fields = {**fill(browsers["ada"], here), "vine": "12a", "roots": ""}
    answer = browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    assert answer.status_code == 422
    assert "Vine in the row: &#39;12a&#39; is no whole number" in answer.text
    assert 'value="12a"' in answer.text
    spanish = {"Accept-Language": "es"}
    answer = browsers["ada"].post(f"{here}/finds/new", fields, headers=spanish, timeout=30)
    assert "Vid en la hilera: «12a» no es un número entero" in answer.text
    assert kept(engine) == []


def test_a_photo_is_kept_once_seen_by_its_grower_and_no_one_else(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    fields, files = fill(browsers["ada"], here), {"photos": ("a.jpg", photo(), "image/jpeg")}
    for _ in range(2):
        told = browsers["ada"].post(f"{here}/finds/new", fields, files=files, timeout=30)
        assert told.status_code == 200
    with reading(engine) as connection:
        (number,) = connection.scalars(select(tables.dig_photo.c.id)).all()
    seen = browsers["ada"].get(f"{here}/finds/photos/{number}", timeout=30)
    assert (seen.status_code, seen.headers["content-type"]) == (200, "image/jpeg")
    assert f'href="/finds/photos/{number}"' in browsers["ada"].get(f"{here}/finds", timeout=30).text
    others = [
        browsers[who].get(f"{here}/finds/photos/{number}", timeout=30).status_code
        for who in ("ben", "cora", "rhea")
    ]
    assert others == [404, 404, 403]
    bad = {"photos": ("a.jpg", b"<script>", "image/jpeg")}
    fields = {**fill(browsers["ada"], here), "vine": "13"}
    refused = browsers["ada"].post(f"{here}/finds/new", fields, files=bad, timeout=30)
    assert (refused.status_code, "read as JPEG, PNG or WebP" in refused.text) == (422, True)
    assert len(kept(engine)) == 1


def test_only_who_grows_there_notes_and_the_coordinator_sees_where_they_agreed(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    fields = {**fill(browsers["ada"], here), "block": "ledge"}
    refused = browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    assert (refused.status_code, "there is no block" in refused.text) == (422, True)
    assert "ledge" not in refused.text.replace("&#39;ledge&#39;", "")
    browsers["ada"].post(f"{here}/finds/new", fill(browsers["ada"], here), timeout=30)

    def see(who: str) -> bool:
        return "row 3, vine 12" in browsers[who].get(f"{here}/finds", timeout=30).text

    assert (see("ada"), see("ben"), see("cora")) == (True, False, False)
    page = browsers["ada"].get(f"{here}/sharing", timeout=30).text
    assert "May the coordinator be told of each suspicion and find from now on" in page
    csrf = fill(browsers["ada"], here)["csrf"]
    agree = {"csrf": csrf, "say": "yes"}
    browsers["ada"].post(f"{here}/sharing/upper/finds", agree, timeout=30)
    assert (see("cora"), see("ben")) == (True, False)
    take_back = {"csrf": csrf, "say": "no"}
    browsers["ada"].post(f"{here}/sharing/upper/finds", take_back, timeout=30)
    assert not see("cora")
    assert (
        browsers["ada"].post(f"{here}/sharing/at-ledge/finds", agree, timeout=30).status_code == 404
    )
    with reading(engine) as connection:
        rows = connection.execute(select(tables.finds_consent)).all()
    assert [(one.agreed_by, one.taken_back_by) for one in rows] == [("ada@example.org",) * 2]


def test_a_queue_is_told_who_is_signed_in_and_the_id_that_is_kept(
    here: str, browsers: dict[str, requests.Session]
) -> None:
    session = browsers["ada"].get(f"{here}/finds/session", headers=TOLD_JSON, timeout=30).json()
    fields = {**fill(browsers["ada"], here), "csrf": ""}
    headers = {**TOLD_JSON, "X-CSRF-Token": session["csrf"]}
    url = f"{here}/finds/new"
    answer = browsers["ada"].post(url, fields, headers=headers, timeout=30).json()
    assert (answer["record_id"], answer["kept"]) == (fields["record_id"], "new")
    forged = {**TOLD_JSON, "X-CSRF-Token": "x"}
    assert browsers["ada"].post(url, fields, headers=forged, timeout=30).status_code == 403
    bad = browsers["ada"].post(url, {**fields, "row": "0"}, headers=headers, timeout=30)
    assert (bad.status_code, bad.json()["detail"]) == (
        422,
        "Row: '0' is not within 1 to 20000; look at it again",
    )
    assert requests.get(f"{here}/finds/session", headers=TOLD_JSON, timeout=30).status_code == 401


def test_the_id_of_another_growers_record_is_refused_and_nothing_of_it_told(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    fields = fill(browsers["ada"], here)
    browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    stolen = {**fill(browsers["ben"], here), "record_id": fields["record_id"], "block": "ledge"}
    refused = browsers["ben"].post(f"{here}/finds/new", stolen, timeout=30)
    assert (refused.status_code, "Terrace" in refused.text) == (409, False)
    csrf = {"csrf": stolen["csrf"]}
    url = f"{here}/finds/{fields['record_id']}/withdraw"
    assert browsers["ben"].post(url, csrf, timeout=30).status_code == 404
    assert [one.block_id for one in kept(engine)] == ["terrace-7"]
    assert browsers["ada"].post(url, {"csrf": fields["csrf"]}, timeout=30).status_code == 200
    assert kept(engine) == []
    again = browsers["ada"].post(f"{here}/finds/new", fields, timeout=30)
    assert "was noted and taken back before; nothing is changed" in again.text


def test_the_latest_hundred_are_listed_the_latest_first(
    engine: Engine, here: str, browsers: dict[str, requests.Session]
) -> None:
    row = {"block_id": "terrace-7", "row": 1, "person": "Ada", "roots": "fine", "mark": ""}
    row |= dict.fromkeys(("swellings", "insects"), "none") | {"specimen": "not taken", "note": ""}
    row |= {"dead_roots": False, "by_lot": False, "kept_by": "x", "kept_at": datetime.now(UTC)}
    days = [datetime(2025, 5, 1 + number % 20, tzinfo=UTC).date() for number in range(101)]
    rows = [
        {**row, "record_id": f"r{number}", "vine": number + 1, "dug_on": day}
        for number, day in enumerate(days)
    ]
    with writing(engine) as connection:
        connection.execute(insert(tables.dig_record), rows)
    page = browsers["ada"].get(f"{here}/finds", timeout=30).text
    assert "The latest 100 of 101." in page
    assert "mark:" not in page  # where there is none
    vines = [int(one) for one in re.findall(r"row 1, vine (\d+): not found", page)]
    listed = [days[vine - 1] for vine in vines]
    assert listed == sorted(listed, reverse=True)
    assert 1 not in vines  # by hand: of the first day, the first of its vines
    others = browsers["ben"].get(f"{here}/finds?block=terrace-7", timeout=30).text
    assert ("row 1" in others, "terrace-7" in others) == (False, False)
