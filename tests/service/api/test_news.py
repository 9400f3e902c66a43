"""States, outlooks, notices and imports over the API: the latest first, no name of another's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from requests.utils import parse_header_links
from sqlalchemy import Engine, insert, select

from alerts.notices import Neighbour, NeighbourSource
from alerts.outlook.dates import Chances, Outlook
from probes.frames import Reject
from service.store import tables
from service.store.engine import reading, writing
from service.store.imports import store_rejects
from service.store.notices import store_notices
from service.store.outlooks import KeptOutlook, store_outlooks
from tests.brought import deliver
from tests.notices import OPENED
from tests.service.api.conftest import Ask, Send

DAY = date(2026, 3, 1)
AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
LENT = Neighbour("Ledge", 3.9, None, is_station=False)


@pytest.fixture(scope="module", autouse=True)
def told(engine: Engine) -> None:
    """Three notices, an outlook that rests on another's curve and days, two imports."""
    chances = Chances(0.9, 0.0, 0.1, 0.25, date(2026, 4, 20), date(2026, 5, 1), None)
    outlook = Outlook(2026, DAY, DAY, "spring", chances, chances, None, (0.0, 0.5))
    borrowed = replace(OPENED, sources=(NeighbourSource((LENT,), 0.8),))
    with writing(engine) as connection:
        connection.execute(insert(tables.round_), {"id": 1, "started_at": AT})
        ledge = replace(OPENED, block_id="ledge")
        store_notices(connection, 1, [borrowed, ledge, replace(OPENED, kind="fall")])
        kept = KeptOutlook(outlook, "ledge", False, (LENT,))
        store_outlooks(connection, DAY, {"terrace-7": kept})
        of = {"name": "hours", "spec": {"interval_min": 60.0}}
        connection.execute(insert(tables.layout), of)
        for probe_id, (logger_id, site_id) in enumerate((("p1", "upper"), ("p2", "at-ledge")), 21):
            of = {"id": logger_id, "site_id": site_id, "layout_name": "hours"}
            connection.execute(insert(tables.logger), of)
            of = {"id": probe_id, "logger_id": logger_id, "channel": "T30"}
            connection.execute(insert(tables.probe), of)
            stretch = {"depth_cm": 30.0, "calibration_offset_c": 0.0, "valid_from": date.min}
            connection.execute(insert(tables.probe_stretch), stretch | {"probe_id": probe_id})
            end = AT - timedelta(days=1)
            first = end - timedelta(hours=9)
            deliver(connection, first, end, AT, logger_id=logger_id, channels=("T30",))
        store_rejects(connection, 1, [Reject(line, "no number", "=1+1;x", 1) for line in (3, 9)])


def test_states_say_how_blocks_stand_in_words_too(ask: Ask) -> None:
    (state,) = ask("/api/states", who="ada").json()
    assert (state["block"], state["state"]) == ("terrace-7", "no recent readings")
    assert state["readings"] == "No readings this season."
    assert state["text"]
    spanish = ask("/api/states", who="ada", headers={"Accept-Language": "es"}).json()[0]
    assert spanish["state"] == state["state"]
    assert spanish["text"] != state["text"]


def test_an_outlook_gives_chances_and_days_but_not_the_names_of_others(ask: Ask) -> None:
    opens, closes = ask("/api/outlooks", who="ada", issued_on="2026-03-01").json()
    assert [opens["event"], closes["event"]] == ["opens", "closes"]
    assert (opens["chance"], opens["p10"], opens["p90"]) == (0.9, "2026-04-20", None)
    assert opens["open_chances"] == [0.0, 0.5]
    assert opens["curve_of"] is None
    assert "a block of another grower" in opens["borrowed_from"]
    known = ask("/api/outlooks", who="cora", issued_on="2026-03-01").json()[0]
    assert (known["curve_of"], "Ledge" in known["borrowed_from"]) == ("ledge", True)
    assert ask("/api/outlooks", who="ada").json() == []


def test_notices_come_the_latest_first_in_parts(ask: Ask) -> None:
    first = ask("/api/notices", who="ada", limit=1)
    (following,) = parse_header_links(first.headers["Link"])
    rest = ask(following["url"], who="ada").json()
    assert [one["kind"] for one in [*first.json(), *rest]] == ["fall", "spring"]
    (spring,) = rest
    assert (spring["what"], spring["opened_on"], spring["made_at"]) == (
        "opened",
        "2025-10-04",
        "2026-03-02T09:00:00Z",
    )
    assert "Ledge" not in spring["text"]
    assert "a block of another grower" in spring["text"]
    assert len(ask("/api/notices", who="root").json()) == 3
    assert ask("/api/notices", who="ada", block="ledge").status_code == 404


def test_imports_are_of_ones_own_sites(ask: Ask) -> None:
    (mine,) = ask("/api/imports", who="ada").json()
    assert (mine["logger"], mine["source"], mine["inserted"]) == ("p1", "push", 10)
    assert ask(f"/api/imports/{mine['id']}", who="ada").json() == mine
    assert [one["logger"] for one in ask("/api/imports").json()] == ["p2", "p1"]
    assert ask("/api/imports/2", who="ada").status_code == 404
    assert ask("/api/imports", who="ada", logger="p2").status_code == 404
    assert ask("/api/imports", who="rea").status_code == 403


def test_what_was_rejected_comes_in_parts_and_is_no_formula(ask: Ask) -> None:
    first = ask("/api/imports/1/rejects", who="ada", limit=1, format="csv")
    assert first.text.splitlines()[1] == "3,no number,'=1+1;x,1"
    (following,) = parse_header_links(first.headers["Link"])
    last = ask(following["url"], who="ada")
    assert last.text.splitlines()[1].startswith("9,")
    assert "Link" not in last.headers


def test_an_import_is_withdrawn_and_restored_with_a_reason(
    ask: Ask, send: Send, engine: Engine
) -> None:
    why = {"why": " the probe lay in the sun "}
    path = "/api/imports/1/withdraw"
    assert send(path, "ada", {"why": " "}).status_code == 422
    assert send(path, "ada", {"why": "a\0b"}).status_code == 422
    assert send(path, "reader", why).status_code == 403
    assert send(path, "cora", why).status_code == 403
    taken = send(path, "ada", why)
    assert (taken.status_code, taken.json()) == (200, {"new": 0, "gone": 10, "changed": 0})
    mine = ask("/api/imports/1", who="ada").json()
    assert (mine["withdrawn_by"], mine["withdrawn_why"]) == ("ada@example.org", why["why"].strip())
    again = send(path, "ada", why)
    assert (again.status_code, "withdrawn already" in again.json()["detail"]) == (409, True)
    back = send("/api/imports/1/restore", "ada", why)
    assert back.json() == {"new": 10, "gone": 0, "changed": 0}
    assert send("/api/imports/2/withdraw", "ada", why).status_code == 404
    with reading(engine) as connection:
        deeds = connection.scalars(select(tables.audit.c.what).order_by(tables.audit.c.id)).all()
    assert deeds[-2:] == ["withdrew an import", "restored an import"]
