"""The sheet for the notice board: the answer first, each block by word and ribbon, all cautions."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from alerts.advisories.figures import BlockFacts, find_advisory
from alerts.bulletin import MOST_BLOCKS, BulletinBlock, compose_bulletin, tell_block, write_bulletin
from alerts.card import cautions, scouting_card
from alerts.digest import say_of_vines
from alerts.season_days import find_season_days
from alerts.windows import Span
from alerts.words import LANGUAGES
from probes.units import f_to_c

AS_OF = date(2025, 5, 12)
SPRING = Span(2025, "spring", date(2025, 5, 7), date(2025, 4, 28), None, None)
SEASON = find_season_days([SPRING], date(2025, 1, 1), date(2025, 12, 31), np.ones(365, bool), AS_OF)
OPEN = BulletinBlock(
    name="Terrace 7 & <b>",
    district_id="flats",
    state="open",
    opened=SPRING,
    root_zone_cm=(15.0, 45.0),
    mean_c=f_to_c(64.6),
    mean_days=5,
    season=SEASON,
    expected=None,
)
RESTING = replace(OPEN, name="Ledge", state="resting", opened=None, district_id="tops")
NAMES = {"flats": "The Flats", "tops": "The Tops"}


def compose(blocks: list[BulletinBlock], language: str = "en"):
    facts = [
        BlockFacts(
            one.district_id, None, one.state, (SPRING,) if one.opened else (), None, 18.0, 17.8
        )
        for one in blocks
    ]
    advisory = find_advisory(facts, NAMES, AS_OF)
    return compose_bulletin(blocks, advisory, "Alder Bench", language, "F")


def test_the_answer_comes_first_and_each_block_has_its_words_and_ribbon() -> None:
    sheet = compose([RESTING, OPEN])
    assert sheet.title == "Dig season on 12 May: open in 1 of 2 blocks"
    flats, tops = sheet.parts
    assert (flats.name, tops.name) == ("The Flats", "The Tops")
    assert [entry.text for entry in (*flats.entries, *tops.entries)] == [
        "Open: spring dig season opened between 28 April and 7 May. Root zone, 15-45 cm: 64.6 °F, "
        "five-day mean.",
        "Resting. Root zone, 15-45 cm: 64.6 °F, five-day mean.",
    ]
    assert all("<svg" in entry.ribbon for entry in flats.entries)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_sheet_holds_the_card_the_cautions_and_what_is_said_of_vines(language: str) -> None:
    page = write_bulletin(compose([OPEN], language), ":root{}")
    text = re.sub(r"<[^>]+>|\s+", " ", page.replace("\N{NO-BREAK SPACE}", " "))
    text = re.sub(r"\s+", " ", text)
    wanted = [*scouting_card(language), *cautions(language), say_of_vines(language)]
    lost = [one for one in wanted if one.split(":")[-1].strip() not in text]
    assert lost == []
    assert f'<html lang="{language}">' in page


def test_names_are_text_and_ids_are_their_own() -> None:
    page = write_bulletin(compose([OPEN, RESTING]), ":root{}")
    assert "Terrace 7 &amp; &lt;b&gt;" in page
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert re.findall(r"<script|\bstyle=|\bon\w+=|https?://(?!www.w3.org)", page) == []


def test_of_many_blocks_districts_are_counted_and_no_block_is_drawn() -> None:
    sheet = compose([replace(OPEN, name=f"Block {i}") for i in range(MOST_BLOCKS + 1)])
    assert [part.entries for part in sheet.parts] == [()]
    assert sheet.key == ""
    assert "11" in sheet.parts[0].paragraphs[0]
    assert "<svg" not in write_bulletin(sheet, "")


def test_without_an_open_block_the_card_is_for_later() -> None:
    assert compose([OPEN]).card_title == "What to do now"
    assert compose([RESTING]).card_title == "When dig season is open"


@pytest.mark.parametrize(
    ("closed_not_before", "told"),
    [
        (date(2025, 6, 20), "Resting. Spring dig season closed on 20 June. Root zone"),
        (date(2025, 6, 12), "Resting. Spring dig season closed between 12 and 20 June. Root zone"),
    ],
)
def test_a_block_that_is_closed_says_since_when(closed_not_before: date, told: str) -> None:
    on = date(2025, 6, 20)
    spring = replace(SPRING, closed_on=on, closed_not_before=closed_not_before, reason="spent")
    later = date(2025, 7, 1)
    assert tell_block(replace(RESTING, closed=spring), "en", "F", later).startswith(told)


def test_a_block_without_readings_says_so_without_a_temperature() -> None:
    silent = replace(RESTING, state="no recent readings", mean_c=None)
    assert tell_block(silent, "es", "C", AS_OF) == "Sin lecturas recientes."
