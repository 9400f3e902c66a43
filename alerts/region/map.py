"""A region as a plain map: its blocks where they lie, by texture and word, without tiles.

Blocks too near to each other to be told apart are one mark with counts. A name that finds no room
is left out; the description for who does not see the map has all counts.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from html import escape
from math import floor, log10

from alerts.region.marks import (
    LETTER,
    RADIUS,
    ROOM,
    WIDTH,
    Box,
    Frame,
    MapBlock,
    Mark,
    count_textures,
    find_frame,
    find_hull,
    find_marks,
)
from alerts.ribbon_svg import wrap_svg
from alerts.state_words import Texture, name_texture
from alerts.words import translations

_LINE = 13.0


def draw_map(blocks: Sequence[MapBlock], title: str, language: str, stem: str = "m") -> str:
    """Return a map as an SVG element; `title` is the region's name, "" for none of its own."""
    title = title or translations(language).gettext("Map of the region")
    frame = find_frame(blocks)
    marks = find_marks(blocks, frame)
    taken = [mark.box for mark in marks]
    parts = [*_draw_districts(blocks, frame, taken)]
    for mark in marks:
        parts += _draw_mark(mark, stem)
    for mark in marks:
        parts += _write(mark.name, mark.box, taken)
    parts += _draw_scale(frame)
    key = [*_draw_key(blocks, frame.height, language, stem)]
    height = frame.height + _key_height(blocks)
    return wrap_svg([*parts, *key], int(height), title, describe_map(blocks, language), stem, "map")


def describe_map(blocks: Sequence[MapBlock], language: str) -> str:
    """Return what a map shows, by district, for who does not see it."""
    _ = translations(language).gettext
    districts: defaultdict[str, list[Texture]] = defaultdict(list)
    for block in blocks:
        districts[block.district].append(block.texture)
    return " ".join(
        "{district}: {counts}.".format(
            district=name or _("Elsewhere"),
            counts=", ".join(
                f"{name_texture(texture, language)} {count}"
                for texture, count in Counter(textures).most_common()
            ),
        )
        for name, textures in sorted(districts.items())
    )


def _draw_districts(blocks: Sequence[MapBlock], frame: Frame, taken: list[Box]) -> Iterator[str]:
    """Yield the ground of each district, and its name where there is room."""
    districts: defaultdict[str, list[tuple[float, float]]] = defaultdict(list)
    for block in blocks:
        if block.district:
            districts[block.district].append(frame.place(block.latitude, block.longitude))
    grounds = {name: find_hull(places) for name, places in sorted(districts.items())}
    for hull in grounds.values():
        path = "L".join(f"{x:.0f} {y:.0f}" for x, y in hull)
        wide = 'stroke="currentColor" stroke-width="44" stroke-linejoin="round" opacity=".08"'
        yield f'<path class="ground" {wide} d="M{path}z"/>'
    for name, hull in grounds.items():
        middle = sum(x for x, _y in hull) / len(hull)
        top, bottom = min(y for _x, y in hull), max(y for _x, y in hull)
        half = len(name) * (LETTER + 2) / 2
        for y in (top - 24, bottom + 34):
            x = min(max(middle, half), WIDTH - half)
            box = Box(x - half, y - 10, x + half, y + 3)
            if not any(box.meets(other) for other in taken):
                taken.append(box)
                yield (
                    f'<text class="district" letter-spacing="1.5" text-anchor="middle" '
                    f'x="{x:.0f}" y="{y:.0f}">{escape(name)}</text>'
                )
                break


def _draw_mark(mark: Mark, stem: str) -> Iterator[str]:
    for x, texture, count in mark.signs:
        yield draw_sign(x, mark.y, texture, stem)
        if count:
            yield f'<text x="{x + RADIUS + 2:.0f}" y="{mark.y + 4:.0f}">{count}</text>'


def draw_sign(x: float, y: float, texture: Texture, stem: str) -> str:
    """Return the sign of a texture around a place."""
    ring = f'<circle class="ring" cx="{x:.0f}" cy="{y:.0f}" r="{RADIUS:.0f}"'
    edge = 'stroke="currentColor"'
    match texture:
        case "open":
            return f'{ring} fill="currentColor" {edge}/>'
        case "warming":
            half = f'<path fill="currentColor" d="M{x:.0f} {y - RADIUS:.0f}a6 6 0 0 1 0 12z"/>'
            return f'{ring} fill="none" {edge}/>{half}'
        case "hot":
            return f'{ring} fill="url(#{stem}-hot)" {edge}/>'
        case "resting":
            line = f'<path class="ink" stroke="currentColor" d="M{x - RADIUS:.0f} {y:.0f}h12"/>'
            return f'{ring} fill="none" {edge}/>{line}'
        case "closed":
            return f'{ring} fill="none" {edge}/>'
        case "not known":
            return f'{ring} fill="none" {edge} stroke-dasharray="2 2"/>'


def _write(name: str, around: Box, taken: list[Box]) -> Iterator[str]:
    """Yield a name below, above, right or left of a mark, wherever it meets nothing."""
    wide = len(name) * LETTER
    middle, level = (around.left + around.right) / 2, (around.top + around.bottom) / 2
    for left, top in (
        (middle - wide / 2, around.bottom),
        (middle - wide / 2, around.top - _LINE),
        (around.right + ROOM, level - _LINE / 2),
        (around.left - ROOM - wide, level - _LINE / 2),
    ):
        box = Box(left, top, left + wide, top + _LINE)
        within = left >= 0 and left + wide <= WIDTH
        if name and within and not any(box.meets(other) for other in taken if other != around):
            taken.append(box)
            yield (
                f'<text text-anchor="middle" x="{left + wide / 2:.0f}" '
                f'y="{top + 10:.0f}">{escape(name)}</text>'
            )
            return


def _draw_scale(frame: Frame) -> Iterator[str]:
    """Yield the scale bar and the arrow that points north."""
    most_km = WIDTH / 3 / frame.px_per_km
    step = 10.0 ** floor(log10(most_km))
    length_km = max(step * times for times in (1, 2, 5) if step * times <= most_km)
    y, wide = frame.height - 12, length_km * frame.px_per_km
    ink = 'class="ink" stroke="currentColor" fill="none"'
    yield f'<path {ink} d="M4 {y - 5:.0f}v5h{wide:.0f}v-5"/>'
    yield f'<text x="{4 + wide + 6:.0f}" y="{y:.0f}">{length_km:g} km</text>'
    x = WIDTH - 10
    yield (
        f'<path {ink} d="M{x:.0f} {y:.0f}v-18m-4 6l4 -7l4 7"/>'
        f'<text text-anchor="end" x="{x - 8:.0f}" y="{y:.0f}">N</text>'
    )


def _draw_key(blocks: Sequence[MapBlock], top: float, language: str, stem: str) -> Iterator[str]:
    for place, (texture, count) in enumerate(count_textures(blocks)):
        x, y = 10 + place % 2 * 184, top + 14 + place // 2 * 20
        yield draw_sign(x, y, texture, stem)
        word = f"{name_texture(texture, language)} {count}"
        yield f'<text x="{x + 12:.0f}" y="{y + 4:.0f}">{escape(word)}</text>'


def _key_height(blocks: Sequence[MapBlock]) -> float:
    return (len(count_textures(blocks)) + 1) // 2 * 20 + 8
