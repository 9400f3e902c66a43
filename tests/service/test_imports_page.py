"""/imports: a file is seen before it is kept, by its owner only, and what came in is taken back."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
import requests
from sqlalchemy import Engine, func, select

from service.settings import Settings
from service.store import tables
from service.store.accounts import set_places
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.farms import farm_text, set_up
from tests.serving import serving_here
from tests.signed_in import plant_account, send, sign_in_as

LEDGE = """
[[site]]
id = "at-ledge"
name = "At Ledge"
timezone = "Australia/Sydney"
latitude = -33.5
longitude = 149.7

[[logger]]
id = "of-ledge"
site = "at-ledge"
layout = "plain"
"""
HEAD = "time,T15,T30,T45\n"
GOOD = f"{HEAD}2025-10-02 09:00,14,15,16\n2025-10-02 10:00,14.5,15,16\n"
BROKEN = f"{HEAD}2025-10-03 09:00,14,odd,16\nnever,14,15,16\n"
UNKNOWN = "when;Soil 20 cm [F]\n" + "".join(
    f"2025-10-{4 + n // 24:02} {n % 24:02}:00:00;60.{n % 10}\n" for n in range(72)
)


@dataclass
class Grower:
    """A browser that sends files."""

    here: str
    browser: requests.Session = field(repr=False)

    def get(self, path: str) -> requests.Response:
        return self.browser.get(f"{self.here}{path}", timeout=30)

    def send(self, path: str, **fields: str) -> requests.Response:
        return send(self.browser, f"{self.here}{path}", fields)

    def put(self, of: str, text: str, name: str = "log.csv") -> str:
        """Send a file; return where the answer leads."""
        page = self.get("/imports").text
        (csrf, *_) = re.findall(r'name="csrf" value="(\w+)"', page)
        answer = self.browser.post(
            f"{self.here}/imports/uploads",
            {"csrf": csrf, "of": of},
            files={"file": (name, io.BytesIO(text.encode()))},
            allow_redirects=False,
            timeout=30,
        )
        assert answer.status_code == 303, answer.text
        return answer.headers["Location"]


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{tmp_path_factory.mktemp('imports') / 'digseason.db'}")
    upgrade(engine)
    set_up(engine, farm_text(more=LEDGE))
    for name, site_ids in (("gil", ["upper"]), ("zinnia", ["at-ledge"])):
        account = plant_account(engine, f"{name}@example.org", "grower")
        with writing(engine) as connection:
            set_places(connection, account.id, site_ids, [])
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def here(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving_here(engine, Settings(data=tmp_path_factory.mktemp("served"))) as here:
        yield here


@pytest.fixture(scope="module")
def gil(here: str) -> Grower:
    return Grower(here, sign_in_as(here, "gil@example.org"))


@pytest.fixture(scope="module")
def zinnia(here: str) -> Grower:
    return Grower(here, sign_in_as(here, "zinnia@example.org"))


def count(engine: Engine, name: str) -> int:
    with reading(engine) as connection:
        table = tables.metadata.tables[name]
        return connection.execute(select(func.count()).select_from(table)).scalar_one()


def test_a_file_is_seen_then_kept_then_withdrawn_and_restored(engine: Engine, gil: Grower) -> None:
    there = gil.put("logger:u1", GOOD)
    seen = gil.get(there).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Readings: 6 new." in seen  # by hand: two rows of three depths
    assert "<td>2025-10-02 09:00</td><td>57.2 °F</td>" in seen  # by hand: 14 x 1.8 + 32
    assert count(engine, "reading") == 0
    kept = gil.send(there, say="keep")
    assert kept.status_code == 303
    assert count(engine, "reading") == 6
    one = kept.headers["Location"]
    shown = gil.get(one).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Readings: 6 new. From 1 October 2025 to 2 October 2025." in shown  # in UTC
    assert gil.send(one, say="withdraw", why="").status_code == 422
    assert "6 went" in gil.send(one, say="withdraw", why="wrong logger").text
    assert count(engine, "reading") == 0
    assert "wrong logger" in gil.get(one).text
    assert gil.get(there).status_code == 404  # it is put aside no longer
    again = gil.get(gil.put("logger:u1", GOOD)).text
    assert "It is not read: its content was import" in again
    assert "6 came back" in gil.send(one, say="restore", why="it was right").text
    with reading(engine) as connection:
        deeds = connection.execute(
            select(tables.audit.c.who, tables.audit.c.what).where(
                tables.audit.c.what != "signed in"
            )
        ).all()
    assert [tuple(deed) for deed in deeds] == [
        ("gil@example.org", "imported a file"),
        ("gil@example.org", "withdrew an import"),
        ("gil@example.org", "restored an import"),
    ]


def test_what_is_rejected_is_shown_with_its_line_before_anything_is_kept(gil: Grower) -> None:
    there = gil.put("logger:u1", BROKEN)
    text = gil.get(there).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Readings: 2 new and 4 rejected." in text  # by hand: one cell, and a row of three
    assert "Line 2: &#39;odd&#39; in column &#39;T30&#39; is no number" in text
    assert "<code>never,14,15,16</code>" in text
    assert gil.send(there, say="drop").headers["Location"] == "/imports"
    assert gil.get(there).status_code == 404


def test_a_file_of_a_logger_with_another_layout_says_so_and_what_it_says_of_itself(
    gil: Grower,
) -> None:
    text = gil.get(gil.put("logger:u1", UNKNOWN)).text
    assert "It is not read: no column" in text
    assert "Soil 20 cm [F]" in text
    assert 'value="keep"' not in text


def test_a_new_logger_is_stated_tried_and_added_with_its_readings(
    engine: Engine, gil: Grower
) -> None:
    there = gil.put("site:upper", UNKNOWN, r"C:\logs\..\new.csv")
    text = gil.get(there).text
    assert "<h1>new.csv</h1>" in text
    fields = dict(re.findall(r'<input name="(key\.\w+)" value="([^"]*)"', text))
    fields = {key: value.replace("&#34;", '"') for key, value in fields.items()}
    fields |= {"say": "state", "name": "u1", "key.stamp": "end", "key.unit": "F"}
    fields |= {"key.clock": "UTC+10:00"}
    taken = gil.send(there, **fields)
    assert (taken.status_code, "is there already" in taken.text) == (422, True)
    wrong = gil.send(there, **{**fields, "name": "u2", "key.clock": "noon"})
    assert (wrong.status_code, "layout: clock" in wrong.text) == (422, True)
    assert gil.send(there, **{**fields, "name": "u2"}).status_code == 303
    before = count(engine, "reading")
    assert "72 new" in gil.get(there).text.replace("\N{NO-BREAK SPACE}", " ")
    assert count(engine, "reading") == before
    with reading(engine) as connection:
        ids = set(connection.scalars(select(tables.logger.c.id)))
    assert "u2" not in ids  # nothing is there before it is kept
    kept = gil.send(there, say="keep")
    assert (kept.status_code, count(engine, "reading")) == (303, before + 72)
    assert "of u2</h1>" in gil.get(kept.headers["Location"]).text


@pytest.mark.parametrize("of", ["logger:of-ledge", "site:at-ledge", "logger:nowhere", "", "site:"])
def test_a_file_is_taken_only_for_what_is_ones_own(engine: Engine, gil: Grower, of: str) -> None:
    before = count(engine, "upload")
    assert gil.put(of, GOOD) == "/imports?wrong=of"
    assert count(engine, "upload") == before
    assert "Choose the logger" in gil.get("/imports?wrong=of").text


def test_a_file_that_is_empty_or_too_large_is_not_put_aside(
    gil: Grower, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.web.uploads_page.MOST_BYTES", 100)
    led = [gil.put("logger:u1", text) for text in ("", "x" * 101)]
    assert led == ["/imports?wrong=file", "/imports?wrong=large"]


def test_of_what_is_put_aside_only_the_last_few_stay(zinnia: Grower) -> None:
    there = [zinnia.put("logger:of-ledge", GOOD) for _ in range(6)]
    assert [zinnia.get(one).status_code for one in there] == [404, 404, 200, 200, 200, 200]


def test_another_grower_finds_neither_the_file_nor_the_import(gil: Grower, zinnia: Grower) -> None:
    theirs = zinnia.put("logger:of-ledge", GOOD)
    number = zinnia.send(theirs, say="keep").headers["Location"]
    aside = zinnia.put("logger:of-ledge", BROKEN)
    asked = [gil.get(number), gil.get(aside), gil.send(number, say="withdraw", why="mine")]
    asked += [gil.send(aside, say="keep")]
    assert [one.status_code for one in asked] == [404] * 4
    assert "of-ledge" not in gil.get("/imports").text
    assert "of-ledge" in zinnia.get("/imports").text
