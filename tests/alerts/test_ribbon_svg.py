"""Ribbons as a picture: each day where it belongs, in a texture of its own, and told in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date
from typing import Any, get_args

import numpy as np
import pytest

from alerts.ribbon_svg import RibbonRow, describe_season, draw_key, draw_ribbons
from alerts.season_days import DayKind, SeasonDays, find_season_days
from alerts.windows import Span
from alerts.words import LANGUAGES

START, END = date(2025, 7, 1), date(2026, 6, 30)
SPRING = Span(2025, "spring", date(2025, 10, 4), date(2025, 9, 20), date(2025, 11, 15), "spent")
HOT = Span(2025, "spring", date(2025, 10, 4), date(2025, 10, 4), date(2025, 11, 1), "hot")
FALL = Span(2025, "fall", date(2026, 4, 1), date(2026, 4, 1), date(2026, 5, 20), "cold",
            date(2026, 5, 10))  # fmt: skip
MEASURED = np.ones(365, bool)
SVG = "{http://www.w3.org/2000/svg}"


def season(spans: list[Span], as_of: date = END, **more: Any) -> SeasonDays:
    measured = MEASURED.copy()
    measured[10:20] = False
    return find_season_days(spans, START, END, measured, as_of, **more)


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 (made here)


def draw(*seasons: SeasonDays, name: str = "Terrace 7") -> ET.Element:
    return parse(draw_ribbons([RibbonRow(name, one) for one in seasons], "Ribbons", "en"))


def fills(svg: ET.Element) -> dict[str, list[tuple[int, int]]]:
    """Return where each filling begins and how wide it is."""
    found: dict[str, list[tuple[int, int]]] = {}
    for rect in svg.iter(f"{SVG}rect"):
        fill = rect.get("fill-opacity") or rect.get("fill") or ""
        found.setdefault(fill, []).append((int(rect.get("x", "")), int(rect.get("width", ""))))
    return found


def test_each_day_is_drawn_where_it_lies() -> None:
    # by hand: from 1 July, 20 September is day 81, 4 October 95, 15 November 137, 1 April 274,
    # 10 May 313, 20 May 323; days 10 to 19 have no readings
    assert fills(draw(season([SPRING, FALL]))) == {
        "none": [(10, 10)],
        "url(#r-in)": [(81, 14)],
        "currentColor": [(95, 42), (274, 39)],
        "url(#r-out)": [(313, 10)],
    }


def test_rest_is_a_line_in_the_middle_and_known_days_lie_between_two() -> None:
    svg = draw(season([SPRING, FALL]))
    lines = [path.get("d") or "" for path in svg.iter(f"{SVG}path")]
    assert "M137 29h137" in lines  # by hand: 15 November, day 137, to 1 April, day 274
    assert "M0 21h10M0 37h10M20 21h345M20 37h345" in lines


def test_heat_is_dotted_while_the_mean_is_above_what_opens_again() -> None:
    hot = np.zeros(365, bool)
    hot[120:130] = True
    # by hand: closed by heat from 1 November, day 123, on; hot up to day 129
    assert fills(draw(season([HOT], hot=hot)))["url(#r-hot)"] == [(123, 7)]


def test_the_days_ahead_fade_in_after_today() -> None:
    # by hand: 10 September is day 71; weeks from day 72 on, the middle of week k is 7 k + 4 ahead
    chances = [0.0, 0.04, 0.31, 0.29, 0.8]
    svg = draw(season([], date(2025, 9, 10), open_chances=chances))
    assert fills(svg) == {"none": [(10, 10)], ".3": [(79, 14)], ".8": [(93, 7)]}
    (notch,) = (path for path in svg.iter(f"{SVG}path") if path.get("class") == "notch")
    assert notch.get("d") == "M68 16h8l-4 6z"


@pytest.mark.parametrize("as_of", [date(2025, 6, 1), END, date(2026, 9, 1)])
def test_a_season_that_is_over_or_to_come_has_no_today(as_of: date) -> None:
    assert "notch" not in draw_ribbons([RibbonRow("x", season([SPRING], as_of))], "t", "en")


def test_a_year_is_small_and_needs_no_style() -> None:
    chances = np.linspace(0, 1, 30).tolist()
    text = draw_ribbons(
        [RibbonRow("Terrace 7", season([SPRING], date(2025, 11, 20), open_chances=chances))],
        "Terrace 7",
        "en",
    )
    assert len(text.encode()) < 4096  # bytes
    assert re.findall(r"<style|<script|\bstyle=|\bon\w+=|href", text) == []


def test_names_are_text() -> None:
    svg = draw(season([]), name="<b> & Söhne")
    assert next(svg.iter(f"{SVG}text")).text == "<b> & Söhne"


def test_a_picture_has_a_name_and_is_told_in_words() -> None:
    svg = draw(season([SPRING, FALL]))
    labels = {one.get("id"): one.tag for one in svg if one.get("id")}
    labelled_by = (svg.get("aria-labelledby") or "").split()
    assert [labels[one] for one in labelled_by] == [f"{SVG}title", f"{SVG}desc"]
    assert svg.findtext(f"{SVG}desc") == (
        "Terrace 7: No readings from 11 July 2025 to 20 July 2025. "
        "Perhaps open from 20 September 2025 to 3 October 2025. "
        "Open from 4 October 2025 to 14 November 2025. "
        "Resting from 15 November 2025 to 31 March. Open from 1 April to 9 May. "
        "Perhaps open from 10 May to 19 May."
    )


def test_what_is_open_now_is_open_since() -> None:
    span = replace(SPRING, not_before=SPRING.opened_on, closed_on=None, reason=None)
    told = describe_season(season([span], date(2025, 10, 9), open_chances=[1.0] * 9), "en")
    assert told[1:] == ["Open since 4 October."]


def test_the_highest_chance_ahead_is_told() -> None:
    chances = [0.0, 0.04, 0.3, 0.29, 0.8]
    told = describe_season(season([], date(2025, 9, 10), open_chances=chances), "en")
    # by hand: week 4 is days 93 to 99, from 2 October on
    assert told[1:] == ["Ahead, the chance of being open is highest about 5 October: 80 %."]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_key_has_a_word_and_a_texture_for_each_kind(language: str) -> None:
    svg = parse(draw_key(language))
    words = [text.text for text in svg.iter(f"{SVG}text")]
    swatches = [
        re.sub(r"<ns0:text.*?</ns0:text>| x=\"\d+\"", "", ET.tostring(group, "unicode"))
        for group in svg.findall(f"{SVG}g")
    ]
    without_place = {re.sub(r'transform="[^"]*"', "", swatch) for swatch in swatches}
    assert len(words) == len(without_place) == len(get_args(DayKind)) + 2  # and ahead, and today
