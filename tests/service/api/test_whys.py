"""How a date was reached, what each day was, and what to mind, over the API."""

from __future__ import annotations

import pytest

from alerts.card import cautions
from probes.units import f_to_c
from tests.service.api.conftest import Ask

WHY = "/api/blocks/terrace-7/why"
DAYS = "/api/blocks/terrace-7/season-days"


def test_a_date_is_explained_in_figures_and_in_steps(ask: Ask) -> None:
    found = ask(WHY, "ada", season=2025, kind="spring", as_of="2025-05-05").json()
    (why,) = found["whys"]
    assert (found["block"], found["as_of"]) == ("terrace-7", "2025-05-05")
    # by hand: 30 days of 50 °F, then 70: the five-day means are 54, 58, 62, and 66 on 4 May
    assert (why["event"], why["day"], why["cause"]) == ("opened", "2025-05-04", "warmed")
    assert why["means_c"]["2025-05-04"] == pytest.approx(f_to_c(66.0), abs=1e-9)  # [degC]
    assert why["limit_c"] == pytest.approx(f_to_c(64.0), abs=1e-9)
    assert why["short_by_c"] == pytest.approx(2 / 1.8, abs=1e-9)  # 62 of 64 °F
    assert any("64" in step for step in why["steps"])
    spanish = ask(WHY, "ada", {"Accept-Language": "es"}, season=2025, as_of="2025-05-05").json()
    assert spanish["whys"][0]["steps"] != why["steps"]


def test_without_a_season_it_says_why_a_block_stands_as_it_does(ask: Ask) -> None:
    (then,) = ask(WHY, as_of="2025-05-05").json()["whys"]
    (now,) = ask(WHY, "ada").json()["whys"]
    assert (then["event"], then["day"]) == ("opened", "2025-05-04")
    assert (now["event"], now["state"]) == ("not open", "no recent readings")


def test_each_day_of_a_season_says_what_it_was(ask: Ask) -> None:
    every = ask(DAYS, "ada", season=2025).json()
    kinds = {one["day"]: one["kind"] for one in every}
    assert len(every) == 365
    # by hand: open from 4 May on, no readings from 6 May on, spent on the 42nd day all the same
    days = ("2025-04-30", "2025-05-03", "2025-05-04", "2025-06-14", "2025-06-15", "2025-12-31")
    assert [kinds[day] for day in days] == [
        *("closed", "closed", "open", "unseen", "no readings", "no readings"),
    ]
    first = ask(DAYS, "ada", season=2025, limit=100)
    rest = ask(first.links["next"]["url"], "ada").json()
    assert first.json() + rest == every[:200]


def test_days_to_come_are_of_no_kind_yet(ask: Ask) -> None:
    last = ask(DAYS, "ada").json()[-1]
    assert (last["kind"], last["open_chance"]) == (None, 0.0)  # no round has foreseen it


@pytest.mark.parametrize("path", [WHY, DAYS])
def test_of_anothers_block_nothing_is_explained(ask: Ask, path: str) -> None:
    assert ask(path.replace("terrace-7", "ledge"), "ada").status_code == 404


def test_what_may_harm_is_said_to_programs_too(ask: Ask) -> None:
    harm = [one["text"] for one in ask("/api/cautions", "rea").json() if one["about"] == "harm"]
    assert {*cautions("en")} <= {*harm}
    assert any("Hypochlorite" in one for one in harm)


def test_a_chart_of_a_season_before_all_seasons_is_refused_with_what_to_write(ask: Ask) -> None:
    refused = ask("/api/blocks/terrace-7/chart.json", season=1)
    assert (refused.status_code, "from 1900 on" in refused.text) == (422, True)
