"""What was found, in words: an SMS in one part, in either language, whatever the names."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.dig.find_news import FindNews, What, compose_find_news, compose_find_news_sms
from alerts.digest import Reader
from alerts.gsm import count_parts
from tests.dig_records import dig_record

LONG = "The Long Terrace Above the Old Mill and the Upper Weir, Second Planting"


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("what", ["suspected", "found", "taken back"])
def test_an_sms_has_one_part_however_long_the_names_are(what: What, language: str) -> None:
    record = dig_record(20_000)
    several = [FindNews(what, record, LONG, LONG)] * 1000
    text = compose_find_news_sms(several, language)
    assert count_parts(text) == 1  # source: [3GPP-23.038] 160 septets
    assert "+999" in text


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_gravest_comes_first_and_nothing_is_called_clean(language: str) -> None:
    whats: tuple[What, ...] = ("taken back", "suspected", "found")
    several = [FindNews(what, dig_record(n), "Ledge", "Upper") for n, what in enumerate(whats, 1)]
    reader = Reader("Ada", language, "F", "Merrin Valley Growers")
    letter = compose_find_news(several, reader, date(2025, 5, 7), None, is_grower=True)
    (entry,) = letter.parts[0].entries
    assert [
        f"vine {n}" in told or f"vid {n}" in told
        for n, told in zip((3, 2, 1), entry.paragraphs, strict=True)
    ] == [True] * 3
    words = letter.text.lower().replace(",", " ").split()
    assert not {"clean", "safe", "low-risk", "limpia", "segura"} & set(words)
