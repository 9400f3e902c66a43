"""Paragraphs, titles and lists of a mail, in lines of at most 72 columns."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from functools import lru_cache

COLUMNS = 72


@lru_cache(4096)  # many readers are told the same
def wrap(text: str, indent: str = "", bullet: str = "") -> str:
    """Return a paragraph in lines."""
    lines = textwrap.wrap(
        bind_numbers(text),
        COLUMNS,
        initial_indent=bullet or indent,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
    text = "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ")
    return text.replace("\N{NON-BREAKING HYPHEN}", "-")


def bind_numbers(text: str) -> str:
    """Return text whose numbers stay on one line with what follows, "15-45 cm" as a whole."""
    text = re.sub(r"(?<=\d)-(?=[\d.,]+ )", "\N{NON-BREAKING HYPHEN}", text)
    return re.sub(r"(?<=\d) (?=\S)", "\N{NO-BREAK SPACE}", text)


def underline(text: str) -> str:
    """Return a title."""
    title = wrap(text)
    return f"{title}\n{'─' * max(map(len, title.splitlines()))}"


def bullets(title: str, paragraphs: Iterable[str]) -> str:
    """Return a list under its title."""
    return "\n".join([underline(title), *(wrap(text, "  ", "- ") for text in paragraphs)])
