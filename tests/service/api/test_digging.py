"""What to dig, in which order, by whom, what it shows: over the API as on the pages."""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import pairwise

import pytest
import requests
from sqlalchemy import Engine, insert, select, update

from service.store import tables
from service.store.engine import reading, writing
from service.store.notices import store_notices
from tests.digs import dig, keep
from tests.notices import OPENED
from tests.planted import plant_recipient
from tests.service.api.conftest import Ask, Send
from tests.vigour_blocks import table_of

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)
WINDOW = {"block": "terrace-7", "season": OPENED.season, "kind": OPENED.kind}
VIGOUR = "/api/blocks/terrace-7/vigour?measured_on=2025-02-01"


@pytest.fixture(scope="module", autouse=True)
def vineyard(engine: Engine, tokens: dict[str, str], here: str) -> None:
    """Ada is told that her block is open; the weak rows of it were measured, one vine dug."""
    with writing(engine) as connection:
        plant_recipient(connection, "Ada Example")
        connection.execute(update(tables.recipient).values(all_blocks=False))
        of = {"recipient_name": "Ada Example", "block_id": "terrace-7"}
        connection.execute(insert(tables.recipient_block), of)
        of_ada = tables.account.c.email == "ada@example.org"
        connection.execute(
            update(tables.account).where(of_ada).values(recipient_name="Ada Example")
        )
        connection.execute(insert(tables.round_), {"id": 1, "started_at": AT})
        store_notices(connection, 1, [OPENED])
        spacing = {"row_spacing_m": 3.0, "vine_spacing_m": 1.8, "row_azimuth_deg": 90.0}
        of_block = tables.block.c.id == "terrace-7"
        connection.execute(update(tables.block).where(of_block).values(spacing))
    keep(engine, [dig(date(2025, 5, 6), block_id="terrace-7", roots="fine", insects="none")])
    headers = {"Authorization": f"Bearer {tokens['ada']}", "Content-Type": "text/csv"}
    body = table_of(slice(8, 20))
    answer = requests.post(here + VIGOUR, body, headers=headers, timeout=30)
    assert answer.json() == {"measure": "ndvi", "read": 600, "missing": 0, "rejects": []}


def test_who_has_dug_says_so_and_takes_it_back(send: Send, ask: Ask) -> None:
    assert ask("/api/dug", "ada").json() == [{**WINDOW, "is_open": True, "said_at": None}]
    for dug in (True, False):
        answer = send("/api/dug", "ada", {**WINDOW, "dug": dug})
        assert answer.status_code == 200
        assert ask("/api/dug", "ada").json() == [answer.json()]
        assert (answer.json()["said_at"] is not None) is dug


def test_nobody_has_dug_where_they_were_told_of_nothing(send: Send, ask: Ask) -> None:
    assert ask("/api/dug").json() == []
    assert send("/api/dug", "root", {**WINDOW, "dug": True}).status_code == 409
    assert send("/api/dug", "ada", {**WINDOW, "block": "ledge", "dug": True}).status_code == 404
    assert send("/api/dug", "ada", {**WINDOW, "dug": "perhaps"}).status_code == 422


def test_the_order_begins_where_least_is_carried_from(ask: Ask) -> None:
    visits = ask("/api/order", **{"from": "45.1,0.0"}).json()
    assert [one["place"] for one in visits] == [1, 2, 3]
    assert [one["standing"] for one in visits] == ["not found", *["not looked at"] * 2]
    # by hand: the site of terrace-7 is where it begins; then "ledge" at 0.0512 degrees east,
    # 0.0512 * cos 45.1 degrees * 111.195 km = 4.02 km, within 0.02 km
    assert [visits[0]["way_km"], visits[1]["way_km"]] == pytest.approx([0.0, 4.02], abs=0.02)
    assert [one["block"] for one in ask("/api/order", "ada").json()] == ["terrace-7"]
    refused = ask("/api/order", **{"from": "north"})
    assert refused.status_code == 422
    assert "write latitude,longitude" in refused.json()["detail"]


def test_crew_days_say_why_a_block_has_none(ask: Ask) -> None:
    plan = ask("/api/crew-days", "ada", crews=2).json()
    assert (plan["days"], plan["left"]) == ([], {})
    assert set(plan["without"]) == {"terrace-7"}
    assert ask("/api/crew-days", "ada", blocks="ledge").status_code == 404
    assert ask("/api/crew-days", "ada", first="9999-12-31").status_code == 422
    assert ask("/api/crew-days", "rea").status_code == 403


def test_the_same_seed_draws_the_same_vines(ask: Ask) -> None:
    path = "/api/blocks/terrace-7/lot"
    without = ask(path, "ada").json()
    drawn, again = (ask(path, "ada", seed=7).json() for _ in range(2))
    assert (without["vines"], without["places"], without["drawn"]) == (600, 600, [])
    assert drawn == again
    assert len(drawn["drawn"]) == drawn["still"]
    places = [(one["row"], one["vine"]) for one in drawn["drawn"]]
    assert len({*places}) == len(places)
    # source: [MARTIN-2007] by the same formula in tests/alerts: 5 % and 0.8 want about 73 of many
    assert 60 <= drawn["wanted"] <= 75


