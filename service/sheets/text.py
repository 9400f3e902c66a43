"""Text and styles on paper: the fonts that every reader of PDF has, and what they can show."""

from __future__ import annotations

from html import escape
from typing import Any
from unicodedata import normalize

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from alerts.colours import DAY, STRAW

INK, CLAY, LINE, WEAK = (HexColor(one) for one in (DAY.ink, DAY.clay, DAY.line, STRAW))
SERIF, SANS, SANS_BOLD = "Times-Bold", "Helvetica", "Helvetica-Bold"

TITLE = ParagraphStyle(
    "title", fontName=SERIF, fontSize=18, leading=22, spaceAfter=4, textColor=INK
)
HEADING = ParagraphStyle(
    "heading", fontName=SERIF, fontSize=12, leading=15, spaceBefore=8, spaceAfter=3, textColor=CLAY
)
BODY = ParagraphStyle(
    "body", fontName=SANS, fontSize=9.5, leading=12.5, spaceAfter=4, textColor=INK
)
SMALL = ParagraphStyle("small", fontName=SANS, fontSize=8, leading=10, textColor=INK)
BOX = ParagraphStyle("box", fontName=SANS, fontSize=7.5, leading=9.5, textColor=INK)
HEAD = ParagraphStyle("head", fontName=SANS_BOLD, fontSize=8, leading=10, textColor=INK)


def printable(text: str) -> str:
    """Return a text in letters that these fonts have; others lose their accent or become "?"."""
    return "".join(map(_printable, normalize("NFC", text)))


def paragraph(text: str, style: ParagraphStyle) -> Paragraph:
    """Return a text as a paragraph."""
    return Paragraph(escape(printable(text), quote=False), style)


def ruled() -> list[tuple[Any, ...]]:
    """Return the look of a table with a heading: hairlines, and a line below the heading."""
    return [
        ("TEXTCOLOR", (0, 0), (-1, -1), INK),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("GRID", (0, 0), (-1, -1), 0.4, LINE),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 1), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 1), (-1, -1), 2),
    ]


def _printable(letter: str) -> str:
    for form in (letter, normalize("NFKD", letter)[:1]):
        if form.encode("cp1252", "ignore"):
            return form
    return "?"
