"""Where the blocks of a region stand in a picture; those too near to each other as one mark."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, floor, radians
from typing import get_args

from alerts.state_words import Texture

WIDTH, MOST_HEIGHT, LEAST_HEIGHT = 366.0, 420.0, 120.0
RADIUS, ROOM, LETTER = 6.0, 3.0, 6.4
"""Of a sign, beside it, and of a letter of size 12: wider than it mostly is."""
KM_PER_DEGREE = 111.195  # of a sphere of 6371 km
_EDGE, _FOOT = 44.0, 34.0
_CELL = 24.0
_LEAST_KM = 0.5


@dataclass(frozen=True)
class MapBlock:
    """A block on the map."""

    name: str
    site: str
    district: str
    latitude: float
    longitude: float
    texture: Texture


@dataclass(frozen=True)
class Box:
    """A part of a picture."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Return whether two boxes have a part in common."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True)
class Mark:
    """Blocks that stand together: how many of each texture, around one place of the picture."""

    x: float
    y: float
    blocks: tuple[MapBlock, ...]

    @property
    def counts(self) -> list[tuple[Texture, int]]:
        """The textures and how often each occurs."""
        return count_textures(self.blocks)

    @property
    def signs(self) -> list[tuple[float, Texture, str]]:
        """Where each texture stands, from left to right, with its count beside it."""
        widths = [_sign_width(count, len(self.blocks)) for _texture, count in self.counts]
        left = self.x - sum(widths) / 2
        found: list[tuple[float, Texture, str]] = []
        for (texture, count), width in zip(self.counts, widths, strict=True):
            shown = str(count) if len(self.blocks) > 1 else ""
            found.append((left + RADIUS + ROOM / 2, texture, shown))
            left += width
        return found

    @property
    def box(self) -> Box:
        """What it takes of the picture."""
        half = sum(_sign_width(count, len(self.blocks)) for _texture, count in self.counts) / 2
        high = RADIUS + ROOM / 2
        return Box(self.x - half, self.y - high, self.x + half, self.y + high)

    @property
    def name(self) -> str:
        """What may be written beside it: a block, or the site that all of its blocks are of."""
        if len(self.blocks) == 1:
            return self.blocks[0].name
        sites = {block.site for block in self.blocks}
        return sites.pop() if len(sites) == 1 else ""


@dataclass(frozen=True)
class Frame:
    """How places lie in the picture: north is up, and a km is as long in either direction."""

    west: float
    north: float
    px_per_km: float
    km_per_east: float
    left: float
    height: float

    def place(self, latitude: float, longitude: float) -> tuple[float, float]:
        """Return where in the picture a place lies."""
        x = _shortest(longitude - self.west) * self.km_per_east * self.px_per_km + self.left
        return x, _EDGE + (self.north - latitude) * KM_PER_DEGREE * self.px_per_km


def find_marks(blocks: Sequence[MapBlock], frame: Frame | None = None) -> list[Mark]:
    """Return the marks of some blocks: none of them meets another."""
    frame = frame or find_frame(blocks)
    cells: defaultdict[tuple[int, int], list[MapBlock]] = defaultdict(list)
    for block in blocks:
        x, y = frame.place(block.latitude, block.longitude)
        cells[floor(x / _CELL), floor(y / _CELL)].append(block)
    marks: list[Mark] = []
    waiting = [_gather(alike, frame) for _cell, alike in sorted(cells.items())]
    while waiting:
        mark = waiting.pop()
        near = next((other for other in marks if other.box.meets(mark.box)), None)
        if near is None:
            marks.append(mark)
        else:  # together they lie elsewhere, and may meet a third
            marks.remove(near)
            waiting.append(_gather([*near.blocks, *mark.blocks], frame))
    return sorted(marks, key=lambda mark: (mark.y, mark.x))


def _gather(blocks: Sequence[MapBlock], frame: Frame) -> Mark:
    places = [frame.place(block.latitude, block.longitude) for block in blocks]
    x, y = (sum(one) / len(places) for one in zip(*places, strict=True))
    mark = Mark(x, y, tuple(blocks))
    half = (mark.box.right - mark.box.left) / 2
    return replace(mark, x=min(max(x, half), WIDTH - half))


def find_frame(blocks: Sequence[MapBlock]) -> Frame:
    """Return how to lay some blocks into a picture."""
    if not blocks:
        return Frame(0.0, 0.0, 1.0, KM_PER_DEGREE, 0.0, LEAST_HEIGHT)
    latitudes = [block.latitude for block in blocks]
    first = blocks[0].longitude
    easts = [_shortest(block.longitude - first) for block in blocks]
    km_per_east = KM_PER_DEGREE * cos(radians((min(latitudes) + max(latitudes)) / 2))
    wide_km = max((max(easts) - min(easts)) * km_per_east, _LEAST_KM)
    high_km = (max(latitudes) - min(latitudes)) * KM_PER_DEGREE
    px_per_km = (WIDTH - 2 * _EDGE) / wide_km
    if high_km * px_per_km > MOST_HEIGHT - 2 * _EDGE - _FOOT:
        px_per_km = (MOST_HEIGHT - 2 * _EDGE - _FOOT) / high_km
    left = (WIDTH - (max(easts) - min(easts)) * km_per_east * px_per_km) / 2
    height = max(high_km * px_per_km + 2 * _EDGE + _FOOT, LEAST_HEIGHT)
    return Frame(first + min(easts), max(latitudes), px_per_km, km_per_east, left, height)


def _shortest(east: float) -> float:
    """Return a difference of longitudes the short way round."""
    return (east + 180) % 360 - 180


def find_hull(places: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the corners around some places, by the monotone chain."""
    ordered = sorted(set(places))
    if len(ordered) < 3:
        return ordered
    halves: list[list[tuple[float, float]]] = []
    for run in (ordered, ordered[::-1]):
        half: list[tuple[float, float]] = []
        for place in run:
            while len(half) > 1 and _turn(half[-2], half[-1], place) <= 0:
                half.pop()
            half.append(place)
        halves.append(half[:-1])
    return [*halves[0], *halves[1]]


def _turn(one: tuple[float, float], two: tuple[float, float], three: tuple[float, float]) -> float:
    return (two[0] - one[0]) * (three[1] - one[1]) - (two[1] - one[1]) * (three[0] - one[0])


def count_textures(blocks: Sequence[MapBlock]) -> list[tuple[Texture, int]]:
    """Return how often each texture occurs that does, what is open first."""
    counts = Counter(block.texture for block in blocks)
    every: tuple[Texture, ...] = get_args(Texture)
    return [(texture, counts[texture]) for texture in every if counts[texture]]


def _sign_width(count: int, of: int) -> float:
    beside = len(str(count)) * LETTER + 2 * ROOM if of > 1 else 0
    return 2 * RADIUS + ROOM + beside
