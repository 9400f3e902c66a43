"""Advisories over the API: drafted, noted, dropped or released by who decides, once."""

from __future__ import annotations

from sqlalchemy import Engine, insert, select, update

from service.store import tables
from service.store.accounts import set_places
from service.store.advisories import add_members
from service.store.engine import writing
from tests.planted import plant_recipient
from tests.service.api.conftest import Ask, Send
from tests.signed_in import plant_account, sign_in_as


def test_an_advisory_is_drafted_noted_and_dropped(send: Send, ask: Ask) -> None:
    number = send("/api/advisories", "cora", None).json()["number"]
    path = f"/api/advisories/{number}"
    drafted = ask(path, "cora").json()
    assert (drafted["state"], drafted["blocks"], drafted["notes"]) == ("held", 3, [])
    (listed,) = ask("/api/advisories", "cora").json()
    assert listed.items() <= drafted.items()
    assert (drafted["language"], drafted["parts"], drafted["noted"]) == ("en", 1, [])
    assert ask(path, "cora", language="es").json()["sms"] != drafted["sms"]
    assert "text/html" in ask(f"{path}/mail", "cora").headers["Content-Type"]
    note = {"notes": 0, "text": "Take water."}
    assert [send(f"{path}/note", "cora", note).status_code for _ in range(2)] == [204, 409]
    noted = ask(path, "cora").json()
    assert (noted["notes"], noted["noted"][0]["person"]) == (["Take water."], "Cora")
    assert "Take water." in noted["sms"]
    assert send(f"{path}/drop", "cora", {"notes": 1, "why": "rain"}).status_code == 204
    assert send(f"{path}/release", "cora", {"notes": 1}).status_code == 409
    dropped = ask(path, "cora").json()
    assert (dropped["state"], dropped["dropped_why"]) == ("dropped", "rain")


def test_an_advisory_is_released_once(send: Send, ask: Ask) -> None:
    number = send("/api/advisories", "cora", None).json()["number"]
    path = f"/api/advisories/{number}"
    answers = [send(f"{path}/release", "cora", {"notes": 0}).status_code for _ in range(2)]
    assert answers == [204, 409]
    assert ask(path, "cora").json()["released_by"] == "Cora"


def test_only_who_sees_all_that_it_is_about_reads_for_whom_it_was_released(
    engine: Engine, ask: Ask, here: str
) -> None:
    with writing(engine) as connection:
        plant_recipient(connection, "Ledge Example")
        connection.execute(insert(tables.district), {"id": "flats", "name": "The Flats"})
        in_it = update(tables.site).where(tables.site.c.id == "upper")
        connection.execute(in_it.values(district_id="flats"))
        (number,) = connection.scalars(
            select(tables.advisory.c.id).where(tables.advisory.c.released_at.is_not(None))
        )
        add_members(connection, number, ["Ledge Example"])
    of_one = plant_account(engine, "dina@example.org", "coordinator")
    with writing(engine) as connection:
        set_places(connection, of_one.id, [], ["flats"])
    path = f"/api/advisories/{number}"
    dina = sign_in_as(here, "dina@example.org")
    answers = [
        dina.get(here + one, timeout=30) for one in (path, f"{path}/members?format=json", path[4:])
    ]
    assert [one.status_code for one in answers] == [200, 403, 200]
    assert [one.text for one in answers if "Ledge Example" in one.text] == []
    assert "Ledge Example" in ask(f"{path}/members", "cora").text


def test_only_who_decides_reads_and_releases(send: Send, ask: Ask) -> None:
    assert ask("/api/advisories", "ada").status_code == 403
    assert send("/api/advisories/1/release", "ada", {"notes": 0}).status_code == 403
    assert send("/api/advisories", "reader", None).status_code == 403
    assert ask("/api/advisories/999", "cora").status_code == 404
