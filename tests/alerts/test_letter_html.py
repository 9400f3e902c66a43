"""A letter as HTML says what its plain text says, is shown by itself, and can be read."""

from __future__ import annotations

import re
from dataclasses import asdict
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.colours import DAY, NIGHT
from alerts.digest import compose_digest
from alerts.letter import Entry, Letter, Part
from alerts.letter_html import write_html
from alerts.words import LANGUAGES
from tests.alerts.test_digest import AS_OF, EVERY_NOTICE, MIXED, READERS
from tests.silences import EVERY_SILENCE

FETCHED = {"src", "href", "background", "action", "data", "srcset", "poster"}


class Reading(HTMLParser):
    """Words of the body of some HTML, and the attributes of its elements."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.open: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += attrs
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "body" in self.open:
            self.words += data.split()


def words_of(text: str) -> list[str]:
    """Return the words of plain text without rules and bullets."""
    return [word for word in re.sub(r"(?m)^(─+$|- )", "", text).split() if word]


@pytest.mark.parametrize("language", LANGUAGES)
def test_html_says_what_the_text_says_word_for_word(language: str) -> None:
    letter = compose_digest([*EVERY_NOTICE, *MIXED], READERS[language], AS_OF, EVERY_SILENCE)
    words = [
        word.replace("\N{NON-BREAKING HYPHEN}", "-") for word in Reading(write_html(letter)).words
    ]
    assert words == words_of(letter.text)


@given(st.text("ab<>&\"'{}%1 ", min_size=1, max_size=30))
def test_no_name_becomes_html(name: str) -> None:
    letter = Letter(name, "en", (Part(name, (Entry(name, (name,)),), (name,)),), name)
    found = Reading(write_html(letter))
    assert found.words == f"{name}. {f'{name} ' * 5}".split()
    assert found.open == []


@pytest.fixture(scope="module")
def html() -> str:
    return write_html(compose_digest(MIXED, READERS["en"], AS_OF, EVERY_SILENCE))


def test_html_fetches_nothing_and_runs_nothing(html: str) -> None:
    assert [name for name, _ in Reading(html).attributes if name in FETCHED] == []
    assert re.findall(r"url\(|@import|@font-face|<script|<link|\bon\w+=", html) == []


def test_html_names_its_language_and_gives_every_table_no_meaning(html: str) -> None:
    assert '<html lang="en">' in html
    assert html.count("<table") == html.count('<table role="presentation"')


def test_every_colour_of_the_mail_is_of_the_palette(html: str) -> None:
    known = {*asdict(DAY).values(), *asdict(NIGHT).values()}
    assert set(re.findall(r"#[0-9a-fA-F]{3,8}\b", html)) <= known
