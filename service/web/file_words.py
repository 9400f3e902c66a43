"""What is said in English of a logger file or a file of vigour, in the language of a visitor.

Commands and the store say it in English; its forms are in file_forms.py. What has none, such as the
words of a library, stays as it is.
"""

from __future__ import annotations

import re
from functools import cache

from alerts.words import translations
from service.web.file_forms import EVIDENCE, FAULTS, OF_VIGOUR, REFUSED_FILES, REJECTS, SIGNS

_FORMS = (*REJECTS, *REFUSED_FILES, *SIGNS, *EVIDENCE, *OF_VIGOUR, *FAULTS)


LONGEST, MOST_PARTS = 4_000, 60
"""Of one saying, in characters and parts; beyond them it stays as it is: what a file or a form of a
stranger says of itself may be of any length."""

MOST_TOGETHER = 8
"""Parts that are tried as one form: forms hold semicolons themselves, and what they quote may."""

DEEPEST = 5
"""Forms within forms."""


def tell_of_file(text: str, language: str, depth: int = 0) -> str:
    """Return what is said of a file in a language: one form, or several with semicolons between."""
    parts, told = text.split("; "), list[str]()
    if language == "en" or depth > DEEPEST or len(text) > LONGEST or len(parts) > MOST_PARTS:
        return text
    while parts:
        end, found = min(len(parts), MOST_TOGETHER) + 1, None
        while found is None and end > 1:
            end -= 1
            found = _find("; ".join(parts[:end]), language, depth)
        told.append(parts[0] if found is None else found)
        del parts[:end]
    return "; ".join(told)


def _find(text: str, language: str, depth: int) -> str | None:
    for form in _FORMS:
        found = _match(form, text)
        if found is not None:
            parts = {name: tell_of_file(said, language, depth + 1) for name, said in found.items()}
            return translations(language).gettext(form).format(**parts)
    return None


def _match(form: str, text: str) -> dict[str, str] | None:
    """Return what stands in the places of a form, each as short as may be; None: it is another.

    Every piece is looked for once, from the one before it on: an expression would try them all.
    """
    begin, places, end = _take_apart(form)
    if not (text.startswith(begin) and text.endswith(end)):
        return None
    last, at = len(text) - len(end), len(begin)
    found: dict[str, str] = {}
    for name, piece in places:
        ends = last if piece is None else text.find(piece, at, last)
        if ends < at:
            return None
        found[name] = text[at:ends]
        at = ends + len(piece or "")
    return found if at == last else None


@cache
def _take_apart(form: str) -> tuple[str, list[tuple[str, str | None]], str]:
    """Return how a form begins, its places with what follows each, and how it ends.

    What follows the last place is its end: None.
    """
    begin, *rest = re.split(r"\{(\w+)\}", form)
    names, pieces = rest[::2], rest[1::2]
    if not names:
        return begin, [], ""
    return begin, list(zip(names, [*pieces[:-1], None], strict=True)), pieces[-1]
