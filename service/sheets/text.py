"""Text and styles on paper.

The fonts are those that every reader of PDF has; what they cannot show is written in one that is
embedded, with the letters of Latin, Greek and Cyrillic.
"""

from __future__ import annotations

from functools import cache
from html import escape
from typing import Any
from unicodedata import normalize

import fontpkg
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont
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


def set_text(text: str, font: str) -> tuple[str, str]:
    """Return a text in letters that can be shown, and the font for it: the embedded one where
    `font` lacks any.

    What that lacks too loses its accents or becomes "?".
    """
    text = normalize("NFC", text)
    if _is_plain(text):
        return text, font
    embedded = _embed(font != SANS)
    has = embedded.face.charToGlyph
    shown = [
        next((one for one in (letter, normalize("NFKD", letter)[:1]) if ord(one) in has), "?")
        for letter in text
    ]
    return "".join(shown), embedded.fontName


def paragraph(text: str, style: ParagraphStyle) -> Paragraph:
    """Return a text as a paragraph."""
    text, font = set_text(text, style.fontName)
    style = style if font == style.fontName else ParagraphStyle(font, style, fontName=font)
    return Paragraph(escape(text, quote=False), style)


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


def _is_plain(text: str) -> bool:
    return text.encode("cp1252", "ignore").decode("cp1252") == text


@cache
def _embed(is_bold: bool) -> TTFont:
    weight = 700 if is_bold else 400
    font = TTFont(f"embedded-{weight}", fontpkg.path("Fira Sans", weight=weight))
    registerFont(font)
    return font
