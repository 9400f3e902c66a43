"""The map of a block on screen: weak patches by texture, rows of vines, the vines to dig by number.

Without a style sheet all is black, and still to be told apart; colours are of
service/web/static/pictures.css.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from alerts.dig.map_parts import Point, find_runs, find_ticks, place_dots
from alerts.dig.patch_words import name_patch, tell_patches
from alerts.dig.patches import Survey
from alerts.dig.sheet import sheet_words
from alerts.dig.vigour import Vigour
from alerts.dig.vines import DigVine
from alerts.ribbon_svg import WIDTH, wrap_svg
from alerts.words import translations

_LEFT, _RIGHT, _ABOVE, _BELOW = 56.0, 40.0, 18.0, 22.0
_MOST_HEIGHT = 460.0
_LEAST_PITCH = 2.5  # between rows that are drawn
_DOT = 7.0
_KEY_ROW = 20
_LETTER = 6.5
_INK = 'class="ink" stroke="currentColor" fill="none"'


def draw_block(
    survey: Survey, dig: Sequence[DigVine], aside: Collection[int], title: str, language: str
) -> str:
    """Return a map to scale as an SVG element, rows lying across it, the first one on top.

    Parameters
    ----------
    dig : the vines to dig, in their order
    aside : the numbers of the patches that are set aside
    """
    frame, words = _find_frame(survey.vigour), sheet_words(language)
    north_deg = survey.vigour.planting.north_deg
    parts = [
        _hatch(),
        *(_fill(frame.outline(one.cells), one.number in aside) for one in survey.patches),
        frame.draw_rows(np.isfinite(survey.vigour.value)),
        *_number_vines(survey.vigour, frame, words.row, words.vine),
        *_draw_vines(survey, dig, frame),
        *_write_names(survey, dig, frame, language),
        *_draw_scale(frame),
    ]
    if north_deg is not None:
        parts += _draw_north(WIDTH - 18.0, _ABOVE + 18, north_deg, words.north)
    top = frame.bottom + _BELOW
    parts += _draw_key(top, bool(aside), bool(dig), language)
    described = tell_patches(survey.patches, aside, language)
    return wrap_svg(parts, int(top + 2 * _KEY_ROW + 10), title, described, "b", "map")


@dataclass(frozen=True)
class _Frame:
    """Where cells lie in the picture.

    rows, places : of cells
    wide, high : of a cell [px]
    """

    rows: int
    places: int
    wide: float
    high: float
    px_per_m: float

    @property
    def right(self) -> float:
        return _LEFT + self.places * self.wide

    @property
    def bottom(self) -> float:
        return _ABOVE + self.rows * self.high

    def place(self, row: float, vine: float) -> tuple[float, float]:
        return _LEFT + vine * self.wide, _ABOVE + row * self.high

    def outline(self, cells: NDArray[np.bool_]) -> str:
        """Return the path around some cells, row by row."""
        return "".join(
            f"M{x:.1f} {y:.1f}h{(end - first) * self.wide:.1f}v{self.high:.1f}"
            f"h{(first - end) * self.wide:.1f}z"
            for row, first, end in find_runs(cells)
            for x, y in [self.place(row, first)]
        )

    def draw_rows(self, known: NDArray[np.bool_]) -> str:
        """Return a line along the vines of each row, with gaps where none has a value, and the
        edge of the block; of rows too close to be told apart only some.
        """
        each = int(np.ceil(_LEAST_PITCH / self.high))
        path = "".join(
            f"M{x:.1f} {y:.1f}h{(end - first - 0.2) * self.wide:.1f}"
            for row, first, end in find_runs(known)
            if row % each == 0
            for x, y in [self.place(row + 0.5, first + 0.1)]
        )
        (x, y), (wide, high) = self.place(0, 0), (self.right - _LEFT, self.bottom - _ABOVE)
        return (
            f'<path class="edge" stroke="currentColor" stroke-width=".6" d="{path}"/>'
            f'<path {_INK} d="M{x:.0f} {y:.0f}h{wide:.1f}v{high:.1f}h{-wide:.1f}z"/>'
        )


def _find_frame(vigour: Vigour) -> _Frame:
    rows, places = vigour.value.shape
    row_m, vine_m = vigour.step_m
    px_per_m = min(
        (WIDTH - _LEFT - _RIGHT) / (places * vine_m),
        (_MOST_HEIGHT - _ABOVE - _BELOW) / (rows * row_m),
    )
    return _Frame(rows, places, vine_m * px_per_m, row_m * px_per_m, px_per_m)


def _hatch() -> str:
    """Return the texture of a weak patch, and of one that is set aside."""
    box = 'width="6" height="6" patternUnits="userSpaceOnUse"'
    return (
        f'<defs><pattern id="b-weak" {box} patternTransform="rotate(45)">'
        f'<rect class="straw" fill="none" width="6" height="6"/>'
        f'<path stroke="currentColor" stroke-width="1.6" d="M0 0v6"/></pattern>'
        f'<pattern id="b-aside" {box}><circle cx="2" cy="2" r="1"/></pattern></defs>'
    )


def _fill(path: str, is_aside: bool) -> str:
    return f'<path fill="url(#{"b-aside" if is_aside else "b-weak"})" d="{path}"/>'


def _number_vines(vigour: Vigour, frame: _Frame, row_word: str, vine_word: str) -> Iterator[str]:
    for row in find_ticks(frame.rows):
        name = row_word.format(number=vigour.name_vine((row, 0))[0])
        x, y = frame.place(row + 0.5, 0)
        yield f'<text text-anchor="end" x="{x - 5:.0f}" y="{y + 4:.0f}">{name}</text>'
    for vine in find_ticks(frame.places):
        number = vigour.name_vine((0, vine))[1]
        x, y = frame.place(0, vine + 0.5)
        if vine == 0:
            name = vine_word.format(number=number)
            yield f'<text text-anchor="end" x="{x + 4:.0f}" y="{y - 6:.0f}">{name}</text>'
        else:
            yield f'<text text-anchor="middle" x="{x:.0f}" y="{y - 6:.0f}">{number}</text>'


def _draw_vines(survey: Survey, dig: Sequence[DigVine], frame: _Frame) -> Iterator[str]:
    """Yield the vines to dig by their number; beside them, with a line, where dots would meet."""
    points = [_find_middle(survey.vigour, one, frame) for one in dig]
    dots = place_dots(points, _DOT)
    lines = "".join(
        f"M{x:.1f} {y:.1f}L{at[0]:.1f} {at[1]:.1f}"
        for (x, y), at in zip(points, dots, strict=True)
        if (x, y) != at
    )
    if lines:
        yield f'<path {_INK} d="{lines}"/>'
    for number, at in enumerate(dots, 1):
        yield from _dot(*at, number)


def _find_middle(vigour: Vigour, one: DigVine, frame: _Frame) -> Point:
    row, vine = vigour.find_cell(one.vine)
    return frame.place(row + 0.5, vine + 0.5)


def _write_names(
    survey: Survey, dig: Sequence[DigVine], frame: _Frame, language: str
) -> Iterator[str]:
    """Yield the name of each patch above it and its vines, or below where the block ends."""
    for patch in survey.patches:
        rows, vines = np.nonzero(patch.cells)
        at = [
            _find_middle(survey.vigour, one, frame)[1] for one in dig if one.patch == patch.number
        ]
        top = min([frame.place(float(rows.min()), 0)[1], *(y - _DOT for y in at)]) - 4
        bottom = max([frame.place(rows.max() + 1.0, 0)[1], *(y + _DOT for y in at)]) + 12
        name = name_patch(patch.number, language)
        half = len(name) * _LETTER / 2
        x = frame.place(0, float(vines.mean()) + 0.5)[0]
        x = min(max(x, _LEFT + half), frame.right - half)
        y = top if top > _ABOVE + 12 else bottom
        yield f'<text class="patch" text-anchor="middle" x="{x:.0f}" y="{y:.0f}">{name}</text>'


def _dot(x: float, y: float, number: int) -> Iterator[str]:
    yield f'<circle class="dot" fill="currentColor" cx="{x:.1f}" cy="{y:.1f}" r="{_DOT:.0f}"/>'
    yield (
        f'<text class="on" fill="#fff" font-size="8.5" font-weight="bold" text-anchor="middle" '
        f'x="{x:.1f}" y="{y + 3:.1f}">{number}</text>'
    )


def _draw_scale(frame: _Frame) -> Iterator[str]:
    lengths = (1, 2, 5, 10, 20, 50, 100, 200)
    metres = max(one for one in lengths if one * frame.px_per_m <= 120 or one == 1)
    y, wide = frame.bottom + 14, metres * frame.px_per_m
    yield f'<path {_INK} d="M{_LEFT:.0f} {y - 4:.0f}v4h{wide:.1f}v-4"/>'
    yield f'<text x="{_LEFT + wide + 6:.0f}" y="{y + 2:.0f}">{metres} m</text>'


def _draw_north(x: float, y: float, north_deg: float, letter: str) -> Iterator[str]:
    """Yield an arrow to the north, counterclockwise of the right edge."""
    along, up = cos(radians(north_deg)), sin(radians(north_deg))
    turn = f'transform="translate({x:.0f} {y:.0f}) rotate({90 - north_deg:.0f})"'
    yield f'<path {_INK} {turn} d="M0 9v-18m-4 6l4 -6l4 6"/>'
    at = f'x="{x + 15 * along:.0f}" y="{y - 15 * up + 4:.0f}"'
    yield f'<text text-anchor="middle" {at}>{letter}</text>'


def _draw_key(top: float, has_aside: bool, has_dig: bool, language: str) -> Iterator[str]:
    words, box = sheet_words(language), "M4 -7h24v14h-24z"
    swatches = [(_fill(box, False), words.weak)]
    if has_dig:
        swatches.append(("".join(_dot(16, 0, 1)), words.dig))
    if has_aside:
        swatches.append((_fill(box, True), translations(language).gettext("set aside")))
    for place, (drawn, word) in enumerate(swatches):
        x, y = place % 2 * 150, top + 10 + place // 2 * _KEY_ROW
        yield f'<g transform="translate({x} {y:.0f})">{drawn}'
        yield f'<text x="36" y="4">{escape(word)}</text></g>'
