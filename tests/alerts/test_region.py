"""Pictures of a region: every block is counted once, nothing covers anything, a km is a km."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date
from itertools import combinations
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from alerts.region.map import describe_map, draw_map
from alerts.region.marks import MapBlock, find_frame, find_hull, find_marks
from alerts.region.shares import find_shares
from alerts.season_days import SeasonDays, find_season_days
from alerts.state_words import Texture
from alerts.windows import Span
from service.geography import find_distance_km
from tests.laws import law

SVG = "{http://www.w3.org/2000/svg}"
TEXTURES: tuple[Texture, ...] = get_args(Texture)


def block(latitude: float, longitude: float, texture: Texture = "open", **more: str) -> MapBlock:
    more = {"name": "Terrace 7", "site": "Dovetop", "district": "The Flats"} | more
    return MapBlock(latitude=latitude, longitude=longitude, texture=texture, **more)


PLACES = st.lists(
    st.tuples(st.floats(-34.2, -33.8), st.floats(149.8, 150.2), st.sampled_from(TEXTURES)),
    min_size=1,
    max_size=60,
)


@given(PLACES)
@law(60)
def test_every_block_is_in_one_mark_and_no_mark_meets_another(places) -> None:
    blocks = [block(*one, name=str(i)) for i, one in enumerate(places)]
    marks = find_marks(blocks)
    names = sorted(one.name for mark in marks for one in mark.blocks)
    assert names == sorted(one.name for one in blocks)
    assert [a for a, b in combinations(marks, 2) if a.box.meets(b.box)] == []
    shown = [count for mark in marks for _texture, count in mark.counts]
    assert sum(shown) == len(blocks)


@given(PLACES)
@law(30)
def test_words_cover_neither_each_other_nor_leave_the_picture(places) -> None:
    blocks = [block(*one, name=f"Block {i}", site=f"S{i}") for i, one in enumerate(places)]
    svg = parse(draw_map(blocks, "Region", "en"))
    names = [text for text in svg.iter(f"{SVG}text") if (text.text or "").startswith("Block")]
    # from memory: letters of Helvetica are half an em wide, 6 of size 12
    boxes = [
        (float(text.get("x", "")), float(text.get("y", "")), len(text.text or "") * 6.0)
        for text in names
    ]
    assert [
        (a, b)
        for a, b in combinations(boxes, 2)
        if abs(a[0] - b[0]) < (a[2] + b[2]) / 2 and abs(a[1] - b[1]) < 11
    ] == []
    assert [x for x, _y, wide in boxes if x - wide / 2 < -1 or x + wide / 2 > 367] == []


def parse(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 (made here)


def test_north_is_up_and_east_is_right() -> None:
    # the far side of the 180th meridian is east of it
    frame = find_frame([block(-41.0, 179.9), block(-41.2, -179.9)])
    (x1, y1), (x2, y2) = frame.place(-41.0, 179.9), frame.place(-41.2, -179.9)
    assert x2 > x1
    assert y2 > y1


@pytest.mark.parametrize("latitude", [-34.0, 0.0, 60.0])
def test_the_scale_bar_is_as_long_as_it_says(latitude: float) -> None:
    blocks = [block(latitude, 150.0), block(latitude + 0.02, 150.3)]
    frame = find_frame(blocks)
    text = draw_map(blocks, "Region", "en")
    bar_px = float(re.findall(r"v5h(\d+)v-5", text)[0])
    bar_km = float(re.findall(r">([\d.]+) km<", text)[0])
    (x1, y1), (x2, y2) = (frame.place(one.latitude, one.longitude) for one in blocks)
    drawn_px = float(np.hypot(x2 - x1, y2 - y1))
    # source: the haversine formula, as service.geography has it
    km = find_distance_km(latitude, 150.0, latitude + 0.02, 150.3)
    assert bar_km / bar_px == pytest.approx(km / drawn_px, rel=0.02)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=4, max_size=30))
@law(40)
def test_the_ground_of_a_district_has_the_corners_of_a_hull(places) -> None:
    points = np.array(sorted(set(places)), float)
    if len(points) < 3 or np.linalg.matrix_rank(points[1:] - points[0]) < 2:
        return
    corners = {tuple(points[i]) for i in ConvexHull(points).vertices}  # source: Qhull, by SciPy
    assert {tuple(map(float, one)) for one in find_hull([tuple(p) for p in points])} == corners


def test_blocks_at_one_place_are_one_mark_with_the_name_of_their_site() -> None:
    blocks = [block(-34.0, 150.0), block(-34.0, 150.0), block(-34.0, 150.0, "closed")]
    (mark,) = find_marks(blocks)
    assert (mark.name, mark.counts) == ("Dovetop", [("open", 2), ("closed", 1)])


def test_a_map_is_told_in_words_by_district() -> None:
    blocks = [
        block(-34.0, 150.0),
        block(-34.1, 150.0, "resting"),
        block(-34.1, 150.1, "open"),
        block(-34.2, 150.0, "not known", district="The Tops"),
    ]
    assert describe_map(blocks, "en") == "The Flats: open 2, resting 1. The Tops: not known 1."
    svg = draw_map(blocks, "Region", "es")
    assert "The Flats: abierta 2, en reposo 1." in svg
    assert re.findall(r"<style|<script|\bstyle=|\bon\w+=|href", svg) == []


def test_a_map_without_blocks_is_a_map() -> None:
    assert parse(draw_map([], "Region", "en")).tag == f"{SVG}svg"


START, END = date(2025, 7, 1), date(2026, 6, 30)


def season(opened_on: date, closed_on: date, gap: slice, as_of: date) -> SeasonDays:
    measured = np.ones(365, bool)
    measured[gap] = False
    span = Span(2025, "spring", opened_on, opened_on, closed_on, "spent")
    return find_season_days([span], START, END, measured, as_of)


def test_the_share_is_of_the_blocks_that_are_known() -> None:
    as_of = date(2025, 7, 10)
    one = season(date(2025, 7, 3), date(2025, 7, 8), slice(0, 0), as_of)
    other = season(date(2025, 7, 5), date(2025, 8, 1), slice(0, 3), as_of)
    shares = find_shares([("The Flats", one), ("The Flats", other), ("The Tops", other)], as_of)
    # by hand: one is open on days 3 to 7, other from day 5 on and unknown on days 1 to 3
    assert shares.open["The Flats"].tolist() == [0, 0, 1, 0.5, 1, 1, 1, 0.5, 0.5, 0.5]
    assert np.isnan(shares.open["The Tops"][:3]).all()
    assert shares.open["The Tops"][3:].tolist() == [0, 1, 1, 1, 1, 1, 1]
    assert shares.blocks == {"The Flats": 2, "The Tops": 1}
    assert shares.days[-1] == np.datetime64("2025-07-10")


def test_a_share_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="no blocks"):
        find_shares([], END)
