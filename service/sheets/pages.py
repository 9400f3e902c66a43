"""Pages of a sheet: paper, margins, what stands at their foot."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from io import BytesIO
from typing import Literal

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, SimpleDocTemplate

from alerts.dig.sheet import sheet_words
from service.sheets.text import INK, SANS, set_text

Paper = Literal["a4", "letter"]

_SIZES = {"a4": A4, "letter": LETTER}
_MARGIN = 12 * mm
_FRAME = 12.0  # points that a page keeps free, both sides together


def build_pages(
    title: str, language: str, paper: Paper, fill: Callable[[float], Iterable[Flowable]]
) -> bytes:
    """Return a PDF of what `fill` gives for a width in points, the same bytes for the same."""
    words, (shown, font) = sheet_words(language), set_text(title, SANS)
    kept = BytesIO()
    document = SimpleDocTemplate(
        kept,
        pagesize=_SIZES[paper],
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 4 * mm,
        title=title,
        lang=language,
        invariant=1,
    )

    def sign_page(canvas: Canvas, _: object) -> None:
        canvas.setFont(font, 7)
        canvas.setFillColor(INK)
        canvas.drawString(_MARGIN, _MARGIN, shown)
        number = words.page.format(number=canvas.getPageNumber())
        canvas.drawRightString(_SIZES[paper][0] - _MARGIN, _MARGIN, number)

    flow = list(fill(document.width - _FRAME))
    document.build(flow, onFirstPage=sign_page, onLaterPages=sign_page)
    return kept.getvalue()
