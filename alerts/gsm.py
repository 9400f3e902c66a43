"""The alphabet of an SMS, and how many parts a text takes [3GPP-23.038]."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

ONE_PART = 160
"""Septets."""

_BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENSION = frozenset("^{}\\[~]|€\f")
# one degree sign would turn the whole text into UCS-2
_ALIKE = str.maketrans("‐–—−‘’“”«»·×łŁđĐ", '----\'\'"""".xlLdD', "°")  # noqa: RUF001 - what is replaced
_ALIKE |= {ord("œ"): "oe", ord("Œ"): "OE"}


def to_gsm7(text: str) -> str:
    """Return a text in the GSM 7-bit alphabet, "?" for what has nothing alike in it.

    Letters of the alphabet keep their accents (é, ñ, ü, à); others lose them (á becomes a).
    """
    composed = unicodedata.normalize("NFC", text).translate(_ALIKE)
    return "".join(_letter(character) for character in composed)


def count_septets(text: str) -> int:
    """Return the septets of a text in the GSM 7-bit alphabet."""
    return sum(1 + (character in _EXTENSION) for character in text)


def shorten(name: str, length: int) -> str:
    """Return a name in at most `length` septets, ".." for what is left out."""
    name = to_gsm7(name)
    if count_septets(name) <= length:
        return name
    name = name[:length]
    while count_septets(name) > length - 2:
        name = name[:-1]
    return f"{name.rstrip()}.."


def count_parts(text: str) -> int:
    """Return how many SMS a text takes: 160 septets, or 153 each; in UCS-2 70 units, or 67 each.

    Raises
    ------
    ValueError
        When the text is empty: there is nothing to send.

    References
    ----------
    [3GPP-23.038]; a two-septet character and a surrogate pair stay within one part.
    """
    if not text:
        raise ValueError("an SMS needs a text")
    if set(text) <= _BASIC | _EXTENSION:
        return _fill((1 + (character in _EXTENSION) for character in text), ONE_PART, 153)
    return _fill((1 + (ord(character) > 0xFFFF) for character in text), 70, 67)


def _letter(character: str) -> str:
    if character in _BASIC or character in _EXTENSION:
        return character
    decomposed = unicodedata.normalize("NFKD", character)
    plain = "".join(c for c in decomposed if unicodedata.category(c) not in ("Mn", "Cf"))
    return "".join(c if c in _BASIC or c in _EXTENSION else "?" for c in plain)


def _fill(sizes: Iterable[int], alone: int, per_part: int) -> int:
    parts, used, total = 1, 0, 0
    for size in sizes:
        total += size
        if used + size > per_part:
            parts, used = parts + 1, 0
        used += size
    return 1 if total <= alone else parts
