"""Advisories over the API: drafted, noted, dropped or released by who decides, once."""

from __future__ import annotations

from tests.service.api.conftest import Ask, Send


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


def test_only_who_decides_reads_and_releases(send: Send, ask: Ask) -> None:
    assert ask("/api/advisories", "ada").status_code == 403
    assert send("/api/advisories/1/release", "ada", {"notes": 0}).status_code == 403
    assert send("/api/advisories", "reader", None).status_code == 403
    assert ask("/api/advisories/999", "cora").status_code == 404