def test_a_weak_patch_is_listed_set_aside_and_taken_back(
    engine: Engine, send: Send, ask: Ask
) -> None:
    path = "/api/blocks/terrace-7/patches"
    (patch,) = ask(path, "ada").json()
    rows = {int(one.partition(":")[0]) for one in patch["vines"]}
    assert {7, 8, 9, 10} <= rows <= {6, 7, 8, 9, 10, 11}  # by hand: of 20 rows these were made weak
    assert patch["loss"] == pytest.approx(0.4, abs=0.03)  # by hand: they were made 0.4 less
    vines = ask("/api/blocks/terrace-7/dig-vines", "ada").json()
    assert [one["place"] for one in vines] == [*range(1, len(vines) + 1)]
    said = {"of": patch["of"], "why": "a wet hollow", "person": "Ada"}
    assert send(f"{path}/1/aside", "ada", said).status_code == 204
    (aside,) = ask(path, "ada").json()
    assert (aside["aside_why"], aside["aside_by"]) == ("a wet hollow", "Ada")
    assert ask("/api/blocks/terrace-7/dig-vines", "ada").json() == []
    assert send(f"{path}/1/back", "ada", {"of": patch["of"]}).status_code == 204
    assert ask(path, "ada").json() == [patch]
    assert send(f"{path}/1/back", "ada", {"of": "of old"}).status_code == 409
    assert send(f"{path}/9/back", "ada", {"of": patch["of"]}).status_code == 404
    assert send(f"{path}/1/aside", "cora", said).status_code == 403
    with reading(engine) as connection:
        deeds = connection.scalars(select(tables.audit.c.what)).all()
    assert {"kept vigour", "set a patch aside", "took a patch back"} <= {*deeds}


def test_vigour_that_cannot_be_used_is_refused_whole(
    engine: Engine, here: str, tokens: dict[str, str]
) -> None:
    headers = {"Authorization": f"Bearer {tokens['ada']}", "Content-Type": "text/csv"}
    with writing(engine):  # that it cannot be used is known before its turn to write comes
        answer = requests.post(here + VIGOUR, "row;ndvi\n1;0.5\n", headers=headers, timeout=30)
    assert answer.status_code == 422
    assert answer.json()["detail"] == "this file cannot be used; nothing of it was kept"
    assert answer.json()["errors"]
    other = VIGOUR.replace("terrace-7", "ledge")
    assert requests.post(here + other, "x", headers=headers, timeout=30).status_code == 404


def test_a_survey_is_taken_away(here: str, tokens: dict[str, str], send: Send, ask: Ask) -> None:
    headers = {"Authorization": f"Bearer {tokens['ada']}", "Content-Type": "text/csv"}
    later = here + VIGOUR.replace("02-01", "02-02")
    assert requests.post(later, table_of(slice(0, 9)), headers=headers, timeout=30).ok
    wrong, kept = ask("/api/blocks/terrace-7/vigour", "ada").json()
    path = f"/api/blocks/terrace-7/vigour/{wrong['number']}/drop"
    assert send(path, "cora", None).status_code == 403
    assert [send(path, "ada", None).status_code for _ in range(2)] == [204, 404]
    assert ask("/api/blocks/terrace-7/vigour", "ada").json() == [kept]


def test_how_far_it_has_spread_is_told_to_who_may_know(ask: Ask) -> None:
    (spread,) = ask("/api/spread", "ada").json()
    (patch,) = ask("/api/blocks/terrace-7/patches", "ada").json()
    assert (spread["standing"], spread["vines"]) == ("not found", 600)
    assert spread["share"] == pytest.approx(len(patch["vines"]) / 600)
    years = [spread[f"year_{percent}_percent"] for percent in (10, 25, 50)]
    assert all(before < after for before, after in pairwise([one for one in years if one]))
    assert ask("/api/growth", "ada").json() == []
    assert ask("/api/spread", "rea").json() == ask("/api/spread", "cora").json() == []


def test_no_height_is_told_of_who_lies_only_about_there(engine: Engine, ask: Ask) -> None:
    upper = update(tables.site).where(tables.site.c.id == "upper")
    with writing(engine) as connection:
        connection.execute(upper.values(elevation_m=90.0))
    heights = {
        who: [one["from_m"] for one in ask("/api/region", who).json() if one["of"] == "height"]
        for who in ("root", "cora")
    }
    with writing(engine) as connection:
        connection.execute(upper.values(elevation_m=None))
    assert (heights["cora"], len(heights["root"])) == ([], 2)


def test_a_region_is_counted_and_its_share_open_told_by_day(ask: Ask) -> None:
    every = ask("/api/region").json()
    assert (every[0]["of"], every[0]["blocks"], every[0]["not_known"]) == ("region", 3, 3)
    assert {one["of"] for one in every[1:]} == {"district"}
    days = ask("/api/region/open-shares", limit=2).json()
    assert len(days) == 2
    assert ask("/api/region", "rea").json() == []


@pytest.mark.parametrize(
    ("path", "media"),
    [
        ("/api/blocks/terrace-7/dig-sheet.pdf", "application/pdf"),
        ("/api/crew-days.ics", "text/calendar; charset=utf-8"),
        ("/api/bulletin", "text/html; charset=utf-8"),
    ],
)
def test_the_files_of_pages_are_given_to_programs(ask: Ask, path: str, media: str) -> None:
    answer = ask(path, "ada")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, media)
    assert answer.content
