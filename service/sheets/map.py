"""The map of a block on paper: its weak patches, and the vines to dig by their number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, radians, sin
from typing import TypeVar

import numpy as np
from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, Rect, String
from reportlab.lib.colors import white

from alerts.dig.map_parts import find_runs, find_ticks, place_dots
from alerts.dig.sheet import SheetWords
from service.dig.patches import BlockPatches
from service.sheets.text import CLAY, INK, LINE, SANS, SANS_BOLD, WEAK, set_text

_LEFT, _BELOW, _ABOVE, _RIGHT = 42.0, 16.0, 14.0, 40.0  # points around the block
_DOT = 5.5

S = TypeVar("S", Rect, String)


def draw_map(
    found: BlockPatches,
    words: SheetWords,
    width: float,
    most_height: float,
) -> Drawing:
    """Return a map to scale, rows lying across the page, the first one on top."""
    vigour = found.survey.vigour
    n_rows, n_places = vigour.value.shape
    row_m, vine_m = vigour.step_m
    scale = min(
        (width - _LEFT - _RIGHT) / (n_places * vine_m),
        (most_height - _BELOW - _ABOVE) / (n_rows * row_m),
    )
    cell = scale * vine_m, scale * row_m
    height = n_rows * cell[1] + _BELOW + _ABOVE
    drawing = Drawing(width, height)

    def corner(row: float, place: float) -> tuple[float, float]:
        return _LEFT + place * cell[0], height - _ABOVE - row * cell[1]

    weak = np.any([one.cells for one in found.to_dig], axis=0) if found.to_dig else None
    if weak is not None:
        for row, first, last in find_runs(weak):
            for shape in _draw_weak(*corner(row + 1, first), *cell, last - first):
                drawing.add(shape)
    for row, first, last in find_runs(np.isfinite(vigour.value)):
        (x, y), (end, _) = corner(row + 0.5, first + 0.1), corner(row, last - 0.1)
        drawing.add(Line(x, y, end, y, strokeColor=LINE, strokeWidth=max(0.4, 0.12 * cell[1])))
    x, y = corner(n_rows, 0)
    size = n_places * cell[0], n_rows * cell[1]
    look = {"strokeColor": INK, "strokeWidth": 0.6, "fillColor": None}
    drawing.add(_shape(Rect(x, y, *size), look))
    for row in find_ticks(n_rows):
        number = vigour.name_vine((row, 0))[0]
        x, y = corner(row + 0.5, 0)
        text = words.row.format(number=number)
        drawing.add(_text(x - 4, y - 2.5, text, 7, anchor="end"))
    for place in find_ticks(n_places):
        number = vigour.name_vine((0, place))[1]
        x, y = corner(0, place + 0.5)
        if place == 0:
            drawing.add(_text(x + 2, y + 4, words.vine.format(number=number), 7, anchor="end"))
        else:
            drawing.add(_text(x, y + 4, str(number), 7, anchor="middle"))
    cells = [vigour.find_cell(one.vine) for one in found.dig]
    points = [corner(row + 0.5, place + 0.5) for row, place in cells]
    for number, ((x, y), at) in enumerate(zip(place_dots(points, _DOT), points, strict=True), 1):
        drawing.add(Line(*at, x, y, strokeColor=INK, strokeWidth=0.6))
        drawing.add(Circle(x, y, _DOT, fillColor=CLAY, strokeColor=white, strokeWidth=0.5))
        drawing.add(_text(x, y - 2.3, str(number), 6.5, SANS_BOLD, "middle", white))
    for shape in _draw_scale(corner(n_rows, 0), scale):
        drawing.add(shape)
    north_deg = vigour.planting.north_deg
    if north_deg is not None:
        x = corner(0, n_places)[0] + _RIGHT / 2
        for shape in _draw_north(x, height - 32, north_deg, words.north):
            drawing.add(shape)
    return drawing


def draw_swatch() -> Drawing:
    """Return a piece of a weak patch, for a legend."""
    drawing = Drawing(10, 7)
    for shape in _draw_weak(0, 0, 5, 7, 2):
        drawing.add(shape)
    return drawing


def _draw_weak(
    x: float, y: float, width: float, height: float, cells: int
) -> Iterator[Rect | Line]:
    """Yield a run of weak cells: shaded, and hatched for printers without colours."""
    look = {"strokeColor": None, "fillColor": WEAK}
    yield _shape(Rect(x, y, cells * width, height), look)
    for left in (x + cell * width for cell in range(cells)):
        yield Line(left, y, left + width, y + height, strokeColor=INK, strokeWidth=0.35)


def _shape(shape: S, look: Mapping[str, object]) -> S:
    """Return a shape with its colours and so on set."""
    for name, value in look.items():
        setattr(shape, name, value)
    return shape


def _text(
    x: float,
    y: float,
    text: str,
    size: float,
    font: str = SANS,
    anchor: str = "start",
    colour: object = INK,
) -> Rect | String:
    text, font = set_text(text, font)
    look = {"fontSize": size, "fontName": font, "textAnchor": anchor, "fillColor": colour}
    return _shape(String(x, y, text), look)


def _draw_scale(corner: tuple[float, float], scale: float) -> Iterator[Line | Rect | String]:
    """Yield a bar of a round length, below the map."""
    metres = max(one for one in (1, 2, 5, 10, 20, 50, 100, 200) if one * scale <= 120 or one == 1)
    x, y = corner[0], corner[1] - 8
    yield Line(x, y, x + metres * scale, y, strokeColor=INK, strokeWidth=1.2)
    yield _text(x + metres * scale + 4, y - 2.5, f"{metres} m", 7)


def _draw_north(
    x: float, y: float, north_deg: float, letter: str
) -> Iterator[PolyLine | Rect | String]:
    """Yield an arrow to the north: counterclockwise of the right edge."""
    along, up = cos(radians(north_deg)), sin(radians(north_deg))
    tip, tail = (x + 12 * along, y + 12 * up), (x - 12 * along, y - 12 * up)
    yield PolyLine([*tail, *tip], strokeColor=INK, strokeWidth=1.2)
    for side in (150, 210):
        turned = radians(north_deg + side)
        barb = tip[0] + 6 * cos(turned), tip[1] + 6 * sin(turned)
        yield PolyLine([*tip, *barb], strokeColor=INK, strokeWidth=1.2)
    yield _text(x + 19 * along, y + 19 * up - 3, letter, 8, SANS_BOLD, "middle")
