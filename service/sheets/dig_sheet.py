"""The sheet for the clipboard, as PDF: the map, the vines with boxes to fill, the card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from babel.dates import format_date
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.units import mm
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    PageBreak,
    Spacer,
    Table,
    TableStyle,
)
from sqlalchemy import Connection

from alerts.card import cautions, scouting_card, short_cautions
from alerts.dig.claims import claim_by_lot, claim_targeted
from alerts.dig.patches import Vine
from alerts.dig.reasons import tell_reason
from alerts.dig.sheet import BLANK_LINES, SheetWords, describe_map, describe_root_zone, sheet_words
from alerts.figures import locale_of, show_interval
from service.dig.patches import BlockPatches, find_block_patches
from service.settings import Settings
from service.sheets.map import draw_map, draw_swatch
from service.sheets.pages import Paper, build_pages
from service.sheets.text import (
    BODY,
    BOX,
    HEAD,
    HEADING,
    INK,
    SMALL,
    TITLE,
    paragraph,
    ruled,
)
from service.store.blocks import Block
from service.store.vigour import fetch_planting

_COLUMNS = [0.05, 0.06, 0.06, 0.165, 0.075, 0.155, 0.115, 0.12, 0.2]  # shares of the width
_QR = 24 * mm


@dataclass(frozen=True, eq=False)
class DigSheet:
    """What a sheet is about.

    found : its weak patches and the vines to dig; None where its vigour is not known
    address : of the block on screen; None: there is no such page
    """

    block: Block
    found: BlockPatches | None
    address: str | None


def find_dig_sheet(
    connection: Connection, block: Block, vines: int, settings: Settings
) -> DigSheet:
    """Return the sheet of a block with `vines` to dig at each weak patch.

    Raises
    ------
    VigourError
        Where patches cannot be found in what was measured.
    """
    planting = fetch_planting(connection, block.id)
    found = find_block_patches(connection, block.id, planting, vines) if planting else None
    return DigSheet(block, found, address_block(block, settings))


def address_block(block: Block, settings: Settings) -> str | None:
    """Return where a block is seen on screen; None where no base URL is set."""
    base = settings.base_url.rstrip("/")
    return f"{base}/blocks/{quote(block.id)}" if base else None


def print_dig_sheet(sheet: DigSheet, language: str, paper: Paper) -> bytes:
    """Return the sheet as PDF, the same bytes for the same sheet."""
    words = sheet_words(language)
    title = f"{words.title}: {sheet.block.name}, {sheet.block.site_name}"

    def fill(width: float) -> Iterator[Flowable]:
        yield from _first_page(sheet, words, language, width)
        yield PageBreak()
        yield from draw_card(words, language)

    return build_pages(title, language, paper, fill)


def _first_page(
    sheet: DigSheet, words: SheetWords, language: str, width: float
) -> Iterator[Flowable]:
    yield from draw_head(sheet.block, sheet.address, words, language, width)
    if sheet.found is None or not sheet.found.dig:
        yield paragraph(words.by_eye, BODY)
    if sheet.found is not None:
        yield from _map(sheet.found, words, language, width)
    yield Spacer(1, 6)
    dig = sheet.found.dig if sheet.found else []
    vines = [(one.vine, tell_reason(one, language)) for one in dig]
    yield draw_vines(vines or [None] * BLANK_LINES, words, width)


def draw_head(
    block: Block, address: str | None, words: SheetWords, language: str, width: float
) -> Iterator[Flowable]:
    """Yield what stands at the head of a sheet, with a QR code to an address where there is one."""
    interval = show_interval(*block.root_zone_cm, language)
    head: list[Flowable] = [
        paragraph(f"{block.name}, {block.site_name}", TITLE),
        paragraph(f"{words.title}. {describe_root_zone(interval, language)}.", BODY),
        paragraph(short_cautions(language), HEAD),
        Spacer(1, 8),
        paragraph(words.who, BODY),
    ]
    if not address:
        yield from head
        return
    yield Table(
        [[head, _draw_code(address, words)]],
        colWidths=[width - _QR - 10, _QR + 10],
        style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
    )


def _map(found: BlockPatches, words: SheetWords, language: str, width: float) -> Iterator[Flowable]:
    last = found.last
    made_from = describe_map(
        last.measure, format_date(last.measured_on, "long", locale_of(language)), language
    )
    yield paragraph(f"{words.map_title}: {made_from}", HEADING)
    yield draw_map(found, words, width, 95 * mm)
    legend = [draw_swatch(), paragraph(words.weak, SMALL), paragraph(f"(1) {words.dig}", SMALL)]
    yield Table([legend], colWidths=[16, 90, width - 106], hAlign="LEFT")


def draw_vines(vines: Sequence[tuple[Vine, str] | None], words: SheetWords, width: float) -> Table:
    """Return a table of vines, each with why it is dug and boxes to fill; None: a blank line."""
    boxes = ["", *(_box(choice) for choice in words.choices)]
    rows: list[list[Any]] = [[paragraph(one, HEAD) for one in words.columns]]
    for number, one in enumerate(vines, 1):
        (row, vine), why = one or (("", ""), "")
        rows.append([str(number), str(row), str(vine), paragraph(why, BOX), *boxes])
    style = TableStyle(
        [
            ("FONT", (0, 1), (2, -1), "Helvetica-Bold", 11),
            ("ALIGN", (0, 1), (2, -1), "CENTER"),
            *ruled(),
        ]
    )
    widths = [share * width for share in _COLUMNS]
    return Table(rows, colWidths=widths, repeatRows=1, style=style)


def _box(choices: tuple[str, ...]) -> Table:
    """Return boxes to tick, one above the other."""
    rows = [["", paragraph(one, BOX)] for one in choices]
    style = [("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 0)]
    style += [("TOPPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]
    squares = [("BOX", (0, place), (0, place), 0.6, INK) for place in range(len(rows))]
    return Table(rows, colWidths=[9, None], rowHeights=9.5, style=[*style, *squares], hAlign="LEFT")


def draw_card(words: SheetWords, language: str) -> Iterator[Flowable]:
    """Yield cautions, the card of what to look for, and what a dig can show."""
    for title, texts in (
        (words.cautions, cautions(language)),
        (words.card, scouting_card(language)),
        (words.claims, [claim_targeted(language), claim_by_lot(language)]),
    ):
        first, *others = [paragraph(text, BODY) for text in texts]
        yield KeepTogether([paragraph(title, HEADING), first])
        yield from others


def _draw_code(address: str, words: SheetWords) -> list[Flowable]:
    """Return a QR code that leads to the block, with what it is."""
    code = QrCodeWidget(address, barWidth=_QR, barHeight=_QR, barBorder=2)
    drawing = Drawing(_QR, _QR)
    drawing.add(code)
    return [drawing, paragraph(words.to_the_block, SMALL)]
