"""The news of a block end with what holds now."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.news import find_outcome, gather_news
from alerts.notices import Notice
from tests.notices import NOT_OPENED, make_closed, make_notice

TURNED_ON = date(2025, 10, 20)


def test_sites_and_blocks_stand_in_the_order_a_reader_looks_for_them() -> None:
    blocks = [("Beta", "Row 10"), ("Beta", "Row 9"), ("alfa", "Zeta"), ("Álamo", "Alto")]
    news = gather_news([make_notice(block, site) for site, block in blocks])
    assert [(one.site_name, one.block_name) for one in news] == [
        ("Álamo", "Alto"),
        ("alfa", "Zeta"),
        ("Beta", "Row 9"),
        ("Beta", "Row 10"),
    ]


def test_what_was_found_decides_the_order_before_names_do() -> None:
    # by hand: "b" was found, so its site comes last; within it "a" was not found, 93 % sure
    blocks = [("Alfa", "b"), ("Alfa", "a"), ("Beta", "d"), ("Beta", "c"), ("Gama", "e")]
    ranks = {"Alfa/b": (2, 0), "Alfa/a": (-1, -93), "Beta/d": (-1, -80), "Gama/e": (-1, -90)}
    news = gather_news([make_notice(block, site) for site, block in blocks], ranks)
    assert [one.block_name for one in news] == ["e", "d", "c", "a", "b"]


def test_on_the_day_spring_turns_into_fall_the_block_is_open() -> None:
    turned = make_closed("turned")
    fall = make_notice(kind="fall", opened_on=TURNED_ON, not_before=TURNED_ON)
    (news,) = gather_news([fall, turned])
    assert [notice.kind for notice in news.notices] == ["spring", "fall"]
    assert news.outcome == "open"


def test_sites_that_differ_by_case_only_are_not_mixed() -> None:
    blocks = [("alfa", "1"), ("Alfa", "2"), ("alfa", "3")]
    news = gather_news([make_notice(block, site) for site, block in blocks])
    assert [one.site_name for one in news] == ["Alfa", "alfa", "alfa"]


@pytest.mark.parametrize(
    ("notice", "outcome"),
    [
        pytest.param(make_notice(), "open", id="opened"),
        pytest.param(make_notice(what="opened again"), "open", id="opened again"),
        pytest.param(make_closed("hot"), "paused", id="spring hot"),
        pytest.param(make_closed("cold"), "paused", id="spring cold"),
        pytest.param(make_closed("hot", kind="fall"), "paused", id="fall hot"),
        pytest.param(make_closed("cold", kind="fall"), "closed", id="fall cold"),
        pytest.param(make_closed("spent"), "closed", id="spent"),
        pytest.param(make_closed("turned"), "closed", id="turned"),
        pytest.param(make_closed("season over"), "closed", id="season over"),
        pytest.param(make_notice(what="corrected"), "open, corrected", id="moved"),
        pytest.param(make_closed("hot", what="corrected"), "corrected", id="moved and closed"),
        pytest.param(make_notice(**NOT_OPENED), "not opened", id="not opened"),
    ],
)
def test_a_window_that_can_open_again_is_paused(notice: Notice, outcome: str) -> None:
    assert find_outcome(notice) == outcome


def test_a_name_brings_no_line_break_or_control_character() -> None:
    (news,) = gather_news([make_notice("Terrace\r\nBcc: all\u202e", " Alder\tBench ")])
    assert (news.block_name, news.site_name) == ("Terrace Bcc: all", "Alder Bench")


def test_no_notices_are_no_news() -> None:
    with pytest.raises(ValueError, match="no notices"):
        gather_news([])
