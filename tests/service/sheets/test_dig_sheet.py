"""The sheet for the clipboard, read back by [PDF-READERS]."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from reportlab.graphics.shapes import Circle
from sqlalchemy import update

from alerts.card import cautions, scouting_card
from alerts.dig.sheet import sheet_words
from alerts.dig.vigour import Vigour
from service.dig.patches import BlockPatches, find_block_patches
from service.sheets.dig_sheet import DigSheet, print_dig_sheet
from service.sheets.map import draw_map
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block
from tests.vigour_blocks import PLANTING, write_vigour

ADDRESS = "https://dig.example.org/blocks/terrace-7"


@pytest.fixture(scope="module")
def store(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with one block, whose vigour has one weak patch: rows 7-10, vines 9-20."""
    data = tmp_path_factory.mktemp("sheets")
    shutil.copy(sqlite_template, data / "digseason.db")
    engine = open_engine(f"sqlite:///{data / 'digseason.db'}")
    with writing(engine) as connection:
        plant_block(connection)
        spacing = {"row_spacing_m": 3.0, "vine_spacing_m": 1.8, "row_azimuth_deg": 90.0}
        connection.execute(update(tables.block).values(spacing))
    engine.dispose()
    value = 2 + 0.04 * np.random.default_rng(3).normal(size=(20, 30))
    value[6:10, 8:20] *= 0.6
    (data / "vigour.csv").write_text(write_vigour(Vigour(value, PLANTING, 1, 1)), "utf-8")
    words = ("patches", "--block", "terrace-7", data / "vigour.csv", "--on", "2025-02-01")
    assert run(data, *words)[0] == 0
    return data


@pytest.fixture(scope="module")
def sheet(store: Path) -> DigSheet:
    engine = open_engine(f"sqlite:///{store / 'digseason.db'}")
    with writing(engine) as connection:
        (block,) = fetch_blocks(connection)
        found = find_block_patches(connection, block.id, PLANTING, 12)
    engine.dispose()
    return DigSheet(block, found, ADDRESS)


def read(content: bytes) -> list[str]:
    """Return the text of each page, in one line."""
    document = pypdfium2.PdfDocument(content)
    texts = [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    document.close()
    return texts


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_sheet_holds_vines_boxes_card_and_cautions(sheet: DigSheet, language: str) -> None:
    pages = read(print_dig_sheet(sheet, language, "a4"))
    words = sheet_words(language)
    first, last = pages[0], pages[-1]
    assert "Terrace 7, Upper Alder" in first
    boxes = " ".join(pages).count(words.choices[0][3])  # dead roots: one for each vine
    assert boxes == len(_vines(sheet))
    assert [text for text in cautions(language) if text not in last] == []
    assert [text for text in scouting_card(language) if text not in last] == []
    named = [f"{number} {row} {vine} " for number, (row, vine) in enumerate(_vines(sheet), 1)]
    assert [one for one in named if one not in " ".join(pages)] == []


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_stands_beyond_the_margins(
    sheet: DigSheet, language: str, paper: Literal["a4", "letter"]
) -> None:
    document = pypdfium2.PdfDocument(print_dig_sheet(sheet, language, paper))
    wide = document[0].get_width()
    text = document[0].get_textpage()
    boxes = [text.get_rect(at) for at in range(text.count_rects())]
    document.close()
    # by hand: 12 mm are 34 points
    assert min(left for left, *_ in boxes) >= 33.0
    assert max(right for _, _, right, _ in boxes) <= wide - 33.0


def _vines(sheet: DigSheet) -> list[tuple[int, int]]:
    assert sheet.found is not None
    return [one.vine for one in sheet.found.dig]


def test_the_code_leads_to_the_block(sheet: DigSheet) -> None:
    document = pypdfium2.PdfDocument(print_dig_sheet(sheet, "en", "letter"))
    picture = document[0].render(scale=2).to_pil()
    document.close()
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == ADDRESS


def test_without_a_base_url_there_is_no_code_and_no_word_of_one(sheet: DigSheet) -> None:
    content = print_dig_sheet(replace(sheet, address=None), "en", "a4")
    document = pypdfium2.PdfDocument(content)
    assert zxingcpp.read_barcodes(document[0].render(scale=2).to_pil()) == []
    document.close()
    assert "on screen" not in read(content)[0]


def test_a_block_without_vigour_gets_lines_to_fill(sheet: DigSheet) -> None:
    first = read(print_dig_sheet(replace(sheet, found=None), "en", "a4"))[0]
    assert "choose by eye; write which vines" in first
    assert first.count("dead") == 12


def test_the_same_sheet_is_the_same_bytes(sheet: DigSheet) -> None:
    assert print_dig_sheet(sheet, "en", "a4") == print_dig_sheet(sheet, "en", "a4")


def test_names_keep_their_letters_whatever_their_alphabet(sheet: DigSheet) -> None:
    name = "Ñandú & Őszi, Ștefan, Αμπέλι, Лоза"
    content = print_dig_sheet(replace(sheet, block=replace(sheet.block, name=name)), "es", "a4")
    assert [text for text in read(content) if name not in text] == []  # at the foot too
    assert b"FiraSans-Bold" in content
    assert print_dig_sheet(sheet, "es", "a4").count(b"FiraSans") == 0


def test_a_letter_that_no_font_has_stops_no_sheet(sheet: DigSheet) -> None:
    block = replace(sheet.block, name="Ḧaṩna <株> \U0001f347")
    first = read(print_dig_sheet(replace(sheet, block=block), "es", "a4"))[0]
    assert "Hasna <?> ?, " in first


def test_the_map_has_a_dot_in_the_cell_of_each_vine(sheet: DigSheet) -> None:
    found = sheet.found
    assert isinstance(found, BlockPatches)
    drawing = draw_map(found, sheet_words("en"), 500.0, 300.0)
    dots = [one for one in drawing.contents if isinstance(one, Circle)]
    rows, vines = np.array(_vines(sheet)).T
    # by hand: dots lie on one straight scale across and one down, with equal metres on both
    across = np.polyfit(vines * 1.8, [one.cx for one in dots], 1, full=True)
    down = np.polyfit(rows * 3.0, [one.cy for one in dots], 1, full=True)
    assert len(dots) == 12
    assert across[0][0] == pytest.approx(-down[0][0])
    assert max(across[1][0], down[1][0]) < 1e-6


def test_the_command_writes_the_sheet_with_the_address_of_the_page(
    store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DIGSEASON_BASE_URL", "https://dig.example.org/")
    out = tmp_path / "sheet.pdf"
    words = ("digs", "sheet", "--block", "terrace-7", "--out", out, "--language", "es")
    code, printed = run(store, *words)
    assert (code, printed) == (0, f"{out}: 12 vines to dig in Terrace 7\n")
    assert "Hoja para cavar" in read(out.read_bytes())[0]
    document = pypdfium2.PdfDocument(out)
    (code,) = zxingcpp.read_barcodes(document[0].render(scale=2).to_pil())
    document.close()
    assert code.text == ADDRESS
