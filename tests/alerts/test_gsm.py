"""SMS letters and parts are counted as networks count them [3GPP-23.038]."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.gsm import count_parts, count_septets, to_gsm7

ESCAPE = 0x1B
EXTENSION = "^{}\\[~]|€\f"
# source: [3GPP-23.038], the default alphabet by rows; its last row is from memory
ALPHABET = (
    "@£$¥èéùìòÇ\nØø\rÅå"
    "Δ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ"
    " !\"#¤%&'()*+,-./"
    "0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNO"
    "PQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmno"
    "pqrstuvwxyzäöñüà"
)


def fewest_parts(units: list[list[int]], alone: int, per_part: int) -> int:
    """Return the fewest parts of any segmentation that keeps each character's units together."""
    if sum(map(len, units)) <= alone:
        return 1
    fewest = [0]
    for end in range(1, len(units) + 1):
        size, start = 0, end
        options: list[int] = []
        while start and size + len(units[start - 1]) <= per_part:
            start -= 1
            size += len(units[start])
            options.append(fewest[start] + 1)
        fewest.append(min(options))
    return fewest[-1]


def septets(text: str) -> list[list[int]]:
    return [[ESCAPE, ord(c)] if c in EXTENSION else [ALPHABET.index(c)] for c in text]


def utf16_units(text: str) -> list[list[int]]:
    return [list(c.encode("utf-16-be")[::2]) for c in text]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        # source: 3GPP TS 23.038 and 23.040; the counts derived by hand from 160, 153, 70 and 67
        ("a", 1),
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("a" * 459, 3),
        ("a" * 460, 4),
        ("€" * 80, 1),
        ("€" * 81, 2),
        ("€" * 153, 3),
        ("ç" * 70, 1),
        ("ç" * 71, 2),
        ("ç" * 134, 2),
        ("ç" * 135, 3),
        ("ç" * 201, 3),
        ("ç" * 202, 4),
        ("\U0001f347" * 35, 1),
        ("\U0001f347" * 36, 2),
        ("\U0001f347" * 67, 3),
        ("64 °F" + "a" * 65, 1),
        ("64 °F" + "a" * 66, 2),
    ],
)
def test_parts_follow_from_septets_or_units(text: str, parts: int) -> None:
    assert count_parts(text) == parts


@given(st.text(ALPHABET.replace("\x1b", "") + EXTENSION * 6, min_size=1, max_size=500))
def test_gsm_parts_are_the_fewest_of_any_segmentation(text: str) -> None:
    assert count_parts(text) == fewest_parts(septets(text), 160, 153)


@given(st.text(min_size=1, max_size=300).map(lambda text: "ç" + text))
def test_ucs2_parts_are_the_fewest_of_any_segmentation(text: str) -> None:
    assert count_parts(text) == fewest_parts(utf16_units(text), 70, 67)


def test_an_empty_text_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a text"):
        count_parts("")


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("á í ó ú Á Í Ó Ú ç", "a i o u A I O U c"),
        ("é ñ ü à Ñ É Ü ¿ ¡", "é ñ ü à Ñ É Ü ¿ ¡"),
        ("64.6 °F", "64.6 F"),
        ("15\u201345 cm … “Álamo”", '15-45 cm ... "Alamo"'),
        ("n\u0303", "ñ"),
        ("a\u00a0b\u200bc", "a bc"),
        ("葡 Łódź œ", "? Lodz oe"),
    ],
)
def test_a_text_keeps_what_the_alphabet_has_and_loses_the_rest(text: str, plain: str) -> None:
    assert to_gsm7(text) == plain


@given(st.text())
def test_any_text_becomes_one_in_the_alphabet(text: str) -> None:
    assert set(to_gsm7(text)) <= set(ALPHABET + EXTENSION) - {"\x1b"}


@given(st.text(ALPHABET.replace("\x1b", "") + EXTENSION))
def test_a_text_in_the_alphabet_is_left_as_it_is(text: str) -> None:
    assert to_gsm7(text) == text


def test_an_extension_character_takes_two_septets() -> None:
    assert count_septets("a€[") == 5
