"""The order in which to go to blocks as PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reportlab.platypus import Flowable, Table, TableStyle

from alerts.card import cautions
from alerts.dig.hygiene import explain_order
from alerts.dig.order import Visit
from alerts.dig.order_words import order_words, tell_of_cleaning, tell_visit
from service.sheets.pages import Paper, build_pages
from service.sheets.text import BODY, HEAD, HEADING, SMALL, TITLE, paragraph, ruled
from service.store.blocks import Block

_COLUMNS = [0.05, 0.25, 0.26, 0.13, 0.09, 0.22]  # shares of the width


def print_order(
    visits: Sequence[Visit], blocks: Mapping[str, Block], language: str, paper: Paper
) -> bytes:
    """Return the sheet as PDF, the same bytes for the same order."""
    title = order_words(language).title
    return build_pages(title, language, paper, lambda width: _page(visits, blocks, language, width))


def _page(
    visits: Sequence[Visit], blocks: Mapping[str, Block], language: str, width: float
) -> list[Flowable]:
    words = order_words(language)
    flow: list[Flowable] = [paragraph(words.title, TITLE)]
    rows = [[paragraph(one, HEAD) for one in words.columns]]
    for number, visit in enumerate(visits, 1):
        block = blocks[visit.stop.block_id]
        name = f"{block.name}, {block.site_name}"
        cells = (str(number), name, *tell_visit(visit, language))
        rows.append([paragraph(cell, SMALL) for cell in cells])
    if visits:
        widths = [share * width for share in _COLUMNS]
        flow.append(Table(rows, colWidths=widths, repeatRows=1, style=TableStyle(ruled())))
    else:
        flow.append(paragraph(words.nothing, BODY))
    flow += [paragraph(text, BODY) for text in ("", explain_order(language))]
    flow.append(paragraph(words.cleaning, HEADING))
    flow += [paragraph(text, BODY) for text in tell_of_cleaning(language)]
    flow += [paragraph(text, BODY) for text in cautions(language)]
    return flow
