"""Sites and blocks over the API: in parts, kept while they hold, exactly placed for some."""

from __future__ import annotations

import pytest
import requests
from requests.utils import parse_header_links
from sqlalchemy import Engine, delete

from service.store import tables
from service.store.engine import writing
from tests.planted import plant_place
from tests.service.api.conftest import Ask


def follow(ask: Ask, path: str, limit: int) -> list[list[str]]:
    """The ids of each part of a list."""
    parts, answer = [], ask(path, limit=limit)
    while True:
        parts.append([one["id"] for one in answer.json()])
        link = answer.headers.get("Link")
        if link is None:
            return parts
        (following,) = parse_header_links(link)  # source: [RFC-8288], read by requests
        assert following["rel"] == "next"
        answer = ask(following["url"])


def test_a_site_says_where_it_is_and_by_which_clock(ask: Ask) -> None:
    assert ask("/api/sites/at-brook").json() == {
        "id": "at-brook",
        "name": "At Brook",
        "district": None,
        "timezone": "America/Los_Angeles",
        "utc_offset_min": -480,
        "latitude": 45.1,
        "longitude": -0.1,
        "is_exact": True,
        "elevation_m": 310.0,
    }


def test_a_block_names_the_probes_that_it_rests_on(ask: Ask) -> None:
    block = ask("/api/blocks/terrace-7", who="ada").json()
    assert (block["site"], block["probes"]) == ("upper", ["u1:30"])
    assert (block["root_zone_top_cm"], block["root_zone_bottom_cm"]) == (15.0, 45.0)


def test_who_may_not_know_where_a_site_lies_is_told_about_where(ask: Ask) -> None:
    exact = ask("/api/blocks/ledge").json()
    blurred = ask("/api/blocks/ledge", who="cora").json()
    assert (exact["longitude"], blurred["longitude"]) == (0.0512, 0.1)  # by hand: to a tenth
    assert (exact["is_exact"], blurred["is_exact"]) == (True, False)
    assert ask("/api/sites/at-brook", who="cora").json()["elevation_m"] is None


@pytest.mark.parametrize("path", ["/api/sites", "/api/blocks"])
def test_a_list_comes_in_parts_and_holds_each_thing_once(ask: Ask, path: str) -> None:
    whole = [one["id"] for one in ask(path).json()]
    assert whole == sorted(whole)
    assert follow(ask, path, 2) == [whole[:2], whole[2:]]
    assert "Link" not in ask(path, limit=3).headers


def test_what_is_added_meanwhile_moves_no_part(ask: Ask, engine: Engine) -> None:
    first = ask("/api/blocks", limit=2)
    (following,) = parse_header_links(first.headers["Link"])
    with writing(engine) as connection:
        plant_place(connection, "aspen")  # before what is still to come
    rest = [one["id"] for one in ask(following["url"]).json()]
    assert [one["id"] for one in first.json()] + rest == ["brook", "ledge", "terrace-7"]
    with writing(engine) as connection:
        connection.execute(delete(tables.block).where(tables.block.c.id == "aspen"))
        connection.execute(delete(tables.site).where(tables.site.c.id == "at-aspen"))


def test_what_still_holds_is_not_sent_again(ask: Ask) -> None:
    first = ask("/api/blocks")
    etag = first.headers["ETag"]
    # source: [RFC-9110] 13.1.2: weak comparison, a list, "*"
    for sent in (etag, etag.removeprefix("W/"), f'"other", {etag}', "*"):
        again = ask("/api/blocks", headers={"If-None-Match": sent})
        assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", etag)
    assert ask("/api/blocks", headers={"If-None-Match": '"other"'}).status_code == 200
    assert ask("/api/blocks", format="csv").headers["ETag"] != etag
    assert first.headers["Vary"].startswith("Accept, Accept-Language, Authorization, Cookie")


def test_a_list_is_csv_where_that_is_wanted(ask: Ask) -> None:
    accepted = ask("/api/blocks", headers={"Accept": "text/csv"})
    assert accepted.headers["Content-Type"] == "text/csv; charset=utf-8"
    lines = accepted.text.splitlines()
    assert lines[0].startswith("id,name,site,")
    assert lines[3].startswith("terrace-7,'=Terrace 7,upper,")
    assert ask("/api/blocks", format="csv").text == accepted.text
    refused = ask("/api/blocks", headers={"Accept": "image/png"})
    assert (refused.status_code, refused.json()["title"]) == (406, "Not Acceptable")


def refusal(answer: requests.Response) -> tuple[int, str]:
    assert answer.headers["Content-Type"] == "application/problem+json"  # source: [RFC-9457] 3
    problem = answer.json()
    assert problem["status"] == answer.status_code
    return answer.status_code, " ".join([problem["detail"], *problem.get("errors", ())])


def test_a_refusal_says_where_what_and_why(ask: Ask) -> None:
    status, said = refusal(ask("/api/blocks", limit="many"))
    assert (status, "limit: 'many'" in said, "integer" in said) == (422, True, True)
    status, said = refusal(ask("/api/blocks", cursor="AAAA"))
    assert (status, "begin without one" in said) == (422, True)
    assert refusal(ask("/api/blocks", limit=10_001))[0] == 422
    assert refusal(ask("/api/windows", as_of="9999-12-31"))[0] == 422
    assert refusal(ask("/api/blocks/ledge", who="ada"))[0] == 404
    assert ask("/api/blocks", who="ada", site="at-ledge").json() == []
