"""The sheet of vines drawn by lot, as PDF: vines with boxes to fill, some in reserve, the card."""

from __future__ import annotations

from collections.abc import Iterator

from reportlab.platypus import Flowable, PageBreak

from alerts.dig.lot import Lot
from alerts.dig.lot_words import name_drawn, tell_draw, tell_spare
from alerts.dig.sheet import sheet_words
from service.settings import Settings
from service.sheets.dig_sheet import address_block, draw_card, draw_head, draw_vines
from service.sheets.pages import Paper, build_pages
from service.sheets.text import BODY, paragraph
from service.store.blocks import Block


def print_lot_sheet(
    block: Block, lot: Lot, settings: Settings, language: str, paper: Paper
) -> bytes:
    """Return the sheet as PDF, the same bytes for the same draw."""
    words = sheet_words(language)
    title = f"{words.title}: {block.name}, {block.site_name}"
    drawn, spare = name_drawn(language)

    def fill(width: float) -> Iterator[Flowable]:
        yield from draw_head(block, address_block(block, settings), words, language, width)
        yield paragraph(tell_draw(lot, language), BODY)
        yield draw_vines([(one, drawn) for one in lot.drawn], words, width)
        yield paragraph(tell_spare(language), BODY)
        yield draw_vines([(one, spare) for one in lot.spare], words, width)
        yield PageBreak()
        yield from draw_card(words, language)

    return build_pages(title, language, paper, fill)
