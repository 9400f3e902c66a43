"""The catalogues hold every string of the code, translated, with its placeholders."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any

import pytest
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po

import alerts
import service
from alerts.words import LANGUAGES, translations

ALERTS = Path(alerts.__file__).parent
SERVICE = Path(service.__file__).parent
FORMS = {".py": "python", ".html": "jinja2"}
MessageId = str | tuple[str, ...]


@cache
def extracted() -> set[MessageId]:
    sources = [*ALERTS.rglob("*.py"), *SERVICE.rglob("*.py"), *SERVICE.rglob("*.html")]
    return {
        message
        for path in sources
        for _line, message, _comments, _context in extract_from_file(FORMS[path.suffix], path)
    }


def catalogue(language: str) -> Any:
    with (ALERTS / "words" / f"{language}.po").open("rb") as lines:
        return read_po(lines, locale=language)


def placeholders(text: str) -> set[str]:
    return {name for _text, name, _spec, _conversion in Formatter().parse(text) if name}


def texts(message: str | tuple[str, ...] | list[str]) -> list[str]:
    return [message] if isinstance(message, str) else list(message)


@pytest.fixture(params=[language for language in LANGUAGES if language != "en"])
def translated(request: pytest.FixtureRequest) -> Any:
    return catalogue(request.param)


def test_every_string_of_the_code_is_in_the_catalogue(translated: Any) -> None:
    known = {message.id for message in translated}
    assert extracted() - known == set()


def test_the_catalogue_holds_no_string_that_the_code_has_lost(translated: Any) -> None:
    known = {tuple(m.id) if m.pluralizable else m.id for m in translated if m.id}
    assert known - extracted() == set()
    assert translated.obsolete == {}


def test_every_string_is_translated_and_none_is_fuzzy(translated: Any) -> None:
    unfinished = [m.id for m in translated if m.id and (m.fuzzy or not all(texts(m.string)))]
    assert unfinished == []


def test_a_translation_has_the_placeholders_of_its_string(translated: Any) -> None:
    wrong = [
        (source, text)
        for m in translated
        if m.id
        for source, text in zip(texts(m.id), texts(m.string), strict=True)
        if placeholders(source) != placeholders(text)
    ]
    assert wrong == []


def test_spanish_has_a_singular_and_a_plural() -> None:
    ngettext = translations("es").ngettext
    forms = [ngettext("{count} block", "{count} blocks", count) for count in (0, 1, 2)]
    assert forms == ["{count} parcelas", "{count} parcela", "{count} parcelas"]


def test_a_language_without_a_catalogue_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match=r"no words in 'xx'; write one of en, es"):
        translations("xx")
